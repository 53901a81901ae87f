//! `overnight`: a search for hours, and the short list that it leaves.

mod junit;
mod short_list;

pub(crate) use short_list::Listing;

use crate::Exit;
use crate::arguments::Overnight;
use crate::check::EXECUTIONS;
use crate::failure::Failure;
use crate::interrupt;
use crate::output;
use crate::progress::Progress;
use crate::registry::Registry;
use crate::search::Searched;
use std::collections::BTreeSet;
use std::sync::Mutex;
use std::time::Duration;
use trackproof::overnight::{self, Event, Folder, FolderError, Plan, RunError, Status};
use trackproof::report::grouped;

/// Runs the verb.
pub(crate) fn overnight(given: &Overnight, registry: &Registry) -> Result<Exit, Failure> {
    let Searched { subject, profile_name, profile, known } = given.search.open(registry)?;
    let plan = Plan {
        implementation: given.search.implementation.to_string(),
        profile_name,
        profile,
        seed: given.search.run.seed,
        lasts: given.duration,
        cases: given.cases,
        shard: given.shard,
        jobs: given.search.run.jobs(),
        executions: EXECUTIONS,
    };
    let folder = Folder::open(&given.dir)?;
    let listing = Listing {
        implementation: &plan.implementation,
        profile_name: &plan.profile_name,
        profile: &plan.profile,
        seed: plan.seed,
        folder: &folder,
        known,
        strict: given.search.failing.strict,
    };
    let night = Night { folder: &folder, progress: Progress::new(None), told: Mutex::default() };
    let outcome = overnight::run(
        &plan,
        &subject,
        &folder,
        interrupt::flag(),
        &|event| night.hear(event),
        &|outcome| listing.of(outcome).write(&night.progress),
    )?;
    night.progress.end(outcome.summary.cases, outcome.spent);
    night.tell_troubles();
    let short = listing.of(&outcome);
    short.print(given.format.is)?;
    Ok(short.exit)
}

impl From<FolderError> for Failure {
    fn from(error: FolderError) -> Self {
        Self::usage(error)
    }
}

impl From<RunError> for Failure {
    fn from(error: RunError) -> Self {
        match error {
            RunError::Folder(error) => error.into(),
            RunError::Campaign(error) => {
                let mut failure = Self::from(error);
                failure.text.push_str("; what was found before is in the run's folder");
                failure
            }
        }
    }
}

/// A run in progress.
struct Night<'a> {
    folder: &'a Folder,
    progress: Progress,
    /// Troubles that were told.
    told: Mutex<BTreeSet<String>>,
}

impl Night<'_> {
    fn hear(&self, event: &Event) {
        self.tell_troubles();
        let style = output::error_style();
        match event {
            Event::Resumed { spent, cases } => self.progress.line(&format!(
                "{}: goes on behind {} cases and {}",
                self.folder.path().display(),
                grouped(*cases),
                time(*spent)
            )),
            Event::Found { name: (rule, kind), file } => {
                let name = style.wrong(&format!("{rule}: {kind}"));
                let file = file.as_deref().unwrap_or("not written");
                self.progress.line(&format!("found {name}, {file}"));
            }
            Event::Settled { name: (rule, kind), .. } => {
                let name = style.wrong(&format!("{rule}: {kind}"));
                self.progress.line(&format!("settled {name}"));
            }
            Event::Status(status) => self.progress.stage(line(status)),
        }
    }

    /// Says what cannot be read or written, each once.
    fn tell_troubles(&self) {
        let mut told = self.told.lock().unwrap_or_else(|poison| poison.into_inner());
        for trouble in self.folder.troubles() {
            if told.insert(trouble.clone()) {
                self.progress.line(&format!("trackproof: {trouble}"));
            }
        }
    }
}

/// How things stand, in a line.
fn line(status: &Status) -> String {
    format!(
        "{} cases, {:.0} a second; reach {}, corpus {}; {} settled, {} open; {} left",
        grouped(status.cases),
        status.rate,
        grouped(status.features as u64),
        grouped(status.corpus as u64),
        status.settled,
        status.open,
        time(status.left)
    )
}

/// A time for people: `7 h 59 min`, `59 min`, `59 s`.
fn time(time: Duration) -> String {
    match time.as_secs() {
        seconds if seconds < 120 => format!("{seconds} s"),
        seconds if seconds < 7_200 => format!("{} min", seconds / 60),
        seconds => format!("{} h {} min", seconds / 3_600, seconds / 60 % 60),
    }
}
