//! Data separators: from the times of transitions to channel bits.
//!
//! Pure functions of transition times. [`ideal_grid`] knows the written grid and [`ideal_interval`]
//! the true period: they say how good a separator can be. [`Tracking`] follows the speed, as a
//! separator must that meets the standards' limits; [`FirstOrder`] follows the phase alone and is
//! a known-limited example. [`waveform`] makes the speeds that all are tried with, [`window`] says
//! how far a separator is judged, [`judged`] which stretches of written bits it must give back, and
//! [`Alignment`] finds them in what came.
//!
//! By definition; why a separator must track: ISO 8630-3, 4.4.2 and 4.4.3 (cells within 3 % in the
//! long term, within 8 % of that in the short term).

mod align;
mod ideal;
pub mod judged;
mod tracking;
pub mod waveform;
pub mod window;

pub use align::{Alignment, Misread};
pub use ideal::{ideal_grid, ideal_interval};
pub use tracking::{FirstOrder, Tracking};

use std::fmt;
use trackproof_contract::{ChannelBits, MAX_TRACK_BITS};

/// Most channel bits that a separator gives: sixteen turns of the longest track.
pub const MAX_SEPARATED_BITS: usize = 16 * MAX_TRACK_BITS;
/// Shortest channel bit, in nanoseconds: a fiftieth of that at 1 Mbit/s.
pub const MIN_PERIOD_NS: u64 = 10;
/// Longest channel bit, in nanoseconds: five hundred times that at 250 kbit/s.
pub const MAX_PERIOD_NS: u64 = 1_000_000;

/// Binary places below a nanosecond in which separators and waveforms reckon.
pub(crate) const FRACTION_BITS: u32 = 16;

/// How long a channel bit is: a fraction of nanoseconds.
///
/// ```
/// use trackproof_model::separator::Period;
/// assert_eq!(Period::from_rate(500_000), Period::from_ns(2_000));
/// assert!(Period::from_ns(0).is_err());
/// ```
#[derive(Debug, Clone, Copy)]
pub struct Period {
    numerator_ns: u64,
    denominator: u64,
}

impl Period {
    /// So many nanoseconds.
    ///
    /// # Errors
    /// [`SeparatorError::Period`] outside [`MIN_PERIOD_NS`] to [`MAX_PERIOD_NS`].
    pub const fn from_ns(ns: u64) -> Result<Self, SeparatorError> {
        Self { numerator_ns: ns, denominator: 1 }.checked()
    }

    /// The period of so many channel bits a second.
    ///
    /// # Errors
    /// As [`from_ns`](Self::from_ns).
    pub const fn from_rate(channel_bits_a_second: u64) -> Result<Self, SeparatorError> {
        Self { numerator_ns: 1_000_000_000, denominator: channel_bits_a_second }.checked()
    }

    /// In 2⁻¹⁶ ns, rounded down.
    pub(crate) const fn fixed(self) -> i64 {
        ((self.numerator_ns << FRACTION_BITS) / self.denominator) as i64
    }

    const fn checked(self) -> Result<Self, SeparatorError> {
        let Self { numerator_ns, denominator } = self;
        let too_short = numerator_ns < MIN_PERIOD_NS.saturating_mul(denominator);
        if too_short || numerator_ns > MAX_PERIOD_NS.saturating_mul(denominator) {
            return Err(SeparatorError::Period { numerator_ns, denominator });
        }
        Ok(self)
    }
}

impl PartialEq for Period {
    fn eq(&self, other: &Self) -> bool {
        self.numerator_ns * other.denominator == other.numerator_ns * self.denominator
    }
}

impl Eq for Period {}

/// Takes the time from one transition to the next, in nanoseconds; gives the channel bits that it
/// takes it for.
trait Step {
    fn step(&mut self, gap_ns: i64) -> i64;
}

/// Longer gaps hold more than [`MAX_SEPARATED_BITS`] of the longest channel bits.
const MAX_GAP_NS: u64 = 1 << 44;

/// The channel bits of transitions at `times_ns`: a one for the first, and for each next one the
/// zeros before it and a one.
fn separate(times_ns: &[u64], mut step: impl Step) -> Result<ChannelBits, SeparatorError> {
    let Some(mut before_ns) = times_ns.first().copied() else { return Ok(ChannelBits::new()) };
    let mut bits = ChannelBits::new();
    // The last one's channel bit, and the word that it stands in.
    let (mut at, mut word) = (0_usize, 1_u64 << 63);
    for (place, ns) in (1..).zip(times_ns[1..].iter().copied()) {
        if ns <= before_ns {
            return Err(SeparatorError::Order { place, before_ns, ns });
        }
        let gap_ns = ns - before_ns;
        if gap_ns > MAX_GAP_NS {
            return Err(SeparatorError::TooLong { place });
        }
        let next = at + step.step(gap_ns as i64) as usize;
        for _ in at / 64..next / 64 {
            bits.push(word, 64);
            word = 0;
            if bits.len() >= MAX_SEPARATED_BITS {
                return Err(SeparatorError::TooLong { place });
            }
        }
        word |= 1 << (63 - next % 64);
        (at, before_ns) = (next, ns);
    }
    bits.push(word >> (63 - at % 64), at % 64 + 1);
    Ok(bits)
}

/// Why transitions give no channel bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SeparatorError {
    /// A channel bit that is too short or too long.
    Period {
        /// Its length is this …
        numerator_ns: u64,
        /// … divided by this.
        denominator: u64,
    },
    /// A transition that does not come after the one before it.
    Order {
        /// Which, from 0.
        place: usize,
        /// When the one before it comes.
        before_ns: u64,
        /// When it comes itself.
        ns: u64,
    },
    /// More channel bits than any use.
    TooLong {
        /// At which transition, from 0.
        place: usize,
    },
}

impl fmt::Display for SeparatorError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Period { numerator_ns, denominator } => write!(
                f,
                "a channel bit of {numerator_ns}/{denominator} ns: give one of {MIN_PERIOD_NS} to \
                 {MAX_PERIOD_NS} ns"
            ),
            Self::Order { place, before_ns, ns } => write!(
                f,
                "transition {place} comes at {ns} ns, the one before it at {before_ns} ns: give \
                 them in order and no two at once"
            ),
            Self::TooLong { place } => write!(
                f,
                "up to transition {place} there are more than {MAX_SEPARATED_BITS} channel bits, \
                 the limit: give fewer turns at a time"
            ),
        }
    }
}

impl std::error::Error for SeparatorError {}
