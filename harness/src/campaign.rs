//! A campaign: many cases on several threads, what they found, and what they reached.
//!
//! The result does not depend on the number of threads: of each rule and kind the finding with the
//! lowest case index is kept, and the digest is a sum over cases.

pub mod digest;
mod finding;

pub use finding::Finding;

use crate::examine::{Examined, Examiner};
use crate::generate::{Generator, SeededChoices, case_seed};
use crate::rules::{RULES, Rule};
use crate::verdict::Verdict;
use finding::Findings;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Instant;
use trackproof_contract::{Capabilities, Capability, Profile, Rig, RigError};
use trackproof_model::reach::ReachCounts;

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
    /// Rules whose findings count; empty for all.
    pub rules: Vec<&'static Rule>,
}

/// What happens while a campaign runs, for progress and for what must not be lost.
#[derive(Debug)]
pub enum Progress<'a> {
    /// So many cases are done.
    Cases(u64),
    /// A rule and kind deviates for the first time, or at a lower case than known before.
    Found(&'a Finding),
}

/// What a campaign gave.
#[derive(Debug, Clone, Default)]
pub struct Summary {
    /// Cases run.
    pub cases: u64,
    /// Cases that were judged.
    pub judged: u64,
    /// Cases that could not be judged.
    pub inconclusive: u64,
    /// Cases not run, by the capability that they need and the implementation has not.
    pub skipped: BTreeMap<Capability, u64>,
    /// The sum of the cases' hashes.
    pub digest: u64,
    /// Words judged, and those judged in a unique state.
    pub words: u64,
    /// Words judged in a unique state.
    pub unique_words: u64,
    /// Slack used, in channel bits: transfers that must have had it.
    pub slack: BTreeMap<u32, u64>,
    /// What was reached.
    pub reach: ReachCounts,
    /// Findings, one a rule and kind, in case order.
    pub findings: Vec<Finding>,
    /// What the implementation can do.
    pub capabilities: Capabilities,
}

impl Summary {
    /// The share of words judged in a unique state, 1 where there were none.
    #[must_use]
    pub fn unique_share(&self) -> f64 {
        if self.words == 0 { 1.0 } else { self.unique_words as f64 / self.words as f64 }
    }

    /// Rules that the implementation cannot be held to, with what it lacks.
    pub fn skipped_rules(&self) -> impl Iterator<Item = (&'static Rule, Capabilities)> + '_ {
        RULES
            .iter()
            .map(|rule| (rule, self.capabilities.missing(rule.needs())))
            .filter(|(_, missing)| !missing.is_empty())
    }

    fn merge(&mut self, other: Self) {
        self.cases += other.cases;
        self.judged += other.judged;
        self.inconclusive += other.inconclusive;
        for (capability, count) in other.skipped {
            *self.skipped.entry(capability).or_default() += count;
        }
        self.digest = self.digest.wrapping_add(other.digest);
        self.words += other.words;
        self.unique_words += other.unique_words;
        for (slack, count) in other.slack {
            *self.slack.entry(slack).or_default() += count;
        }
        self.reach.merge(&other.reach);
    }
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
        let mut generator = Generator::new(self.plan.profile.clone());
        let mut case = generator.case(self.plan.seed, 0);
        let mut summary = Summary { capabilities: examiner.capabilities(), ..Summary::default() };
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
                self.count(&mut summary, &examiner, &examined);
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

    fn count(&self, summary: &mut Summary, examiner: &Examiner, examined: &Examined) {
        summary.cases += 1;
        match &examined.verdict {
            Verdict::Skipped(capability) => {
                *summary.skipped.entry(*capability).or_default() += 1;
                return;
            }
            Verdict::Inconclusive(_) => summary.inconclusive += 1,
            Verdict::Conforms | Verdict::Deviates(_) => summary.judged += 1,
        }
        let tally = examiner.judge().tally();
        summary.words += tally.words;
        summary.unique_words += tally.unique_words;
        for (slack, count) in tally.slack.iter().enumerate().filter(|(_, count)| **count > 0) {
            *summary.slack.entry(slack as u32).or_default() += u64::from(*count);
        }
        summary.reach.add(&tally.reach);
    }

    fn note(&self, finding: Finding) {
        let wanted = &self.plan.rules;
        if !wanted.is_empty() && !wanted.iter().any(|rule| rule.id == finding.rule.id) {
            return;
        }
        let mut findings = self.findings.lock().unwrap_or_else(|poison| poison.into_inner());
        if let Some(finding) = findings.keep(finding) {
            (self.progress)(Progress::Found(finding));
        }
    }
}
