//! Speed waveforms: how long each cell is while a turn's speed changes, and where transitions fall.
//!
//! Cell lengths go to 11.2 % above and 10.8 % below nominal: 3 % in the long term times 8 % in the
//! short term (ISO 8630-3, 4.4.2 and 4.4.3; 1.03 x 1.08 = 1.112 and 0.97 x 0.92 = 0.892). The
//! shapes of the waveforms are by definition. No function of the platform's mathematics is used, so
//! that they are the same everywhere.

use super::{FRACTION_BITS, Period};
use crate::code::run_length::transitions;
use trackproof_contract::{ChannelBits, Displaced, Speed, Splice};

/// Channel bits of a ramp: 64 bit cells.
pub const RAMP_BITS: usize = 128;
/// Channel bits of a sinusoid's period: 200 bit cells.
pub const SINUSOID_BITS: usize = 400;
/// How far neighbours push in the waveforms that a separator is judged by, in thousandths of a
/// channel bit: 5 % of a bit cell.
pub const JUDGED_SHIFT: u16 = 100;

/// The longest cells that a separator is judged by, above nominal: 1.03 x 1.08.
pub const LONG_PPM: i32 = 112_000;
/// The shortest ones: 0.97 x 0.92.
pub const SHORT_PPM: i32 = -108_000;
/// The most in the long term.
pub const BASE_PPM: i32 = 30_000;
/// The most in the short term, of that.
pub const SWING_PPM: i32 = 80_000;

/// A waveform with its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Waveform {
    /// What to call it.
    pub name: &'static str,
    /// How cell lengths change.
    pub speed: Speed,
    /// How far neighbours push, in thousandths of a channel bit.
    pub peak_shift: u16,
}

const fn waveform(name: &'static str, speed: Speed, peak_shift: u16) -> Waveform {
    Waveform { name, speed, peak_shift }
}

const fn sinusoid(base_ppm: i32) -> Speed {
    Speed::Sinusoid { base_ppm, swing_ppm: SWING_PPM }
}

/// The extremes of what a separator is judged by.
pub const JUDGED: [Waveform; 10] = [
    waveform("step-long", Speed::Step { to_ppm: LONG_PPM }, 0),
    waveform("step-short", Speed::Step { to_ppm: SHORT_PPM }, 0),
    waveform("ramp-long", Speed::Ramp { to_ppm: LONG_PPM }, 0),
    waveform("ramp-short", Speed::Ramp { to_ppm: SHORT_PPM }, 0),
    waveform("sinusoid-long", sinusoid(BASE_PPM), 0),
    waveform("sinusoid-short", sinusoid(-BASE_PPM), 0),
    waveform("ramp-long-shifted", Speed::Ramp { to_ppm: LONG_PPM }, JUDGED_SHIFT),
    waveform("ramp-short-shifted", Speed::Ramp { to_ppm: SHORT_PPM }, JUDGED_SHIFT),
    waveform("sinusoid-long-shifted", sinusoid(BASE_PPM), JUDGED_SHIFT),
    waveform("sinusoid-short-shifted", sinusoid(-BASE_PPM), JUDGED_SHIFT),
];

/// The cells of a stretch as they were written: the true grid. Its memory is kept when it is filled
/// anew.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Grid {
    /// Where each cell begins and how long it is, in 2⁻¹⁶ ns.
    cells: Vec<(u64, u64)>,
}

impl Grid {
    /// `count` cells at a speed, the first of which begins at 0.
    #[must_use]
    pub fn new(period: Period, speed: Speed, count: usize) -> Self {
        let mut grid = Self::default();
        grid.fill(period, speed, &[], count);
        grid
    }

