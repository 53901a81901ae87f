//! Margins: how far a data separator goes beyond what it is judged by, one direction at a time.
//!
//! `check` says whether a separator holds what a standard asks; a margin says what is left where two
//! of them do. Each axis takes one disturbance from nothing to far beyond. At every point the same
//! flux is tried so many times, disturbed by that much; a point passes when every trial gives what was
//! written. The model's tracking separator goes the same way beside it.
//!
//! A coarse grid comes first. Where it passes up to some point and fails from there on, the place is
//! searched between the two; where it does not, the grid is all that can be said, and is told.

use crate::campaign::{CampaignError, RigFactory};
use crate::generate::{Choices, SeededChoices, case_seed};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use trackproof_contract::{
    Bench, Capability, Case, ChannelBits, Displaced, Flux, Observation, Profile, Rig, RigError,
    Speed,
};
use trackproof_model::code::run_length::{limits, transitions};
use trackproof_model::separator::judged::Judged;
use trackproof_model::separator::{Alignment, Period, Tracking};

/// Channel bits of legal flux behind the field of zeros that every trial begins with.
const DATA_BITS: usize = 600;

/// One direction in which flux may be disturbed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// An even speed, cells too long.
    SlowSpeed,
    /// An even speed, cells too short.
    FastSpeed,
    /// The speed steps to longer cells.
    SlowStep,
    /// The speed steps to shorter cells.
    FastStep,
    /// The speed ramps to longer cells.
    SlowRamp,
    /// The speed ramps to shorter cells.
    FastRamp,
    /// One transition in the midst of even flux comes late. What it is itself taken for counts, not
    /// what the loop makes of it: so each side of the window shows alone.
    Late,
    /// One transition in the midst of even flux comes early, likewise.
    Early,
    /// Every transition is anywhere about its place.
    Jitter,
    /// Neighbours push each other apart.
    PeakShift,
}

impl Axis {
    /// Every axis, in the order of reports.
    pub const ALL: [Self; 10] = [
        Self::SlowSpeed,
        Self::FastSpeed,
        Self::SlowStep,
        Self::FastStep,
        Self::SlowRamp,
        Self::FastRamp,
        Self::Late,
        Self::Early,
        Self::Jitter,
        Self::PeakShift,
    ];

