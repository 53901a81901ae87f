//! A shift: cases in a row on an implementation that is new at the shift's begin, so that what it
//! has lived through before a case depends on the case's index alone.
//!
//! Where it stops, that case is tried once more alone, those before it in the batch are run again,
//! and the shift goes on behind it, each time with a new implementation.

use super::{
    CampaignError, CaseTime, Earlier, Finding, Part, Plan, RigFactory, Runner, Summary, digest,
};
use crate::examine::Examined;
use crate::generate::Generator;
use crate::verdict::Verdict;
use std::collections::BTreeSet;
use std::ops::Range;
use trackproof_contract::{Observation, Stop};

/// Cases that are counted, and lost, together.
const BATCH: u64 = 64;

/// Hangs in one shift after which the campaign is given up: each takes its time.
const MOST_HANGS: u32 = 3;

/// Stops in one shift after which the campaign is given up: what there is to find is found.
const MOST_STOPS: u32 = 256;

/// What a shift needs from its campaign.
pub(super) struct Shift<'a> {
    pub(super) plan: &'a Plan,
    pub(super) factory: &'a RigFactory<'a>,
    /// Whether to end behind the batch under way.
    pub(super) stopped: &'a (dyn Fn() -> bool + Sync),
    /// Hears of each deviation.
    pub(super) note: &'a dyn Fn(Finding),
    /// Hears of each batch, with the number of its cases.
    pub(super) done: &'a dyn Fn(u64),
}

/// A shift under way.
struct Work<'a> {
    shift: &'a Shift<'a>,
    summary: Summary,
    /// The cases that were dealt with out of order.
    settled: BTreeSet<u64>,
    /// The ways of stopping that were tried alone.
    kinds: BTreeSet<&'static str>,
    hangs: u32,
    stops: u32,
}

impl Shift<'_> {
    /// Runs the cases of the shift.
    pub(super) fn run(&self, cases: Range<u64>) -> Result<Summary, CampaignError> {
        let mut work = Work {
            shift: self,
            summary: Summary::default(),
            settled: BTreeSet::new(),
            kinds: BTreeSet::new(),
            hangs: 0,
            stops: 0,
        };
        work.run(cases)?;
        Ok(work.summary)
    }

    fn runner(&self, time: CaseTime) -> Result<Box<dyn Runner + '_>, CampaignError> {
        self.factory.runner(&self.plan.profile, self.plan.seed, time, self.stopped)
    }

    /// Passes a deviation on, with the cases that its rig had run before.
    fn note(&self, mut finding: Finding, begun: u64) {
        let count = finding.index - begun;
        let seed = self.plan.seed;
        finding.earlier = (count > 0).then_some(Earlier { seed, first: begun, count });
        (self.note)(finding);
    }
}

impl Work<'_> {
    fn run(&mut self, cases: Range<u64>) -> Result<(), CampaignError> {
        let shift = self.shift;
        let mut runner = shift.runner(CaseTime::Usual)?;
        self.summary.capabilities = runner.capabilities();
        self.summary.lent = runner.lent();
        // The first case that this runner has run.
        let mut begun = cases.start;
        let mut from = cases.start;
        while from < cases.end && !(shift.stopped)() {
            if self.settled.remove(&from) {
                from += 1;
                // A new one, so that what it has lived through is cases in a row.
                runner = shift.runner(CaseTime::Usual)?;
                begun = from;
                continue;
            }
            let next = self.settled.first().copied().unwrap_or(cases.end);
            let to = (from - from % BATCH + BATCH).min(cases.end).min(next);
            match runner.run(from..to, &mut |found| shift.note(found, begun))? {
                Part::Done(part) => {
                    self.summary.merge(*part);
                    (shift.done)(to - from);
                    from = to;
                }
                Part::Abandoned => break,
                Part::Stopped { index, stop } => {
                    drop(runner);
                    self.stop(index, stop, begun)?;
                    (shift.done)(1);
                    if self.hangs == MOST_HANGS || self.stops == MOST_STOPS {
                        self.summary.given_up = Some(index);
                        break;
                    }
                    runner = shift.runner(CaseTime::Usual)?;
                    begun = from;
                }
            }
        }
        Ok(())
    }

    /// Deals with a case that the implementation stopped in.
    fn stop(&mut self, index: u64, stop: Stop, begun: u64) -> Result<(), CampaignError> {
        let shift = self.shift;
        let plan = shift.plan;
        let can = self.summary.capabilities;
        let case = Generator::limited_to(plan.profile.clone(), can).case(plan.seed, index);
        let finding = Finding::stopped(index, case.clone(), stop);
        let name = finding.name();
        shift.note(finding, begun);
        self.settled.insert(index);
        self.stops += 1;
        let hangs = matches!(stop, Stop::Endless { .. });
        if self.kinds.insert(stop.kind()) {
            let time = if hangs { CaseTime::Twice } else { CaseTime::Usual };
            let mut alone = shift.runner(time)?;
            let found = &mut |found| shift.note(found, index);
            match alone.run(index..index + 1, found)? {
                // It comes back where nothing was before it: settling will see why.
                Part::Done(part) => {
                    self.summary.merge(*part);
                    return Ok(());
                }
                Part::Abandoned => return Ok(()),
                Part::Stopped { .. } => {}
            }
        }
        self.hangs += u32::from(hangs);
        let examined = Examined::plain(Verdict::Stops(stop));
        let hash = digest::of(index, &case, &Observation::new(), &examined);
        self.summary.digest = self.summary.digest.wrapping_add(hash);
        self.summary.cases += 1;
        self.summary.stopped += 1;
        *self.summary.deviating.entry(name).or_default() += 1;
        Ok(())
    }
}
