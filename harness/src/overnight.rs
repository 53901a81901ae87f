//! Overnight: the search for deviations that runs for hours, and what it leaves behind.
//!
//! Shifts of cases with numbers, as a campaign has them, take turns with shifts of mutated streams
//! of choices, chosen by what the model reached ([`features`](crate::features)); what deviates is
//! settled while the search goes on. Everything is in the run's folder as soon as it is known, so
//! the process may die at any moment: started again on the same folder the run goes on.
//!
//! Unlike a campaign's, its result depends on time and the number of threads; each finding is a
//! case file that does not.

mod corpus;
mod estimate;
mod folder;
mod hunt;
mod ledger;
mod merge;
mod mutate;
mod pursue;
mod record;
mod resume;
mod search;
mod shard;

pub use estimate::{Estimate, Sample};
pub use folder::{Folder, FolderError};
pub use merge::{MergeError, Merged, merge};
pub use mutate::MAX_STREAM_BYTES;
pub use shard::{MOST_SHARDS, Shard};

use crate::campaign::{CampaignError, Finding, RigFactory, Summary};
use crate::triage::Symptom;
use record::Record;
use search::Run;
use std::sync::atomic::AtomicBool;
use std::time::Duration;
use trackproof_contract::Profile;

/// Cases that the estimate looks ahead.
pub const AHEAD: u64 = 100_000;

/// What a run is to do.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The implementation, as it was named.
    pub implementation: String,
    /// The name of the profile.
    pub profile_name: String,
    /// The profile that cases are made for and judged by.
    pub profile: Profile,
    /// The run's seed.
    pub seed: u64,
    /// How long to search, all starts on one folder together.
    pub lasts: Duration,
    /// Run the cases 0 to this many alone and end behind them: the same ones on every machine. None
    /// searches from the corpus as well, as long as there is time.
    pub cases: Option<u64>,
    /// The part of the run's shifts to do.
    pub shard: Shard,
    /// Threads.
    pub jobs: usize,
    /// Executions that making one finding small may take.
    pub executions: u32,
}

/// What happens while a run goes on.
#[derive(Debug)]
pub enum Event {
    /// It goes on from what it found in its folder.
    Resumed {
        /// How long it has searched before.
        spent: Duration,
        /// Cases that it has run before.
        cases: u64,
    },
    /// Something deviates that was not known; its file within the folder, where that could be
    /// written.
    Found {
        /// Rule and kind at first sight.
        name: (&'static str, &'static str),
        /// The file.
        file: Option<String>,
    },
    /// A finding is smallest.
    Settled {
        /// Its rule and kind.
        name: (&'static str, &'static str),
        /// Those that it was found by.
        first: Vec<(&'static str, &'static str)>,
    },
    /// How things stand.
    Status(Status),
}

/// How things stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Status {
    /// Cases run, of all starts on the folder.
    pub cases: u64,
    /// Cases a second, of this start.
    pub rate: f64,
    /// Features reached: points, and pairs of points in one case.
    pub features: usize,
    /// Streams in the corpus.
    pub corpus: usize,
    /// Findings that are settled.
    pub settled: usize,
    /// Names that are not settled yet.
    pub open: usize,
    /// What is left of the search.
    pub left: Duration,
}

/// A settled finding on the list.
#[derive(Debug, Clone)]
pub struct Listed {
    /// The finding.
    pub finding: Finding,
    /// What it is grouped by.
    pub symptom: Symptom,
    /// Cases that it stands for.
    pub cases: u64,
}

/// What a run has come to.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The counts.
    pub summary: Summary,
    /// Findings, one a rule and kind.
    pub settled: Vec<Listed>,
    /// Findings that were not made small.
    pub aside: Vec<Finding>,
    /// Findings that a fresh rig did not show again.
    pub once: Vec<Finding>,
    /// What more cases may be expected to show: a name or a point; anything, pairs included.
    pub estimates: [Option<Estimate>; 2],
    /// Streams in the corpus.
    pub corpus: usize,
    /// Features reached.
    pub features: usize,
    /// How long was searched, all starts together.
    pub spent: Duration,
    /// Whether the search came to its end.
    pub complete: bool,
}

/// Runs until the time is over, or `interrupted` is set. `hear` is told what happens, `look` is
/// given how things stand whenever a finding has been settled and at the end.
///
/// # Errors
/// When the folder is that of another run; when the implementation cannot be made, or a run cannot
/// be trusted: what was found until then is in the folder.
pub fn run(
    plan: &Plan,
    factory: &RigFactory<'_>,
    folder: &Folder,
    interrupted: &AtomicBool,
    hear: &(dyn Fn(&Event) + Sync),
    look: &(dyn Fn(&Outcome) + Sync),
) -> Result<Outcome, RunError> {
    let record = Record::new(plan);
    let contents = folder.contents(&record)?;
    let mut run = Run::new(plan, factory, folder, record, Heard { interrupted, hear, look });
    run.resume(contents)?;
    run.search();
    if run.error().is_none() {
        run.settle_the_rest();
    }
    run.save();
    if let Some(error) = run.error().take() {
        return Err(error.into());
    }
    let outcome = run.outcome();
    look(&outcome);
    Ok(outcome)
}

/// What the caller of a run has to say and wants to hear.
#[derive(Clone, Copy)]
struct Heard<'a> {
    interrupted: &'a AtomicBool,
    hear: &'a (dyn Fn(&Event) + Sync),
    look: &'a (dyn Fn(&Outcome) + Sync),
}

/// Why there is no outcome.
#[derive(Debug, Clone)]
pub enum RunError {
    /// The folder cannot be used.
    Folder(FolderError),
    /// The implementation cannot be run.
    Campaign(CampaignError),
}

impl From<FolderError> for RunError {
    fn from(error: FolderError) -> Self {
        Self::Folder(error)
    }
}

impl From<CampaignError> for RunError {
    fn from(error: CampaignError) -> Self {
        Self::Campaign(error)
    }
}

impl std::fmt::Display for RunError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Folder(error) => error.fmt(f),
            Self::Campaign(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for RunError {}

impl Event {
    /// The line of the log.
    fn line(&self) -> Option<String> {
        Some(match self {
            Self::Resumed { spent, cases } => {
                format!("goes on behind {cases} cases and {} s", spent.as_secs())
            }
            Self::Found { name: (rule, kind), file } => {
                let file = file.as_deref().unwrap_or("not written");
                format!("found {rule}: {kind}, {file}")
            }
            Self::Settled { name: (rule, kind), first } => {
                let first: Vec<String> =
                    first.iter().map(|(rule, kind)| format!("{rule}: {kind}")).collect();
                format!("settled {rule}: {kind}, found as {}", first.join(", "))
            }
            Self::Status(_) => return None,
        })
    }
}
