//! Flux: what was written on a stretch of track, and how it passes the head, for a part that makes
//! channel bits of transitions.

use crate::{CaseError, ChannelBits};

/// Most channel bits of a stretch: a turn of the densest track passes, and a campaign's are shorter.
pub const MAX_FLUX_BITS: usize = crate::MAX_TRACK_BITS;
/// Most places at which the written grid moves.
pub const MAX_SPLICES: usize = 1_024;
/// Farthest that any speed is from nominal, in parts per million of a cell's length.
pub const MAX_SPEED_PPM: i32 = 200_000;
/// Most that a transition is displaced, in thousandths of a channel bit: in FM the next one may stand
/// in the next cell.
pub const MAX_DISPLACED: i16 = 500;
/// Most that neighbours push a transition, in thousandths of a channel bit: beyond half of one it
/// stands in another cell.
pub const MAX_PEAK_SHIFT: u16 = 400;

/// How long the cells are while the stretch passes, against nominal.
///
/// All but an even speed begin with [`STEADY_BITS`](Self::STEADY_BITS) at a constant one. Lengths
/// are in parts per million: at 112 000 a cell lasts 1.112 of its nominal time, the speed is low.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(tag = "speed", rename_all = "kebab-case", deny_unknown_fields))]
pub enum Speed {
    /// The same all along.
    Even {
        /// So much above nominal.
        off_ppm: i32,
    },
    /// It changes at once, from nominal.
    Step {
        /// To so much above nominal.
        to_ppm: i32,
    },
    /// It changes evenly over 64 bit cells, from nominal.
    Ramp {
        /// To so much above nominal.
        to_ppm: i32,
    },
    /// It swings around a constant one, with a period of 200 bit cells.
    Sinusoid {
        /// The constant length, so much above nominal.
        base_ppm: i32,
        /// The greatest change, of the constant length.
        swing_ppm: i32,
    },
}

impl Speed {
    /// Channel bits at a constant speed before it changes: 25 zero bytes.
    pub const STEADY_BITS: usize = 400;

    /// The numbers of it, the most important one first.
    #[must_use]
    pub const fn numbers(self) -> [i32; 2] {
        match self {
            Self::Even { off_ppm: ppm }
            | Self::Step { to_ppm: ppm }
            | Self::Ramp { to_ppm: ppm } => [ppm, 0],
            Self::Sinusoid { base_ppm, swing_ppm } => [swing_ppm, base_ppm],
        }
    }

    /// The same with other numbers, in the order of [`numbers`](Self::numbers).
    #[must_use]
    pub const fn with_numbers(self, [first, second]: [i32; 2]) -> Self {
        match self {
            Self::Even { .. } => Self::Even { off_ppm: first },
            Self::Step { .. } => Self::Step { to_ppm: first },
            Self::Ramp { .. } => Self::Ramp { to_ppm: first },
            Self::Sinusoid { .. } => Self::Sinusoid { base_ppm: second, swing_ppm: first },
        }
    }
}

/// A place at which a write began in the midst of old flux: from there on the written grid is
/// moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Splice {
    /// The first cell of the new grid.
    pub cell: u32,
    /// How much longer the cell before it is, in thousandths of a channel bit; negative: shorter.
    pub moved: i16,
}

/// A transition that does not stand where it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Displaced {
    /// Which transition, from 0.
    pub transition: u32,
    /// How much later it comes, in thousandths of a channel bit; negative: earlier.
    pub by: i16,
}

/// A stretch of flux.
///
/// Its first cell begins at time 0, a transition stands in the middle of the cell of each 1. What
/// is no legal run of the profile's recording (a long stretch of zeros, say) is there as well: it
/// has been erased, and a part may make anything of it.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Flux {
    /// The channel bits that were written, in the order in which they pass.
    pub bits: ChannelBits,
    /// How fast they pass.
    pub speed: Speed,
    /// How far a 1 with one neighbour at 2 channel bits and the other one farther is pushed away
    /// from the near one, in thousandths of a channel bit.
    pub peak_shift: u16,
    /// Transitions that stand elsewhere, in rising order: jitter. No separator is judged by them, but
    /// margins are measured with them.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "Vec::is_empty"))]
    pub displaced: Vec<Displaced>,
    /// Where the grid moves, in rising order.
    pub splices: Vec<Splice>,
}