    /// Its name, in kebab-case.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SlowSpeed => "slow-speed",
            Self::FastSpeed => "fast-speed",
            Self::SlowStep => "slow-step",
            Self::FastStep => "fast-step",
            Self::SlowRamp => "slow-ramp",
            Self::FastRamp => "fast-ramp",
            Self::Late => "late-transition",
            Self::Early => "early-transition",
            Self::Jitter => "jitter",
            Self::PeakShift => "peak-shift",
        }
    }

    /// What is disturbed, in words.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::SlowSpeed => "an even speed, cells too long by",
            Self::FastSpeed => "an even speed, cells too short by",
            Self::SlowStep => "a step to cells too long by",
            Self::FastStep => "a step to cells too short by",
            Self::SlowRamp => "a ramp over 64 bit cells to cells too long by",
            Self::FastRamp => "a ramp over 64 bit cells to cells too short by",
            Self::Late => "one transition late, of a channel bit",
            Self::Early => "one transition early, of a channel bit",
            Self::Jitter => "every transition off by up to, of a channel bit",
            Self::PeakShift => "neighbours push by, of a channel bit",
        }
    }

    /// What a standard asks of it, in thousandths, and which; none where none does.
    #[must_use]
    pub const fn standard(self) -> Option<(i32, &'static str)> {
        match self {
            Self::SlowSpeed | Self::FastSpeed => Some((30, "ISO 8630-3, 4.4.2")),
            Self::SlowStep | Self::SlowRamp => Some((112, "ISO 8630-3, 4.4.2 and 4.4.3")),
            Self::FastStep | Self::FastRamp => Some((108, "ISO 8630-3, 4.4.2 and 4.4.3")),
            _ => None,
        }
    }

    /// Points of the coarse grid, in thousandths.
    const fn grid(self) -> &'static [i32] {
        match self {
            Self::Late | Self::Early => &[25, 50, 100, 150, 200, 250, 300, 350, 400, 450, 500],
            Self::Jitter | Self::PeakShift => &[25, 50, 100, 150, 200, 250, 300, 350, 400],
            _ => &[10, 30, 50, 75, 100, 125, 150, 175, 200],
        }
    }

    /// The flux of one trial, disturbed by `value` thousandths. Trials of one number are the same but
    /// for that.
    fn flux(self, profile: &Profile, seed: u64, value: i32) -> Flux {
        let mut choices = SeededChoices::new(seed);
        let mut bits = ChannelBits::new();
        (0..Speed::STEADY_BITS / 2).for_each(|_| bits.push(0b10, 2));
        let legal = limits(profile.recording);
        let (least, most) = (*legal.start() as u64, *legal.end() as u64);
        while bits.len() < Speed::STEADY_BITS + DATA_BITS {
            bits.push(1, choices.between(least, most) as usize);
        }
        let ones = bits.count_ones() as u64;
        let ppm = value * 1_000;
        let even = Speed::Even { off_ppm: 0 };
        let mut flux =
            Flux { bits, speed: even, peak_shift: 0, displaced: Vec::new(), splices: Vec::new() };
        // The same draws whatever the axis is disturbed by.
        let one = (Speed::STEADY_BITS / 2) as u64;
        let one = choices.between(one + 8, ones - 8) as u32;
        let mut jitter = || choices.below(2_001) as i64 - 1_000;
        match self {
            Self::SlowSpeed => flux.speed = Speed::Even { off_ppm: ppm },
            Self::FastSpeed => flux.speed = Speed::Even { off_ppm: -ppm },
            Self::SlowStep => flux.speed = Speed::Step { to_ppm: ppm },
            Self::FastStep => flux.speed = Speed::Step { to_ppm: -ppm },
            Self::SlowRamp => flux.speed = Speed::Ramp { to_ppm: ppm },
            Self::FastRamp => flux.speed = Speed::Ramp { to_ppm: -ppm },
            Self::Late => flux.displaced.push(Displaced { transition: one, by: value as i16 }),
            Self::Early => flux.displaced.push(Displaced { transition: one, by: -value as i16 }),
            Self::Jitter => flux.displaced.extend((0..ones as u32).map(|transition| {
                let by = (jitter() * i64::from(value) / 1_000) as i16;
                Displaced { transition, by }
            })),
            Self::PeakShift => flux.peak_shift = value as u16,
        }
        flux
    }
}

/// What is to be measured.
#[derive(Debug, Clone)]
pub struct Question {
    /// The profile that it is given.
    pub profile: Profile,
    /// The seed of the trials.
    pub seed: u64,
    /// Trials a point.
    pub trials: u32,
    /// Threads.
    pub jobs: usize,
}

/// A point of an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tried {
    /// How much was disturbed, in thousandths.
    pub value: i32,
    /// Trials that failed.
    pub failures: u32,
}

/// How far something goes on one axis.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reach {
    /// Every point that was tried, rising.
    pub tried: Vec<Tried>,
}

impl Reach {
    /// Whether it passes up to some point and fails at every one behind that.
    #[must_use]
    pub fn is_monotone(&self) -> bool {
        self.tried.is_sorted_by_key(|one| one.failures > 0)
    }

    /// The last point before the first that fails; none where nothing passes.
    #[must_use]
    pub fn margin(&self) -> Option<Tried> {
        self.tried.iter().take_while(|one| one.failures == 0).last().copied()
    }

    /// The first point that fails; none where all pass.
    #[must_use]
    pub fn failing(&self) -> Option<Tried> {
        self.tried.iter().find(|one| one.failures > 0).copied()
    }
}

