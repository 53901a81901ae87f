//! Clock bits made anew and held against those that are there.
//!
//! A track is a circle, a stream has a begin and an end; of either, bit 0 is a clock bit. Data
//! bits always stay. Where marks begin has to be said: their clock bits break the rule on purpose.

use super::{Before, clock_bit, mfm_fast};
use std::fmt;
use trackproof_contract::{ChannelBits, Recording};

/// Gives every data bit of a whole track the clock bit that the code asks for.
///
/// The track is a circle. The clock bits of the [`Mark`](super::Mark)s, which begin at the channel
/// bits `marks`, stay as they are; a mark's data bits are neighbours like any. A legal track comes
/// back unchanged.
///
/// # Errors
/// [`ClockError`] when there is no whole number of cells, or a mark begins outside the track or
/// in the middle of a cell.
pub fn regenerate_clocks(
    recording: Recording,
    track: &ChannelBits,
    marks: &[usize],
) -> Result<ChannelBits, ClockError> {
    let kept = mark_clocks(track, marks)?.map(|clock| clock % track.len());
    Ok(with_clocks(recording, last_data_bit(track), track, kept))
}

/// The same for a stream: the data bit before its first one is given, not its own last one.
///
/// That is how a controller generates clock bits in a write: `before` is a fixed bit, or the last
/// data bit of the write before.
///
/// ```
/// use trackproof_contract::{ChannelBits, Recording};
/// use trackproof_model::code::{Before, regenerate_stream_clocks};
/// let clockless = ChannelBits::from_bytes(&[0x00, 0x01, 0x00, 0x00], 32);
/// let legal = regenerate_stream_clocks(Recording::Mfm, Before::One, &clockless, &[])?;
/// assert_eq!(legal.window(0, 32), 0x2aa9_2aaa);
/// # Ok::<(), trackproof_model::code::ClockError>(())
/// ```
///
/// # Errors
/// As [`regenerate_clocks`]. A mark may be cut short by the stream's end.
pub fn regenerate_stream_clocks(
    recording: Recording,
    before: Before,
    stream: &ChannelBits,
    marks: &[usize],
) -> Result<ChannelBits, ClockError> {
    let kept = mark_clocks(stream, marks)?.filter(|clock| *clock < stream.len());
    Ok(with_clocks(recording, before, stream, kept))
}

fn with_clocks(
    recording: Recording,
    before: Before,
    bits: &ChannelBits,
    kept: impl Iterator<Item = usize>,
) -> ChannelBits {
    let (mut legal, mut before) = (bits.clone(), before);
    for clock in (0..bits.len()).step_by(2) {
        let data_bit = bits.get(clock + 1);
        legal.set(clock, clock_bit(recording, before, data_bit));
        before = Before::bit(data_bit);
    }
    for clock in kept {
        legal.set(clock, bits.get(clock));
    }
    legal
}

/// The data bit that comes before a track's first one: its last.
pub(super) fn last_data_bit(track: &ChannelBits) -> Before {
    Before::bit(!track.is_empty() && track.get(track.len() - 1))
}

/// The places of all clock bits that belong to marks; those of a mark that passes the end come
/// out past it.
pub(super) fn mark_clocks(
    bits: &ChannelBits,
    marks: &[usize],
) -> Result<impl Iterator<Item = usize>, ClockError> {
    if !bits.len().is_multiple_of(2) {
        return Err(ClockError::HalfCell { channel_bits: bits.len() });
    }
    if let Some(start) = marks.iter().find(|start| **start >= bits.len() || *start % 2 == 1) {
        return Err(ClockError::Mark { start_bit: *start, channel_bits: bits.len() });
    }
    Ok(marks.iter().flat_map(|start| (0..8).map(move |bit| start + 2 * bit)))
}

/// A clock bit that is not as the code asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ClockFault {
    /// Which channel bit.
    pub at_bit: usize,
    /// Whether it is a 1 that is not there; else it is one too many.
    pub missing: bool,
}

/// All clock bits of a whole track that are not as the code asks, those of marks excepted.
///
/// None of them missing is what rule `clock.present` asks of a streamed track.
///
/// ```
/// use trackproof_contract::{ChannelBits, Recording};
/// use trackproof_model::code::{ClockFault, clock_faults};
/// let track = ChannelBits::from_bytes(&[0x44, 0x89, 0x2a, 0x8a], 32);
/// let faults = clock_faults(Recording::Mfm, &track, &[0])?;
/// assert_eq!(faults, [ClockFault { at_bit: 26, missing: true }]);
/// # Ok::<(), trackproof_model::code::ClockError>(())
/// ```
///
/// # Errors
/// As [`regenerate_clocks`].
pub fn clock_faults(
    recording: Recording,
    track: &ChannelBits,
    marks: &[usize],
) -> Result<Vec<ClockFault>, ClockError> {
    let legal = match recording {
        Recording::Mfm => mfm_fast::regenerate_clocks(track, marks)?,
        Recording::Fm => regenerate_clocks(recording, track, marks)?,
    };
    Ok(clock_differences(&legal, track).collect())
}

/// Where `given` differs from `legal`, which has the same data bits.
///
/// # Panics
/// When the two are not of one length.
pub fn clock_differences<'a>(
    legal: &'a ChannelBits,
    given: &'a ChannelBits,
) -> impl Iterator<Item = ClockFault> + 'a {
    assert_eq!(legal.len(), given.len(), "channel bits of two equal streams");
    legal.words().iter().zip(given.words()).enumerate().flat_map(|(word, (legal, given))| {
        let mut differing = legal ^ given;
        std::iter::from_fn(move || {
            let place = differing.leading_zeros() as usize;
            differing &= !(1_u64 << 63).checked_shr(place as u32)?;
            Some(ClockFault { at_bit: 64 * word + place, missing: legal << place >> 63 == 1 })
        })
    })
}

/// Why no clock bits could be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockError {
    /// The string is no whole number of cells.
    HalfCell {
        /// Its length.
        channel_bits: usize,
    },
    /// A mark begins where none can.
    Mark {
        /// Where it was said to begin.
        start_bit: usize,
        /// The string's length.
        channel_bits: usize,
    },
}

impl fmt::Display for ClockError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::HalfCell { channel_bits } => write!(
                f,
                "a track of {channel_bits} channel bits ends in half a cell; clock bits need an \
                 even number"
            ),
            Self::Mark { start_bit, channel_bits } => write!(
                f,
                "a mark cannot begin at channel bit {start_bit}: give an even number below the \
                 track's length, {channel_bits}"
            ),
        }
    }
}

impl std::error::Error for ClockError {}
