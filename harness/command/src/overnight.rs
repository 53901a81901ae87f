//! `overnight`: a search for hours, and the short list that it leaves.

mod junit;

use crate::Exit;
use crate::arguments::{Format, Overnight};
use crate::check::{EXECUTIONS, verdict};
use crate::failure::Failure;
use crate::files::replay_line;
use crate::interrupt;
use crate::output;
use crate::progress::Progress;
use crate::registry::Registry;
use crate::search::Searched;
use std::collections::BTreeSet;
use std::sync::Mutex;
use std::time::Duration;
use trackproof::campaign::Finding;
use trackproof::known_file::Known;
use trackproof::overnight::{self, Event, Folder, FolderError, Outcome, Plan, RunError, Status};
use trackproof::report::{self, Baseline, OvernightReport, RunReport, Style, case_path, grouped};
use trackproof::rules::Level;
use trackproof::triage::{self, Group};

/// Runs the verb.
pub(crate) fn overnight(given: &Overnight, registry: &Registry) -> Result<Exit, Failure> {
    let Searched { subject, profile_name, profile, known } = given.search.open(registry)?;
    let plan = Plan {
        implementation: given.search.implementation.to_string(),
        profile,
        seed: given.search.run.seed,
        lasts: given.duration,
        cases: given.cases,
        shard: given.shard,
        jobs: given.search.run.jobs(),
        executions: EXECUTIONS,
    };
    let folder = Folder::open(&given.dir)?;
    let night = Night {
        given,
        plan: &plan,
        profile_name: &profile_name,
        folder: &folder,
        known,
        progress: Progress::new(None),
        told: Mutex::default(),
    };
    let outcome = overnight::run(
        &plan,
        &subject,
        &folder,
        interrupt::flag(),
        &|event| night.hear(event),
        &|outcome| night.write(outcome),
    )?;
    night.progress.end(outcome.summary.cases, outcome.spent);
    night.tell_troubles();
    let short = night.short_list(&outcome);
    match given.format.is {
        Format::Json => output::print_json(&report::overnight_json(&short.report(&night)))?,
        Format::Human => {
            output::print(&report::overnight(&short.report(&night), output::style()))?;
        }
    }
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
    given: &'a Overnight,
    plan: &'a Plan,
    profile_name: &'a str,
    folder: &'a Folder,
    /// The known deviations of the run's profile.
    known: Vec<Known>,
    progress: Progress,
    /// Troubles that were told.
    told: Mutex<BTreeSet<String>>,
}

/// What is told of a run at one moment.
struct ShortList<'a> {
    outcome: &'a Outcome,
    groups: Vec<Group>,
    /// How each group's case files are replayed.
    again: Vec<Vec<String>>,
    known: Vec<(Finding, String)>,
    troubles: Vec<String>,
    exit: Exit,
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

    /// Writes the short list as it is now.
    fn write(&self, outcome: &Outcome) {
        let short = self.short_list(outcome);
        let report = short.report(self);
        let json = serde_json::to_string_pretty(&report::overnight_json(&report));
        let junit = junit::text(&report);
        let text = report::overnight(&report, Style::Plain);
        for (name, content) in [
            ("summary.json", json.map_err(|error| error.to_string())),
            ("summary.txt", Ok(text)),
            ("junit.xml", junit),
        ] {
            match content {
                Ok(content) => drop(self.folder.write(name, content.as_bytes())),
                Err(why) => self.progress.line(&format!("trackproof: {name}: {why}")),
            }
        }
    }

    fn reason(&self, finding: &Finding) -> Option<&str> {
        let (rule, kind) = finding.name();
        let of = self.known.iter().find(|known| known.rule == rule && known.kind == kind);
        of.map(|known| known.reason.as_str())
    }

    fn short_list<'o>(&self, outcome: &'o Outcome) -> ShortList<'o> {
        let mut groups =
            triage::groups(outcome.settled.iter().map(|one| (&one.symptom, one.cases)));
        let mut known = Vec::new();
        for group in &mut groups {
            group.findings.retain(|place| {
                let finding = &outcome.settled[*place].finding;
                let reason = self.reason(finding);
                known.extend(reason.map(|reason| (finding.clone(), reason.to_owned())));
                reason.is_none()
            });
        }
        groups.retain(|group| !group.findings.is_empty());
        let fails = |group: &Group| group.rule.level == Level::Must || self.given.search.strict;
        let open = outcome.aside.iter().any(|finding| self.reason(finding).is_none());
        let deviates = groups.iter().any(fails) || open;
        let exit = verdict(&outcome.summary, &[], deviates, !outcome.once.is_empty());
        let troubles = self.folder.troubles();
        let exit = if self.folder.failed() { exit.or(Exit::Usage) } else { exit };
        let again = groups.iter().map(|group| {
            let files = group.findings.iter().map(|place| {
                let file = case_path(&outcome.settled[*place].finding);
                let file = self.folder.path().join(file).display().to_string();
                replay_line(&file, &self.plan.implementation)
            });
            files.collect()
        });
        ShortList { outcome, again: again.collect(), groups, known, troubles, exit }
    }
}

impl ShortList<'_> {
    fn report<'r>(&'r self, night: &'r Night<'_>) -> OvernightReport<'r> {
        OvernightReport {
            run: RunReport {
                implementation: &night.plan.implementation,
                profile_name: night.profile_name,
                profile: &night.plan.profile,
                seed: Some(night.plan.seed),
                summary: &self.outcome.summary,
                findings: &[],
                rules: &[],
                others: &[],
                not_reproducible: &[],
                set_aside: &[],
                baseline: Baseline::default(),
                verdict: self.exit.verdict(),
                exit: (self.exit.code(), self.exit.meaning()),
                certified: None,
            },
            outcome: self.outcome,
            groups: &self.groups,
            known: &self.known,
            again: &self.again,
            troubles: &self.troubles,
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
