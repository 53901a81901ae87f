//! The passive judge: a right recording conforms, and each fault is named by its rule at its time.

use std::collections::BTreeSet;
use trackproof::recording::{Judge, Judgement};
use trackproof_contract::DriveLine::{
    self, Direction, Index, MotorOn, ReadData, Select, Side, Step, WriteData, WriteGate,
};
use trackproof_contract::LineEvent::{Becomes, Transition};
use trackproof_contract::LineState::{Active, Inactive, Unknown};
use trackproof_contract::{
    ChannelBits, LineEdge, LineLimits, Recording, RecordingSetup, SelectUse,
};
use trackproof_model::code::{Before, Mark, encode};

const BIT_NS: u64 = 2_000;
const GATE_NS: u64 = 2_000_000;
const LINES: [DriveLine; 10] =
    [Select(0), Select(1), MotorOn, Side, Direction, Step, WriteGate, WriteData, Index, ReadData];

fn setup(recording: Recording) -> RecordingSetup {
    RecordingSetup {
        lines: LINES.to_vec(),
        recording,
        channel_bit_ns: BIT_NS,
        turn_ns: 200_000_000,
        limits: LineLimits::default(),
    }
}

/// Edges in any order; the judge gets them in the order of time.
#[derive(Clone, Default)]
struct Bus(Vec<LineEdge>);

impl Bus {
    /// Every line inactive, drive 0 selected, the motor on.
    fn at_rest() -> Self {
        let mut bus = Self::default();
        for line in LINES {
            bus.is(0, line, false);
        }
        bus.is(10, MotorOn, true);
        bus.is(1_000_000, Select(0), true);
        bus
    }

    fn is(&mut self, ns: u64, line: DriveLine, active: bool) {
        let state = if active { Active } else { Inactive };
        self.0.push(LineEdge { ns, line, event: Becomes(state) });
    }

    fn pulse(&mut self, ns: u64, line: DriveLine, width_ns: u64) {
        self.is(ns, line, true);
        self.is(ns + width_ns, line, false);
    }

    fn transition(&mut self, ns: u64, line: DriveLine) {
        self.0.push(LineEdge { ns, line, event: Transition });
    }

    /// Writes transitions at these times, the gate open around them.
    fn writes(&mut self, times: &[u64]) {
        self.is(GATE_NS, WriteGate, true);
        for ns in times {
            self.transition(*ns, WriteData);
        }
        self.is(times.last().unwrap() + BIT_NS, WriteGate, false);
    }

    fn judged_by(&self, setup: RecordingSetup) -> Judgement {
        let mut edges = self.0.clone();
        edges.sort_by_key(|edge| edge.ns);
        let end_ns = edges.last().map_or(0, |edge| edge.ns);
        let mut judge = Judge::new(setup);
        edges.into_iter().for_each(|edge| judge.take(edge));
        judge.finish(end_ns)
    }

    fn judged(&self) -> Judgement {
        self.judged_by(setup(Recording::Mfm))
    }
}

/// Rule, kind and time of all findings.
fn names(judgement: &Judgement) -> Vec<(&'static str, &'static str, u64)> {
    judgement.findings.iter().map(|one| (one.rule.id, one.kind, one.ns)).collect()
}

fn fact(judgement: &Judgement, about: &str) -> String {
    let found = judgement.facts.iter().find(|fact| fact.about == about);
    found.map(|fact| fact.text.clone()).unwrap_or_else(|| panic!("{:?}", judgement.facts))
}

/// A stream of bytes and marks, with its clock bits.
struct Stream {
    recording: Recording,
    bits: ChannelBits,
    before: Before,
    /// The channel bits of marks.
    marks: BTreeSet<usize>,
}

impl Stream {
    fn new(recording: Recording) -> Self {
        Self { recording, bits: ChannelBits::new(), before: Before::Zero, marks: BTreeSet::new() }
    }

    fn bytes(mut self, bytes: &[u8]) -> Self {
        encode(self.recording, self.before, bytes, &mut self.bits);
        self.before = self.before.after(bytes);
        self
    }

