//! Vectors: short cases with every observation that is allowed, for use without trackproof.
//!
//! A vector has an id that stays for ever, the rule that it is there for, a case, and all that a
//! right controller may answer. What is allowed is listed by asking the acceptor (`outcome.rs`,
//! `signals.rs`) and then held against it: what is listed conforms, what misses it narrowly does not
//! (`near_miss.rs`). `draw.rs` finds cases whose lists stay short, `choose.rs` takes those that tell
//! the most faults apart, `json.rs` and `c_text.rs` write them down. Nothing here runs an
//! implementation, so nothing is learnt from one.

mod c_text;
mod choose;
mod draw;
mod json;
mod near_miss;
mod outcome;
mod signals;

pub use outcome::{Outcome, Wanted, Window};

use crate::rules::Rule;
use std::collections::BTreeMap;
use trackproof_contract::{Capabilities, Capability, Case, KEYS, Observation, Profile};
use xxhash_rust::xxh3::xxh3_64;

/// The format of `vectors.json` that this version writes.
pub const FORMAT: u32 = 1;

/// Most outcomes of a vector: more are no list that a person reads.
pub const MAX_OUTCOMES: usize = 16;

/// Most vectors of an export: so many cases of a profile still tell something new.
pub const MAX_COUNT: u32 = 2_000;

/// Cases that an export of so many vectors draws: ten for each, and 2 400 at the most, since more tell
/// little that these do not.
#[must_use]
pub const fn cases_for(count: u32) -> u64 {
    let cases = count as u64 * 10;
    if cases < 200 {
        200
    } else if cases > 2_400 {
        2_400
    } else {
        cases
    }
}

/// What is to be exported.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The profile of the controllers that are to be told right from wrong.
    pub profile: Profile,
    /// Its name, for readers.
    pub profile_name: String,
    /// The seed of the cases.
    pub seed: u64,
    /// How many cases are drawn, from which the vectors are chosen. More than a third of them are
    /// short enough and allow little enough.
    pub cases: u64,
    /// How many vectors at the most; there are fewer where no case tells anything new.
    pub count: usize,
}

/// One vector.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vector {
    /// The rule that it is there for.
    pub rule: &'static str,
    /// The case; its profile is the corpus's.
    pub case: Case,
    /// Every observation that is allowed, in the order in which the acceptor has them.
    pub outcomes: Vec<Outcome>,
}

impl Vector {
    /// The id: the rule, and the last 48 bits of XXH3 (of 64) over the case in its JSON
    /// form. Neither seed nor count nor version is in it, and it does not change when profiles get
    /// new keys, for only those that differ from `sync-dma` are hashed. What is allowed is not in it
    /// either: a list that is mended keeps its name.
    #[must_use]
    pub fn id(&self) -> String {
        format!("{}-{:012x}", self.rule, hash(&self.case) & 0xffff_ffff_ffff)
    }

    /// Whether an observation is among the outcomes, as far as an implementation of these
    /// capabilities shows it.
    #[must_use]
    pub fn allows(&self, observation: &Observation, capabilities: Capabilities) -> bool {
        self.outcomes.iter().any(|one| one.allows(observation, capabilities))
    }

    /// What an implementation must be able to do for the vector to say anything.
    #[must_use]
    pub fn needs(&self) -> Capabilities {
        self.case.needs().minus(Capabilities::of(&[Capability::Fifo]))
    }

    /// The rule, with its texts.
    ///
    /// # Panics
    /// When the rule is none of the catalogue.
    #[must_use]
    pub fn note(&self) -> &'static Rule {
        Rule::find(self.rule).expect("a rule of the catalogue")
    }
}

/// The XXH3 of what a case says: keys of the profile that are not those of `sync-dma`, by name, then
/// bench, tracks and program.
fn hash(case: &Case) -> u64 {
    let base = Profile::sync_dma();
    let keys: BTreeMap<&str, String> = KEYS
        .iter()
        .filter(|key| key.text(&case.profile) != key.text(&base))
        .map(|key| (key.name, key.text(&case.profile)))
        .collect();
    let said = serde_json::to_string(&(keys, &case.bench, &case.tracks, &case.program))
        .expect("a case has a JSON form");
    xxh3_64(said.as_bytes())
}

/// The vectors of a plan.
#[derive(Debug, Clone)]
pub struct Corpus {
    plan: Plan,
    /// The vectors, by their ids.
    pub vectors: Vec<Vector>,
}

/// A file of an export.
#[derive(Debug, Clone)]
pub struct ExportFile {
    /// Its name in the folder.
    pub name: &'static str,
    /// What it holds.
    pub text: String,
}

impl Corpus {
    /// Draws cases and chooses vectors: the same for the same plan, on every machine.
    #[must_use]
    pub fn make(plan: Plan) -> Self {
        let pool = draw::draw(&plan);
        let mut vectors = choose::choose(pool, plan.count);
        vectors.sort_by_cached_key(Vector::id);
        Self { plan, vectors }
    }

    /// The files: the vectors as JSON, as a C program that checks itself, and how to use them. The
    /// C program needs `trackproof.h`, which is the C interface's to give.
    #[must_use]
    pub fn files(&self) -> Vec<ExportFile> {
        vec![
            ExportFile { name: "vectors.json", text: json::text(self) },
            ExportFile { name: "vectors.c", text: c_text::text(self) },
            ExportFile { name: "README.txt", text: self.read_me() },
        ]
    }

    fn read_me(&self) -> String {
        include_str!("vectors/read_me.txt")
            .replace("@profile@", &self.plan.profile_name)
            .replace("@count@", &self.vectors.len().to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::Vector;
    use trackproof_contract::{
        Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Medium, Operation, Profile,
        Start, Track,
    };

    fn vector(profile: Profile) -> Vector {
        let drive = DriveBench {
            turn_bits: 32,
            start_bit: 3,
            cylinder: 1,
            write_protected: false,
            spin_up_ns: 0,
            change_clear: ChangeClear::Step,
        };
        let bits = ChannelBits::from_bytes(&[0x44, 0x89, 0xaa, 0x55], 32);
        let track = Track { drive: 0, cylinder: 1, side: 0, medium: Medium::image_bits(bits) };
        let service = HostService { first_ns: 2_000, interval_ns: 32_000, stalls: Vec::new() };
        let case = Case {
            profile,
            bench: Bench { access_ns: 500, drives: vec![drive] },
            tracks: vec![track],
            program: vec![
                Operation::Select { mask: 1 },
                Operation::Motor { mask: 1 },
                Operation::Read { words: 2, start: Start::Now, service },
                Operation::Wait { ns: 200_000 },
            ],
            flux: None,
        };
        Vector { rule: "raw.contiguous", case, outcomes: Vec::new() }
    }

    /// Ids of published vectors must not change: if these do, the hash is no longer of what it was of.
    /// Source: the numbers were made by another library, xxhash for Python, of the text
    /// `[{},{"access_ns":500,…},[{"drive":0,…}],[{"op":"select",…},…]]`, the second one with
    /// `{"fifo_words":"2"}` in front.
    #[test]
    fn an_id_stays_for_ever() {
        assert_eq!(vector(Profile::sync_dma()).id(), "raw.contiguous-74031d0a8837");
        let other = Profile { fifo_words: 2, ..Profile::sync_dma() };
        assert_eq!(vector(other).id(), "raw.contiguous-dd5af0b6ab4b");
    }
}
