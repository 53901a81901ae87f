//! Durations on the command line: `60s`, `10m`, `8h`.

use std::time::Duration;

/// Longest run: a year, so that no sum of times overflows.
const MAX_SECONDS: u64 = 365 * 24 * 3_600;

/// Reads a duration.
///
/// # Errors
/// Says what is there and how it is written.
pub(crate) fn parse(text: &str) -> Result<Duration, String> {
    let seconds = [('s', 1), ('m', 60), ('h', 3_600)].into_iter().find_map(|(unit, seconds)| {
        let number: u64 = text.strip_suffix(unit)?.parse().ok()?;
        number.checked_mul(seconds)
    });
    match seconds {
        Some(seconds @ 1..=MAX_SECONDS) => Ok(Duration::from_secs(seconds)),
        Some(_) => Err("a duration is at least 1s and at most 8760h".into()),
        None => Err("a duration is a whole number and a unit: 60s, 10m or 8h".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::parse;
    use std::time::Duration;

    #[test]
    fn seconds_minutes_and_hours_are_read_and_nothing_else() {
        assert_eq!(parse("60s"), Ok(Duration::from_secs(60)));
        assert_eq!(parse("10m"), Ok(Duration::from_secs(600)));
        assert_eq!(parse("8h"), Ok(Duration::from_secs(28_800)));
        for wrong in ["", "10", "s", "-1s", "1.5h", "10 m", "0s", "8761h", "99999999999999999999h"]
        {
            assert!(parse(wrong).is_err(), "{wrong}");
        }
    }
}
