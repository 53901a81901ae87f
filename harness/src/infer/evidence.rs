//! What came back from an implementation, to be judged by any profile.

use super::{CaseOf, Contradiction};
use crate::campaign::CampaignError;
use crate::generate::{Generator, SeededChoices, case_seed};
use crate::judge::Judge;
use crate::rules::Rule;
use crate::verdict::Verdict;
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};
use trackproof_contract::{
    Capabilities, Case, Event, Observation, Profile, Rig, RigError, timeline,
};
use trackproof_model::reader::acceptor::{Acceptance, Acceptor, Tally};

/// Cases of a stage in which an implementation may stop before no more are run.
const MOST_STOPS: usize = 8;

/// How well a profile fits a case.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fit {
    /// It allows all that came back.
    Whole,
    /// It refuses what came back so far into the program, in thousandths.
    Until(u64),
    /// It cannot be told, which is no evidence against it.
    Unjudged,
}

impl Fit {
    /// More is better; one that is refused at its very end is worth less than one that is not.
    const fn weight(self) -> u64 {
        match self {
            Self::Whole => 1_200,
            Self::Until(thousandths) => thousandths,
            Self::Unjudged => 0,
        }
    }

    const fn refused(self) -> bool {
        matches!(self, Self::Until(_))
    }
}

/// A case that was run, and what came back.
struct Seen {
    of: CaseOf,
    case: Case,
    observation: Observation,
}

/// All of them.
pub(super) struct Evidence {
    seen: Vec<Seen>,
    /// Cases in which the implementation stopped, and how.
    stops: Vec<(CaseOf, &'static str)>,
    /// Whether it did so often that no more cases were run.
    short: bool,
    capabilities: Capabilities,
    jobs: usize,
}

/// How well a profile fits, case by case.
pub(super) struct Weight {
    each: Vec<Fit>,
}

impl Weight {
    pub(super) fn sum(&self) -> u64 {
        self.each.iter().map(|fit| fit.weight()).sum()
    }

    /// The mean of a case.
    pub(super) fn share(&self) -> u64 {
        self.sum() / (self.each.len() as u64).max(1)
    }

    pub(super) fn fitting(&self) -> usize {
        self.each.iter().filter(|fit| **fit == Fit::Whole).count()
    }

    /// Whether no case is refused.
    pub(super) fn fits_all(&self) -> bool {
        !self.each.iter().any(|fit| fit.refused())
    }

    pub(super) fn first_misfits(&self, most: usize) -> Vec<usize> {
        (0..self.each.len()).filter(|at| self.each[*at].refused()).take(most).collect()
    }
}

/// Judges by any profile; keep one a thread, so that its memory is reused.
struct Scale {
    acceptor: Acceptor,
    events: Vec<Event>,
    tally: Tally,
    case: Case,
}

impl Scale {
    fn new(like: &Case) -> Self {
        Self {
            acceptor: Acceptor::new(),
            events: Vec::new(),
            tally: Tally::default(),
            case: like.clone(),
        }
    }

    fn weigh(&mut self, seen: &Seen, profile: &Profile, capabilities: Capabilities) -> Fit {
        self.case.clone_from(&seen.case);
        self.case.profile.clone_from(profile);
        // What another profile cannot ask for at all is no evidence against it.
        if self.case.validate().is_err() {
            return Fit::Unjudged;
        }
        timeline(&self.case, &mut self.events);
        // Where the host would have served at other moments, the words came at none of them.
        if seen.observation.check_form(&self.events).is_err() {
            return Fit::Until(0);
        }
        let acceptance = self.acceptor.accept(
            &self.case,
            &self.events,
            &seen.observation,
            capabilities,
            &mut self.tally,
        );
        match acceptance {
            Acceptance::Accepted => Fit::Whole,
            Acceptance::Rejected(rejection) => {
                Fit::Until(1_000 * rejection.event as u64 / self.events.len().max(1) as u64)
            }
            Acceptance::TooManyStates | Acceptance::Open(_) => Fit::Unjudged,
        }
    }
}

impl Evidence {
    /// Runs cases that are made for `profile`, as the implementation is told to choose `run_as`.
    pub(super) fn observe(
        rig: Box<dyn Rig>,
        profile: &Profile,
        run_as: &Profile,
        seed: u64,
        cases: Range<u64>,
        jobs: usize,
        over: &dyn Fn() -> bool,
    ) -> Result<Self, CampaignError> {
        let mut rig = rig;
        let (capabilities, lent) = (rig.capabilities(), rig.lent());
        let mut generator = Generator::limited_to(profile.clone(), capabilities);
        let mut case = generator.case(seed, 0);
        let (mut seen, mut stops) = (Vec::new(), Vec::new());
        for index in cases {
            if over() || stops.len() == MOST_STOPS {
                break;
            }
            generator.generate(&mut SeededChoices::new(case_seed(seed, index)), &mut case);
            let asked = case.clone();
            let case = Case { profile: run_as.clone(), ..asked };
            let beside = case.asks_only(lent) || !capabilities.missing(case.needs()).is_empty();
            if beside || case.validate().is_err() {
                continue;
            }
            let mut observation = Observation::new();
            match rig.run(&case, &mut observation) {
                Ok(()) => {}
                Err(RigError::Stopped(stop)) => {
                    stops.push((CaseOf { seed, index }, stop.kind()));
                    continue;
                }
                Err(error) => return Err(CampaignError::Run { index, error }),
            }
            seen.push(Seen { of: CaseOf { seed, index }, case, observation });
        }
        let short = stops.len() == MOST_STOPS;
        Ok(Self { seen, stops, short, capabilities, jobs })
    }

