//! A survey of generated cases: that all are valid, how they are spread, and what they reach.

mod walk;

use super::{ByteChoices, Choices, Generator, SeededChoices, case_seed};
use std::collections::BTreeMap;
use trackproof_contract::{
    Capabilities, Capability, Case, Event, Operation, Profile, Recording, Service, Underrun,
    WriteUnit, YesNo, timeline,
};
use walk::{Point, Reached, Walk};

const CASES: u64 = 20_000;

/// Cases with whole tracks are left out of the walk: short ones must reach everything.
const WALKED_BITS: u32 = 4_096;

/// What many cases look like.
#[derive(Debug, Default)]
struct Survey {
    cases: u64,
    operations: u64,
    track_bits: u64,
    events: u64,
    most_events: u64,
    crowded: u64,
    most_whole_events: u64,
    program_bits: u64,
    short: u64,
    middle: u64,
    whole: u64,
    ragged: u64,
    two_drives: u64,
    writing: u64,
    imaged: u64,
    pairs: BTreeMap<(u8, u8), u32>,
    reached: Reached,
    buffer: Vec<Event>,
}

impl Survey {
    fn add(&mut self, case: &Case, walked: bool) {
        let turn_bits = case.bench.drives[0].turn_bits;
        timeline(case, &mut self.buffer);
        let events = self.buffer.len() as u64;
        self.cases += 1;
        self.operations += case.program.len() as u64;
        self.events += events;
        self.program_bits += case.end_ns() / u64::from(case.profile.channel_bit_ns);
        self.track_bits += case.tracks.iter().map(|t| t.medium.track().len() as u64).sum::<u64>();
        self.two_drives += u64::from(case.bench.drives.len() == 2);
        let needs = case.needs();
        self.writing += u64::from(needs.has(Capability::Write));
        self.imaged += u64::from(needs.has(Capability::ImageDrives));
        self.ragged += u64::from(!turn_bits.is_multiple_of(u32::from(case.profile.word_bits)));
        match turn_bits {
            0..=512 => self.short += 1,
            513..=4_096 => self.middle += 1,
            _ => self.whole += 1,
        }
        if turn_bits <= 4_096 {
            self.most_events = self.most_events.max(events);
            self.crowded += u64::from(events > 1_000);
        } else {
            self.most_whole_events = self.most_whole_events.max(events);
        }
        for pair in case.program.windows(2) {
            *self.pairs.entry((kind(&pair[0]), kind(&pair[1]))).or_default() += 1;
        }
        if walked && turn_bits <= WALKED_BITS {
            Walk::through(case, &self.buffer, &mut self.reached);
        }
    }
}

fn survey(profile: Profile, run_seed: u64, walked: bool) -> Survey {
    let mut survey = Survey::default();
    let mut generator = Generator::new(profile);
    let mut case = generator.case(run_seed, 0);
    for index in 0..CASES {
        generator.generate(&mut SeededChoices::new(case_seed(run_seed, index)), &mut case);
        survey.add(&case, walked);
    }
    survey
}

fn kind(operation: &Operation) -> u8 {
    match operation {
        Operation::Wait { .. } => 0,
        Operation::Select { .. } => 1,
        Operation::Motor { .. } => 2,
        Operation::Side { .. } => 3,
        Operation::Step { .. } => 4,
        Operation::SyncWord { .. } => 5,
        Operation::HardwareSync { .. } => 6,
        Operation::Read { .. } => 7,
        Operation::Abort => 8,
        Operation::PollStatus => 9,
        Operation::Output { .. } => 10,
        Operation::Reset => 11,
        Operation::PollByte => 12,
        Operation::Write { .. } => 13,
        other => panic!("the survey does not know {other:?}"),
    }
}

