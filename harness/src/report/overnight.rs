//! A night's run: the short list of groups in words and as JSON, and what more hours would bring.

use super::phrase::{count, grouped};
use super::run_json::{RunJson, run_json};
use super::run_text::{RunReport, run};
use super::style::Style;
use crate::campaign::Finding;
use crate::overnight::{AHEAD, Estimate, Outcome};
use crate::triage::Group;
use serde::Serialize;

/// The JSON's version; fields are added and never removed.
const FORMAT: u32 = 1;

/// Under this chance more hours are called hardly worth it.
const HARDLY: f64 = 0.05;

/// Most names of findings that were not made small in the text; all are in the JSON.
const ASIDE_NAMED: usize = 3;

/// A run, as far as a report tells of it.
#[derive(Debug, Clone, Copy)]
pub struct OvernightReport<'a> {
    /// Its counts, verdict and so on. Its findings are told here, so it has none.
    pub run: RunReport<'a>,
    /// What it has come to.
    pub outcome: &'a Outcome,
    /// Its findings in groups.
    pub groups: &'a [Group],
    /// Deviations that occurred and were known, with their reasons.
    pub known: &'a [(Finding, String)],
    /// The command lines that replay each group's case files.
    pub again: &'a [Vec<String>],
    /// What could not be read or written.
    pub troubles: &'a [String],
}

/// The whole run.
#[derive(Debug, Clone, Serialize)]
pub struct OvernightJson {
    /// The version of this object.
    pub format: u32,
    /// The implementation, as it was named.
    pub implementation: String,
    /// The profile's name.
    pub profile: String,
    /// The run's seed.
    pub seed: Option<u64>,
    /// Whether the search came to its end.
    pub complete: bool,
    /// How long was searched, in seconds, all starts on the folder together.
    pub searched_s: u64,
    /// What deviates, the likeliest fault first.
    pub groups: Vec<GroupJson>,
    /// Findings that were not made small.
    pub aside: Vec<FileJson>,
    /// Findings that a fresh rig did not show again.
    pub once: Vec<FileJson>,
    /// Deviations that were known.
    pub known: Vec<FileJson>,
    /// Streams in the corpus.
    pub corpus: usize,
    /// Points, and pairs of points in one case, that were reached.
    pub features: usize,
    /// What more cases would bring: a new name of a deviation or a new point.
    pub more: Option<MoreJson>,
    /// The same with pairs of points as well.
    pub more_pairs: Option<MoreJson>,
    /// What could not be read or written.
    pub troubles: Vec<String>,
    /// The exit code.
    pub exit: u8,
    /// Counts, reach and verdict, as `check` has them.
    #[serde(flatten)]
    pub run: RunJson,
}

/// One group.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct GroupJson {
    /// The rule's id.
    pub rule: &'static str,
    /// How the most frequent of its findings breaks it.
    pub kind: &'static str,
    /// The case files, in the folder, the most frequent finding first.
    pub cases: Vec<String>,
    /// A sentence on the likely cause; a guess.
    pub likely: String,
    /// What the smallest programs ask for.
    pub shape: String,
    /// Cases that it stands for.
    pub count: u64,
}

/// A finding that is only named.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FileJson {
    /// The rule's id.
    pub rule: &'static str,
    /// How it is broken.
    pub kind: &'static str,
    /// Its case file, in the folder.
    pub case: String,
}

/// An estimate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MoreJson {
    /// Cases of the sample.
    pub sample: u64,
    /// Different things that it met.
    pub species: usize,
    /// Those that it met in one case only.
    pub met_once: usize,
    /// The chance that the next case shows a new one.
    pub next: f64,
    /// So many more cases.
    pub ahead: u64,
    /// The chance that one of them does, on the high side.
    pub within: f64,
}

impl MoreJson {
    fn of(estimate: Estimate) -> Self {
        Self {
            sample: estimate.cases,
            species: estimate.species,
            met_once: estimate.singles,
            next: estimate.next,
            ahead: AHEAD,
            within: estimate.within(AHEAD),
        }
    }
}

/// The case file of a finding, in the run's folder.
#[must_use]
pub fn case_path(finding: &Finding) -> String {
    format!("cases/{}-{}.json", finding.rule.id, finding.kind)
}

fn files<'a>(findings: impl Iterator<Item = &'a Finding>) -> Vec<FileJson> {
    findings
        .map(|one| FileJson { rule: one.rule.id, kind: one.kind, case: case_path(one) })
        .collect()
}

/// The JSON of a run.
#[must_use]
pub fn overnight_json(report: &OvernightReport<'_>) -> OvernightJson {
    let outcome = report.outcome;
    let group = |group: &Group| GroupJson {
        rule: group.rule.id,
        kind: group.kind,
        cases: paths(report, group),
        likely: group.likely.clone(),
        shape: group.shape.clone(),
        count: group.cases,
    };
    OvernightJson {
        format: FORMAT,
        implementation: report.run.implementation.into(),
        profile: report.run.profile_name.into(),
        seed: report.run.seed,
        complete: outcome.complete,
        searched_s: outcome.spent.as_secs(),
        groups: report.groups.iter().map(group).collect(),
        aside: files(outcome.aside.iter()),
        once: files(outcome.once.iter()),
        known: files(report.known.iter().map(|(finding, _)| finding)),
        corpus: outcome.corpus,
        features: outcome.features,
        more: outcome.estimates[0].map(MoreJson::of),
        more_pairs: outcome.estimates[1].map(MoreJson::of),
        troubles: report.troubles.to_vec(),
        exit: report.run.exit.0,
        run: run_json(&report.run),
    }
}

