//! Run lengths: how far apart transitions may stand.
//!
//! The limits follow from the clock rules, by enumeration (`tests/code.rs`); marks keep them too.

use std::ops::RangeInclusive;
use trackproof_contract::{ChannelBits, Recording};

/// From one transition to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Interval {
    /// The channel bit of the first transition.
    pub start_bit: usize,
    /// How many channel bits later the next one comes.
    pub channel_bits: usize,
}

/// The intervals that the code makes, in channel bits.
#[must_use]
pub const fn limits(recording: Recording) -> RangeInclusive<usize> {
    match recording {
        Recording::Fm => 1..=2,
        Recording::Mfm => 2..=4,
    }
}

/// All intervals of a track, which is a circle: the last one goes over the wrap. A track with
/// one transition has one interval, a whole turn; a track with none has none.
pub fn intervals(track: &ChannelBits) -> impl Iterator<Item = Interval> + '_ {
    let ones = || (0..track.len()).filter(|bit| track.get(*bit));
    let first = ones().next().map(|bit| bit + track.len());
    ones()
        .zip(ones().skip(1).chain(first))
        .map(|(start_bit, next)| Interval { start_bit, channel_bits: next - start_bit })
}

/// The first interval outside the code's [`limits`]; a track without any transition is one
/// interval of a whole turn.
#[must_use]
pub fn first_outside(recording: Recording, track: &ChannelBits) -> Option<Interval> {
    if track.count_ones() == 0 {
        return Some(Interval { start_bit: 0, channel_bits: track.len() });
    }
    intervals(track).find(|interval| !limits(recording).contains(&interval.channel_bits))
}
