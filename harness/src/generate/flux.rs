//! Flux for separators: what was written, and how it passes the head. All of it begins and goes on
//! such that most of it is judged.

use super::choices::Choices;
use super::spare::Spare;
use trackproof_contract::{ChannelBits, Flux, Profile, Recording, Speed, Splice};
use trackproof_model::separator::waveform::{
    BASE_PPM, JUDGED_SHIFT, LONG_PPM, SHORT_PPM, SWING_PPM,
};

/// Most channel bits of a legal run, of short cases and of long ones.
const SHORT_BITS: u64 = 500;
const LONG_BITS: u64 = 4_000;

/// Most disturbances.
const DISTURBANCES: u64 = 4;

/// Longest erased stretch, in channel bits.
const ERASED_BITS: u64 = 600;

/// Draws the flux of a case.
pub(super) fn draw(profile: &Profile, spare: &mut Spare, choices: &mut impl Choices) -> Flux {
    let mut pen = Pen { recording: profile.recording, bits: spare.bits(), splices: Vec::new() };
    let speed = speed(choices);
    let most = if choices.chance(1, 3) { LONG_BITS } else { SHORT_BITS };
    if let Speed::Even { .. } = speed {
        pen.bits.push(1, 1);
        pen.legal(choices.below(most), choices);
        for _ in 0..choices.below(DISTURBANCES + 1) {
            if choices.chance(1, 2) {
                pen.splice(choices);
            } else {
                pen.erased(choices.between(4, ERASED_BITS));
            }
            pen.field(u64::from(profile.lock_bits) + 2 + choices.below(128));
            pen.legal(choices.below(most), choices);
        }
        // Something is to be judged behind the last one.
        pen.legal(u64::from(profile.lock_bits) + 64, choices);
    } else {
        pen.field(Speed::STEADY_BITS as u64);
        pen.legal(64 + choices.below(most), choices);
    }
    let shifted = profile.recording == Recording::Mfm && !matches!(speed, Speed::Step { .. });
    let peak_shift = match choices.weighted(&[2, 1, 1]) {
        0 => 0,
        1 => choices.below(u64::from(JUDGED_SHIFT) + 1) as u16,
        _ => JUDGED_SHIFT,
    };
    Flux {
        bits: pen.bits,
        speed,
        peak_shift: if shifted { peak_shift } else { 0 },
        displaced: Vec::new(),
        splices: pen.splices,
    }
}

/// A speed; every second one is at its extreme.
fn speed(choices: &mut impl Choices) -> Speed {
    let extreme = choices.chance(1, 2);
    let mut within = |low: i32, high: i32| match extreme {
        true => choices.pick(&[high, low]),
        false => choices.between(0, (high - low) as u64) as i32 + low,
    };
    let base_ppm = within(-BASE_PPM, BASE_PPM);
    let to_ppm = within(SHORT_PPM, LONG_PPM);
    let swing_ppm = within(0, SWING_PPM);
    match choices.weighted(&[3, 1, 2, 2]) {
        0 => Speed::Even { off_ppm: base_ppm },
        1 => Speed::Step { to_ppm },
        2 => Speed::Ramp { to_ppm },
        _ => Speed::Sinusoid { base_ppm, swing_ppm },
    }
}

/// Writes flux.
struct Pen {
    recording: Recording,
    bits: ChannelBits,
    splices: Vec<Splice>,
}

impl Pen {
    /// A one, so many channel bits behind the last one.
    fn one(&mut self, interval: u64) {
        for _ in 0..(interval - 1) / 64 {
            self.bits.push(0, 64);
        }
        self.bits.push(1, ((interval - 1) % 64 + 1) as usize);
    }

