//! What was written under one opening of the gate: from transition times to channel bits, and what
//! is wrong with them.
//!
//! Each interval is rounded to channel bits of the nominal time (an ideal interval separator). Which
//! of them are clock bits [`cells`] finds from the data, [`marks`] knows what a mark is.

mod cells;
mod marks;

use super::finding::BitsAround;
use crate::report::grouped;
use cells::{Coded, cells, coded};
use marks::{SpoiltMark, plain_marks, spoilt_mark};
use trackproof_contract::{ChannelBits, Recording, RecordingSetup};
use trackproof_model::code::run_length::limits;
use trackproof_model::code::{Before, ClockFault, clock_byte};

/// A run of zeros that is kept as it is; behind a longer one everything begins anew.
const LONGEST_RUN: u64 = 64;
/// Channel bits shown before and behind a difference.
const SHOWN_BEFORE: usize = 24;
const SHOWN_BEHIND: usize = 16;

/// A stretch of a write, judged.
#[derive(Default)]
pub(super) struct Piece {
    pub(super) channel_bits: u64,
    pub(super) faults: Vec<Fault>,
    pub(super) marks: u64,
    /// When bytes that look like marks begin, but for their clock bits, which are all there.
    pub(super) plain_marks: Vec<u64>,
    pub(super) phase_changes: u64,
    /// Whether the last transition stands at a clock bit's place, if anything tells.
    pub(super) ends_at_clock: Option<bool>,
}

/// Something wrong in a stretch.
pub(super) struct Fault {
    pub(super) rule: &'static str,
    pub(super) kind: &'static str,
    pub(super) at_bit: u64,
    pub(super) ns: u64,
    pub(super) expected: String,
    pub(super) got: String,
    pub(super) bits: BitsAround,
}

/// Channel bits with the times of their ones.
struct Stretch {
    bits: ChannelBits,
    ones: Vec<(usize, u64)>,
    /// Its first bit's number in the piece.
    start: u64,
}

impl Stretch {
    fn begin(ns: u64, start: u64) -> Self {
        let mut bits = ChannelBits::new();
        bits.push(1, 1);
        Self { bits, ones: vec![(0, ns)], start }
    }

    fn push(&mut self, channel_bits: u64, ns: u64) {
        self.bits.push(1, channel_bits as usize);
        self.ones.push((self.bits.len() - 1, ns));
    }

    /// When a channel bit's transition is, or would be.
    fn ns(&self, bit: usize, channel_bit_ns: u64) -> u64 {
        let before = self.ones.partition_point(|(place, _)| *place <= bit).saturating_sub(1);
        let (place, ns) = self.ones[before];
        ns + (bit - place) as u64 * channel_bit_ns
    }

    /// The bits around one of them, and where they begin. `clock` is any clock bit's number.
    fn around(&self, at: usize, clock: usize) -> (String, usize, usize) {
        let from = at.saturating_sub(SHOWN_BEFORE);
        let to = (at + SHOWN_BEHIND).min(self.bits.len());
        let sign = |bit| if self.bits.get(bit) { '1' } else { '0' };
        ((from..to).map(sign).collect(), at - from, (clock + from) % 2)
    }
}

