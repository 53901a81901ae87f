//! How likely it is that more cases show something new.
//!
//! The estimator is that of Good and Turing for the species that a sample has not met: the share of
//! the species met exactly once. Published in "The population frequencies of species and the
//! estimation of population parameters", Biometrika 40 (1953), pages 237 to 264 (cited from memory).
//! A case may show several species at once; then the number of those met in exactly one case, by
//! the number of cases, is the number of new species that the next case is expected to bring, and
//! no less than the chance that it brings one.
//!
//! It holds for cases that are drawn alike and independently of each other: those that are made
//! from a seed. Mutated ones are no such sample, so they are left out.

/// How often each of many species was met, as far as it matters: never, once, more often.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sample {
    met: Vec<u8>,
    cases: u64,
}

/// An estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Cases of the sample.
    pub cases: u64,
    /// Species that were met.
    pub species: usize,
    /// Those met in one case only.
    pub singles: usize,
    /// The chance that the next case shows a new one.
    pub next: f64,
}

impl Sample {
    /// An empty sample of so many species.
    #[must_use]
    pub fn new(species: usize) -> Self {
        Self { met: vec![0; species], cases: 0 }
    }

    /// Counts one case with its species, each once.
    pub fn count(&mut self, species: impl Iterator<Item = usize>) {
        self.cases += 1;
        for one in species {
            self.met[one] = self.met[one].saturating_add(1).min(2);
        }
    }

    /// Adds another sample of the same species.
    pub(super) fn add(&mut self, other: &Self) {
        self.cases += other.cases;
        for (met, more) in self.met.iter_mut().zip(&other.met) {
            *met = met.saturating_add(*more).min(2);
        }
    }

    /// The sample as a word: a digit a species.
    #[must_use]
    pub fn digits(&self) -> String {
        self.met.iter().map(|met| char::from(b'0' + met)).collect()
    }

    /// A sample out of its word; none where that is no sample of so many species.
    #[must_use]
    pub fn from_digits(digits: &str, species: usize, cases: u64) -> Option<Self> {
        let met = digits.bytes().map(|digit| digit.checked_sub(b'0').filter(|met| *met <= 2));
        let met: Vec<u8> = met.collect::<Option<_>>()?;
        (met.len() == species).then_some(Self { met, cases })
    }

    /// How many cases it has.
    #[must_use]
    pub const fn cases(&self) -> u64 {
        self.cases
    }

    /// The estimate for some of the species; none while there are no cases.
    #[must_use]
    pub fn estimate(&self, of: std::ops::Range<usize>) -> Option<Estimate> {
        let some = &self.met[of];
        let count = |wanted: fn(u8) -> bool| some.iter().filter(|met| wanted(**met)).count();
        let singles = count(|met| met == 1);
        (self.cases > 0).then(|| Estimate {
            cases: self.cases,
            species: count(|met| met > 0),
            singles,
            next: (singles as f64 / self.cases as f64).min(1.0),
        })
    }
}

impl Estimate {
    /// The chance that so many more cases show something new, if none of them makes the next less
    /// likely: on the high side. Where no species was met once only it counts as if one had been:
    /// "never" is more than any sample can tell.
    #[must_use]
    pub fn within(&self, more: u64) -> f64 {
        let next = self.next.max(1.0 / self.cases as f64);
        // The same as 1 - (1 - next)^more, exact for small chances.
        -(f64::ln_1p(-next.min(1.0 - f64::EPSILON)) * more as f64).exp_m1()
    }
}

#[cfg(test)]
mod tests {
    use super::Sample;
    use crate::generate::{Choices, SeededChoices};

    #[test]
    fn species_met_once_tell_what_is_to_come() {
        let mut sample = Sample::new(10);
        assert_eq!(sample.estimate(0..10), None);
        for species in [[0, 1], [0, 2], [0, 1], [3, 0]] {
            sample.count(species.into_iter());
        }
        let estimate = sample.estimate(0..10).unwrap();
        assert_eq!((estimate.species, estimate.singles, estimate.next), (4, 2, 0.5));
        assert!((estimate.within(1) - 0.5).abs() < 1e-12);
        assert!((estimate.within(3) - 0.875).abs() < 1e-12);
        assert_eq!(sample.estimate(0..2).unwrap().singles, 0);
        let again = Sample::from_digits(&sample.digits(), 10, 4);
        assert_eq!(again, Some(sample));
        for wrong in ["", "000000000", "0000000003", "00000000 0", "00000000000"] {
            assert_eq!(Sample::from_digits(wrong, 10, 4), None, "{wrong}");
        }
    }

    /// A population whose species have known chances: over many samples the estimates come close to
    /// the truth, as the estimator has next to no bias.
    #[test]
    fn the_estimate_comes_close_to_the_truth() {
        let weights: Vec<u64> = (0..400).map(|n| 1 + 20_000 / (1 + n * n)).collect();
        let all: u64 = weights.iter().sum();
        let mut choices = SeededChoices::new(3);
        let (mut estimates, mut truths) = (0.0, 0.0);
        for _ in 0..50 {
            let (mut sample, mut met) = (Sample::new(400), vec![false; 400]);
            for _ in 0..2_000 {
                let mut left = choices.below(all);
                let species = weights.iter().position(|weight| match left.checked_sub(*weight) {
                    Some(rest) => {
                        left = rest;
                        false
                    }
                    None => true,
                });
                met[species.unwrap()] = true;
                sample.count(species.into_iter());
            }
            let unmet: u64 = (0..400).filter(|n| !met[*n]).map(|n| weights[n]).sum();
            truths += unmet as f64 / all as f64;
            estimates += sample.estimate(0..400).unwrap().next;
        }
        assert!(
            truths > 50.0 * 0.002,
            "the test says something only while much is unmet: {truths}"
        );
        assert!((estimates - truths).abs() < 0.05 * truths, "{estimates} for {truths}");
    }
}