/// One axis, measured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Margin {
    /// The axis.
    pub axis: Axis,
    /// How far the implementation goes.
    pub own: Reach,
    /// How far the model's tracking separator goes.
    pub reference: Reach,
}

/// The exact upper bound (Clopper and Pearson's) at 95 % confidence on the share of trials that fail,
/// where none of so many did: the p at which none would fail in 5 of 100 runs, (1 - p)^n = 0.05.
#[must_use]
pub fn bound_of_none(trials: u32) -> f64 {
    1.0 - 0.05_f64.powf(1.0 / f64::from(trials))
}

/// Measures every axis; none where the implementation is no data separator.
///
/// `over` is asked before each point; what is cut short is told as far as it has come.
///
/// # Errors
/// When the implementation cannot be made, or a run cannot be trusted.
pub fn margins(
    question: &Question,
    factory: &RigFactory<'_>,
    over: &(dyn Fn() -> bool + Sync),
) -> Result<Option<Vec<Margin>>, CampaignError> {
    let start = || factory.rig().map_err(CampaignError::Start);
    let rig = start()?;
    if !rig.capabilities().minus(rig.lent()).has(Capability::Separator) {
        return Ok(None);
    }
    let (next, done) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    let some = || {
        let mut trier = Trier::new(question, start()?);
        loop {
            let place = next.fetch_add(1, Ordering::Relaxed);
            let Some(axis) = Axis::ALL.get(place).copied() else { return Ok(()) };
            let own = search(axis, over, |value| trier.own(axis, value))?;
            let reference = search(axis, over, |value| Ok(trier.reference(axis, value)))?;
            let mut done = done.lock().unwrap_or_else(|poison| poison.into_inner());
            done.push((place, Margin { axis, own, reference }));
        }
    };
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..question.jobs.max(1)).map(|_| scope.spawn(some)).collect();
        for thread in threads {
            thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?;
        }
        Ok::<(), CampaignError>(())
    })?;
    let mut done = done.into_inner().unwrap_or_else(|poison| poison.into_inner());
    done.sort_by_key(|(place, _)| *place);
    Ok(Some(done.into_iter().map(|(_, margin)| margin).collect()))
}

/// Goes along an axis: the coarse grid, then between the last point that passes and the first that
/// fails, if the grid is such.
fn search(
    axis: Axis,
    over: &(dyn Fn() -> bool + Sync),
    mut failures: impl FnMut(i32) -> Result<u32, CampaignError>,
) -> Result<Reach, CampaignError> {
    let mut reach = Reach { tried: Vec::new() };
    for &value in axis.grid() {
        if over() {
            return Ok(reach);
        }
        reach.tried.push(Tried { value, failures: failures(value)? });
    }
    let (low, high) = (reach.margin().map_or(0, |one| one.value), reach.failing());
    let (mut low, Some(Tried { value: mut high, .. })) = (low, high) else { return Ok(reach) };
    while reach.is_monotone() && high - low > 1 && !over() {
        let value = low + (high - low) / 2;
        let one = Tried { value, failures: failures(value)? };
        let place = reach.tried.partition_point(|other| other.value < value);
        reach.tried.insert(place, one);
        if one.failures == 0 { low = value } else { high = value }
    }
    Ok(reach)
}

/// Tries points. Its memory is reused.
struct Trier<'a> {
    question: &'a Question,
    rig: Box<dyn Rig>,
    judged: Judged,
    alignment: Alignment,
    observation: Observation,
}

impl<'a> Trier<'a> {
    fn new(question: &'a Question, rig: Box<dyn Rig>) -> Self {
        Self {
            question,
            rig,
            judged: Judged::default(),
            alignment: Alignment::default(),
            observation: Observation::new(),
        }
    }

    fn flux(&self, axis: Axis, trial: u32, value: i32) -> Flux {
        axis.flux(&self.question.profile, case_seed(self.question.seed, trial.into()), value)
    }