    fn word(mut self, word: u16) -> Self {
        self.marks.extend(self.bits.len()..self.bits.len() + 16);
        self.bits.push(u64::from(word), 16);
        self.before = Before::bit(word & 1 == 1);
        self
    }

    /// The times of the ones, from 3 µs behind the gate's opening on.
    fn times(&self) -> Vec<u64> {
        let ones = (0..self.bits.len()).filter(|bit| self.bits.get(*bit));
        ones.map(time).collect()
    }
}

fn time(bit: usize) -> u64 {
    GATE_NS + 3_000 + bit as u64 * BIT_NS
}

/// A sector's address and data, as a formatter writes them.
fn mfm() -> Stream {
    let mark = Mark::MFM_A1.channel_bits();
    let data: Vec<u8> = (0..=255).collect();
    Stream::new(Recording::Mfm)
        .bytes(&[0x4e; 20])
        .bytes(&[0; 12])
        .word(mark)
        .word(mark)
        .word(mark)
        .bytes(&[0xfe, 0, 0, 1, 2, 0xca, 0x6f])
        .bytes(&[0x4e; 22])
        .bytes(&[0; 12])
        .word(mark)
        .word(mark)
        .word(mark)
        // Data 4x behind a mark makes another 4489 half a cell off.
        .bytes(&[0x45, 0xfb])
        .bytes(&data)
        .bytes(&[0; 4])
        .word(Mark::MFM_C2.channel_bits())
        // And so does 8x behind the index mark.
        .bytes(&[0x85, 0x4e, 0x4e])
}

fn fm() -> Stream {
    let data: Vec<u8> = (0..=255).rev().collect();
    Stream::new(Recording::Fm)
        .bytes(&[0xff; 11])
        .bytes(&[0; 6])
        .word(Mark::FM_IDENTIFIER.channel_bits())
        .bytes(&[0, 0, 1, 0, 0xf2, 0x81])
        .bytes(&[0xff; 11])
        .bytes(&[0; 6])
        .word(Mark::FM_DATA.channel_bits())
        .bytes(&data)
}

fn judged_write(recording: Recording, times: &[u64]) -> Judgement {
    let mut bus = Bus::at_rest();
    bus.writes(times);
    bus.judged_by(setup(recording))
}

#[test]
fn a_right_write_conforms_and_is_counted() {
    let judgement = judged_write(Recording::Mfm, &mfm().times());
    assert_eq!(names(&judgement), []);
    assert_eq!(judgement.inconclusive, None);
    assert!(fact(&judgement, "writes").contains("7 marks"), "{:?}", judgement.facts);
    let looked: Vec<u64> = judgement.coverage.iter().map(|rule| rule.looked_at).collect();
    assert_eq!(looked, [1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0]);
    let judgement = judged_write(Recording::Fm, &fm().times());
    assert_eq!(names(&judgement), []);
    assert!(fact(&judgement, "writes").contains("2 marks"), "{:?}", judgement.facts);
}

#[test]
fn a_write_may_begin_in_the_middle_of_a_cell_and_be_precompensated() {
    let times = mfm().times();
    for first in 1..40 {
        assert_eq!(names(&judged_write(Recording::Mfm, &times[first..])), [], "from {first}");
    }
    // 125 ns, the pattern of the standard's table apart: a tolerance is a tolerance.
    let shifted: Vec<u64> =
        (0..).zip(&times).map(|(place, ns)| ns + [125, 0, 250, 125][place % 4]).collect();
    assert_eq!(names(&judged_write(Recording::Mfm, &shifted)), []);
}

