//! A shard: the part of a run's shifts that one of several machines has.
//!
//! Which shard a shift falls to is a hash of its number, so it is the same on every machine and in
//! every start, and neighbouring shifts, of cases with numbers and of mutated ones alike, are spread
//! over all machines.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;
use xxhash_rust::xxh3::xxh3_64;

/// Most shards of a run.
pub const MOST_SHARDS: u32 = 100_000;

/// One of so many shards, counted from 1: `2/5`. The whole run is `1/1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "[u32; 2]", into = "[u32; 2]")]
pub struct Shard {
    number: u32,
    of: u32,
}

impl Shard {
    /// All of a run.
    pub const WHOLE: Self = Self { number: 1, of: 1 };

    /// All shards of a run that has so many.
    pub(super) fn all(of: u32) -> impl Iterator<Item = Self> {
        (1..=of).map(move |number| Self { number, of })
    }

    /// How many shards the run has.
    #[must_use]
    pub const fn of(self) -> u32 {
        self.of
    }

    /// Whether a shift is this shard's.
    #[must_use]
    pub fn has(self, shift: u64) -> bool {
        xxh3_64(&shift.to_le_bytes()) % u64::from(self.of) == u64::from(self.number - 1)
    }
}

impl Default for Shard {
    fn default() -> Self {
        Self::WHOLE
    }
}

impl TryFrom<[u32; 2]> for Shard {
    type Error = String;

    fn try_from([number, of]: [u32; 2]) -> Result<Self, String> {
        if of == 0 || of > MOST_SHARDS {
            return Err(format!("{of} shards: a run has 1 to {MOST_SHARDS}"));
        }
        if number == 0 || number > of {
            return Err(format!("shard {number} of {of}: the first is 1, the last {of}"));
        }
        Ok(Self { number, of })
    }
}

impl From<Shard> for [u32; 2] {
    fn from(shard: Shard) -> Self {
        [shard.number, shard.of]
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let numbers = text
            .split_once('/')
            .and_then(|(number, of)| Some([number.trim().parse().ok()?, of.trim().parse().ok()?]));
        let numbers = numbers
            .ok_or_else(|| format!("`{text}` is no shard: write k/n, the k-th of n, as in 1/4"))?;
        Self::try_from(numbers)
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

#[cfg(test)]
mod tests {
    use super::Shard;

    #[test]
    fn every_shift_is_one_shards_and_all_have_their_share() {
        for of in [1, 2, 3, 7] {
            let shards: Vec<Shard> =
                (1..=of).map(|number| Shard::try_from([number, of]).unwrap()).collect();
            let mut shares = vec![0_u32; of as usize];
            for shift in 0..1_000 {
                let mut owners = (0..).zip(&shards).filter(|(_, shard)| shard.has(shift));
                let (owner, _) = owners.next().expect("nobody's");
                assert_eq!(owners.next(), None, "shift {shift} of {of}");
                shares[owner] += 1;
            }
            assert!(shares.iter().all(|share| *share > 800 / of), "{shares:?}");
        }
    }

    /// Machines of other makes must agree: the first shifts of two shards, for ever.
    #[test]
    fn the_hash_stays_for_ever() {
        let first = Shard::try_from([1, 2]).unwrap();
        let shifts: Vec<u64> = (0..16).filter(|shift| first.has(*shift)).collect();
        assert_eq!(shifts, [1, 4, 5, 8, 11, 14]);
    }

    #[test]
    fn what_is_no_shard_is_refused_with_what_would_be_one() {
        assert_eq!("2/5".parse::<Shard>().unwrap().to_string(), "2/5");
        for (text, word) in [
            ("", "k/n"),
            ("3", "k/n"),
            ("a/2", "k/n"),
            ("-1/2", "k/n"),
            ("0/2", "the first is 1"),
            ("3/2", "the last 2"),
            ("1/0", "1 to"),
            ("1/4000000000", "1 to"),
        ] {
            let error = text.parse::<Shard>().unwrap_err();
            assert!(error.contains(word), "{text}: {error}");
        }
    }
}
