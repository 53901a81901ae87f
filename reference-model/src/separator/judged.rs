//! Which channel bits of a flux a separator must give as they were written.
//!
//! By definition (what a separator is judged by), over waveforms whose limits are those of ISO
//! 8630-3, 4.4.2 and 4.4.3. A separator is judged once it has had the profile's `lock_bits` of legal
//! flux, and no farther than its window and its limit of change reach. Behind what is no legal flux
//! it must be right again after as many channel bits of a field of zeros: the field that stands
//! before every mark for that purpose. What it makes of all the rest is its own affair; nobody says
//! then how many channel bits it gives either, so a stretch is looked for near its place.

use super::Period;
use super::waveform::{BASE_PPM, Grid, JUDGED_SHIFT, LONG_PPM, SHORT_PPM, SWING_PPM};
use super::window::{Claim, Outside, first_outside};
use crate::code::run_length::{limits, transitions};
use trackproof_contract::{ChannelBits, Flux, Profile, Recording, Speed};

/// Channel bits from one transition to the next in a field of zeros, of MFM as of FM.
const FIELD_INTERVAL: usize = 2;

/// What comes before a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Before {
    /// The first transitions of all.
    Start,
    /// Something that is no legal flux.
    Disturbance,
}

/// Written channel bits that must come out as they are, from a transition to a transition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// The first cell.
    pub first: usize,
    /// Behind the last one.
    pub end: usize,
    /// What comes before it.
    pub before: Before,
}

/// A flux with the times of its transitions and what of it is judged. Its memory is reused.
#[derive(Debug, Default)]
pub struct Judged {
    grid: Grid,
    times_ns: Vec<u64>,
    stretches: Vec<Stretch>,
}

impl Judged {
    /// Lays out a flux.
    ///
    /// # Panics
    /// When profile or flux break their limits.
    pub fn lay_out(&mut self, profile: &Profile, flux: &Flux) {
        self.pass(profile, flux);
        if !is_judged(profile.recording, flux) {
            return;
        }
        let claim = Claim {
            window_percent: profile.window as u8,
            rate_limit_percent: profile.rate_limit as u8,
        };
        let end = match first_outside(claim, &self.grid, &flux.bits, &self.times_ns) {
            Some(Outside::Window { cell } | Outside::Rate { cell }) => cell,
            None => flux.bits.len(),
        };
        find(profile, flux, end, &mut self.stretches);
    }

    /// Lays out a flux and takes all of it as judged that is legal as it was written, however it
    /// passes: to measure how far a separator goes.
    ///
    /// # Panics
    /// When profile or flux break their limits.
    pub fn lay_out_whole(&mut self, profile: &Profile, flux: &Flux) {
        self.pass(profile, flux);
        find(profile, flux, flux.bits.len(), &mut self.stretches);
    }

    /// The grid and the times of the transitions; no stretches yet.
    fn pass(&mut self, profile: &Profile, flux: &Flux) {
        let period = Period::from_ns(profile.channel_bit_ns.into()).expect("a valid profile");
        self.grid.fill(period, flux.speed, &flux.splices, flux.bits.len());
        self.grid.transitions_into(
            &flux.bits,
            flux.peak_shift,
            &flux.displaced,
            &mut self.times_ns,
        );
        self.stretches.clear();
    }

    /// When the transitions come, in nanoseconds.
    #[must_use]
    pub fn times_ns(&self) -> &[u64] {
        &self.times_ns
    }

    /// When the last cell ends, in nanoseconds.
    #[must_use]
    pub fn end_ns(&self) -> u64 {
        self.grid.end_ns()
    }

    /// The stretches, in rising order.
    #[must_use]
    pub fn stretches(&self) -> &[Stretch] {
        &self.stretches
    }
}

/// Whether a separator is judged by such a flux at all.
fn is_judged(recording: Recording, flux: &Flux) -> bool {
    let most_shift = match (recording, flux.speed) {
        // How neighbours push is said for MFM alone.
        (Recording::Fm, _) | (_, Speed::Step { .. }) => 0,
        _ => JUDGED_SHIFT,
    };
    let speed = match flux.speed {
        Speed::Even { off_ppm } => off_ppm.abs() <= BASE_PPM,
        Speed::Step { to_ppm } | Speed::Ramp { to_ppm } => (SHORT_PPM..=LONG_PPM).contains(&to_ppm),
        Speed::Sinusoid { base_ppm, swing_ppm } => {
            base_ppm.abs() <= BASE_PPM && swing_ppm <= SWING_PPM
        }
    };
    let even = matches!(flux.speed, Speed::Even { .. });
    speed
        && flux.displaced.is_empty()
        && flux.peak_shift <= most_shift
        && (even || begins_with_zeros(&flux.bits))
}

/// Whether the part at a constant speed is a field of zeros.
fn begins_with_zeros(bits: &ChannelBits) -> bool {
    bits.len() >= Speed::STEADY_BITS
        && transitions(bits)
            .take_while(|bit| *bit < Speed::STEADY_BITS)
            .eq((0..Speed::STEADY_BITS).step_by(FIELD_INTERVAL))
}

/// What the walk along the transitions is at.
enum At {
    /// Legal flux since the first transition.
    Locking { since: usize },
    /// In a stretch that began there.
    Judged { first: usize, before: Before },
    /// Behind a disturbance; a field of zeros has lasted since that transition.
    Disturbed { field: usize },
}

fn find(profile: &Profile, flux: &Flux, end: usize, stretches: &mut Vec<Stretch>) {
    let legal = limits(profile.recording);
    let lock_bits = usize::from(profile.lock_bits);
    let mut splices = flux.splices.iter().map(|splice| splice.cell as usize).peekable();
    let mut all = transitions(&flux.bits).take_while(|bit| *bit < end);
    let Some(first) = all.next() else { return };
    while splices.next_if(|cell| *cell <= first).is_some() {}
    let (mut at, mut last) = (At::Locking { since: first }, first);
    let close = |at: &At, last: usize, stretches: &mut Vec<Stretch>| {
        if let At::Judged { first, before } = *at {
            stretches.push(Stretch { first, end: last + 1, before });
        }
    };
    for bit in all {
        let spliced = splices.next_if(|cell| *cell <= bit).is_some();
        while splices.next_if(|cell| *cell <= bit).is_some() {}
        let interval = bit - last;
        if spliced || !legal.contains(&interval) {
            close(&at, last, stretches);
            if !matches!(flux.speed, Speed::Even { .. }) {
                return;
            }
            at = At::Disturbed { field: bit };
        }
        at = match at {
            At::Locking { since } if bit - since >= lock_bits => {
                At::Judged { first: bit, before: Before::Start }
            }
            At::Disturbed { field } if bit > field && interval != FIELD_INTERVAL => {
                At::Disturbed { field: bit }
            }
            At::Disturbed { field } if bit - field >= lock_bits => {
                At::Judged { first: bit, before: Before::Disturbance }
            }
            at => at,
        };
        last = bit;
    }
    close(&at, last, stretches);
}