/// Profiles at the edges of what there is.
fn edge_profiles() -> Vec<Profile> {
    let base = Profile::sync_dma;
    let narrow = Profile { word_bits: 8, register_bits: 8, sync_mask: 0xff, ..base() };
    let wide = Profile { word_bits: 32, register_bits: 64, sync_mask: !0, ..base() };
    let tiny = Profile { register_bits: 1, sync_mask: 1, fifo_words: 1, max_words: 1, ..base() };
    let deep = Profile { fifo_words: 1_024, slack_min: 32, slack_max: 32, ..base() };
    let slots = Profile { service: Service::Slots { period_ns: 64_000, count: 3 }, ..base() };
    let crowd = Profile { service: Service::Slots { period_ns: 1, count: u16::MAX }, ..base() };
    let portless = Profile { byte_port: YesNo::No, ..base() };
    let slow = Profile { channel_bit_ns: 100_000, ..base() };
    let fast = Profile { channel_bit_ns: 101, poll_jitter: 1, ..base() };
    let mut profiles = vec![base(), Profile::byte_stream()];
    let bytes = Profile { word_bits: 32, write_unit: WriteUnit::DataBytes, ..base() };
    let late = Profile { gate_lead: 1_000, match_to_write: 1_000, ..base() };
    profiles.extend([narrow, wide, tiny, deep, slots, crowd, portless, slow, fast, bytes, late]);
    profiles.push(Profile { recording: Recording::Fm, ..base() });
    profiles
}

#[test]
fn every_case_is_valid_for_every_profile() {
    for (number, profile) in edge_profiles().into_iter().enumerate() {
        profile.validate().unwrap();
        let mut generator = Generator::new(profile);
        let mut case = generator.case(1, 0);
        for index in 0..if number < 2 { CASES } else { 3_000 } {
            generator.generate(&mut SeededChoices::new(case_seed(1, index)), &mut case);
            if let Err(error) = case.validate() {
                panic!("profile {number}, index {index}: {error}");
            }
        }
    }
}

#[test]
fn every_string_of_bytes_leads_to_a_valid_case() {
    let mut generator = Generator::new(Profile::byte_stream());
    let mut case = generator.case(1, 0);
    let mut bytes = Vec::new();
    for seed in 0..3_000 {
        let mut choices = SeededChoices::new(seed);
        bytes.clear();
        bytes.extend((0..choices.below(400)).map(|_| choices.bits(8) as u8));
        generator.generate(&mut ByteChoices::new(&bytes), &mut case);
        assert_eq!(case.validate(), Ok(()), "{bytes:?}");
    }
    generator.generate(&mut ByteChoices::new(&[]), &mut case);
    assert!(case.program.len() < 10, "no choices make a small case: {case:?}");
}

#[test]
fn a_case_depends_on_its_seed_alone() {
    let mut fresh = Generator::new(Profile::sync_dma());
    let mut used = Generator::new(Profile::sync_dma());
    let mut case = used.case(9, 77);
    for index in (0..1_000).rev() {
        used.generate(&mut SeededChoices::new(case_seed(3, index)), &mut case);
        assert_eq!(case, fresh.case(3, index), "index {index}");
    }
    let other = fresh.case(4, 0);
    assert_ne!(case, other);
}

#[test]
fn sizes_are_spread_as_planned() {
    let survey = survey(Profile::sync_dma(), 1, false);
    println!("{survey:?}");
    let share = |count: u64| count * 100 / CASES;
    assert!((48..=52).contains(&share(survey.short)));
    assert!((35..=40).contains(&share(survey.middle)));
    assert!((10..=15).contains(&share(survey.whole)));
    assert!(share(survey.ragged) > 60);
    // Programs of the writing patterns that lost their writes to a mutation are few.
    assert!((43..=46).contains(&share(survey.writing)));
    assert!((15..=30).contains(&share(survey.imaged)));
    assert!((25..=45).contains(&share(survey.two_drives)));
    assert!((9..=17).contains(&(survey.operations / CASES)));
    assert!(survey.most_events <= 2_000 && survey.most_whole_events <= 30_000);
    assert!(share(survey.crowded) < 10);
    assert!(survey.track_bits / CASES < 10_000);
}

#[test]
fn every_operation_follows_every_other_one() {
    let survey = survey(Profile::sync_dma(), 2, false);
    let least = survey.pairs.iter().min_by_key(|(_, count)| **count);
    println!("{} pairs, least {least:?}", survey.pairs.len());
    assert_eq!(survey.pairs.len(), 196);
    assert!(survey.pairs.values().all(|count| *count >= 20), "{least:?}");
}

