//! Drilling an adapter: is the glue between trackproof and an implementation whole?
//!
//! No drill asks whether the controller is right; the model is not asked at all. A drill that is
//! broken means that no verdict on the controller could be trusted.

use crate::generate::Generator;
use trackproof_contract::{
    Bench, Capabilities, Capability, Case, ChangeClear, ChannelBits, DriveBench, HostService,
    Medium, Observation, Operation, Profile, Rig, RigError, Start, Track, WriteSource, YesNo,
};

/// Generated cases of a drill that runs some, and their seed.
const CASES: u64 = 60;
const SEED: u64 = 0x6472_696c_6c73;

/// Longest generated case of a drill, in nanoseconds: a spin-up is no glue.
const CASE_NS: u64 = 20_000_000;

/// Track lengths that are awkward to hand over, in channel bits: about bytes, words of C, and none.
const LENGTHS: [u32; 12] = [1, 7, 8, 9, 15, 31, 33, 63, 64, 65, 1_001, 100_003];

/// Makes a rig, new from the ground up.
pub type Make<'a> = dyn Fn() -> Result<Box<dyn Rig>, String> + 'a;

/// What is drilled.
pub struct Drilled<'a> {
    /// Makes a rig as any run does.
    pub make: &'a Make<'a>,
    /// Makes one that is given its events one by one, and asked for its items one by one; none
    /// where the interface has no such thing.
    pub in_pieces: Option<&'a Make<'a>>,
}

/// What a drill came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// The glue held.
    Ok,
    /// It did not: what was done, what came, what is allowed.
    Broken(String),
    /// It was not drilled, and why.
    Skipped(String),
}

/// One drill.
#[derive(Debug, Clone, Copy)]
pub struct Drill {
    /// Its name.
    pub name: &'static str,
    /// What it does, and what must come of it.
    pub sentence: &'static str,
    run: fn(&Drilled<'_>) -> Result<Outcome, String>,
}

impl Drill {
    /// The drill of that name.
    #[must_use]
    pub fn find(name: &str) -> Option<&'static Self> {
        DRILLS.iter().find(|drill| drill.name == name)
    }

    /// Runs it.
    #[must_use]
    pub fn run(&self, drilled: &Drilled<'_>) -> Outcome {
        (self.run)(drilled).unwrap_or_else(Outcome::Broken)
    }
}

/// Every drill, in the order in which a fault of one explains those of the next.
pub static DRILLS: &[Drill] = &[
    Drill {
        name: "entry",
        sentence: "It starts, twice at once, and says the same of itself each time.",
        run: entry,
    },
    Drill {
        name: "power-up",
        sentence: "Power comes on, nothing is done, and nothing is seen.",
        run: power_up,
    },
    Drill {
        name: "echo",
        sentence: "Media of awkward lengths that nobody wrote on come back as they were.",
        run: echo,
    },
    Drill {
        name: "lengths",
        sentence: "Transfers of 0, 1 and the most words there are can be asked for.",
        run: lengths,
    },
    Drill { name: "form", sentence: "What comes back has the form of an observation.", run: form },
    Drill {
        name: "twice",
        sentence: "A case gives the same a second time, after another case, and on a new one.",
        run: twice,
    },
    Drill {
        name: "reset",
        sentence: "It can be reset twice in a row, and a case gives the same afterwards.",
        run: reset,
    },
    Drill {
        name: "pieces",
        sentence: "Events given one by one and items drained one by one make no difference.",
        run: pieces,
    },
    Drill {
        name: "errors",
        sentence: "What it cannot do comes back as an error that says why.",
        run: errors,
    },
];

/// The profile to drill under.
fn profile(rig: &dyn Rig) -> Profile {
    rig.profile().unwrap_or_else(Profile::sync_dma)
}

fn run(rig: &mut dyn Rig, case: &Case, what: &str) -> Result<Observation, String> {
    let mut observation = Observation::new();
    rig.run(case, &mut observation).map_err(|error| format!("{what}: {error}"))?;
    Ok(observation)
}

/// Cases that the rig can be given, short ones.
fn cases(profile: &Profile, capabilities: Capabilities) -> impl Iterator<Item = (u64, Case)> {
    let mut generator = Generator::limited_to(profile.clone(), capabilities);
    (0..)
        .map(move |index| (index, generator.case(SEED, index)))
        .take(40 * CASES as usize)
        .filter(move |(_, case)| {
            capabilities.missing(case.needs()).is_empty() && case.end_ns() <= CASE_NS
        })
        .take(CASES as usize)
}