    /// Becomes `count` cells at a speed, moved at splices, which are in rising order.
    pub fn fill(&mut self, period: Period, speed: Speed, splices: &[Splice], count: usize) {
        let nominal = period.fixed() as f64;
        let (mut begin, mut splices) = (0_u64, splices.iter().peekable());
        self.cells.clear();
        self.cells.extend((0..count).map(|cell| {
            if let Some(splice) = splices.next_if(|splice| splice.cell as usize == cell) {
                begin =
                    begin.saturating_add_signed(period.fixed() * i64::from(splice.moved) / 1_000);
            }
            let length = (nominal * factor(speed, cell)).round() as u64;
            let this = (begin, length);
            begin += length;
            this
        }));
    }

    /// How many cells.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.cells.len()
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.cells.is_empty()
    }

    /// A cell's centre, in 2⁻¹⁶ ns.
    pub(super) fn centre(&self, cell: usize) -> u64 {
        let (begin, length) = self.cells[cell];
        begin + length / 2
    }

    /// A cell's length, in 2⁻¹⁶ ns.
    pub(super) fn length(&self, cell: usize) -> u64 {
        self.cells[cell].1
    }

    /// When the last cell ends, in nanoseconds rounded up.
    #[must_use]
    pub fn end_ns(&self) -> u64 {
        let (begin, length) = self.cells.last().copied().unwrap_or_default();
        (begin + length).div_ceil(1 << FRACTION_BITS)
    }

    /// When the transitions of `bits` come, in nanoseconds rounded down: each at its cell's centre,
    /// or as far from it as neighbours push it, in thousandths of a channel bit.
    ///
    /// # Panics
    /// When there are more bits than cells.
    #[must_use]
    pub fn transitions(&self, bits: &ChannelBits, peak_shift: u16) -> Vec<u64> {
        let mut times_ns = Vec::new();
        self.transitions_into(bits, peak_shift, &[], &mut times_ns);
        times_ns
    }

    /// The same, some of them displaced, into `times_ns`, which is emptied first and keeps its memory.
    ///
    /// # Panics
    /// When there are more bits than cells.
    pub fn transitions_into(
        &self,
        bits: &ChannelBits,
        peak_shift: u16,
        displaced: &[Displaced],
        times_ns: &mut Vec<u64>,
    ) {
        assert!(bits.len() <= self.len(), "{} bits in {} cells", bits.len(), self.len());
        times_ns.clear();
        let (mut last, mut displaced) = (None, displaced.iter().peekable());
        for (transition, bit) in transitions(bits).enumerate() {
            let push = self.length(bit) * u64::from(peak_shift) / 1_000;
            let at = match pushed(bits, bit) {
                Some(Push::Later) => self.centre(bit) + push,
                Some(Push::Earlier) => self.centre(bit).saturating_sub(push),
                None => self.centre(bit),
            };
            let by = displaced.next_if(|one| one.transition as usize == transition);
            let by = by.map_or(0, |one| self.length(bit) as i64 * i64::from(one.by) / 1_000);
            let at = at.saturating_add_signed(by);
            // Two in one nanosecond are one edge; where a splice puts them so close, the later one
            // gives way, so that each 1 keeps its time.
            let at = (at >> FRACTION_BITS).max(last.map_or(0, |last| last + 1));
            last = Some(at);
            times_ns.push(at);
        }
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
fn factor(speed: Speed, cell: usize) -> f64 {
    let changing = cell.saturating_sub(Speed::STEADY_BITS);
    let steady = cell < Speed::STEADY_BITS;
    let part = |ppm: i32| f64::from(ppm) / 1e6;
    match speed {
        Speed::Even { off_ppm } => 1.0 + part(off_ppm),
        Speed::Step { .. } | Speed::Ramp { .. } if steady => 1.0,
        Speed::Step { to_ppm } => 1.0 + part(to_ppm),
        Speed::Ramp { to_ppm } => {
            1.0 + part(to_ppm) * (changing.min(RAMP_BITS) as f64 / RAMP_BITS as f64)
        }
        Speed::Sinusoid { base_ppm, swing_ppm } => {
            let turn = (changing % SINUSOID_BITS) as f64 / SINUSOID_BITS as f64;
            let swing = if steady { 0.0 } else { part(swing_ppm) * sine(turn) };
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
