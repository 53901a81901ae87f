//! The separators that follow: the second-order loop, and the first-order one that cannot.
//!
//! Both hold where they take the last transition's cell to have its centre, relative to that
//! transition: nothing grows with time. Numbers are 2⁻¹⁶ ns.

use super::{FRACTION_BITS, Period, SeparatorError, Step, separate};
use std::hint::select_unpredictable;
use trackproof_contract::ChannelBits;

/// The second-order loop: it follows phase and speed.
///
/// Its state is a centre c, at first the first transition, and a period P, at first nominal. For
/// each next transition at t: n = max(1, ⌊(t − c)/P + ½⌋), e = t − (c + nP), c += nP + ⌊¾e⌋,
/// P += ⌊e/8n⌋, kept within 4/5 and 6/5 of nominal; n − 1 zeros and a one come out.
///
/// ```
/// use trackproof_model::separator::{Period, Tracking};
/// // Cells grow by 7 % and stay so.
/// let times = [0, 4_000, 8_000, 12_280, 16_560, 20_840, 29_400];
/// let bits = Tracking::new(Period::from_ns(2_000)?).separate(&times)?;
/// assert_eq!(bits.window(0, bits.len()), 0b101_0101_0101_0001);
/// # Ok::<(), trackproof_model::separator::SeparatorError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tracking {
    nominal: i64,
}

impl Tracking {
    /// With channel bits that are nominally this long.
    #[must_use]
    pub const fn new(nominal: Period) -> Self {
        Self { nominal: nominal.fixed() }
    }

    /// The channel bits of transitions at `times_ns`: a one for the first, and for each next one the
    /// zeros before it and a one.
    ///
    /// # Errors
    /// [`SeparatorError::Order`] for transitions out of order, [`SeparatorError::TooLong`] for too
    /// many channel bits.
    pub fn separate(&self, times_ns: &[u64]) -> Result<ChannelBits, SeparatorError> {
        let (least, most) = (4 * self.nominal / 5, 6 * self.nominal / 5);
        separate(times_ns, SecondOrder { centre: 0, period: self.nominal, least, most })
    }
}

struct SecondOrder {
    /// Relative to the last transition.
    centre: i64,
    period: i64,
    least: i64,
    most: i64,
}

impl Step for SecondOrder {
    fn step(&mut self, gap_ns: i64) -> i64 {
        let (n, error) = nearest(self.centre, self.period, gap_ns);
        self.centre = (3 * error).div_euclid(4) - error;
        self.period = (self.period + part(error, n)).clamp(self.least, self.most);
        n
    }
}

/// The first-order loop: it follows the phase alone, and stays at the nominal period.
///
/// As [`Tracking`], with a gain g in place of ¾ and P fixed. At a speed that is wrong by δ its
/// phase is wrong by 4δ/g channel bits before each correction after its longest interval: where
/// that passes ½ it fails, whatever the gain. It is here as an example, for |δ| < g/8.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FirstOrder {
    nominal: i64,
    gain_256ths: u8,
}

impl FirstOrder {
    /// With channel bits that are nominally this long, and a gain of so many 256ths.
    #[must_use]
    pub const fn new(nominal: Period, gain_256ths: u8) -> Self {
        Self { nominal: nominal.fixed(), gain_256ths }
    }

    /// As [`Tracking::separate`].
    ///
    /// # Errors
    /// As there.
    pub fn separate(&self, times_ns: &[u64]) -> Result<ChannelBits, SeparatorError> {
        separate(
            times_ns,
            PhaseOnly { centre: 0, period: self.nominal, gain: self.gain_256ths.into() },
        )
    }
}

struct PhaseOnly {
    /// Relative to the last transition.
    centre: i64,
    period: i64,
    gain: i64,
}

impl Step for PhaseOnly {
    fn step(&mut self, gap_ns: i64) -> i64 {
        let (n, error) = nearest(self.centre, self.period, gap_ns);
        self.centre = (self.gain * error).div_euclid(256) - error;
        n
    }
}

/// Which channel bit from the last one's centre the next transition is nearest to, at least the
/// next one, and how far behind its centre it comes.
fn nearest(centre: i64, period: i64, gap_ns: i64) -> (i64, i64) {
    let distance = (gap_ns << FRACTION_BITS) - centre;
    let (doubled, step) = (2 * distance + period, 2 * period);
    if doubled >= 5 * step {
        let n = doubled / step;
        return (n, distance - n * period);
    }
    // Legal intervals are short, and no branch can foretell them: all four are reckoned.
    let (mut n, mut error) = (1, distance - period);
    for farther in 2..5 {
        let reached = doubled >= farther * step;
        n = select_unpredictable(reached, farther, n);
        error = select_unpredictable(reached, distance - farther * period, error);
    }
    (n, error)
}

/// An eighth of the error for each of the n channel bits, rounded down.
fn part(error: i64, n: i64) -> i64 {
    if n > 4 {
        return error.div_euclid(8 * n);
    }
    // 1, 2 and 4 are powers of two.
    select_unpredictable(n == 3, error.div_euclid(24), error >> (3 + n / 2))
}
