//! Run lengths: how far apart transitions may stand.
//!
//! The limits follow from the clock rules, by enumeration (`tests/code.rs`); marks keep them too.

use std::ops::{Range, RangeInclusive};
use trackproof_contract::{ChannelBits, Recording};

/// From one transition to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Interval {
    /// The channel bit of the first transition.
    pub start_bit: usize,
    /// How many channel bits later the next one comes.
    pub channel_bits: usize,
}

impl Interval {
    /// Whether the code makes intervals of this length.
    #[must_use]
    pub fn is_legal(&self, recording: Recording) -> bool {
        limits(recording).contains(&self.channel_bits)
    }
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
    let first = transitions(track).next().map(|bit| bit + track.len());
    transitions(track)
        .zip(transitions(track).skip(1).chain(first))
        .map(|(start_bit, next)| Interval { start_bit, channel_bits: next - start_bit })
}

/// The channel bits that are 1, in order.
pub fn transitions(track: &ChannelBits) -> impl Iterator<Item = usize> + '_ {
    track.words().iter().enumerate().flat_map(|(word, ones)| {
        let mut left = *ones;
        std::iter::from_fn(move || {
            let place = left.leading_zeros();
            left &= !(1_u64 << 63).checked_shr(place)?;
            Some(64 * word + place as usize)
        })
    })
}

/// The first interval outside the code's [`limits`]; a track without any transition is one
/// interval of a whole turn.
#[must_use]
pub fn first_outside(recording: Recording, track: &ChannelBits) -> Option<Interval> {
    outside(recording, track, &[]).next()
}

/// All intervals outside the code's [`limits`] but those that touch an excepted stretch, where
/// such intervals were asked for. A track without any transition is one interval of a whole turn.
///
/// An interval touches a stretch when one of its channel bits, both transitions included, lies in
/// it. A stretch that ends past the track's end goes on at its begin.
///
/// ```
/// use trackproof_contract::{ChannelBits, Recording};
/// use trackproof_model::code::run_length::outside;
/// let track = ChannelBits::from_bytes(&[0b1011_0100, 0b0001_0010], 16);
/// let found = |excepted: &[_]| {
///     outside(Recording::Mfm, &track, excepted).map(|i| i.start_bit).collect::<Vec<_>>()
/// };
/// assert_eq!(found(&[]), [2, 5]);
/// assert_eq!(found(&[0..3]), [5]);
/// assert_eq!(found(&[15..16 + 3, 8..9]), []);
/// ```
pub fn outside<'a>(
    recording: Recording,
    track: &'a ChannelBits,
    excepted: &'a [Range<usize>],
) -> impl Iterator<Item = Interval> + 'a {
    let empty = track.count_ones() == 0 && !track.is_empty();
    let whole_turn = Interval { start_bit: 0, channel_bits: track.len() };
    intervals(track)
        .filter(move |interval| !interval.is_legal(recording))
        .chain(empty.then_some(whole_turn))
        .filter(move |interval| !excepted.iter().any(|span| touches(interval, span, track.len())))
}

/// Whether a channel bit of the interval lies in the stretch, on a circle of `turn_bits`.
fn touches(interval: &Interval, span: &Range<usize>, turn_bits: usize) -> bool {
    // Each is taken to begin first once: the distance is then less than its length.
    let ahead =
        |from: usize, to: usize| (to % turn_bits + turn_bits - from % turn_bits) % turn_bits;
    !span.is_empty()
        && (ahead(interval.start_bit, span.start) <= interval.channel_bits
            || ahead(span.start, interval.start_bit) < span.len())
}
