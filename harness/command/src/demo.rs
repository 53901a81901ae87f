//! `demo`: what trackproof is for, in a minute: a copy that looks right and cannot be read.
//!
//! The story is invented. An archive keeps its tide tables as images of disks; a controller serves
//! them and copies one to a real disk. The case is always the same, both controllers are samples,
//! and nothing is told that was not just run.

use crate::Exit;
use crate::arguments::{Demo, Isolation};
use crate::check::EXECUTIONS;
use crate::failure::Failure;
use crate::files::{Files, replay_line};
use crate::implementation::{Implementation, Subject};
use crate::interrupt::{self, Patience};
use crate::output;
use crate::registry::Registry;
use trackproof::campaign::{Finding, MakeRigs};
use trackproof::case_file::CaseFile;
use trackproof::examine::Examiner;
use trackproof::report::{self, Shown};
use trackproof::settle::settle;
use trackproof::verdict::Verdict;
use trackproof_contract::{
    Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Medium, Observation, Operation,
    Profile, SectorLayout, Start, Track, WriteSource,
};
use trackproof_model::image::track_layout;
use trackproof_model::recorded::Recorded;

/// The controllers of the story.
const RIGHT: &str = "sample:sync-dma";
const WRONG: &str = "sample:sync-dma+image-without-clock";

/// The rule that the wrong one breaks.
const RULE: &str = "clock.present";

/// The archive's disks, a track of them: so small that every word of it can be looked at.
const LAYOUT: SectorLayout = SectorLayout::FullTrack { sectors: 4, sector_bytes: 64 };

/// Channel bits a turn: the sectors and four bytes of filler.
const TURN_BITS: u32 = LAYOUT.used_bits() as u32 + 64;

/// What the archive keeps: an invented harbour's tides, one sector a quarter. The rest is zeros.
const TABLES: [&str; 4] = [
    "PORT ELLERY TIDES I    HIGH 0412 1637  LOW 1023 2248",
    "PORT ELLERY TIDES II   HIGH 0517 1742  LOW 1128 2353",
    "PORT ELLERY TIDES III",
    "",
];

/// Runs the verb.
pub(crate) fn demo(demo: &Demo, registry: &Registry) -> Result<Exit, Failure> {
    let style = output::style();
    let case = case();
    output::print(&format!(
        "{}\n\nThe archive of Port Ellery keeps its tide tables as images of disks. A controller \
         serves\nthem from drive 0; a host program reads a whole track of it raw, as copiers do, \
         and writes\nwhat it was given to a real disk in drive 1.\n\n",
        style.strong("A copy that looks right")
    ))?;

    output::print(&format!("{}\n", style.strong(&format!("1. {RIGHT}"))))?;
    let right = Played::new(RIGHT, &case, registry, &demo.isolation)?;
    output::print(&right.told())?;

    output::print(&format!("\n{}\n", style.strong(&format!("2. {WRONG}"))))?;
    let wrong = Played::new(WRONG, &case, registry, &demo.isolation)?;
    output::print(&wrong.told())?;
    output::print(
        "\nWhoever reads that image on the spot sees nothing: host software masks clock bits \
         away.\nWhat trackproof says of the controller:\n\n",
    )?;

    let mut exit = Exit::Conforms;
    match wrong.report(demo, &case, registry)? {
        Some(text) => output::print(&text)?,
        None => exit = Exit::Deviates,
    }
    let as_announced = right.conforms
        && right.readable == LAYOUT.sectors()
        && wrong.readable < LAYOUT.sectors()
        && wrong.finding.as_ref().is_some_and(|finding| finding.rule.id == RULE);
    if !as_announced {
        eprintln!(
            "trackproof: the controllers did not behave as the demonstration says; please report \
             it with this output"
        );
        exit = Exit::Deviates;
    }
    Ok(exit)
}

