//! Choices: where every decision about a case comes from.
//!
//! A generated case is a function of a stream of choices and of nothing else. A campaign feeds it
//! from a seed, a fuzzer from its input. 0 is the simplest choice everywhere, so that a stream
//! that has run dry still ends in a whole, small case.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// A stream of choices.
pub trait Choices {
    /// The next `count` bits, 0 to 64, as a number.
    ///
    /// # Panics
    /// When `count` is over 64.
    fn bits(&mut self, count: u32) -> u64;

    /// A number under `limit`; 0 where `limit` is 0 or 1.
    fn below(&mut self, limit: u64) -> u64;

    /// A number from `low` to `high`, both included; `low` where `high` is under it.
    fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.below(high.saturating_sub(low).saturating_add(1))
    }

    /// Yes in `times` of `of` cases; no is the simplest.
    fn chance(&mut self, times: u64, of: u64) -> bool {
        self.below(of) + times >= of
    }

    /// One of a list; the first is the simplest.
    ///
    /// # Panics
    /// When the list is empty.
    fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len() as u64) as usize]
    }

    /// The place of one entry, each as likely as its weight says; the first is the simplest.
    ///
    /// # Panics
    /// When all weights are 0.
    fn weighted(&mut self, weights: &[u8]) -> usize {
        let mut left = self.below(weights.iter().map(|weight| u64::from(*weight)).sum());
        for (place, weight) in weights.iter().enumerate() {
            match left.checked_sub(u64::from(*weight)) {
                Some(rest) => left = rest,
                None => return place,
            }
        }
        panic!("all of {} weights are 0", weights.len());
    }

    /// The number of one set bit of `set`, each as likely.
    ///
    /// # Panics
    /// When no bit is set.
    fn member(&mut self, set: u64) -> u32 {
        assert!(set != 0, "an empty set has no member");
        let skipped = self.below(u64::from(set.count_ones()));
        let rest = (0..skipped).fold(set, |rest, _| rest & (rest - 1));
        rest.trailing_zeros()
    }

    /// A set of the kinds `0 .. count`, half of them on average, never empty: what one case works
    /// with. Cases that leave kinds out reach what a mixture of everything never would.
    fn swarm(&mut self, count: u32) -> u64 {
        match self.bits(count) {
            0 => !0 >> (64 - count),
            set => set,
        }
    }
}

/// Choices without end, fixed by a seed: the same on every machine.
#[derive(Debug, Clone)]
pub struct SeededChoices {
    numbers: Xoshiro256PlusPlus,
}

impl SeededChoices {
    /// The stream of that seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self { numbers: Xoshiro256PlusPlus::seed_from_u64(seed) }
    }
}

impl Choices for SeededChoices {
    fn bits(&mut self, count: u32) -> u64 {
        assert!(count <= 64, "{count} bits in one number");
        if count == 0 { 0 } else { self.numbers.next_u64() >> (64 - count) }
    }

    fn below(&mut self, limit: u64) -> u64 {
        // The upper half of the product: no division, and a bias under limit / 2^64.
        ((u128::from(self.numbers.next_u64()) * u128::from(limit)) >> 64) as u64
    }
}

/// Choices from bytes; all are 0 when the bytes have run out.
#[derive(Debug, Clone)]
pub struct ByteChoices<'a> {
    bytes: &'a [u8],
}

impl<'a> ByteChoices<'a> {
    /// The stream of those bytes.
    #[must_use]
    pub const fn new(bytes: &'a [u8]) -> Self {
        Self { bytes }
    }
}

impl Choices for ByteChoices<'_> {
    fn bits(&mut self, count: u32) -> u64 {
        assert!(count <= 64, "{count} bits in one number");
        let Some(mask) = (!0_u64).checked_shr(64 - count) else {
            return 0;
        };
        let mut value = 0;
        for _ in 0..count.div_ceil(8) {
            let (next, rest) = self.bytes.split_first().unwrap_or((&0, &[]));
            value = value << 8 | u64::from(*next);
            self.bytes = rest;
        }
        value & mask
    }

    fn below(&mut self, limit: u64) -> u64 {
        match limit {
            0 => 0,
            _ => self.bits(8 * bytes_below(limit)) % limit,
        }
    }
}