/// A case with one drive and one track of so many bits, and this program.
fn case(profile: Profile, turn_bits: u32, program: Vec<Operation>) -> Case {
    let mut bits = ChannelBits::new();
    for at in 0..turn_bits {
        bits.push(u64::from(at % 7 % 2 == 0 || at + 1 == turn_bits), 1);
    }
    let drive = DriveBench {
        turn_bits,
        start_bit: turn_bits / 2,
        cylinder: 0,
        write_protected: false,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    let track = Track { drive: 0, cylinder: 0, side: 0, medium: Medium::image_bits(bits) };
    Case {
        profile,
        bench: Bench { access_ns: 100, drives: vec![drive] },
        tracks: vec![track],
        program,
        flux: None,
    }
}

/// The first difference of two observations, in words.
fn difference(before: &Observation, after: &Observation) -> Option<String> {
    for (index, (one, other)) in before.items.iter().zip(&after.items).enumerate() {
        if one != other {
            return Some(format!(
                "item {index} was {} at {} ns and is {} at {} ns",
                one.item, one.at_ns, other.item, other.at_ns
            ));
        }
    }
    if before.items.len() != after.items.len() {
        return Some(format!(
            "it gave {} items and gives {}",
            before.items.len(),
            after.items.len()
        ));
    }
    if before.separated != after.separated {
        return Some("the channel bits that flux was made into differ".into());
    }
    (before.media != after.media).then(|| "the media after the run differ".into())
}

fn same(before: &Observation, after: &Observation, what: &str) -> Result<(), String> {
    difference(before, after).map_or(Ok(()), |why| Err(format!("{what}: {why}")))
}

fn entry(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let first = (drilled.make)()?;
    let second = (drilled.make)().map_err(|why| format!("beside another one: {why}"))?;
    let bits = |rig: &dyn Rig| rig.capabilities().to_bits();
    if bits(&*first) != bits(&*second) || bits(&*first) != bits(&*first) {
        return Err(format!(
            "its capabilities are {:#x} once and {:#x} then; they never change",
            bits(&*first),
            bits(&*second)
        ));
    }
    if first.profile() != second.profile() {
        return Err("it declares one profile once and another one then".into());
    }
    if let Some(profile) = first.profile() {
        profile.validate().map_err(|error| format!("the profile that it declares: {error}"))?;
    }
    Ok(Outcome::Ok)
}

fn power_up(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let mut rig = (drilled.make)()?;
    let capabilities = rig.capabilities();
    let case = case(profile(&*rig), 64, Vec::new());
    for what in ["an empty program", "an empty program again"] {
        let observation = run(&mut *rig, &case, what)?;
        if let Some(seen) = observation.items.first() {
            return Err(format!("{what}: it shows {} at {} ns", seen.item, seen.at_ns));
        }
    }
    if rig.capabilities() != capabilities {
        return Err("its capabilities are others after a run; they never change".into());
    }
    Ok(Outcome::Ok)
}

fn echo(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let mut rig = (drilled.make)()?;
    let shows = rig.capabilities().has(Capability::Media);
    for turn_bits in LENGTHS {
        let mut case = case(profile(&*rig), turn_bits, vec![Operation::Wait { ns: 1_000 }]);
        // Another track behind it: one's end must not run into the other.
        let mut other = case.tracks[0].clone();
        other.side = 1;
        case.tracks.push(other);
        let what = format!("tracks of {turn_bits} channel bits");
        let observation = run(&mut *rig, &case, &what)?;
        let came = observation.media.iter().map(|track| track.medium.track());
        for (came, track) in came.zip(&case.tracks) {
            let due = track.medium.track();
            if let Some(bit) = (0..due.len()).find(|bit| came.get(*bit) != due.get(*bit)) {
                return Err(format!(
                    "{what}, nothing written: bit {bit} of side {} comes back as {}",
                    track.side,
                    u8::from(came.get(bit))
                ));
            }
        }
    }
    Ok(match shows {
        true => Outcome::Ok,
        false => {
            Outcome::Skipped("taken at every length; without `media` nothing comes back".into())
        }
    })
}

fn lengths(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let mut rig = (drilled.make)()?;
    let (profile, capabilities) = (profile(&*rig), rig.capabilities());
    let service = HostService { first_ns: 1_000, interval_ns: 30_000, stalls: Vec::new() };
    let mut asked = 0;
    for words in [0, 1, profile.max_words] {
        let mut bits = ChannelBits::new();
        (0..words).for_each(|n| bits.push(n.into(), profile.word_bits.into()));
        let write = Operation::Write {
            source: WriteSource::Words(bits),
            start: Start::Now,
            service: service.clone(),
        };
        let read = |start| Operation::Read { words, start, service: service.clone() };
        for request in [read(Start::Now), read(Start::Match), read(Start::Index), write] {
            let program = vec![
                Operation::Select { mask: 1 },
                Operation::Motor { mask: 1 },
                request,
                Operation::Wait { ns: 200_000 },
            ];
            let case = case(profile.clone(), 1_001, program);
            if capabilities.missing(case.needs()).is_empty() {
                asked += 1;
                run(&mut *rig, &case, &format!("{words} words"))?;
            }
        }
    }
    Ok(match asked {
        0 => Outcome::Skipped("it has no transfers".into()),
        _ => Outcome::Ok,
    })
}

fn form(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let mut rig = (drilled.make)()?;
    for (index, case) in cases(&profile(&*rig), rig.capabilities()) {
        run(&mut *rig, &case, &format!("generated case {index}"))?;
    }
    Ok(Outcome::Ok)
}

fn twice(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let mut rig = (drilled.make)()?;
    let profile = profile(&*rig);
    let mut before: Option<(u64, Case, Observation)> = None;
    for (index, case) in cases(&profile, rig.capabilities()) {
        let what = format!("generated case {index}");
        let first = run(&mut *rig, &case, &what)?;
        let second = run(&mut *rig, &case, &what)?;
        same(&first, &second, &format!("{what}, run twice"))?;
        if let Some((other, case, first)) = &before {
            let again = run(&mut *rig, case, &what)?;
            same(first, &again, &format!("generated case {other}, again after case {index}"))?;
        }
        let mut fresh = (drilled.make)()?;
        let alone = run(&mut *fresh, &case, &what)?;
        same(&first, &alone, &format!("{what}, on a new one"))?;
        before = Some((index, case, first));
    }
    Ok(Outcome::Ok)
}

fn reset(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let mut rig = (drilled.make)()?;
    for (index, case) in cases(&profile(&*rig), rig.capabilities()).take(20) {
        let what = format!("generated case {index}");
        let before = run(&mut *rig, &case, &what)?;
        for time in ["once", "twice"] {
            rig.reset().map_err(|error| format!("reset {time}: {error}"))?;
        }
        let after = run(&mut *rig, &case, &what)?;
        same(&before, &after, &format!("{what}, after two resets"))?;
    }
    Ok(Outcome::Ok)
}

fn pieces(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let Some(make) = drilled.in_pieces else {
        return Ok(Outcome::Skipped("this interface knows no buffers".into()));
    };
    let (mut whole, mut pieces) = ((drilled.make)()?, make()?);
    for (index, case) in cases(&profile(&*whole), whole.capabilities()) {
        let what = format!("generated case {index}");
        let at_once = run(&mut *whole, &case, &what)?;
        let one_by_one = run(&mut *pieces, &case, &format!("{what}, one by one"))?;
        same(&at_once, &one_by_one, &format!("{what}, one by one"))?;
    }
    Ok(Outcome::Ok)
}

/// Profiles that few controllers can take, all valid.
fn strange() -> [Profile; 4] {
    let base = Profile::sync_dma;
    [
        Profile { word_bits: 8, register_bits: 64, sync_mask: !0, ..base() },
        Profile { word_bits: 32, fifo_words: trackproof_contract::MAX_FIFO_WORDS, ..base() },
        Profile { channel_bit_ns: 100_000, max_words: 1, byte_port: YesNo::No, ..base() },
        Profile { register_bits: 1, sync_mask: 1, refractory: u16::MAX, ..base() },
    ]
}

fn errors(drilled: &Drilled<'_>) -> Result<Outcome, String> {
    let mut rig = (drilled.make)()?;
    if rig.profile().is_some() {
        return Ok(Outcome::Skipped("it declares a profile, and takes no other".into()));
    }
    for profile in strange() {
        let keys: Vec<String> = profile
            .differences(&Profile::sync_dma())
            .map(|key| format!("{} = {}", key.name, key.text(&profile)))
            .collect();
        let program = vec![Operation::PollStatus, Operation::Wait { ns: 1_000_000 }];
        let case = case(profile, 64, program);
        match rig.run(&case, &mut Observation::new()) {
            Ok(()) => {}
            Err(RigError::Implementation { why, .. }) if !why.trim().is_empty() => {}
            Err(error) => return Err(format!("with {}: {error}", keys.join(", "))),
        }
    }
    // An error ends a case and nothing else.
    let case = case(Profile::sync_dma(), 64, Vec::new());
    run(&mut *rig, &case, "an ordinary case behind those")?;
    Ok(Outcome::Ok)
}