#[test]
fn every_clock_bit_that_is_missing_is_named_at_its_time() {
    for stream in [mfm(), fm()] {
        let times = stream.times();
        let clocks = (0..stream.bits.len()).step_by(2).filter(|bit| stream.bits.get(*bit));
        let mut tried = 0;
        // Without the first or the last ones the write is only shorter.
        for bit in clocks.filter(|bit| (2..stream.bits.len() - 4).contains(bit)) {
            let without: Vec<u64> = times.iter().copied().filter(|ns| *ns != time(bit)).collect();
            let judgement = judged_write(stream.recording, &without);
            let found = names(&judgement);
            let in_mark = stream.marks.contains(&bit);
            let rules: &[&str] =
                if in_mark { &["mark.pattern", "clock.rule"] } else { &["clock.rule"] };
            assert!(
                found.first().is_some_and(|(rule, _, _)| rules.contains(rule)),
                "{:?} {bit}: {found:?}",
                stream.recording
            );
            if !in_mark {
                assert_eq!(found, [("clock.rule", "clock-bit-missing", time(bit))]);
                let around = judgement.findings[0].bits.as_ref().unwrap();
                assert_eq!(&around.got[around.at..=around.at], "0");
                assert_eq!(&around.expected.as_ref().unwrap()[around.at..=around.at], "1");
                tried += 1;
            }
        }
        assert!(tried > 500, "{tried}");
    }
}

#[test]
fn every_clock_bit_too_many_is_named_at_its_time() {
    let stream = mfm();
    let times = stream.times();
    let free = (0..stream.bits.len()).step_by(2).filter(|bit| !stream.bits.get(*bit));
    let mut tried = 0;
    let inside = 2..stream.bits.len() - 2;
    for bit in free.filter(|bit| !stream.marks.contains(bit) && inside.contains(bit)) {
        let mut more = times.clone();
        more.insert(more.partition_point(|ns| *ns < time(bit)), time(bit));
        let found = names(&judged_write(Recording::Mfm, &more));
        assert_eq!(found, [("clock.rule", "clock-bit-too-many", time(bit))], "{bit}");
        tried += 1;
    }
    assert!(tried > 1_000, "{tried}");
}

#[test]
fn a_mark_with_another_clock_byte_is_a_wrong_mark() {
    // A1 with the clock bytes 0C, 06 and 02 instead of 0A or the rule's 0E.
    for clock in [0x0c, 0x06, 0x02] {
        let word = Mark { data: 0xa1, clock }.channel_bits();
        let stream = Stream::new(Recording::Mfm).bytes(&[0x4e; 20]).bytes(&[0; 12]);
        let at = stream.bits.len();
        let stream = stream.word(word).word(word).word(word).bytes(&[0xfe, 0, 0, 1, 2]);
        let found = names(&judged_write(Recording::Mfm, &stream.times()));
        let (rule, kind, ns) = found[0];
        assert_eq!((rule, kind), ("mark.pattern", "other-clock"), "{clock:02x}: {found:?}");
        assert!((time(at)..time(at + 16)).contains(&ns), "{clock:02x}: {ns}");
    }
}

#[test]
fn a_mark_that_went_through_the_clock_generator_is_stated() {
    let stream = Stream::new(Recording::Mfm).bytes(&[0x4e; 9]).bytes(&[0; 12]);
    let at = stream.bits.len();
    let stream = stream.bytes(&[0xa1, 0xa1, 0xa1, 0xfe, 0, 0]);
    let judgement = judged_write(Recording::Mfm, &stream.times());
    assert_eq!(names(&judgement), []);
    // The time of its first clock bit, a 0 behind the sync field.
    let told = fact(&judgement, "plain-marks");
    let ns = trackproof::report::grouped(time(at));
    assert!(told.contains("1 run of A1 or C2") && told.contains(&ns), "{told}, not {ns}");
}