/// Judges the transitions at these times, of which there are two at least. `begins_at_clock` says of
/// a piece that goes on what [`Piece::ends_at_clock`] said of the one before.
pub(super) fn judge(
    times_ns: &[u64],
    begins_at_clock: Option<bool>,
    setup: &RecordingSetup,
) -> Piece {
    let mut piece = Piece { ends_at_clock: begins_at_clock, ..Piece::default() };
    let mut stretch = Stretch::begin(times_ns[0], 0);
    // Intervals outside the limits, by the bit that ends them, with their length in time.
    let mut spacings = Vec::new();
    let mut seams = Vec::new();
    let bit_ns = setup.channel_bit_ns.max(1);
    for pair in times_ns.windows(2) {
        let gap_ns = pair[1] - pair[0];
        let nearest = ((2 * gap_ns + bit_ns) / (2 * bit_ns)).max(1);
        let off_ns = gap_ns.abs_diff(nearest * bit_ns);
        let legal = limits(setup.recording).contains(&(nearest as usize));
        if nearest > LONGEST_RUN {
            let last = stretch.bits.len() - 1;
            spacings.push((last, gap_ns, nearest, pair[0]));
            let start = stretch.start + stretch.bits.len() as u64 - 1 + nearest;
            finish(&stretch, &spacings, &seams, setup, &mut piece);
            (spacings, seams) = (Vec::new(), Vec::new());
            stretch = Stretch::begin(pair[1], start);
            continue;
        }
        stretch.push(nearest, pair[1]);
        let end = stretch.bits.len() - 1;
        if !legal {
            spacings.push((end, gap_ns, nearest, pair[0]));
        } else if off_ns * 100 > bit_ns * setup.limits.spacing_percent {
            seams.push((end, gap_ns, nearest));
        }
    }
    finish(&stretch, &spacings, &seams, setup, &mut piece);
    piece.channel_bits = stretch.start + stretch.bits.len() as u64;
    piece.faults.sort_by_key(|fault| fault.at_bit);
    piece
}

type Spacing = (usize, u64, u64, u64);

fn finish(
    stretch: &Stretch,
    spacings: &[Spacing],
    seams: &[(usize, u64, u64)],
    setup: &RecordingSetup,
    piece: &mut Piece,
) {
    // Behind a long run nothing is known of the cells.
    let begins = piece.ends_at_clock.take().filter(|_| stretch.start == 0);
    let (cells, sure_cells) = cells(&stretch.bits, begins, setup.recording);
    if let Some(last) = cells.last().filter(|_| sure_cells) {
        piece.ends_at_clock = Some((stretch.bits.len() - 1) % 2 == last.clock);
    }
    piece.phase_changes += cells.len().saturating_sub(1) as u64;
    let mut explained = Vec::new();
    let mut before = None;
    // Where nothing tells, either of two bits that stand too close may be the clock bit.
    let sure = setup.recording == Recording::Mfm && sure_cells;
    for (part, next) in cells.iter().zip(cells.iter().skip(1).map(Some).chain([None])) {
        let end = next.map_or(stretch.bits.len(), |next| next.start);
        let coded = coded(&stretch.bits, part, end, before, setup.recording);
        piece.marks += coded.marks.len() as u64;
        piece.plain_marks.extend(
            plain_marks(&coded.bits, setup.recording)
                .map(|bit| stretch.ns(coded.start + bit, setup.channel_bit_ns)),
        );
        for fault in coded.faults.iter().filter(|fault| fault.missing || sure) {
            explained.push((coded.start + fault.at_bit, fault.missing));
            let fault = wrong_clock(stretch, &coded, *fault, setup);
            // A mark with several wrong clock bits is one wrong mark.
            let same = |last: &Fault| (last.rule, last.at_bit) == (fault.rule, fault.at_bit);
            if !piece.faults.last().is_some_and(same) {
                piece.faults.push(fault);
            }
        }
        before = (end > 0).then(|| Before::bit(stretch.bits.get(end - 1)));
    }
    let clock_of = |bit: usize| {
        let part = cells.iter().rev().find(|part| part.start <= bit).or(cells.first());
        part.map_or(0, |part| part.clock)
    };
    for (end, gap_ns, nearest, from_ns) in spacings {
        // A clock bit that is missing inside a long interval, or too many at an end of a short one,
        // explains it.
        let far = *nearest > *limits(setup.recording).end() as u64;
        let begin = end.saturating_sub(*nearest as usize);
        let explains =
            |(bit, missing): &(usize, bool)| *missing == far && (begin..=*end).contains(bit);
        if explained.iter().any(explains) {
            continue;
        }
        let limits = limits(setup.recording);
        let (bits, at, first_clock) = stretch.around(*end, clock_of(*end));
        let bit_ns = setup.channel_bit_ns;
        piece.faults.push(Fault {
            rule: "run.length",
            kind: if *nearest < *limits.start() as u64 { "too-close" } else { "too-far" },
            at_bit: stretch.start + *end as u64,
            ns: from_ns + gap_ns,
            expected: format!(
                "transitions {} to {} channel bits apart, {} to {} ns",
                limits.start(),
                limits.end(),
                grouped(*limits.start() as u64 * bit_ns),
                grouped(*limits.end() as u64 * bit_ns)
            ),
            got: format!("{} ns, about {} of them", grouped(*gap_ns), grouped(*nearest)),
            bits: BitsAround { expected: None, got: bits, at, first_clock },
        });
    }
    for (end, gap_ns, nearest) in seams {
        let (bits, at, first_clock) = stretch.around(*end, clock_of(*end));
        let bit_ns = setup.channel_bit_ns;
        let most = bit_ns * setup.limits.spacing_percent / 100;
        piece.faults.push(Fault {
            rule: "write.cadence",
            kind: "off-the-bit-time",
            at_bit: stretch.start + *end as u64,
            ns: stretch.ns(*end, bit_ns),
            expected: format!(
                "{} ns behind the transition before it, {} more or less",
                grouped(nearest * bit_ns),
                grouped(most)
            ),
            got: format!("{} ns", grouped(*gap_ns)),
            bits: BitsAround { expected: None, got: bits, at, first_clock },
        });
    }
}