    /// With more.
    pub(super) fn and(mut self, mut more: Self) -> Self {
        self.seen.append(&mut more.seen);
        self.stops.append(&mut more.stops);
        self.short |= more.short;
        self
    }

    /// Cases that something came back of.
    pub(super) fn cases(&self) -> u64 {
        self.seen.len() as u64
    }

    /// Whether the implementation stopped so often that no more cases were run.
    pub(super) const fn is_short(&self) -> bool {
        self.short
    }

    pub(super) fn weigh(&self, profile: &Profile) -> Weight {
        let each = self.in_parallel(self.seen.len(), |scale, at| {
            scale.weigh(&self.seen[at], profile, self.capabilities)
        });
        Weight { each }
    }

    /// What some cases weigh together, for each of some profiles.
    pub(super) fn weigh_some(&self, profiles: &[&Profile], cases: &[usize]) -> Vec<u64> {
        self.in_parallel(profiles.len(), |scale, at| {
            let weigh = |case: &usize| {
                scale.weigh(&self.seen[*case], profiles[at], self.capabilities).weight()
            };
            cases.iter().map(weigh).sum()
        })
    }

    /// For each of some profiles the first case that refuses it though it allows `right`.
    pub(super) fn first_refusals(
        &self,
        right: &Profile,
        others: &[&Profile],
    ) -> Vec<Option<CaseOf>> {
        let allowed = self.weigh(right);
        self.in_parallel(others.len(), |scale, at| {
            let refuses = |(seen, fit): &(&Seen, &Fit)| {
                **fit == Fit::Whole && scale.weigh(seen, others[at], self.capabilities).refused()
            };
            self.seen.iter().zip(&allowed.each).find(refuses).map(|(seen, _)| seen.of)
        })
    }

    /// How many cases a profile allows, and what it does not allow.
    pub(super) fn contradictions(&self, profile: &Profile) -> (u64, Vec<Contradiction>) {
        let mut judge = Judge::new();
        let mut allowed = 0;
        let mut found: BTreeMap<(&str, &str), Contradiction> = BTreeMap::new();
        let mut case = None;
        for seen in &self.seen {
            let case = case.insert(seen.case.clone());
            case.profile.clone_from(profile);
            if case.validate().is_err() {
                continue;
            }
            match judge.judge(case, &seen.observation, self.capabilities) {
                Verdict::Conforms => allowed += 1,
                Verdict::Deviates(deviation) => {
                    let (rule, kind) = (deviation.rule, deviation.kind);
                    let first = Contradiction { rule, kind, cases: 0, first: seen.of };
                    found.entry((rule.id, kind)).or_insert(first).cases += 1;
                }
                _ => {}
            }
        }
        for (first, kind) in &self.stops {
            let rule = Rule::find("stops").expect("a rule of the catalogue");
            let none = Contradiction { rule, kind, cases: 0, first: *first };
            found.entry((rule.id, kind)).or_insert(none).cases += 1;
        }
        let mut found: Vec<_> = found.into_values().collect();
        found.sort_by_key(|one| std::cmp::Reverse(one.cases));
        (allowed, found)
    }

    /// Does something for each of some numbers, on as many threads as there are.
    fn in_parallel<T: Send>(
        &self,
        count: usize,
        each: impl Fn(&mut Scale, usize) -> T + Sync,
    ) -> Vec<T> {
        let Some(first) = self.seen.first() else { return Vec::new() };
        let next = AtomicUsize::new(0);
        let some = || {
            let mut scale = Scale::new(&first.case);
            let mut done = Vec::new();
            loop {
                let at = next.fetch_add(1, Ordering::Relaxed);
                if at >= count {
                    return done;
                }
                done.push((at, each(&mut scale, at)));
            }
        };
        let mut all: Vec<(usize, T)> = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..self.jobs.max(1)).map(|_| scope.spawn(some)).collect();
            let join = |thread: std::thread::ScopedJoinHandle<'_, Vec<(usize, T)>>| {
                thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            };
            threads.into_iter().flat_map(join).collect()
        });
        all.sort_by_key(|(at, _)| *at);
        all.into_iter().map(|(_, one)| one).collect()
    }
}
