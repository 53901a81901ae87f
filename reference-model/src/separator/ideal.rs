//! The ideal separators: they know what no real one can.

use super::{Period, SeparatorError, Step, separate};
use trackproof_contract::ChannelBits;

/// Takes each transition to the nearest place of the written grid, a tie upwards.
///
/// Two transitions nearest to the same place are one. With Gaussian jitter of deviation σ and
/// channel bits of length h, a transition goes to a wrong place with p = 2Q(h/2σ).
///
/// Shape: `origin_ns` is any place of the grid, at or before the first transition; the channel
/// bits begin with the first transition's one.
///
/// ```
/// use trackproof_model::separator::{Period, ideal_grid};
/// let bits = ideal_grid(Period::from_ns(2_000)?, 500, &[4_600, 9_499, 15_500])?;
/// assert_eq!(bits.window(0, bits.len()), 0b101_0001);
/// # Ok::<(), trackproof_model::separator::SeparatorError>(())
/// ```
///
/// # Errors
/// [`SeparatorError::Order`] for transitions out of order or before the origin,
/// [`SeparatorError::TooLong`] for too many channel bits.
pub fn ideal_grid(
    period: Period,
    origin_ns: u64,
    times_ns: &[u64],
) -> Result<ChannelBits, SeparatorError> {
    let Some(first_ns) = times_ns.first().copied() else { return Ok(ChannelBits::new()) };
    let since_origin = first_ns.checked_sub(origin_ns).ok_or(SeparatorError::Order {
        place: 0,
        before_ns: origin_ns,
        ns: first_ns,
    })?;
    let (unit, whole) = (2 * i128::from(period.denominator), 2 * i128::from(period.numerator_ns));
    let past = (i128::from(since_origin) * unit + whole / 2) % whole;
    separate(times_ns, OnGrid { unit: unit as i64, whole: whole as i64, past: past as i64 })
}

/// A place of the grid is `whole` units long, a nanosecond `unit`.
struct OnGrid {
    unit: i64,
    whole: i64,
    /// Units from the begin of the last transition's place to it.
    past: i64,
}

impl Step for OnGrid {
    fn step(&mut self, gap_ns: i64) -> i64 {
        let (places, past) = divided(self.past, gap_ns, self.unit, self.whole);
        self.past = past;
        places
    }
}

/// Rounds each interval to channel bits of the true period, a tie upwards, but never to none.
///
/// With Gaussian jitter of deviation σ and channel bits of length h, an interval is taken for a
/// wrong one with p = 2Q(h/(2√2 σ)); neighbours are correlated by −1/2. With a nominal period
/// instead of the true one this is the separator with fixed thresholds.
///
/// ```
/// use trackproof_model::separator::{Period, ideal_interval};
/// let bits = ideal_interval(Period::from_ns(2_000)?, &[7, 5_007, 9_000, 9_001])?;
/// assert_eq!(bits.window(0, bits.len()), 0b1001_011);
/// # Ok::<(), trackproof_model::separator::SeparatorError>(())
/// ```
///
/// # Errors
/// [`SeparatorError::Order`] for transitions out of order, [`SeparatorError::TooLong`] for too
/// many channel bits.
pub fn ideal_interval(period: Period, times_ns: &[u64]) -> Result<ChannelBits, SeparatorError> {
    let (unit, whole) = (2 * period.denominator as i64, 2 * period.numerator_ns as i64);
    separate(times_ns, Rounding { unit, whole })
}

struct Rounding {
    unit: i64,
    whole: i64,
}

impl Step for Rounding {
    fn step(&mut self, gap_ns: i64) -> i64 {
        divided(self.whole / 2, gap_ns, self.unit, self.whole).0.max(1)
    }
}

/// `(past + gap_ns x unit) / whole`, rounded down, and its rest.
fn divided(past: i64, gap_ns: i64, unit: i64, whole: i64) -> (i64, i64) {
    match gap_ns.checked_mul(unit).and_then(|gap| gap.checked_add(past)) {
        // Legal intervals are short: comparing is faster than dividing.
        Some(sum) if sum < 5 * whole => {
            let places = (1..5).map(|places| i64::from(sum >= places * whole)).sum::<i64>();
            (places, sum - places * whole)
        }
        Some(sum) => (sum / whole, sum % whole),
        None => {
            let sum = i128::from(gap_ns) * i128::from(unit) + i128::from(past);
            let whole = i128::from(whole);
            ((sum / whole) as i64, (sum % whole) as i64)
        }
    }
}