/// What every campaign must come through; state 0 is idle, 1 a read that waits, 2 one that runs, 3
/// a write that waits, 4 one with the gate open.
fn classes() -> impl Iterator<Item = Point> {
    let each = |what, which: std::ops::RangeInclusive<u64>| which.map(move |one| (what, one));
    let in_any_state = ["request while", "abort while", "reset while", "step while"]
        .into_iter()
        .chain(["select changes while", "motor changes while", "side changes while"])
        .chain(["sync word changes while", "sync on while", "sync off while"])
        .chain(["poll about a bit's end while"]);
    in_any_state
        .flat_map(move |what| each(what, 0..=4))
        .chain(each("start", 0..=2))
        .chain(each("start at index, by counter", 0..=15))
        .chain(each("start match, by counter", 0..=15))
        .chain(each("start match, by angle", 0..=15))
        .chain(each("match in a running read, by partial word", 0..=15))
        .chain(each("start match over index", 0..=0))
        .chain(each("running match over index", 0..=0))
        .chain([1, 2, 7, 16].map(|bits| ("match so many bits after one", bits)))
        .chain(each("sync switched in a raw read", 0..=1))
        .chain(each("request of words", 0..=2))
        .chain(each("cut off while waiting for the index", 0..=1))
        .chain(each("abort at level", 0..=3))
        .chain(each("reset at level", 0..=3))
        .chain(each("fifo filled to", 1..=3))
        .chain(each("words lost so far in a row", 1..=5))
        .chain(each("goes on after losing so many", 1..=5))
        .chain(each("poll so many bits after a match", 0..=3))
        .chain(each("byte poll about its completion", 0..=1))
        .chain(each("done, longer than a turn", 0..=1))
        .chain(each("done after words", 1..=3))
        .chain(each("write requested while", 0..=4))
        .chain(each("write requested", 0..=2))
        .chain(each("write of words", 0..=2))
        .chain(each("gate opens", 0..=2))
        .chain(each("gate opens with protect", 0..=2))
        .chain(each("start of a write missed", 1..=2))
        .chain(each("write on an image", 0..=0))
        .chain(each("copy", 0..=3))
        .chain(each("image copied to a real medium", 0..=0))
        .chain(each("write over the index", 0..=0))
        .chain(each("write longer than a turn", 0..=0))
        .chain(each("write ends after words", 1..=3))
        .chain(each("write aborted", 0..=5))
        .chain(each("write reset", 0..=5))
        .chain(each("after a write", 1..=13))
        .chain(each("read of what was written", 0..=0))
        .chain(each("underrun", Underrun::Zeros as u64..=Underrun::Zeros as u64))
}

#[test]
fn every_class_is_reached_often() {
    let survey = survey(Profile::sync_dma(), 3, true);
    let rare: Vec<(Point, u64)> = classes()
        .map(|point| (point, survey.reached.count(point)))
        .inspect(|(point, count)| println!("{count:7} {point:?}"))
        .filter(|(_, count)| *count < 20)
        .collect();
    assert!(rare.is_empty(), "in fewer than 20 of {CASES} cases: {rare:?}");
}

#[test]
fn every_underrun_is_reached_often() {
    for underrun in [Underrun::Repeat, Underrun::CloseGate, Underrun::Hold] {
        let survey = survey(Profile { underrun, ..Profile::sync_dma() }, 3, true);
        let count = survey.reached.count(("underrun", underrun as u64));
        assert!(count >= 20, "{underrun:?}: {count}");
    }
}

#[test]
fn without_a_capability_no_case_needs_it() {
    let can = Capabilities::all().without(Capability::Write).without(Capability::ImageDrives);
    let mut reading = Generator::limited_to(Profile::sync_dma(), can);
    let mut all = Generator::new(Profile::sync_dma());
    let mut same = 0;
    for index in 0..3_000 {
        let case = reading.case(1, index);
        assert!(can.missing(case.needs()).is_empty(), "index {index}");
        same += u32::from(case == all.case(1, index));
    }
    // Where the choices lead to neither writes nor images, both make the same.
    assert!(same > 1_000, "{same}");
}

#[test]
fn memory_of_earlier_cases_is_used_again() {
    let mut generator = Generator::new(Profile::sync_dma());
    let mut case = generator.case(1, 0);
    for index in 0..CASES {
        generator.generate(&mut SeededChoices::new(case_seed(1, index)), &mut case);
    }
    generator.spare.reclaim(&mut case);
    let parts = generator.spare.parts();
    assert!(parts <= 40, "{parts} parts are kept, more than any one case has");
}