    /// Legal intervals over at least so many channel bits.
    fn legal(&mut self, count: u64, choices: &mut impl Choices) {
        let end = self.bits.len() as u64 + count;
        let intervals: &[u64] = match self.recording {
            Recording::Mfm => &[2, 3, 4],
            Recording::Fm => &[1, 2],
        };
        let two = [choices.pick(intervals), choices.pick(intervals)];
        match choices.weighted(&[2, 1, 1]) {
            // All of them, in any order.
            0 => {
                while (self.bits.len() as u64) < end {
                    self.one(choices.pick(intervals));
                }
            }
            // One after the other of two: without a change, or the same change again and again.
            1 => {
                while (self.bits.len() as u64) < end {
                    two.iter().for_each(|interval| self.one(*interval));
                }
            }
            // A run of one, then of the other.
            _ => {
                while (self.bits.len() as u64) < end {
                    for interval in two {
                        (0..choices.between(1, 40)).for_each(|_| self.one(interval));
                    }
                }
            }
        }
    }

    /// A field of zeros.
    fn field(&mut self, count: u64) {
        (0..count.div_ceil(2)).for_each(|_| self.bits.push(0b10, 2));
    }

    /// No transition for that long.
    fn erased(&mut self, count: u64) {
        (0..count / 64).for_each(|_| self.bits.push(0, 64));
        self.bits.push(0, (count % 64) as usize);
    }

    /// A write begins in the midst of it.
    fn splice(&mut self, choices: &mut impl Choices) {
        let moved = choices.below(1_001) as i16 - 500;
        self.splices.push(Splice { cell: self.bits.len() as u32, moved });
    }
}

#[cfg(test)]
mod tests {
    use crate::generate::{ByteChoices, Generator, SeededChoices, case_seed};
    use trackproof_contract::{Capabilities, Capability, Case, Profile, Recording};
    use trackproof_model::separator::judged::{Before, Judged};

    fn generator(recording: Recording) -> Generator {
        let profile = Profile { recording, ..Profile::sync_dma() };
        Generator::limited_to(profile, Capabilities::of(&[Capability::Separator]))
    }

    #[test]
    fn most_of_every_flux_is_judged() {
        let mut judged = Judged::default();
        for recording in [Recording::Mfm, Recording::Fm] {
            let mut generator = generator(recording);
            let (mut bits, mut held, mut again) = (0, 0, 0);
            let mut case = generator.case(1, 0);
            for index in 0..2_000 {
                generator.generate(&mut SeededChoices::new(case_seed(1, index)), &mut case);
                assert_eq!(case.validate(), Ok(()), "{index}");
                assert_eq!(case.needs(), Capabilities::of(&[Capability::Separator]));
                let flux = case.flux.as_ref().unwrap();
                judged.lay_out(&case.profile, flux);
                let stretches = judged.stretches();
                assert!(!stretches.is_empty(), "{index}: nothing to be judged");
                again += stretches.iter().filter(|one| one.before == Before::Disturbance).count();
                bits += flux.bits.len();
                held += stretches.iter().map(|one| one.end - one.first).sum::<usize>();
            }
            assert!(held * 2 > bits, "{held} of {bits}"); // a steady speed, gaps and fields take the rest
            assert!(again > 500, "{again} stretches behind a disturbance");
        }
    }

    #[test]
    fn a_stream_that_is_short_or_strange_leads_to_valid_flux() {
        let mut generator = generator(Recording::Mfm);
        let mut case = generator.case(1, 0);
        for length in 0..200 {
            let bytes: Vec<u8> = (0..length).map(|at: u8| at.wrapping_mul(73) ^ 0xa5).collect();
            generator.generate(&mut ByteChoices::new(&bytes), &mut case);
            assert_eq!(case.validate(), Ok(()), "{length}");
        }
    }

    #[test]
    fn who_is_no_separator_gets_no_flux() {
        let mut generator = Generator::new(Profile::sync_dma());
        let cases: Vec<Case> = (0..200).map(|index| generator.case(1, index)).collect();
        assert!(cases.iter().all(|case| case.flux.is_none() && !case.program.is_empty()));
    }
}