/// The host's program, the image and the real disk.
fn case() -> Case {
    let profile = Profile::sync_dma();
    let words = TURN_BITS / u32::from(profile.word_bits);
    let turn_ns = u64::from(TURN_BITS) * u64::from(profile.channel_bit_ns);
    let service = HostService { first_ns: 2_000, interval_ns: 8_000, stalls: Vec::new() };
    let drive = DriveBench {
        turn_bits: TURN_BITS,
        start_bit: 0,
        cylinder: 0,
        write_protected: false,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    let mut bytes = Vec::new();
    for table in TABLES {
        bytes.extend(table.bytes());
        bytes.resize(bytes.len().next_multiple_of(LAYOUT.sector_bytes()), 0);
        if table.is_empty() {
            bytes.resize(bytes.len() + LAYOUT.sector_bytes(), 0);
        }
    }
    let sectors = ChannelBits::from_bytes(&bytes, 8 * LAYOUT.sectors() * LAYOUT.sector_bytes());
    let blank = ChannelBits::zeros(TURN_BITS as usize);
    let track = |drive, medium| Track { drive, cylinder: 0, side: 0, medium };
    let source = WriteSource::Copy { transfer: 0, align: None, skip: 0, count: words };
    Case {
        profile,
        bench: Bench { access_ns: 500, drives: vec![drive.clone(), drive] },
        tracks: vec![
            track(0, Medium::Image { layout: LAYOUT, sectors }),
            track(1, Medium::real_bits(blank)),
        ],
        program: vec![
            Operation::Motor { mask: 3 },
            Operation::Select { mask: 1 },
            Operation::Read { words, start: Start::Index, service: service.clone() },
            Operation::Wait { ns: 2 * turn_ns + 100_000 },
            Operation::Select { mask: 2 },
            Operation::Write { source, start: Start::Index, service },
            Operation::Wait { ns: 2 * turn_ns + 100_000 },
        ],
        flux: None,
    }
}

/// One controller, once through the story.
struct Played {
    implementation: &'static str,
    conforms: bool,
    finding: Option<Finding>,
    /// Sectors of the copy that can be read back.
    readable: usize,
}

impl Played {
    fn new(
        implementation: &'static str,
        case: &Case,
        registry: &Registry,
        isolation: &Isolation,
    ) -> Result<Self, Failure> {
        let subject = open(implementation, registry, isolation)?;
        let mut examiner = Examiner::new(subject.rig().map_err(Failure::adapter)?);
        let examined = examiner.examine(case).map_err(Failure::adapter)?;
        let conforms = matches!(examined.verdict, Verdict::Conforms);
        let readable = readable(case, examiner.observation());
        let deviates = matches!(examined.verdict, Verdict::Deviates(_));
        let finding = deviates.then(|| Finding::new(0, case.clone(), examined));
        Ok(Self { implementation, conforms, finding, readable })
    }

    fn told(&self) -> String {
        let style = output::style();
        let sectors = LAYOUT.sectors();
        let copy = format!("{} of {sectors} sectors of the copy can be read back", self.readable);
        let verdict = match &self.finding {
            None if self.conforms => style.right("it conforms"),
            None => "it cannot be told".into(),
            Some(finding) => {
                style.wrong(&format!("it deviates by {}: {}", finding.rule.id, finding.kind))
            }
        };
        format!("   {copy}; {verdict}\n")
    }

    /// The report on the finding, as `check` gives it; none if there is no finding to tell of.
    fn report(
        &self,
        demo: &Demo,
        case: &Case,
        registry: &Registry,
    ) -> Result<Option<String>, Failure> {
        let Some(finding) = self.finding.clone() else { return Ok(None) };
        interrupt::flag();
        let subject = open(self.implementation, registry, &demo.isolation)?;
        let patience = Patience::new(1);
        let settlement =
            settle(vec![finding], &subject, 1, EXECUTIONS, &|| patience.is_over(), &|_| {})?;
        let Some(settled) = settlement.settled.into_iter().next() else { return Ok(None) };
        let mut examiner = Examiner::new(subject.rig().map_err(Failure::adapter)?);
        examiner.examine(&settled.finding.case).map_err(Failure::adapter)?;
        let mut files = Files::new(&demo.out.dir);
        let note = format!("the demonstration's copy on {}", self.implementation);
        let name = || format!("{}-{}.json", settled.finding.rule.id, settled.finding.kind);
        let path = files
            .save(&CaseFile::of(&settled.finding, settled.minimised, note))
            .unwrap_or_else(name);
        let operations = case.program.len();
        Ok(Some(report::finding(
            &Shown {
                finding: &settled.finding,
                observation: examiner.observation(),
                capabilities: examiner.capabilities(),
                origin: &format!("the copier's {operations} operations"),
                minimised: settled.minimised,
                nearest_passing: settled.nearest_passing.as_ref(),
                again: &replay_line(&path, self.implementation),
            },
            output::style(),
        )))
    }
}

fn open<'a>(
    name: &str,
    registry: &'a Registry,
    isolation: &Isolation,
) -> Result<Subject<'a>, Failure> {
    let implementation: Implementation = name.parse().map_err(Failure::usage)?;
    Subject::open(&implementation, registry, isolation)
}

/// Sectors of the real disk that a host finds and that hold the archive's data; one that a bit
/// reaches into which a real medium does not keep counts as lost.
fn readable(case: &Case, observation: &Observation) -> usize {
    let Some(copy) = observation.media.get(1) else { return 0 };
    let turn_bits = TURN_BITS as usize;
    let recorded = Recorded::of(copy, turn_bits, case.profile.recording);
    let Some(layout) = track_layout(LAYOUT, turn_bits) else { return 0 };
    let bytes = case.tracks[0].medium.track().to_bytes();
    let kept = bytes.chunks(LAYOUT.sector_bytes());
    let found = layout.decode(&recorded.stream).sectors;
    (0..)
        .zip(kept)
        .filter(|(number, data)| {
            found.iter().any(|sector| {
                sector.address.sector == *number
                    && sector.is_good()
                    && sector.data == *data
                    && (recorded.free.is_empty() || !sector.touches(&recorded.free))
            })
        })
        .count()
}

#[cfg(test)]
mod tests {
    use super::{LAYOUT, TURN_BITS, case};

    #[test]
    fn the_story_is_a_valid_case_with_every_table_in_a_sector_of_its_own() {
        let case = case();
        assert_eq!(case.validate(), Ok(()));
        let bytes = case.tracks[0].medium.track().to_bytes();
        assert_eq!(bytes.len(), LAYOUT.sectors() * LAYOUT.sector_bytes());
        for (number, table) in super::TABLES.iter().enumerate() {
            assert!(bytes[number * LAYOUT.sector_bytes()..].starts_with(table.as_bytes()));
        }
        assert!(TURN_BITS.is_multiple_of(16));
    }
}
