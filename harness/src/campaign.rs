//! A campaign: many cases on several threads, what they found, and what they reached.
//!
//! The result does not depend on the number of threads: of each rule and kind the finding with the
//! lowest case index is kept, and the digest is a sum over cases.

pub mod digest;
mod finding;
mod summary;

pub use finding::Finding;
pub use summary::{Compared, Lacking, Summary};

use crate::examine::Examiner;
use crate::generate::{Generator, SeededChoices, case_seed};
use crate::verdict::Verdict;
use finding::Findings;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Instant;
use trackproof_contract::{Profile, Rig, RigError};

/// Cases that a thread takes at a time.
const BATCH: u64 = 64;

/// Makes rigs, one a thread; every rig is as new.
pub type RigFactory<'a> = dyn Fn() -> Result<Box<dyn Rig>, String> + Sync + 'a;

/// What a campaign is to do.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The profile that cases are made for and judged by.
    pub profile: Profile,
    /// The run's seed.
    pub seed: u64,
    /// Cases 0 to this many; with a deadline, as many as come before it.
    pub cases: u64,
    /// When to stop, whatever the number of cases.
    pub deadline: Option<Instant>,
    /// Threads.
    pub jobs: usize,
}

/// What happens while a campaign runs, for progress and for what must not be lost.
#[derive(Debug)]
pub enum Progress<'a> {
    /// So many cases are done.
    Cases(u64),
    /// A rule and kind deviates for the first time, or at a lower case than known before.
    Found(&'a Finding),
}

/// Why a campaign ended without a verdict.
#[derive(Debug, Clone)]
pub enum CampaignError {
    /// The implementation could not be made.
    Start(String),
    /// A run cannot be trusted.
    Run {
        /// The case's index.
        index: u64,
        /// Why.
        error: RigError,
    },
}

impl std::fmt::Display for CampaignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Start(why) => write!(f, "the implementation did not start: {why}"),
            Self::Run { index, error } => write!(f, "case {index}: {error}"),
        }
    }
}

impl std::error::Error for CampaignError {}

/// Runs a campaign. `interrupted` may be set from outside: the threads then end their batch.
///
/// # Errors
/// When the implementation cannot be made, or a run cannot be trusted: of several the one with the
/// lowest case index.
pub fn run(
    plan: &Plan,
    factory: &RigFactory<'_>,
    interrupted: &AtomicBool,
    progress: &(dyn Fn(Progress<'_>) + Sync),
) -> Result<Summary, CampaignError> {
    let next = AtomicU64::new(0);
    let done = AtomicU64::new(0);
    let failed = AtomicBool::new(false);
    let findings = Mutex::new(Findings::default());
    let shared = Shared {
        plan,
        next: &next,
        done: &done,
        failed: &failed,
        interrupted,
        findings: &findings,
        progress,
    };
    let results: Vec<Result<Summary, CampaignError>> = std::thread::scope(|scope| {
        let threads: Vec<_> =
            (0..plan.jobs.max(1)).map(|_| scope.spawn(|| shared.work(factory))).collect();
        threads
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    let mut summary = Summary::default();
    let mut error: Option<CampaignError> = None;
    for result in results {
        match result {
            Ok(part) => {
                summary.capabilities = part.capabilities;
                summary.lent = part.lent;
                summary.merge(part);
            }
            Err(new) => {
                let index = |error: &CampaignError| match error {
                    CampaignError::Start(_) => 0,
                    CampaignError::Run { index, .. } => *index,
                };
                if error.as_ref().is_none_or(|old| index(&new) < index(old)) {
                    error = Some(new);
                }
            }
        }
    }
    if let Some(error) = error {
        return Err(error);
    }
    summary.findings =
        findings.into_inner().unwrap_or_else(|poison| poison.into_inner()).in_order();
    Ok(summary)
}

struct Shared<'a> {
    plan: &'a Plan,
    next: &'a AtomicU64,
    done: &'a AtomicU64,
    failed: &'a AtomicBool,
    interrupted: &'a AtomicBool,
    findings: &'a Mutex<Findings>,
    progress: &'a (dyn Fn(Progress<'_>) + Sync),
}

impl Shared<'_> {
    fn work(&self, factory: &RigFactory<'_>) -> Result<Summary, CampaignError> {
        let rig = factory().map_err(|why| {
            self.failed.store(true, Ordering::Relaxed);
            CampaignError::Start(why)
        })?;
        let mut examiner = Examiner::new(rig);
        let mut generator =
            Generator::limited_to(self.plan.profile.clone(), examiner.capabilities());
        let mut case = generator.case(self.plan.seed, 0);
        let mut summary = Summary {
            capabilities: examiner.capabilities(),
            lent: examiner.lent(),
            ..Summary::default()
        };
        while !self.stopped() {
            let first = self.next.fetch_add(BATCH, Ordering::Relaxed);
            if first >= self.plan.cases {
                break;
            }
            let last = (first + BATCH).min(self.plan.cases);
            for index in first..last {
                let seed = case_seed(self.plan.seed, index);
                generator.generate(&mut SeededChoices::new(seed), &mut case);
                let examined = examiner.glance(&case).map_err(|error| {
                    self.failed.store(true, Ordering::Relaxed);
                    CampaignError::Run { index, error }
                })?;
                summary.digest = summary.digest.wrapping_add(digest::of(
                    index,
                    &case,
                    examiner.observation(),
                    &examined,
                ));
                summary.count(&case, &examiner, &examined);
                if let Verdict::Deviates(_) = examined.verdict {
                    self.note(Finding::new(index, case.clone(), examined));
                }
            }
            let done = self.done.fetch_add(last - first, Ordering::Relaxed) + last - first;
            (self.progress)(Progress::Cases(done));
        }
        Ok(summary)
    }

    fn stopped(&self) -> bool {
        self.failed.load(Ordering::Relaxed)
            || self.interrupted.load(Ordering::Relaxed)
            || self.plan.deadline.is_some_and(|deadline| Instant::now() >= deadline)
    }

    fn note(&self, finding: Finding) {
        let mut findings = self.findings.lock().unwrap_or_else(|poison| poison.into_inner());
        if let Some(finding) = findings.keep(finding) {
            (self.progress)(Progress::Found(finding));
        }
    }
}
