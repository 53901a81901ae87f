//! A campaign: many cases on several threads, what they found, and what they reached.
//!
//! Cases are run in shifts, each by an implementation that is new at its begin. The result does not
//! depend on the number of threads: of each rule and kind the finding with the lowest case index is
//! kept, and the digest is a sum over cases.

pub mod digest;
mod earlier;
mod finding;
mod runner;
mod shift;
mod summary;

pub use earlier::{Earlier, MAX_EARLIER};
pub use finding::{Evidence, Finding};
pub use runner::{CaseTime, Drawn, Inside, Judged, MakeRigs, Part, RigFactory, Runner};
pub use summary::{Compared, Lacking, Summary};

use finding::Findings;
use shift::Shift;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Instant;
use trackproof_contract::{Profile, RigError};

/// Cases of a shift. So many that a new implementation costs little, and that a fault which takes
/// a thousand cases to show has its chance; so few that all threads have their share.
const SHIFT: u64 = 1_024;

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
    /// A worker had a fault that is trackproof's own.
    Fault(String),
}

impl std::fmt::Display for CampaignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Start(why) => write!(f, "the implementation did not start: {why}"),
            Self::Run { index, error } => write!(f, "case {index}: {error}"),
            Self::Fault(why) => write!(f, "a worker: {why}"),
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
    let shared = Shared {
        plan,
        factory,
        next: AtomicU64::new(0),
        end: AtomicU64::new(u64::MAX),
        done: AtomicU64::new(0),
        interrupted,
        findings: Mutex::default(),
        shifts: Mutex::default(),
        progress,
    };
    std::thread::scope(|scope| {
        let threads: Vec<_> =
            (0..plan.jobs.max(1)).map(|_| scope.spawn(|| shared.work())).collect();
        for thread in threads {
            thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        }
    });
    let shifts = shared.shifts.into_inner().unwrap_or_else(|poison| poison.into_inner());
    let mut summary = Summary::default();
    // In their order, up to one that failed or was given up: what others did behind it depends on
    // how many threads there are.
    let mut end = u64::MAX;
    for (number, shift) in shifts {
        let shift = shift?;
        summary.capabilities = shift.capabilities;
        summary.lent = shift.lent;
        summary.merge(shift);
        if summary.given_up.is_some() {
            end = (number + 1).saturating_mul(SHIFT);
            break;
        }
    }
    let findings = shared.findings.into_inner().unwrap_or_else(|poison| poison.into_inner());
    summary.findings = findings.in_order(end);
    for finding in &mut summary.findings {
        finding.cases = summary.deviating.get(&finding.name()).copied().unwrap_or(1);
    }
    Ok(summary)
}

struct Shared<'a> {
    plan: &'a Plan,
    factory: &'a RigFactory<'a>,
    /// The next shift's number.
    next: AtomicU64,
    /// No shift from this number on is wanted.
    end: AtomicU64,
    done: AtomicU64,
    interrupted: &'a AtomicBool,
    findings: Mutex<Findings>,
    shifts: Mutex<BTreeMap<u64, Result<Summary, CampaignError>>>,
    progress: &'a (dyn Fn(Progress<'_>) + Sync),
}

impl Shared<'_> {
    fn work(&self) {
        loop {
            let number = self.next.fetch_add(1, Ordering::Relaxed);
            let first = number.saturating_mul(SHIFT);
            // One shift even of no cases: it tells whether the implementation starts.
            if (first >= self.plan.cases && number > 0) || self.stopped(number) {
                return;
            }
            let stopped = || self.stopped(number);
            let shift = Shift {
                plan: self.plan,
                factory: self.factory,
                stopped: &stopped,
                note: &|finding| self.note(finding),
                done: &|cases| {
                    let done = self.done.fetch_add(cases, Ordering::Relaxed) + cases;
                    (self.progress)(Progress::Cases(done));
                },
            };
            let result = shift.run(first..(first + SHIFT).min(self.plan.cases));
            if result.as_ref().map_or(true, |summary| summary.given_up.is_some()) {
                self.end.fetch_min(number + 1, Ordering::Relaxed);
            }
            let mut shifts = self.shifts.lock().unwrap_or_else(|poison| poison.into_inner());
            shifts.insert(number, result);
        }
    }

    /// Whether a shift is to end behind the batch under way.
    fn stopped(&self, number: u64) -> bool {
        number >= self.end.load(Ordering::Relaxed)
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
