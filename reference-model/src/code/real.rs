//! Which channel bits a real medium would not give back as they were written.
//!
//! By definition: flux holds intervals inside the code's limits. Two transitions that stand closer
//! than the least interval are free, with the bits between them; in a long run of zeros a reader
//! loses the clock, so that all is free from there until it has seen four legal intervals again.
//! That the limits of a run are 8 and 4 zeros is our definition and no physics.

use super::run_length::{Interval, intervals};
use crate::search::{Pattern, next_match};
use trackproof_contract::{ChannelBits, Recording};

/// Legal intervals after a long run that end what is free.
const LEGAL_INTERVALS: usize = 4;

/// Zeros in a row that still come back as they were written.
const fn sure_zeros(recording: Recording) -> usize {
    match recording {
        Recording::Mfm => 8,
        Recording::Fm => 4,
    }
}

/// The channel bits of a track that are free on a real medium: 1 where a bit is free.
///
/// The track is a circle. Free are two transitions closer than the code's least interval and the
/// bits between them; and of a run of zeros the 9th (FM: the 5th) and every bit after it, up to and
/// including the 1 that ends the 4th legal interval after the run. An illegal interval starts the
/// count anew. Where there is no 4th legal interval in a turn, the whole track is free.
///
/// Shape: as many bits as the track has.
///
/// ```
/// use trackproof_contract::{ChannelBits, Recording};
/// use trackproof_model::code::free_on_real;
/// let track = ChannelBits::from_bytes(&[0x44, 0xc9, 0x24, 0x92], 32);
/// assert_eq!(free_on_real(Recording::Mfm, &track).to_bytes(), [0, 0xc0, 0, 0]);
/// let blank = ChannelBits::zeros(32);
/// assert_eq!(free_on_real(Recording::Mfm, &blank).count_ones(), 32);
/// ```
#[must_use]
pub fn free_on_real(recording: Recording, track: &ChannelBits) -> ChannelBits {
    let crowded = match recording {
        Recording::Mfm => doubled(track),
        // Nothing is closer than one channel bit.
        Recording::Fm => ChannelBits::zeros(track.len()),
    };
    if !has_long_run(recording, track) {
        return crowded;
    }
    match sure_transition(recording, track) {
        None => filled(track.len(), &[(0, track.len())]),
        Some(bit) => {
            // Begun behind a sure transition, the circle is a line: whatever is free ends before
            // that transition comes again.
            let by = (bit + 1) % track.len();
            let lost = filled(track.len(), &lost_stretches(recording, &track.rotated(by)));
            union(&crowded, &lost.rotated(track.len() - by))
        }
    }
}

/// The ones that have a one beside them.
fn doubled(track: &ChannelBits) -> ChannelBits {
    let mut doubled = ChannelBits::new();
    if track.is_empty() {
        return doubled;
    }
    let mut before = u64::from(track.get(track.len() - 1));
    for start in (0..track.len()).step_by(64) {
        let count = (track.len() - start).min(64);
        let ones = track.window(start, count);
        let after = u64::from(track.get((start + count) % track.len()));
        doubled.push(ones & (ones << 1 | after | ones >> 1 | before << (count - 1)), count);
        before = ones & 1;
    }
    doubled
}

/// A zero more than comes back surely.
const fn long_run(recording: Recording) -> Pattern {
    let width = sure_zeros(recording) + 1;
    Pattern { word: 0, mask: (1 << width) - 1, width }
}

fn has_long_run(recording: Recording, track: &ChannelBits) -> bool {
    let run = long_run(recording);
    let mut round = track.clone();
    if !track.is_empty() {
        round.push_cyclic(track, 0, run.width - 1);
    }
    next_match(&round, run, 0, round.len()).is_some()
}

/// Counts legal intervals one after the other.
struct Recovery {
    recording: Recording,
    legal: usize,
}

impl Recovery {
    const fn new(recording: Recording) -> Self {
        Self { recording, legal: 0 }
    }

    /// Whether this interval is the last one that was needed.
    fn is_complete_after(&mut self, interval: Interval) -> bool {
        self.legal = if interval.is_legal(self.recording) { self.legal + 1 } else { 0 };
        self.legal == LEGAL_INTERVALS
    }
}

/// A transition that ends four legal intervals, of a track with a long run; none if there is none.
fn sure_transition(recording: Recording, track: &ChannelBits) -> Option<usize> {
    let mut recovery = Recovery::new(recording);
    intervals(track)
        .chain(intervals(track).take(LEGAL_INTERVALS))
        .find(|interval| recovery.is_complete_after(*interval))
        .map(|interval| (interval.start_bit + interval.channel_bits) % track.len())
}

/// What long runs make free, on a track that ends in a sure transition: first bit of each stretch
/// and the first one after it.
fn lost_stretches(recording: Recording, track: &ChannelBits) -> Vec<(usize, usize)> {
    let run = long_run(recording);
    let mut lost = Vec::new();
    let mut from = 0;
    while let Some(end) = next_match(track, run, from, track.len()) {
        let mut recovery = Recovery::new(recording);
        // The transition that ends the run, then each next one.
        let mut transition = next_transition(track, end);
        while let Some(start_bit) = transition {
            transition = next_transition(track, start_bit + 1);
            let interval =
                transition.map(|next| Interval { start_bit, channel_bits: next - start_bit });
            if interval.is_some_and(|interval| recovery.is_complete_after(interval)) {
                break;
            }
        }
        from = transition.map_or(track.len(), |bit| bit + 1);
        lost.push((end - 1, from));
    }
    lost
}

/// The first 1 from channel bit `from` on.
fn next_transition(track: &ChannelBits, from: usize) -> Option<usize> {
    (from..track.len()).step_by(64).find_map(|start| {
        let ones = track.window(start, 64);
        (ones != 0).then(|| start + ones.leading_zeros() as usize)
    })
}

/// A string of zeros with ones in these stretches, which are in order.
fn filled(len: usize, stretches: &[(usize, usize)]) -> ChannelBits {
    let mut bits = ChannelBits::new();
    let mut push = |one: bool, count: usize| {
        for start in (0..count).step_by(64) {
            bits.push(if one { !0 } else { 0 }, (count - start).min(64));
        }
    };
    let mut done = 0;
    for (start, end) in stretches {
        push(false, start - done);
        push(true, end - start);
        done = *end;
    }
    push(false, len - done);
    bits
}

fn union(one: &ChannelBits, other: &ChannelBits) -> ChannelBits {
    let mut bits = ChannelBits::new();
    for (start, words) in (0..).step_by(64).zip(one.words().iter().zip(other.words())) {
        let count = (one.len() - start).min(64);
        bits.push((words.0 | words.1) >> (64 - count), count);
    }
    bits
}