    fn holds(&mut self, flux: &Flux, came: &ChannelBits) -> bool {
        let Err(misread) = self.alignment.hold(&flux.bits, self.judged.stretches(), came) else {
            return true;
        };
        // Of one displaced transition its own cell counts.
        let [Displaced { transition, .. }] = flux.displaced[..] else { return false };
        let ones = transitions(&flux.bits).take_while(|bit| *bit < misread.cell).count();
        ones > transition as usize
    }

    /// Trials of the implementation that fail.
    fn own(&mut self, axis: Axis, value: i32) -> Result<u32, CampaignError> {
        let mut failures = 0;
        for trial in 0..self.question.trials {
            let flux = self.flux(axis, trial, value);
            self.judged.lay_out_whole(&self.question.profile, &flux);
            let case = Case {
                profile: self.question.profile.clone(),
                bench: Bench { access_ns: 0, drives: Vec::new() },
                tracks: Vec::new(),
                program: Vec::new(),
                flux: Some(flux),
            };
            let mut observation = std::mem::take(&mut self.observation);
            let held = match self.rig.run(&case, &mut observation) {
                Ok(()) => case.flux.as_ref().is_some_and(|f| self.holds(f, &observation.separated)),
                Err(RigError::Stopped(_)) => false,
                Err(error) => return Err(CampaignError::Run { index: trial.into(), error }),
            };
            self.observation = observation;
            failures += u32::from(!held);
        }
        Ok(failures)
    }

    /// Trials of the model's tracking separator that fail.
    fn reference(&mut self, axis: Axis, value: i32) -> u32 {
        let profile = &self.question.profile;
        let period = Period::from_ns(profile.channel_bit_ns.into()).expect("a valid profile");
        let trials = self.question.trials;
        let fails = |trial| {
            let flux = self.flux(axis, trial, value);
            self.judged.lay_out_whole(&self.question.profile, &flux);
            let came = Tracking::new(period).separate(self.judged.times_ns());
            !came.is_ok_and(|came| self.holds(&flux, &came))
        };
        (0..trials).map(fails).map(u32::from).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::{Axis, Reach, Tried, bound_of_none, search};
    use trackproof_contract::Profile;

    #[test]
    fn the_bound_is_that_of_its_definition() {
        for trials in [1, 10, 200, 5_000] {
            let none_fails = (1.0 - bound_of_none(trials)).powi(trials as i32);
            assert!((none_fails - 0.05).abs() < 1e-9, "{trials}");
        }
    }

    #[test]
    fn an_edge_is_found_and_an_island_is_told() {
        let edge = search(Axis::Late, &|| false, |value| Ok(u32::from(value > 217))).unwrap();
        assert!(edge.is_monotone());
        let at = |value, failures| Some(Tried { value, failures });
        assert_eq!((edge.margin(), edge.failing()), (at(217, 0), at(218, 1)));
        let island = search(Axis::Late, &|| false, |value| Ok(u32::from(value == 150))).unwrap();
        assert!(!island.is_monotone() && island.tried.len() == Axis::Late.grid().len());
        let nothing = search(Axis::Jitter, &|| false, |_| Ok(3)).unwrap();
        assert_eq!((nothing.margin(), nothing.failing()), (None, at(1, 3)));
        let all = search(Axis::Jitter, &|| false, |_| Ok(0)).unwrap();
        assert_eq!((all.margin(), all.failing()), (at(400, 0), None));
        let cut = search(Axis::Jitter, &|| true, |_| Ok(0)).unwrap();
        assert_eq!(cut, Reach { tried: Vec::new() });
    }

    #[test]
    fn flux_is_valid_at_every_point_and_paired() {
        for axis in Axis::ALL {
            for seed in 0..20 {
                let first = axis.flux(&Profile::sync_dma(), seed, 0);
                for &value in axis.grid() {
                    let flux = axis.flux(&Profile::sync_dma(), seed, value);
                    assert_eq!(flux.validate(), Ok(()), "{} {value}", axis.name());
                    assert!(flux.bits == first.bits && flux != first);
                }
            }
        }
    }
}