/// Choices of a seed that are written down: [`ByteChoices`] of the bytes are the same ones.
///
/// ```
/// use trackproof::generate::{ByteChoices, Choices, RecordedChoices};
/// let mut choices = RecordedChoices::new(7);
/// let drawn = (choices.below(1_000), choices.bits(12));
/// let bytes = choices.into_bytes();
/// let mut again = ByteChoices::new(&bytes);
/// assert_eq!((again.below(1_000), again.bits(12)), drawn);
/// ```
#[derive(Debug, Clone)]
pub struct RecordedChoices {
    seeded: SeededChoices,
    bytes: Vec<u8>,
}

impl RecordedChoices {
    /// The stream of that seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self { seeded: SeededChoices::new(seed), bytes: Vec::new() }
    }

    /// What was drawn, as bytes.
    #[must_use]
    pub fn into_bytes(self) -> Vec<u8> {
        self.bytes
    }

    fn note(&mut self, value: u64, bytes: u32) {
        self.bytes.extend_from_slice(&value.to_be_bytes()[8 - bytes as usize..]);
    }
}

impl Choices for RecordedChoices {
    fn bits(&mut self, count: u32) -> u64 {
        let value = self.seeded.bits(count);
        self.note(value, count.div_ceil(8));
        value
    }

    fn below(&mut self, limit: u64) -> u64 {
        let value = self.seeded.below(limit);
        self.note(value, bytes_below(limit));
        value
    }
}

/// As few bytes as hold any number under `limit`, so that a fuzzer's change of one byte is one
/// choice.
const fn bytes_below(limit: u64) -> u32 {
    match limit.checked_sub(1) {
        Some(highest) => (64 - highest.leading_zeros()).div_ceil(8),
        None => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::{ByteChoices, Choices, RecordedChoices, SeededChoices};
    use crate::generate::{Generator, case_seed};
    use trackproof_contract::Profile;

    #[test]
    fn recorded_choices_lead_to_the_same_case_from_their_bytes() {
        for profile in [Profile::sync_dma(), Profile::byte_stream()] {
            let mut generator = Generator::new(profile);
            let (mut recorded, mut again) = (generator.case(0, 0), generator.case(0, 0));
            for index in 0..300 {
                let seeded = generator.case(3, index);
                let mut choices = RecordedChoices::new(case_seed(3, index));
                generator.generate(&mut choices, &mut recorded);
                assert_eq!(recorded, seeded, "case {index}");
                let bytes = choices.into_bytes();
                generator.generate(&mut ByteChoices::new(&bytes), &mut again);
                assert_eq!(again, seeded, "case {index} from {} bytes", bytes.len());
            }
        }
    }

    #[test]
    fn choices_stay_within_their_limits() {
        let bytes: Vec<u8> = (0..=255).cycle().step_by(7).take(40_000).collect();
        fn check(choices: &mut impl Choices) {
            for n in 1..2_000 {
                assert!(choices.below(n) < n);
                assert!((n..=2 * n).contains(&choices.between(n, 2 * n)));
                assert_eq!(choices.bits((n % 65) as u32) >> 1 >> (n % 65).saturating_sub(1), 0);
                assert!(n >> choices.member(n) & 1 == 1);
                assert_ne!(choices.swarm(1 + (n % 64) as u32), 0);
                assert_ne!(choices.weighted(&[3, 0, 1]), 1);
            }
        }
        check(&mut SeededChoices::new(1));
        check(&mut ByteChoices::new(&bytes));
    }

    #[test]
    fn bytes_that_have_run_out_choose_the_simplest() {
        let mut choices = ByteChoices::new(&[7]);
        assert_eq!(choices.below(256), 7);
        assert_eq!((choices.below(9), choices.bits(64), choices.between(4, 9)), (0, 0, 4));
        assert!(!choices.chance(7, 8) && choices.chance(8, 8));
        assert_eq!(
            (choices.pick(&[5, 6]), choices.weighted(&[0, 2, 3]), choices.swarm(3)),
            (5, 1, 7)
        );
    }

    #[test]
    fn a_chance_comes_as_often_as_it_says() {
        let mut choices = SeededChoices::new(2);
        let hits = (0..80_000).filter(|_| choices.chance(3, 8)).count();
        assert!((29_000..31_000).contains(&hits), "{hits}");
    }
}
