//! What a tick of a recording is, and times of it in nanoseconds.

use vcd::TimescaleUnit;

/// Latest time of a recording: eleven days.
pub(crate) const MAX_NS: u64 = 1_000_000_000_000_000;

/// How long a tick is: a fraction of nanoseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Ticks {
    numerator: u64,
    denominator: u64,
}

impl Ticks {
    /// Of a time scale. IEEE 1364-2005, 18.2.3.6 (number from memory): 1, 10 or 100 of a unit.
    ///
    /// `finest_ns` is the shortest time that matters: a tick may be at most that long.
    ///
    /// # Errors
    /// What is there and what may be there.
    pub(crate) fn of(number: u32, unit: TimescaleUnit, finest_ns: u64) -> Result<Self, String> {
        if !matches!(number, 1 | 10 | 100) {
            return Err(format!("a time scale of {number} {unit}: IEEE 1364 has 1, 10 and 100"));
        }
        let number = u64::from(number);
        let (numerator, denominator) = match unit {
            TimescaleUnit::S => (number * 1_000_000_000, 1),
            TimescaleUnit::MS => (number * 1_000_000, 1),
            TimescaleUnit::US => (number * 1_000, 1),
            TimescaleUnit::NS => (number, 1),
            TimescaleUnit::PS => (number, 1_000),
            TimescaleUnit::FS => (number, 1_000_000),
        };
        if numerator > finest_ns.saturating_mul(denominator) {
            return Err(format!(
                "a tick of {number} {unit} is too coarse for these lines: at most {finest_ns} ns; \
                 record with a finer time scale"
            ));
        }
        Ok(Self { numerator, denominator })
    }

    /// The time of so many ticks, rounded down; none past [`MAX_NS`].
    pub(crate) fn ns(self, ticks: u64) -> Option<u64> {
        let ns = u128::from(ticks) * u128::from(self.numerator) / u128::from(self.denominator);
        u64::try_from(ns).ok().filter(|ns| *ns <= MAX_NS)
    }
}

#[cfg(test)]
mod tests {
    use super::{MAX_NS, Ticks};
    use vcd::TimescaleUnit::{FS, MS, NS, PS, S, US};

    #[test]
    fn ticks_become_nanoseconds() {
        for (number, unit, ticks, ns) in [
            (1, NS, 17, Some(17)),
            (100, PS, 19, Some(1)),
            (1, FS, 1_999_999, Some(1)),
            (10, NS, MAX_NS / 10, Some(MAX_NS)),
            (10, NS, MAX_NS / 10 + 1, None),
            (100, NS, u64::MAX, None),
        ] {
            assert_eq!(Ticks::of(number, unit, 500).unwrap().ns(ticks), ns, "{number} {unit}");
        }
    }

    #[test]
    fn a_scale_that_cannot_be_is_refused() {
        for (number, unit, says) in [
            (3, NS, "1, 10 and 100"),
            (0, NS, "1, 10 and 100"),
            (1, S, "too coarse"),
            (100, MS, "too coarse"),
            (1, US, "at most 500 ns"),
        ] {
            let why = Ticks::of(number, unit, 500).unwrap_err();
            assert!(why.contains(says), "{why}");
        }
    }
}