impl Flux {
    /// Checks every limit.
    ///
    /// # Errors
    /// The first place that breaks one.
    pub fn validate(&self) -> Result<(), CaseError> {
        let fail = |place: String, why: String| Err(CaseError { place, why });
        if !(1..=MAX_FLUX_BITS).contains(&self.bits.len()) {
            let why =
                format!("{} channel bits, the limits are 1 and {MAX_FLUX_BITS}", self.bits.len());
            return fail("flux.bits".into(), why);
        }
        let numbers = self.speed.numbers();
        let reach: i32 =
            numbers.iter().fold(0, |sum, ppm| sum.saturating_add(ppm.saturating_abs()));
        if reach > MAX_SPEED_PPM {
            let why = format!(
                "{reach} parts per million away from nominal, the limit is {MAX_SPEED_PPM}"
            );
            return fail("flux.speed".into(), why);
        }
        if matches!(self.speed, Speed::Sinusoid { swing_ppm: ..0, .. }) {
            return fail("flux.speed.swing_ppm".into(), "it must not be negative".into());
        }
        if self.peak_shift > MAX_PEAK_SHIFT {
            let why = format!(
                "{} thousandths of a channel bit, the limit is {MAX_PEAK_SHIFT}",
                self.peak_shift
            );
            return fail("flux.peak_shift".into(), why);
        }
        let ones = self.bits.count_ones();
        let mut next = 0;
        for (at, Displaced { transition, by }) in self.displaced.iter().copied().enumerate() {
            let place = || format!("flux.displaced[{at}]");
            if transition < next || transition as usize >= ones {
                let why = format!(
                    "transition {transition}, it must be {next} or a later one, and there are {ones}"
                );
                return fail(place(), why);
            }
            if !(-MAX_DISPLACED..=MAX_DISPLACED).contains(&by) {
                let why = format!(
                    "moved by {by} thousandths of a channel bit, the limits are -{MAX_DISPLACED} and \
                     {MAX_DISPLACED}"
                );
                return fail(place(), why);
            }
            next = transition + 1;
        }
        if self.splices.len() > MAX_SPLICES {
            let why = format!("{} splices, the limit is {MAX_SPLICES}", self.splices.len());
            return fail("flux.splices".into(), why);
        }
        let mut before = 0;
        for (at, splice) in self.splices.iter().enumerate() {
            let place = || format!("flux.splices[{at}]");
            if splice.cell <= before || splice.cell as usize >= self.bits.len() {
                let why = format!(
                    "at cell {}, it must lie behind {before} and before {}",
                    splice.cell,
                    self.bits.len()
                );
                return fail(place(), why);
            }
            if !(-500..=500).contains(&splice.moved) {
                let why = format!(
                    "moved by {} thousandths of a channel bit, the limits are -500 and 500",
                    splice.moved
                );
                return fail(place(), why);
            }
            before = splice.cell;
        }
        Ok(())
    }

    /// Most channel bits that a part may make of it: twice as many, and some more for the time
    /// before and behind it.
    #[must_use]
    pub const fn most_separated(&self) -> usize {
        2 * self.bits.len() + 1_024
    }
}

#[cfg(test)]
mod tests {
    use super::{Displaced, Flux, Speed, Splice};
    use crate::ChannelBits;

    fn flux() -> Flux {
        Flux {
            bits: ChannelBits::zeros(9),
            speed: Speed::Even { off_ppm: 0 },
            peak_shift: 0,
            displaced: Vec::new(),
            splices: Vec::new(),
        }
    }

    fn refused(change: impl FnOnce(&mut Flux)) -> String {
        let mut flux = flux();
        change(&mut flux);
        flux.validate().expect_err("over a limit").to_string()
    }

    #[test]
    fn every_limit_is_kept_and_named() {
        assert_eq!(flux().validate(), Ok(()));
        assert!(refused(|flux| flux.bits = ChannelBits::new()).starts_with("flux.bits: 0 channel"));
        assert!(
            refused(|flux| flux.speed = Speed::Ramp { to_ppm: i32::MIN }).contains("is 200000")
        );
        let both = Speed::Sinusoid { base_ppm: -100_000, swing_ppm: 100_001 };
        assert!(refused(|flux| flux.speed = both).contains("200001 parts"));
        let swing = Speed::Sinusoid { base_ppm: 0, swing_ppm: -1 };
        assert!(refused(|flux| flux.speed = swing).contains("negative"));
        assert!(refused(|flux| flux.peak_shift = 401).contains("401"));
        let splices = |list: &[(u32, i16)]| -> Vec<Splice> {
            list.iter().map(|&(cell, moved)| Splice { cell, moved }).collect()
        };
        for bad in [&[(0, 1)][..], &[(9, 1)], &[(3, 1), (3, 1)], &[(3, 501)], &[(3, -501)]] {
            assert!(refused(|flux| flux.splices = splices(bad)).starts_with("flux.splices["));
        }
        // Nine zeros have no transition; give them two.
        let displaced = |list: &[(u32, i16)]| {
            let mut flux = flux();
            flux.bits = ChannelBits::from_bytes(&[0b1001_0000, 0], 9);
            let of = |&(transition, by): &(u32, i16)| Displaced { transition, by };
            flux.displaced = list.iter().map(of).collect();
            flux.validate().map_err(|error| error.place)
        };
        assert_eq!(displaced(&[(0, -500), (1, 500)]), Ok(()));
        for bad in [&[(2, 0)][..], &[(0, 501)], &[(0, -501)], &[(0, 0), (0, 1)], &[(1, 0), (0, 0)]]
        {
            assert!(displaced(bad).is_err_and(|place| place.starts_with("flux.displaced[")));
        }
        let mut good = flux();
        good.splices = splices(&[(1, -500), (8, 500)]);
        assert_eq!(good.validate(), Ok(()));
    }

    #[test]
    fn a_speed_is_made_of_its_numbers() {
        for speed in [
            Speed::Even { off_ppm: 3 },
            Speed::Step { to_ppm: -4 },
            Speed::Ramp { to_ppm: 5 },
            Speed::Sinusoid { base_ppm: 6, swing_ppm: 7 },
        ] {
            assert_eq!(speed.with_numbers(speed.numbers()), speed);
        }
    }
}