#[test]
fn spacing_is_named_by_what_is_wrong_with_it() {
    let times = mfm().times();
    let place = times.len() / 2;
    // Where all cells look alike nobody knows which of the two is the clock bit.
    let plain = Stream::new(Recording::Mfm).bytes(&[0; 99]).times();
    let mut close = plain.clone();
    close.insert(100, plain[100] - BIT_NS);
    let found = names(&judged_write(Recording::Mfm, &close));
    assert_eq!(found, [("run.length", "too-close", plain[100] - BIT_NS)]);

    // The serialiser stands still for 0.7 µs.
    let late: Vec<u64> =
        (0..).zip(&times).map(|(at, ns)| ns + 700 * u64::from(at >= place)).collect();
    let found = names(&judged_write(Recording::Mfm, &late));
    assert_eq!(found, [("write.cadence", "off-the-bit-time", times[place] + 700)]);

    // And for a millisecond: what comes behind is judged anew.
    let later: Vec<u64> =
        (0..).zip(&times).map(|(at, ns)| ns + 1_000_000 * u64::from(at >= place)).collect();
    let found = names(&judged_write(Recording::Mfm, &later));
    assert_eq!(found, [("run.length", "too-far", times[place] + 1_000_000)]);
}

#[test]
fn a_slip_inside_a_write_is_found_where_it_is() {
    let slipped = |byte: usize| {
        let moved = |ns| if ns >= time(16 * byte) { ns + BIT_NS } else { ns };
        let times: Vec<u64> = mfm().times().into_iter().map(moved).collect();
        judged_write(Recording::Mfm, &times)
    };
    // A channel bit too many in the middle of data.
    let found = names(&slipped(150));
    assert!(!found.is_empty() && found[0].2.abs_diff(time(16 * 150)) <= 32 * BIT_NS, "{found:?}");
    // In a gap of 4E nothing illegal comes of it, but the next mark stands half a cell off.
    let gap = slipped(50);
    assert_eq!(names(&gap), []);
    assert!(fact(&gap, "phase").contains("1 time"));
}

#[test]
fn a_write_of_any_length_is_judged_in_bounded_pieces() {
    // 1.2 million transitions, over two pieces' ends; one clock bit is missing near the end.
    let mut stream = Stream::new(Recording::Mfm).bytes(&[0; 4]).word(0x4489);
    for _ in 0..4_700 {
        stream = stream.bytes(&[0x00; 32]);
    }
    let mut times = stream.times();
    let dropped = times.remove(times.len() - 100);
    let judgement = judged_write(Recording::Mfm, &times);
    assert_eq!(names(&judgement), [("clock.rule", "clock-bit-missing", dropped)]);
    assert_eq!(judgement.findings[0].again, 0);
}

#[test]
fn the_gate_waits_for_select_and_side() {
    let times = mfm().times();
    let with = |change: &dyn Fn(&mut Bus)| {
        let mut bus = Bus::at_rest();
        change(&mut bus);
        bus.writes(&times);
        names(&bus.judged())
    };
    let nobody = with(&|bus| bus.is(1_500_000, Select(0), false));
    assert_eq!(nobody, [("gate.quiet", "no-drive-selected", GATE_NS)]);
    let late = with(&|bus| {
        bus.is(1_500_000, Select(0), false);
        bus.is(GATE_NS - 499, Select(1), true);
    });
    assert_eq!(late, [("transfer.hold", "select-under-way", GATE_NS)]);
    let side = with(&|bus| bus.is(GATE_NS - 99_999, Side, true));
    assert_eq!(side, [("transfer.hold", "side-under-way", GATE_NS)]);
    let in_time = with(&|bus| bus.is(GATE_NS - 100_000, Side, true));
    assert_eq!(in_time, []);
    let together = with(&|bus| bus.is(GATE_NS, Side, true));
    assert_eq!(together, [("transfer.hold", "side-under-way", GATE_NS)]);
}

#[test]
fn a_gate_that_opens_for_nothing_is_not_quiet() {
    let mut bus = Bus::at_rest();
    bus.pulse(GATE_NS, WriteGate, 200);
    assert_eq!(names(&bus.judged()), [("gate.quiet", "no-word-fits", GATE_NS)]);
}

