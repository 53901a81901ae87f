//! Who runs a campaign's cases: this process, or workers beside it.

use super::{CampaignError, Finding, Summary, digest};
use crate::examine::Examiner;
use crate::generate::{Draw, Generator, SeededChoices, case_seed};
use crate::verdict::Verdict;
use std::ops::Range;
use trackproof_contract::{Capabilities, Case, Profile, Rig, Stop};

/// How much of its usual time a case may take. In this process there is no limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CaseTime {
    /// All of it.
    Usual,
    /// Twice as much: to try a hang once more.
    Twice,
    /// A hundredth: to make a hang small, where each trial takes that long.
    Hundredth,
}

/// Makes rigs and runners; every one is as new.
///
/// A closure that makes rigs is one that runs campaigns in this process.
pub trait MakeRigs: Sync {
    /// Makes a rig.
    ///
    /// # Errors
    /// Says why the implementation cannot be made.
    fn rig(&self) -> Result<Box<dyn Rig>, String>;

    /// Makes a rig whose cases may take another time.
    ///
    /// # Errors
    /// As [`rig`](Self::rig).
    fn rig_within(&self, _: CaseTime) -> Result<Box<dyn Rig>, String> {
        self.rig()
    }

    /// Makes a runner of the cases of one profile and seed. `over` says whether nobody waits for
    /// them any more.
    ///
    /// # Errors
    /// When the implementation cannot be made.
    fn runner<'a>(
        &'a self,
        profile: &Profile,
        seed: u64,
        _: CaseTime,
        _: &'a (dyn Fn() -> bool + Sync),
    ) -> Result<Box<dyn Runner + 'a>, CampaignError> {
        let rig = self.rig().map_err(CampaignError::Start)?;
        Ok(Box::new(Inside::new(rig, profile.clone(), seed)))
    }
}

impl<F: Fn() -> Result<Box<dyn Rig>, String> + Sync> MakeRigs for F {
    fn rig(&self) -> Result<Box<dyn Rig>, String> {
        self()
    }
}

/// Makes what a campaign needs.
pub type RigFactory<'a> = dyn MakeRigs + 'a;

/// Runs cases in a row on one implementation.
pub trait Runner {
    /// What the implementation can do.
    fn capabilities(&self) -> Capabilities;

    /// What of that the harness lends it.
    fn lent(&self) -> Capabilities;

    /// Runs and judges cases; `found` hears of each that deviates, at once.
    ///
    /// # Errors
    /// When a run cannot be trusted.
    fn run(
        &mut self,
        cases: Range<u64>,
        found: &mut dyn FnMut(Finding),
    ) -> Result<Part, CampaignError>;

    /// Runs and judges cases that are drawn one by one; `each` hears of every one, in their order
    /// and at once.
    ///
    /// # Errors
    /// When a run cannot be trusted.
    fn run_drawn(
        &mut self,
        draws: &[Draw],
        each: &mut dyn FnMut(Judged),
    ) -> Result<Drawn, CampaignError>;
}

/// One drawn case, judged.
#[derive(Debug)]
pub struct Judged {
    /// What a campaign would count for it.
    pub summary: Box<Summary>,
    /// The finding, if it deviates; its index is the case's place among the draws.
    pub finding: Option<Finding>,
}

/// What became of drawn cases.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Drawn {
    /// Each was heard of.
    All,
    /// The implementation stopped in the one behind those that were heard of.
    Stopped(Stop),
    /// Nobody waits for them any more.
    Abandoned,
}

/// What became of cases in a row.
#[derive(Debug)]
pub enum Part {
    /// They were run, and gave this.
    Done(Box<Summary>),
    /// The implementation stopped in one of them. What those before it gave is lost.
    Stopped {
        /// The case's index.
        index: u64,
        /// How.
        stop: Stop,
    },
    /// Nobody waits for them any more.
    Abandoned,
}

/// Runs cases in this process.
pub struct Inside {
    examiner: Examiner,
    generator: Generator,
    case: Case,
    seed: u64,
}

impl Inside {
    /// A runner of the cases of one profile and seed.
    #[must_use]
    pub fn new(rig: Box<dyn Rig>, profile: Profile, seed: u64) -> Self {
        let examiner = Examiner::new(rig);
        let mut generator = Generator::limited_to(profile, examiner.capabilities());
        let case = generator.case(seed, 0);
        Self { examiner, generator, case, seed }
    }
}

impl Runner for Inside {
    fn capabilities(&self) -> Capabilities {
        self.examiner.capabilities()
    }

    fn lent(&self) -> Capabilities {
        self.examiner.lent()
    }

    fn run(
        &mut self,
        cases: Range<u64>,
        found: &mut dyn FnMut(Finding),
    ) -> Result<Part, CampaignError> {
        let mut summary = Summary::default();
        for index in cases {
            let mut choices = SeededChoices::new(case_seed(self.seed, index));
            self.generator.generate(&mut choices, &mut self.case);
            let examined = self
                .examiner
                .glance(&self.case)
                .map_err(|error| CampaignError::Run { index, error })?;
            if let Verdict::Stops(stop) = examined.verdict {
                return Ok(Part::Stopped { index, stop });
            }
            let hash = digest::of(index, &self.case, self.examiner.observation(), &examined);
            summary.digest = summary.digest.wrapping_add(hash);
            summary.count(&self.case, &self.examiner, &examined);
            if let Verdict::Deviates(_) | Verdict::Misreads(_) = examined.verdict {
                found(Finding::new(index, self.case.clone(), examined));
            }
        }
        Ok(Part::Done(Box::new(summary)))
    }

    fn run_drawn(
        &mut self,
        draws: &[Draw],
        each: &mut dyn FnMut(Judged),
    ) -> Result<Drawn, CampaignError> {
        for (index, draw) in (0..).zip(draws) {
            self.generator.make(self.seed, draw, &mut self.case);
            let examined = self
                .examiner
                .glance(&self.case)
                .map_err(|error| CampaignError::Run { index, error })?;
            if let Verdict::Stops(stop) = examined.verdict {
                return Ok(Drawn::Stopped(stop));
            }
            let mut summary = Box::<Summary>::default();
            let number = if let Draw::Number(number) = draw { *number } else { 0 };
            summary.digest = digest::of(number, &self.case, self.examiner.observation(), &examined);
            summary.count(&self.case, &self.examiner, &examined);
            let deviates = matches!(examined.verdict, Verdict::Deviates(_) | Verdict::Misreads(_));
            let finding = deviates.then(|| Finding::new(index, self.case.clone(), examined));
            each(Judged { summary, finding });
        }
        Ok(Drawn::All)
    }
}