fn paths(report: &OvernightReport<'_>, group: &Group) -> Vec<String> {
    let settled = &report.outcome.settled;
    group.findings.iter().map(|place| case_path(&settled[*place].finding)).collect()
}

/// The text of a run.
#[must_use]
pub fn overnight(report: &OvernightReport<'_>, style: Style) -> String {
    let outcome = report.outcome;
    let mut lines = Vec::new();
    if !report.groups.is_empty() {
        let number = count(report.groups.len() as u64, "group");
        lines.push(style.strong(&format!("{number} of findings, the likeliest fault first")));
    }
    for (place, group) in report.groups.iter().enumerate() {
        let name = style.wrong(&format!("{}: {}", group.rule.id, group.kind));
        let cases = count(group.cases, "case");
        lines.push(String::new());
        lines.push(format!("  {}. {name}  ({cases}; asks for: {})", place + 1, group.shape));
        lines.push(format!("     {}", group.rule.effect));
        lines.push(format!("     {}", group.likely));
        let again = report.again.get(place).into_iter().flatten();
        lines.extend(again.map(|line| format!("     {line}")));
    }
    if !report.groups.is_empty() {
        lines.push(String::new());
    }
    lines.extend(aside(outcome));
    let again = "not shown again by a fresh rig";
    lines.extend(named("Once", files(outcome.once.iter()), again));
    for (finding, reason) in report.known {
        lines.push(format!("  Known    {}: {}; {reason}", finding.rule.id, finding.kind));
    }
    lines.push(format!(
        "  Search   {} s{}; {} with {} of reach",
        grouped(outcome.spent.as_secs()),
        if outcome.complete { "" } else { ", not at its end: the same command goes on" },
        count(outcome.corpus as u64, "stream"),
        count(outcome.features as u64, "feature"),
    ));
    lines.extend(more(outcome));
    lines.extend(report.troubles.iter().map(|one| format!("  Trouble  {one}")));
    lines.push(String::new());
    format!("{}\n{}", lines.join("\n"), run(&report.run, style))
}

/// What was not made small: a number and the first names, for the list is to be short.
fn aside(outcome: &Outcome) -> Vec<String> {
    let number = outcome.aside.len();
    if number == 0 {
        return Vec::new();
    }
    let names = outcome.aside.iter().take(ASIDE_NAMED);
    let names: Vec<String> = names.map(|one| format!("{}: {}", one.rule.id, one.kind)).collect();
    let more = if number > ASIDE_NAMED { ", …" } else { "" };
    vec![
        format!(
            "  Aside    {}, not made small: {}{more}",
            count(number as u64, "more name"),
            names.join(", ")
        ),
        "           their files are in cases/; mend what is listed, then search again".into(),
    ]
}

fn named(label: &str, findings: Vec<FileJson>, what: &str) -> Vec<String> {
    let mut label = label;
    let lines = findings.into_iter().map(|one| {
        let line = format!("  {label:<7}  {}: {}, {}; {what}", one.rule, one.kind, one.case);
        label = "";
        line
    });
    lines.collect()
}

/// What more cases would bring, with what that rests on.
fn more(outcome: &Outcome) -> Vec<String> {
    let [Some(plain), Some(pairs)] = outcome.estimates else {
        return vec!["  More     nothing was sampled yet".into()];
    };
    let percent = |chance: f64| match chance {
        chance if chance < 0.0001 => "under 0.01 %".to_owned(),
        chance if chance > 0.9999 => "over 99.99 %".to_owned(),
        chance => format!("{:.2} %", 100.0 * chance),
    };
    // Where nothing was met once only, the estimate is a bound, and of few cases it says nothing.
    let chance = |estimate: &Estimate| match (estimate.singles, estimate.within(AHEAD)) {
        (0, chance) if chance > 0.5 => "not to be said of so few cases".to_owned(),
        (0, chance) => format!("at most {}", percent(chance)),
        (_, chance) => percent(chance),
    };
    let ahead = grouped(AHEAD);
    let mut lines = vec![
        format!(
            "  More     the chance that the next {ahead} cases show a new name or point: {}",
            chance(&plain)
        ),
        format!("           a new pair of points in one case: {}", chance(&pairs)),
        format!(
            "           by the share of what was met once ({} of {} in {} cases, {} of {} with \
             pairs)",
            plain.singles,
            grouped(plain.species as u64),
            grouped(plain.cases),
            grouped(pairs.singles as u64),
            grouped(pairs.species as u64),
        ),
        "           assumes cases drawn alike and independently: mutated ones do not count, and \
         may find more"
            .into(),
    ];
    if plain.within(AHEAD) < HARDLY {
        lines.push("           more hours will hardly pay; another profile or seed may".into());
    }
    lines
}
