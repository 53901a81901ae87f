//! Which channel bits are clock bits, and what is wrong with them.
//!
//! It has to be found from the data: a mark of MFM, 4489, stands in no legal stream at any phase (by
//! enumeration), so marks tell; without one a sync field with spoilt marks does, else the phase that
//! breaks fewer rules. Behind a mark of another phase the cells are taken to begin anew.

use super::marks::{SYNC_BYTES, anchors, marks};
use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::{
    Before, ClockFault, Mark, clock_differences, data_byte, mfm_fast, regenerate_stream_clocks,
};
use trackproof_model::search::{Pattern, next_match};

/// Cells that begin anew half a cell off count as unlikely as so many faults. By definition.
const PHASE_CHANGE: usize = 8;

/// Where bit cells begin, up to the next of these.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cells {
    /// The first channel bit that they hold for.
    pub(super) start: usize,
    /// Clock bits have this number or one that is even less it: 0 or 1.
    pub(super) clock: usize,
}

/// Finds which bits are clock bits, and whether that is sure; `begins_at_clock` says it of the first
/// one, if it is known.
pub(super) fn cells(
    bits: &ChannelBits,
    begins_at_clock: Option<bool>,
    recording: Recording,
) -> (Vec<Cells>, bool) {
    let faults = |clock: usize, end: usize| {
        let cells = Cells { start: 0, clock };
        let coded = coded(bits, &cells, end, None, recording);
        coded.faults.len()
    };
    let likely = |clock: usize, end: usize| {
        let other = faults(1 - clock, end) + PHASE_CHANGE < faults(clock, end);
        if other { 1 - clock } else { clock }
    };
    let begins = begins_at_clock.map(|at_clock| usize::from(!at_clock));
    let anchors = match recording {
        Recording::Mfm => anchors(bits),
        // Marks of FM have a phase of their own too, and fewer faults find it.
        Recording::Fm => Vec::new(),
    };
    let Some(first) = anchors.first() else {
        let clock = match (begins, by_layout(bits, recording)) {
            (_, Some(clock)) => return (vec![Cells { start: 0, clock }], true),
            (Some(clock), None) => likely(clock, bits.len()),
            (None, None) => usize::from(faults(1, bits.len()) < faults(0, bits.len())),
        };
        let apart = faults(0, bits.len()).abs_diff(faults(1, bits.len()));
        let sure = begins.is_some() || apart >= PHASE_CHANGE;
        return (vec![Cells { start: 0, clock }], sure);
    };
    let mut clock = likely(begins.unwrap_or(first % 2), *first);
    let mut found = vec![Cells { start: 0, clock }];
    for anchor in anchors {
        if anchor % 2 != clock {
            clock = anchor % 2;
            found.push(Cells { start: anchor, clock });
        }
    }
    (found, true)
}

/// Which bits are clock bits, where no mark is whole: a sync field and three bytes A1 or C2 behind it
/// stand in the data bits of one phase alone, whatever their clock bits are.
fn by_layout(bits: &ChannelBits, recording: Recording) -> Option<usize> {
    if recording == Recording::Fm {
        return None;
    }
    // The data bits of 00 and the three bytes, a clock bit of any value before each.
    let data_of = |byte: u8| u64::from(Mark { data: byte, clock: 0 }.channel_bits());
    let mut found = [false; 2];
    for data in [Mark::MFM_A1.data, Mark::MFM_C2.data] {
        let word = data_of(data) * 0x0001_0001_0001;
        let pattern = Pattern { word, mask: 0x5555_5555_5555_5555, width: 64 };
        let mut from = 0;
        while let Some(end) = next_match(bits, pattern, from, bits.len()) {
            from = end + 1;
            let start = end - 64;
            let zeros = |before: usize| {
                let at = start.checked_sub(16 * before);
                at.is_some_and(|at| data_byte(bits.window(at, 16) as u16) == 0)
            };
            found[start % 2] |= (1..SYNC_BYTES).all(zeros);
        }
    }
    match found {
        [true, false] => Some(0),
        [false, true] => Some(1),
        _ => None,
    }
}

/// Bits from a clock bit on, with what is wrong about them.
pub(super) struct Coded {
    pub(super) bits: ChannelBits,
    /// The number of the first one in the stretch.
    pub(super) start: usize,
    pub(super) marks: Vec<usize>,
    pub(super) faults: Vec<ClockFault>,
}

pub(super) fn coded(
    all: &ChannelBits,
    cells: &Cells,
    end: usize,
    before: Option<Before>,
    recording: Recording,
) -> Coded {
    let skipped = (cells.start + cells.clock) % 2;
    let start = cells.start + skipped;
    let len = end.saturating_sub(start) / 2 * 2;
    let mut bits = ChannelBits::new();
    for from in (0..len).step_by(64) {
        let count = (len - from).min(64);
        bits.push(all.window(start + from, count), count);
    }
    // A data bit that was skipped is the one before; before the first transition it is not known,
    // and a clock bit 0 there needs no reason.
    let known = if skipped == 1 && cells.start < end {
        Some(Before::bit(all.get(cells.start)))
    } else {
        before
    };
    let marks = marks(&bits, recording);
    let legal = match recording {
        Recording::Mfm => {
            mfm_fast::regenerate_stream_clocks(known.unwrap_or(Before::Zero), &bits, &marks)
        }
        Recording::Fm => regenerate_stream_clocks(recording, Before::Zero, &bits, &marks),
    };
    let legal = legal.expect("whole cells, and marks at clock bits inside");
    let faults = clock_differences(&legal, &bits)
        .filter(|fault| known.is_some() || fault.at_bit > 0 || !fault.missing)
        .collect();
    Coded { bits, start, marks, faults }
}
