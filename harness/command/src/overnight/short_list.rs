//! The short list of a run's folder: written into it as files, printed, and what it comes to.

use super::junit;
use crate::Exit;
use crate::arguments::Format;
use crate::check::verdict;
use crate::failure::Failure;
use crate::files::replay_line;
use crate::output;
use crate::progress::Progress;
use trackproof::campaign::Finding;
use trackproof::known_file::Known;
use trackproof::overnight::{Folder, Outcome};
use trackproof::report::{self, Baseline, OvernightReport, RunReport, Style, case_path};
use trackproof::rules::Level;
use trackproof::triage::{self, Group};
use trackproof_contract::Profile;

/// What a list is of.
pub(crate) struct Listing<'a> {
    pub(crate) implementation: &'a str,
    pub(crate) profile_name: &'a str,
    pub(crate) profile: &'a Profile,
    pub(crate) seed: u64,
    pub(crate) folder: &'a Folder,
    /// The known deviations of the run's profile.
    pub(crate) known: Vec<Known>,
    /// Whether rules of level `should` fail as well.
    pub(crate) strict: bool,
}

/// What is told of a run at one moment.
pub(crate) struct ShortList<'a> {
    listing: &'a Listing<'a>,
    outcome: &'a Outcome,
    groups: Vec<Group>,
    /// How each group's case files are replayed.
    again: Vec<Vec<String>>,
    known: Vec<(Finding, String)>,
    troubles: Vec<String>,
    pub(crate) exit: Exit,
}

impl Listing<'_> {
    fn reason(&self, finding: &Finding) -> Option<&str> {
        let (rule, kind) = finding.name();
        let of = self.known.iter().find(|known| known.rule == rule && known.kind == kind);
        of.map(|known| known.reason.as_str())
    }

    /// The list of what a run has come to.
    pub(crate) fn of<'a>(&'a self, outcome: &'a Outcome) -> ShortList<'a> {
        let symptoms = outcome.settled.iter().map(|one| (&one.symptom, one.cases));
        let mut groups = triage::groups(symptoms);
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
        let fails = |group: &Group| group.rule.level == Level::Must || self.strict;
        let open = outcome.aside.iter().any(|finding| self.reason(finding).is_none());
        let deviates = groups.iter().any(fails) || open;
        let exit = verdict(&outcome.summary, &[], deviates, !outcome.once.is_empty());
        let troubles = self.folder.troubles();
        let exit = if self.folder.failed() { exit.or(Exit::Usage) } else { exit };
        let again = groups.iter().map(|group| {
            let files = group.findings.iter().map(|place| {
                let file = case_path(&outcome.settled[*place].finding);
                let file = self.folder.path().join(file).display().to_string();
                replay_line(&file, self.implementation)
            });
            files.collect()
        });
        ShortList { listing: self, outcome, again: again.collect(), groups, known, troubles, exit }
    }
}

impl ShortList<'_> {
    fn report(&self) -> OvernightReport<'_> {
        let listing = self.listing;
        OvernightReport {
            run: RunReport {
                implementation: listing.implementation,
                profile_name: listing.profile_name,
                profile: listing.profile,
                seed: Some(listing.seed),
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

    /// Writes it into the folder: for programs, for people, for a build server.
    pub(crate) fn write(&self, progress: &Progress) {
        let report = self.report();
        let json = serde_json::to_string_pretty(&report::overnight_json(&report));
        let junit = junit::text(&report);
        let text = report::overnight(&report, Style::Plain);
        for (name, content) in [
            ("summary.json", json.map_err(|error| error.to_string())),
            ("summary.txt", Ok(text)),
            ("junit.xml", junit),
        ] {
            match content {
                Ok(content) => drop(self.listing.folder.write(name, content.as_bytes())),
                Err(why) => progress.line(&format!("trackproof: {name}: {why}")),
            }
        }
    }

    /// Prints it.
    pub(crate) fn print(&self, format: Format) -> Result<(), Failure> {
        match format {
            Format::Json => output::print_json(&report::overnight_json(&self.report())),
            Format::Human => output::print(&report::overnight(&self.report(), output::style())),
        }
    }
}
