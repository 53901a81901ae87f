//! Features: what a search counts of a case's reach, so that a black box is searched with guidance.
//!
//! Each point of the model's reach is one, and each pair of points that one case reaches together.
//! Points alone are all met within minutes; which situations come together in one program goes on
//! telling cases apart for hours. A case is worth keeping when it has a feature that no case before
//! it had.

use trackproof_model::reach::POINTS;

/// How many features there are: points, then pairs of two different ones.
pub const FEATURES: usize = POINTS + POINTS * (POINTS - 1) / 2;

/// Fills `features` with the numbers of a case's features, each once, all below [`FEATURES`].
/// `points` are the numbers of the points that it reached, rising.
///
/// ```
/// use trackproof::features::{FEATURES, of};
/// use trackproof_model::reach::{Point, Reach};
/// let (mut reach, mut features) = (Reach::default(), Vec::new());
/// for point in [Point::Completed, Point::OneWord, Point::StartPhase(3)] {
///     reach.hit(point);
/// }
/// of(reach.numbers(), &mut features);
/// assert_eq!(features.len(), 3 + 3);
/// assert!(features.iter().all(|feature| *feature < FEATURES));
/// ```
pub fn of(points: impl Iterator<Item = usize>, features: &mut Vec<usize>) {
    features.clear();
    features.extend(points);
    let points = features.len();
    for second in 1..points {
        for first in 0..second {
            features.push(pair(features[first], features[second]));
        }
    }
}

/// The number of a pair of points, the lower one first.
const fn pair(low: usize, high: usize) -> usize {
    POINTS + high * (high - 1) / 2 + low
}

/// Features seen so far.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen(Box<[bool; FEATURES]>);

impl Default for Seen {
    fn default() -> Self {
        Self(Box::new([false; FEATURES]))
    }
}

impl Seen {
    /// Notes a case's features; whether one of them is new.
    pub fn note(&mut self, features: &[usize]) -> bool {
        let mut new = false;
        for feature in features {
            new |= !std::mem::replace(&mut self.0[*feature], true);
        }
        new
    }

    /// Adds what others have seen.
    pub fn add(&mut self, other: &Self) {
        self.0.iter_mut().zip(other.0.iter()).for_each(|(seen, more)| *seen |= more);
    }

    /// A digit a feature.
    #[must_use]
    pub fn digits(&self) -> String {
        self.0.iter().map(|seen| if *seen { '1' } else { '0' }).collect()
    }

    /// Features out of their digits; none where these are not one a feature.
    #[must_use]
    pub fn from_digits(digits: &str) -> Option<Self> {
        let seen = digits.bytes().map(|digit| match digit {
            b'0' => Some(false),
            b'1' => Some(true),
            _ => None,
        });
        let seen = seen.collect::<Option<Vec<bool>>>()?;
        seen.into_boxed_slice().try_into().ok().map(Self)
    }

    /// How many there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.0.iter().filter(|seen| **seen).count()
    }
}

#[cfg(test)]
mod tests {
    use super::{FEATURES, POINTS, Seen, pair};
    use std::collections::BTreeSet;

    #[test]
    fn every_pair_has_a_number_of_its_own() {
        let pairs: BTreeSet<usize> =
            (0..POINTS).flat_map(|high| (0..high).map(move |low| pair(low, high))).collect();
        assert_eq!(pairs.len(), FEATURES - POINTS);
        assert_eq!(pairs.first(), Some(&POINTS));
        assert_eq!(pairs.last(), Some(&(FEATURES - 1)));
    }

    #[test]
    fn a_feature_is_new_once() {
        let mut seen = Seen::default();
        assert!(seen.note(&[3, 5]));
        assert!(!seen.note(&[5]));
        assert!(seen.note(&[5, FEATURES - 1]));
        assert_eq!(seen.count(), 3);
        assert_eq!(Seen::from_digits(&seen.digits()), Some(seen));
        assert_eq!(Seen::from_digits("01"), None);
    }
}