#[test]
fn steering_lines_keep_still_under_the_gate() {
    let times = mfm().times();
    let ns = GATE_NS + 5_000;
    for line in [Select(0), Side, MotorOn, Direction] {
        let mut bus = Bus::at_rest();
        bus.writes(&times);
        bus.is(ns, line, !matches!(line, Select(0) | MotorOn));
        let found = names(&bus.judged());
        assert_eq!(found, [("write.steady", "under-open-gate", ns)], "{line}");
    }
    let mut bus = Bus::at_rest();
    bus.writes(&times);
    bus.pulse(ns, Step, 2_000);
    let judgement = bus.judged();
    assert_eq!(names(&judgement), [("write.steady", "under-open-gate", ns)]);
    assert_eq!(judgement.findings[0].again, 1);

    // Behind the gate, where the map says that the drive's erase current holds on.
    let mut bus = Bus::at_rest();
    bus.writes(&times);
    let behind = times.last().unwrap() + BIT_NS + 10_000;
    bus.is(behind, Side, true);
    assert_eq!(names(&bus.judged()), []);
    let mut strict = setup(Recording::Mfm);
    strict.limits.erase_hold_ns = 800_000;
    let found = names(&bus.judged_by(strict));
    assert_eq!(found, [("write.steady", "within-erase-hold", behind)]);
}

#[test]
fn selects_that_overlap_are_told_apart_by_how_long() {
    let mut bus = Bus::at_rest();
    bus.is(3_000_000, Select(1), true);
    bus.is(3_000_400, Select(0), false);
    assert_eq!(names(&bus.judged()), [("select.break-first", "makes-first", 3_000_000)]);
    let mut bus = Bus::at_rest();
    bus.is(3_000_000, Select(1), true);
    bus.is(3_900_000, Side, true);
    assert_eq!(names(&bus.judged()), [("select.exclusive", "two-selected", 3_000_000)]);
    let mut independent = setup(Recording::Mfm);
    independent.limits.selects = SelectUse::Independent;
    assert_eq!(names(&bus.judged_by(independent)), []);
    let mut bus = Bus::at_rest();
    bus.is(3_000_000, Select(0), false);
    bus.is(3_000_000, Select(1), true);
    assert_eq!(names(&bus.judged()), []);
}

#[test]
fn steps_are_held_to_what_drives_can_follow() {
    let stepped = |change: &dyn Fn(&mut Bus)| {
        let mut bus = Bus::at_rest();
        bus.is(2_000_000, Direction, true);
        bus.pulse(3_000_000, Step, 4_000);
        change(&mut bus);
        names(&bus.judged())
    };
    let one = |kind| vec![("drive.step", kind, 6_500_000)];
    assert_eq!(stepped(&|bus| bus.pulse(6_500_000, Step, 1_000)), []);
    assert_eq!(stepped(&|bus| bus.pulse(6_500_000, Step, 999)), one("pulse-too-short"));
    assert_eq!(stepped(&|bus| bus.pulse(6_500_000, Step, 2_000_001)), one("pulse-too-long"));
    let early = stepped(&|bus| bus.pulse(6_000_000, Step, 2_000));
    assert_eq!(early, [("drive.step", "too-fast", 6_002_000)]);
    let set_up = stepped(&|bus| {
        bus.is(6_499_100, Direction, false);
        bus.pulse(6_500_000, Step, 4_000);
    });
    assert_eq!(set_up, one("direction-set-up"));
    let hold = stepped(&|bus| bus.is(3_004_500, Direction, false));
    assert_eq!(hold, [("drive.step", "direction-hold", 3_004_500)]);
    let inside = stepped(&|bus| bus.is(3_001_000, Direction, false));
    assert_eq!(inside, [("drive.step", "direction-in-pulse", 3_001_000)]);
    let nobody = stepped(&|bus| {
        bus.is(5_000_000, Select(0), false);
        bus.pulse(6_500_000, Step, 4_000);
    });
    assert_eq!(nobody, one("not-selected"));
    // Two drives in turn are not too fast.
    let turns = stepped(&|bus| {
        bus.is(3_500_000, Select(0), false);
        bus.is(3_600_000, Select(1), true);
        bus.pulse(4_000_000, Step, 4_000);
    });
    assert_eq!(turns, []);
}

