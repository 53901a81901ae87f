//! What was known before a run, and what became of it: known deviations and case files that are
//! replayed at its begin.

use super::phrase::{count, grouped};
use super::style::Style;
use crate::campaign::Finding;
use crate::known_file::Known;
use serde::Serialize;

/// What was known before a run.
#[derive(Debug, Clone, Copy, Default)]
pub struct Baseline<'a> {
    /// Known deviations that occurred.
    pub occurred: &'a [Occurred],
    /// Those that did not.
    pub gone: &'a [Known],
    /// Case files that were replayed, if any were to be.
    pub regressions: Option<&'a Regressions>,
}

/// A known deviation that occurred.
#[derive(Debug, Clone)]
pub struct Occurred {
    /// What is known.
    pub known: Known,
    /// The finding.
    pub finding: Finding,
    /// Its case file.
    pub file: Option<String>,
    /// Cases of the run that deviated by a name that came to this one.
    pub cases: u64,
}

/// Case files that were replayed at a run's begin.
#[derive(Debug, Clone, Default)]
pub struct Regressions {
    /// Their folder.
    pub folder: String,
    /// Those that conform.
    pub conform: u64,
    /// Those that cannot be judged, or need what the implementation lacks.
    pub open: u64,
    /// Those of another profile, which were not run.
    pub of_other_profiles: u64,
    /// Those that deviate by what is known.
    pub known: u64,
    /// Those that deviate.
    pub deviating: Vec<Regression>,
    /// Those that do not always.
    pub unsteady: Vec<Regression>,
}

/// A case file that deviates.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Regression {
    /// The file.
    pub file: String,
    /// The rule that it deviates by now.
    pub rule: &'static str,
    /// How.
    pub kind: &'static str,
}

/// A known deviation in the JSON of a run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct KnownJson {
    /// The rule.
    pub rule: String,
    /// How it is broken.
    pub kind: String,
    /// Why it is left so.
    pub reason: String,
    /// Cases of the run that deviated by a name that came to this one; 0 where it is gone.
    pub cases: u64,
    /// The case file; null where there is none.
    pub case: Option<String>,
}

/// Case files in the JSON of a run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RegressionsJson {
    /// Those that conform.
    pub conform: u64,
    /// Those that cannot be judged, or need what the implementation lacks.
    pub open: u64,
    /// Those of another profile, which were not run.
    pub of_other_profiles: u64,
    /// Those that deviate by what is known.
    pub known: u64,
    /// Those that deviate.
    pub deviating: Vec<Regression>,
    /// Those that do not always.
    pub unsteady: Vec<Regression>,
}

impl Baseline<'_> {
    pub(super) fn known_json(&self) -> Vec<KnownJson> {
        let told = |one: &Occurred| json(&one.known, one.cases, one.file.clone());
        self.occurred.iter().map(told).collect()
    }

    pub(super) fn gone_json(&self) -> Vec<KnownJson> {
        self.gone.iter().map(|known| json(known, 0, None)).collect()
    }

    pub(super) fn regressions_json(&self) -> Option<RegressionsJson> {
        self.regressions.map(|all| RegressionsJson {
            conform: all.conform,
            open: all.open,
            of_other_profiles: all.of_other_profiles,
            known: all.known,
            deviating: all.deviating.clone(),
            unsteady: all.unsteady.clone(),
        })
    }

    pub(super) fn lines(&self, style: Style) -> Vec<String> {
        let mut lines = Vec::new();
        if let Some(all) = self.regressions {
            lines.extend(replayed(all, style));
        }
        for (place, Occurred { known, file, cases, .. }) in self.occurred.iter().enumerate() {
            let label = if place == 0 { "Known" } else { "" };
            let cases = count(*cases, "case");
            let file = file.as_deref().unwrap_or("not written; see standard error");
            lines.push(format!("  {label:<7}  {}: {}, {cases}, {file}", known.rule, known.kind));
            lines.push(format!("           {}", one_line(&known.reason)));
        }
        for (place, known) in self.gone.iter().enumerate() {
            let label = if place == 0 { "Gone" } else { "" };
            let name = style.strong(&format!("{}: {}", known.rule, known.kind));
            lines
                .push(format!("  {label:<7}  {name} is known and did not occur; if it is mended,"));
            lines.push("           take it out of the known deviations".into());
        }
        lines
    }
}

fn json(known: &Known, cases: u64, case: Option<String>) -> KnownJson {
    let Known { rule, kind, reason, .. } = known.clone();
    KnownJson { rule, kind, reason, cases, case }
}

fn replayed(all: &Regressions, style: Style) -> Vec<String> {
    let deviate = all.deviating.len() as u64;
    let unsteady = all.unsteady.len() as u64;
    let run = all.conform + all.open + all.known + deviate + unsteady;
    let parts: Vec<String> = [
        (deviate, "deviate"),
        (unsteady, "do not always deviate"),
        (all.known, "deviate as known"),
        (all.conform, "conform"),
        (all.open, "cannot be judged"),
        (all.of_other_profiles, "are of another profile and were not run"),
    ]
    .into_iter()
    .filter(|(number, _)| *number > 0)
    .map(|(number, what)| format!("{} {what}", grouped(number)))
    .collect();
    let files = count(run, "case file");
    let mut lines =
        vec![format!("  Before   {files} of {} replayed: {}", all.folder, parts.join(", "))];
    if parts.is_empty() {
        lines = vec![format!("  Before   no case file in {}", all.folder)];
    }
    for Regression { file, rule, kind } in all.deviating.iter().chain(&all.unsteady) {
        let name = style.strong(&format!("{rule}: {kind}"));
        lines.push(format!("           {name}, {file}"));
    }
    lines
}

fn one_line(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}