fn wrong_clock(
    stretch: &Stretch,
    coded: &Coded,
    fault: ClockFault,
    setup: &RecordingSetup,
) -> Fault {
    let spoilt = spoilt_mark(&coded.bits, fault.at_bit, setup.recording);
    // Of a mark the first bit that is not the mark's, else the clock bit.
    let differs = spoilt.map_or(fault.at_bit, |spoilt| {
        let differing = spoilt.word ^ spoilt.mark.channel_bits();
        spoilt.start + differing.leading_zeros().min(15) as usize
    });
    let at = coded.start + differs;
    let (got_bits, shown_at, first_clock) = stretch.around(at, coded.start);
    let sign = |one: bool| if one { "1" } else { "0" };
    let mut expected_bits = got_bits.clone();
    let (rule, kind, expected, got) = if let Some(SpoiltMark { start, word, mark }) = spoilt {
        for bit in 0..16 {
            let place = (coded.start + start + bit + shown_at).checked_sub(at);
            if let Some(place) = place.filter(|place| *place < expected_bits.len()) {
                let one = mark.channel_bits() >> (15 - bit) & 1 == 1;
                expected_bits.replace_range(place..=place, sign(one));
            }
        }
        let expected = format!(
            "{:02X} behind a sync field as a mark, with the clock byte {:02X}",
            mark.data, mark.clock
        );
        let got = format!("the clock byte {:02X}, channel bits {word:04X}", clock_byte(word));
        ("mark.pattern", "other-clock", expected, got)
    } else {
        expected_bits.replace_range(shown_at..=shown_at, sign(fault.missing));
        let (kind, expected, got) = match (fault.missing, setup.recording) {
            (true, Recording::Mfm) => {
                let expected = "a clock transition between two data bits 0";
                ("clock-bit-missing", expected, "no transition")
            }
            (true, Recording::Fm) => {
                ("clock-bit-missing", "a clock transition in every cell", "no transition")
            }
            (false, _) => {
                let expected = "no clock transition beside a data bit 1";
                ("clock-bit-too-many", expected, "a transition")
            }
        };
        ("clock.rule", kind, expected.to_owned(), got.to_owned())
    };
    Fault {
        rule,
        kind,
        at_bit: stretch.start + at as u64,
        ns: stretch.ns(at, setup.channel_bit_ns),
        expected,
        got,
        bits: BitsAround {
            expected: Some(expected_bits),
            got: got_bits,
            at: shown_at,
            first_clock,
        },
    }
}
