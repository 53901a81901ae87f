//! The recording codes: which clock bits stand between the data bits.
//!
//! Written to be read: one bit at a time, straight from the rules. [`mfm_fast`] holds the fast
//! twins, `tests/code.rs` holds the two equal. Which fields stand on a track is
//! [`layout`](crate::layout)'s matter.
//!
//! Sources. MFM: SA810/860 OEM manual, 6.4, and ISO 8630-3, clause 4.1 b (a clock transition
//! only between two zeros). FM: SA810/860 OEM manual, 1.4.8 (a clock transition in every cell).
//! Most significant bit first: the same manual, 6.1.

mod clock;
mod mark;
pub mod mfm_fast;
mod real;
pub mod run_length;

pub use clock::{
    ClockError, ClockFault, clock_differences, clock_faults, regenerate_clocks,
    regenerate_stream_clocks,
};
pub use mark::Mark;
pub use real::free_on_real;

use trackproof_contract::{ChannelBits, Recording};

/// The data bit before the first one of a stretch: it decides that one's clock bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Before {
    /// A zero.
    Zero,
    /// A one.
    One,
}

impl Before {
    /// What a data bit is to the next one.
    #[must_use]
    pub const fn bit(one: bool) -> Self {
        if one { Self::One } else { Self::Zero }
    }

    /// What these bytes leave to the data bit after them; `self` where there are none.
    #[must_use]
    pub fn after(self, data: &[u8]) -> Self {
        data.last().map_or(self, |byte| Self::bit(byte & 1 == 1))
    }

    /// Whether it is a one.
    #[must_use]
    pub const fn is_one(self) -> bool {
        matches!(self, Self::One)
    }
}

/// The clock bit before a data bit: the whole of either code.
///
/// ```
/// use trackproof_contract::Recording;
/// use trackproof_model::code::{Before, clock_bit};
/// assert!(clock_bit(Recording::Mfm, Before::Zero, false));
/// assert!(!clock_bit(Recording::Mfm, Before::One, false));
/// assert!(clock_bit(Recording::Fm, Before::One, true));
/// ```
#[must_use]
pub const fn clock_bit(recording: Recording, before: Before, data_bit: bool) -> bool {
    match recording {
        Recording::Fm => true,
        Recording::Mfm => !before.is_one() && !data_bit,
    }
}

/// Appends the channel bits of `data`: for each data bit its clock bit, then itself.
///
/// ```
/// use trackproof_contract::{ChannelBits, Recording};
/// use trackproof_model::code::{Before, encode};
/// let mut track = ChannelBits::new();
/// encode(Recording::Mfm, Before::Zero, &[0x4e], &mut track);
/// assert_eq!(track.window(0, 16), 0x9254);
/// ```
pub fn encode(recording: Recording, before: Before, data: &[u8], track: &mut ChannelBits) {
    let mut before = before;
    for byte in data {
        for place in (0..8).rev() {
            let data_bit = byte >> place & 1 == 1;
            track.push(u64::from(clock_bit(recording, before, data_bit)), 1);
            track.push(u64::from(data_bit), 1);
            before = Before::bit(data_bit);
        }
    }
}

/// The data bits of `count` bytes whose first clock bit is channel bit `start`; bits past the
/// end read as zeros.
#[must_use]
pub fn decode(track: &ChannelBits, start: usize, count: usize) -> Vec<u8> {
    (0..count).map(|byte| data_byte(track.window(start + 16 * byte, 16) as u16)).collect()
}

/// The eight data bits of sixteen channel bits: the second, the fourth, and so on.
#[must_use]
pub const fn data_byte(channel_bits: u16) -> u8 {
    let (mut byte, mut place) = (0, 0);
    while place < 8 {
        byte |= ((channel_bits >> (2 * place) & 1) as u8) << place;
        place += 1;
    }
    byte
}

/// The eight clock bits of sixteen channel bits: the first, the third, and so on.
#[must_use]
pub const fn clock_byte(channel_bits: u16) -> u8 {
    data_byte(channel_bits >> 1)
}
