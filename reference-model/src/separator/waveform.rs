//! Speed waveforms: how long each cell is while a turn's speed changes, and where transitions fall.
//!
//! Cell lengths go to 11.2 % above and 10.8 % below nominal: 3 % in the long term times 8 % in the
//! short term (ISO 8630-3, 4.4.2 and 4.4.3; 1.03 x 1.08 = 1.112 and 0.97 x 0.92 = 0.892). The
//! shapes of the waveforms are by definition. No function of the platform's mathematics is used, so
//! that they are the same everywhere.

use super::{FRACTION_BITS, Period};
use trackproof_contract::ChannelBits;

/// Channel bits at an even speed before the waveform begins: 25 zero bytes.
pub const LOCK_BITS: usize = 400;
/// Channel bits of a ramp: 64 bit cells.
pub const RAMP_BITS: usize = 128;
/// Channel bits of a sinusoid's period: 200 bit cells.
pub const SINUSOID_BITS: usize = 400;

/// How cell lengths change after the lock field, in parts per million of nominal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shape {
    /// At once, from nominal.
    Step {
        /// To this much above nominal.
        to_ppm: i32,
    },
    /// Evenly, over [`RAMP_BITS`], from nominal.
    Ramp {
        /// To this much above nominal.
        to_ppm: i32,
    },
    /// Up and down around a constant length, which is the lock field's too.
    Sinusoid {
        /// The constant length, this much above nominal.
        base_ppm: i32,
        /// The greatest change, of the constant length.
        swing_ppm: i32,
    },
}

/// How far neighbours push a transition when it is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PeakShift {
    /// Not at all.
    None,
    /// A one with one neighbour at 2 channel bits and the other one farther moves away from the
    /// near one by 5 % of a bit cell.
    FivePercent,
}

/// A waveform with its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Waveform {
    /// What to call it.
    pub name: &'static str,
    /// How cell lengths change.
    pub shape: Shape,
    /// Whether neighbours push.
    pub peak_shift: PeakShift,
}

const LONG_PPM: i32 = 112_000;
const SHORT_PPM: i32 = -108_000;

const fn waveform(name: &'static str, shape: Shape, peak_shift: PeakShift) -> Waveform {
    Waveform { name, shape, peak_shift }
}

const fn sinusoid(base_ppm: i32) -> Shape {
    Shape::Sinusoid { base_ppm, swing_ppm: 80_000 }
}

/// The waveforms that a separator is judged by.
pub const JUDGED: [Waveform; 10] = {
    use PeakShift::{FivePercent, None};
    [
        waveform("step-long", Shape::Step { to_ppm: LONG_PPM }, None),
        waveform("step-short", Shape::Step { to_ppm: SHORT_PPM }, None),
        waveform("ramp-long", Shape::Ramp { to_ppm: LONG_PPM }, None),
        waveform("ramp-short", Shape::Ramp { to_ppm: SHORT_PPM }, None),
        waveform("sinusoid-long", sinusoid(30_000), None),
        waveform("sinusoid-short", sinusoid(-30_000), None),
        waveform("ramp-long-shifted", Shape::Ramp { to_ppm: LONG_PPM }, FivePercent),
        waveform("ramp-short-shifted", Shape::Ramp { to_ppm: SHORT_PPM }, FivePercent),
        waveform("sinusoid-long-shifted", sinusoid(30_000), FivePercent),
        waveform("sinusoid-short-shifted", sinusoid(-30_000), FivePercent),
    ]
};

/// The cells of a stretch as they were written: the true grid.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grid {
    /// Where each cell begins, in 2⁻¹⁶ ns, and where the last one ends.
    edges: Vec<u64>,
}

impl Grid {
    /// `count` cells of a waveform, the first of the lock field first, which begins at 0.
    #[must_use]
    pub fn new(period: Period, shape: Shape, count: usize) -> Self {
        let nominal = period.fixed() as f64;
        let mut edge = 0;
        let edges = std::iter::once(0)
            .chain((0..count).map(|cell| {
                edge += (nominal * factor(shape, cell)).round() as u64;
                edge
            }))
            .collect();
        Self { edges }
    }