#[test]
fn index_is_stated_and_judged_only_where_the_map_says_so() {
    let mut bus = Bus::at_rest();
    for turn in [0, 1, 2, 4, 5] {
        bus.pulse(2_000_000 + turn * 201_000_000, Index, 2_000_000);
    }
    let judgement = bus.judged();
    assert_eq!(names(&judgement), []);
    let told = fact(&judgement, "turns");
    assert!(told.starts_with("5 pulses, a turn takes 201 000 000 to 402 000 000 ns"), "{told}");
    let mut judged = setup(Recording::Mfm);
    judged.limits.index_permille = 15;
    let lost = 2_000_000 + 4 * 201_000_000;
    assert_eq!(names(&bus.judged_by(judged)), [("drive.index", "index-lost", lost)]);
}

#[test]
fn read_data_is_stated_and_accuses_nobody() {
    let mut bus = Bus::at_rest();
    for ns in [0, 4_000, 10_100, 18_000, 20_000, 34_000] {
        bus.transition(3_000_000 + ns, ReadData);
    }
    let judgement = bus.judged();
    assert_eq!(names(&judgement), []);
    let told = fact(&judgement, "read");
    for part in ["6 transitions", "1 of 1, 1 of 2, 1 of 3, 1 of 4, 1 of 5 or more", "2 outside"] {
        assert!(told.contains(part), "{told}");
    }
}

#[test]
fn what_is_unknown_is_not_judged_and_too_much_of_it_is_inconclusive() {
    let times = mfm().times();
    let last = *times.last().unwrap();
    let gap = |from_ns: u64, to_ns: u64| {
        let mut bus = Bus::at_rest();
        bus.is(GATE_NS, WriteGate, true);
        bus.is(last + BIT_NS, WriteGate, false);
        for ns in times.iter().filter(|ns| !(from_ns..=to_ns).contains(*ns)) {
            bus.transition(*ns, WriteData);
        }
        for (ns, state) in [(from_ns, Unknown), (to_ns, Inactive)] {
            bus.0.push(LineEdge { ns, line: WriteData, event: Becomes(state) });
        }
        bus.judged()
    };
    let short = gap(times[100], times[110]);
    assert_eq!(names(&short), []);
    assert_eq!(short.inconclusive, None);
    assert!(fact(&short, "unknown").contains("unknown (x or z) 1 time"));
    let long = gap(times[100], times[times.len() / 2]);
    assert_eq!(names(&long), []);
    assert!(long.inconclusive.unwrap().contains("less than 90 %"));
}

#[test]
fn rules_without_their_lines_are_skipped_and_say_which() {
    let mut few = setup(Recording::Mfm);
    few.lines = vec![Select(0), WriteGate];
    let mut bus = Bus::default();
    for line in [Select(0), WriteGate] {
        bus.is(0, line, false);
    }
    bus.is(10, Select(0), true);
    bus.pulse(GATE_NS, WriteGate, 1_000_000);
    let judgement = bus.judged_by(few);
    assert_eq!(names(&judgement), []);
    let skipped: Vec<&str> = judgement
        .coverage
        .iter()
        .filter(|rule| rule.skipped.is_some())
        .map(|rule| rule.rule.id)
        .collect();
    assert_eq!(
        skipped,
        [
            "clock.rule",
            "run.length",
            "mark.pattern",
            "write.cadence",
            "select.exclusive",
            "select.break-first",
            "drive.step",
            "drive.index"
        ]
    );
    assert!(judgement.judged_anything());
    let why = &judgement.coverage[0].skipped.as_ref().unwrap().0;
    assert_eq!(why, "not recorded: write-data");
}

#[test]
fn a_recording_that_begins_and_ends_under_the_gate_is_judged_in_between() {
    let mut bus = Bus::default();
    for line in LINES {
        bus.is(0, line, matches!(line, WriteGate | Select(0) | MotorOn));
    }
    for ns in mfm().times() {
        bus.transition(ns, WriteData);
    }
    let judgement = bus.judged();
    assert_eq!(names(&judgement), []);
    assert!(fact(&judgement, "writes").contains("still open at the end"));
}
