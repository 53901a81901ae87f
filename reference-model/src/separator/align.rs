//! Finding judged stretches in what a separator gave.

use super::judged::Stretch;
use crate::code::run_length::transitions;
use trackproof_contract::ChannelBits;

/// Where stretches may stand in what came. Its memory is reused.
#[derive(Debug, Default)]
pub struct Alignment {
    /// Places of the stretch's first bit, rising.
    places: Vec<usize>,
    /// Places behind the last stretch, rising.
    ends: Vec<usize>,
}

/// A stretch that did not come as it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Misread {
    /// The stretch.
    pub stretch: Stretch,
    /// The first cell that came out wrong, where it fits best.
    pub cell: usize,
    /// The place in what came that should hold that cell.
    pub place: usize,
}

impl Alignment {
    /// Holds what came against the stretches of what was written.
    ///
    /// Between two stretches, and before the first, as many channel bits may come as passed, and a
    /// quarter of them and two more or less; every way that is possible is kept.
    ///
    /// # Errors
    /// The first stretch that came out wrong in every way.
    pub fn hold(
        &mut self,
        written: &ChannelBits,
        stretches: &[Stretch],
        came: &ChannelBits,
    ) -> Result<(), Misread> {
        let first_one = transitions(written).next().unwrap_or(0);
        // Before the first transition a separator may give its cells, or nothing.
        self.ends.clear();
        self.ends.extend([0, first_one]);
        let mut end = first_one;
        for stretch in stretches {
            let passed = stretch.first - end;
            let slip = passed / 4 + 2;
            self.places.clear();
            for &behind in &self.ends {
                let from = (behind + passed).saturating_sub(slip).max(behind);
                let next = self.places.last().map_or(0, |last| last + 1);
                self.places.extend(from.max(next)..=behind + passed + slip);
            }
            let length = stretch.end - stretch.first;
            let nominal = self.places[self.places.len() / 2];
            let mut best = None;
            self.ends.clear();
            for &place in &self.places {
                let same = common(written, stretch.first, came, place, length);
                if same == length {
                    self.ends.push(place + length);
                }
                let fit = (same, std::cmp::Reverse(place.abs_diff(nominal)));
                best = best.max(Some((fit, place)));
            }
            if let (true, Some(((same, _), place))) = (self.ends.is_empty(), best) {
                let (cell, place) = (stretch.first + same, place + same);
                return Err(Misread { stretch: *stretch, cell, place });
            }
            end = stretch.end;
        }
        Ok(())
    }
}

impl Misread {
    /// Channel bits of the stretch that came out right.
    #[must_use]
    pub const fn right(&self) -> usize {
        self.cell - self.stretch.first
    }
}

/// How many bits of `one` from `at` are those of `other` from `place`, `most` at the most.
fn common(one: &ChannelBits, at: usize, other: &ChannelBits, place: usize, most: usize) -> usize {
    let most = most.min(other.len().saturating_sub(place)).min(one.len().saturating_sub(at));
    let mut same = 0;
    while same < most {
        let count = (most - same).min(64);
        let differ = one.window(at + same, count) ^ other.window(place + same, count);
        if differ != 0 {
            return same + (differ << (64 - count)).leading_zeros() as usize;
        }
        same += count;
    }
    same
}