    /// How many cells.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.edges.len() - 1
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// A cell's centre, in 2⁻¹⁶ ns.
    pub(super) fn centre(&self, cell: usize) -> u64 {
        self.edges[cell].midpoint(self.edges[cell + 1])
    }

    /// A cell's length, in 2⁻¹⁶ ns.
    pub(super) fn length(&self, cell: usize) -> u64 {
        self.edges[cell + 1] - self.edges[cell]
    }

    /// When the transitions of `bits` come, in nanoseconds rounded down: each at its cell's centre,
    /// or shifted from it.
    ///
    /// # Panics
    /// When there are more bits than cells.
    #[must_use]
    pub fn transitions(&self, bits: &ChannelBits, peak_shift: PeakShift) -> Vec<u64> {
        assert!(bits.len() <= self.len(), "{} bits in {} cells", bits.len(), self.len());
        (0..bits.len())
            .filter(|bit| bits.get(*bit))
            .map(|bit| {
                // 5 % of a bit cell, which is two channel bits long.
                let push = self.length(bit) / 10;
                let at = match (peak_shift, pushed(bits, bit)) {
                    (PeakShift::FivePercent, Some(Push::Later)) => self.centre(bit) + push,
                    (PeakShift::FivePercent, Some(Push::Earlier)) => self.centre(bit) - push,
                    _ => self.centre(bit),
                };
                at >> FRACTION_BITS
            })
            .collect()
    }
}

enum Push {
    Earlier,
    Later,
}

/// Which way neighbours push a one: with one of them at 2 channel bits and the other one farther,
/// away from the near one. Beyond the stretch there are zeros.
fn pushed(bits: &ChannelBits, bit: usize) -> Option<Push> {
    let one = |bit: Option<usize>| bit.is_some_and(|bit| bit < bits.len() && bits.get(bit));
    let before = |distance: usize| one(bit.checked_sub(distance));
    let after = |distance: usize| one(Some(bit + distance));
    match (before(2) && !before(1), after(2) && !after(1)) {
        (true, false) if !after(1) => Some(Push::Later),
        (false, true) if !before(1) => Some(Push::Earlier),
        _ => None,
    }
}

/// A cell's length as a factor of nominal.
fn factor(shape: Shape, cell: usize) -> f64 {
    let after_lock = cell.saturating_sub(LOCK_BITS);
    let locking = cell < LOCK_BITS;
    let part = |ppm: i32| f64::from(ppm) / 1e6;
    match shape {
        Shape::Step { .. } | Shape::Ramp { .. } if locking => 1.0,
        Shape::Step { to_ppm } => 1.0 + part(to_ppm),
        Shape::Ramp { to_ppm } => {
            1.0 + part(to_ppm) * (after_lock.min(RAMP_BITS) as f64 / RAMP_BITS as f64)
        }
        Shape::Sinusoid { base_ppm, swing_ppm } => {
            let turn = (after_lock % SINUSOID_BITS) as f64 / SINUSOID_BITS as f64;
            let swing = if locking { 0.0 } else { part(swing_ppm) * sine(turn) };
            (1.0 + part(base_ppm)) * (1.0 + swing)
        }
    }
}

/// The sine of a fraction of a turn, 0 to 1, by its series: sums and products alone.
fn sine(turn: f64) -> f64 {
    // Folded into a quarter to either side of 0.
    let folded = match turn {
        turn if turn <= 0.25 => turn,
        turn if turn <= 0.75 => 0.5 - turn,
        turn => turn - 1.0,
    };
    let x = folded * std::f64::consts::TAU;
    let mut term = x;
    let mut sum = x;
    for n in 1..12 {
        term *= -x * x / f64::from(2 * n * (2 * n + 1));
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::sine;

    #[test]
    fn the_sine_is_that_of_the_library() {
        for step in 0..=4_000 {
            let turn = f64::from(step) / 4_000.0;
            assert!((sine(turn) - (turn * std::f64::consts::TAU).sin()).abs() < 1e-14, "{turn}");
        }
    }
}
