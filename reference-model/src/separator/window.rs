//! How far a separator is judged: only where transitions stand inside its stated window and the
//! speed changes no faster than it says.
//!
//! By definition: a separator's profile states a window and a limit of change; outside of either
//! what it makes of the transitions is its own affair.

use super::FRACTION_BITS;
use super::waveform::Grid;
use crate::code::run_length::transitions;
use std::collections::VecDeque;
use trackproof_contract::ChannelBits;

/// Channel bits over which the change of the cell length is measured: 64 bit cells.
pub const CHANGE_BITS: usize = 128;

/// What a separator states of itself, in percent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Claim {
    /// How much of half a channel bit, around a cell's centre, a transition may be off.
    pub window_percent: u8,
    /// How much the cell length may change over [`CHANGE_BITS`].
    pub rate_limit_percent: u8,
}

/// Where the claim no longer holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outside {
    /// A transition outside the window.
    Window {
        /// Its cell.
        cell: usize,
    },
    /// A cell whose length differs too much from one before it.
    Rate {
        /// The cell.
        cell: usize,
    },
}

/// The first cell at which the claim does not hold; up to it a separator must be exact.
///
/// Shape: `bits` are the written channel bits, one for each cell of the grid; `times_ns` holds a
/// time for each of their ones, in order. The change is of the length of the cell [`CHANGE_BITS`]
/// before, or of any in between.
#[must_use]
pub fn first_outside(
    claim: Claim,
    grid: &Grid,
    bits: &ChannelBits,
    times_ns: &[u64],
) -> Option<Outside> {
    let window = transitions(bits).zip(times_ns).find_map(|(cell, ns)| {
        let off = (ns << FRACTION_BITS).abs_diff(grid.centre(cell));
        let outside = 200 * off > u64::from(claim.window_percent) * grid.length(cell);
        outside.then_some(Outside::Window { cell })
    });
    let limit = u64::from(claim.rate_limit_percent);
    // Of the cells before, the shortest and the longest one are the farthest away.
    let (mut shortest, mut longest) = (Extreme::default(), Extreme::default());
    let rate = (0..bits.len()).find_map(|cell| {
        let length = grid.length(cell);
        let far = |before: Option<u64>| {
            before.is_some_and(|before| 100 * length.abs_diff(before) > limit * before)
        };
        let outside = far(shortest.value()) || far(longest.value());
        shortest.enter(cell, length, |one, other| one < other);
        longest.enter(cell, length, |one, other| one > other);
        outside.then_some(Outside::Rate { cell })
    });
    match (window, rate) {
        (Some(Outside::Window { cell }), Some(Outside::Rate { cell: other })) if other < cell => {
            rate
        }
        (None, rate) => rate,
        (window, _) => window,
    }
}

/// The most extreme length of the last [`CHANGE_BITS`] cells.
#[derive(Default)]
struct Extreme(VecDeque<(usize, u64)>);

impl Extreme {
    fn value(&self) -> Option<u64> {
        self.0.front().map(|(_, length)| *length)
    }

    /// A cell more, which is the last one from now on; `beats` says which of two is the more
    /// extreme.
    fn enter(&mut self, cell: usize, length: u64, beats: impl Fn(u64, u64) -> bool) {
        while self.0.back().is_some_and(|(_, before)| !beats(*before, length)) {
            self.0.pop_back();
        }
        self.0.push_back((cell, length));
        if self.0.front().is_some_and(|(first, _)| first + CHANGE_BITS <= cell) {
            self.0.pop_front();
        }
    }
}
