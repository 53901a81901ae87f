//! A run in words: what was done, what was reached, what it comes to.

use super::FEW_CASES;
use super::baseline::Baseline;
use super::phrase::{count, grouped};
use super::reach::{self, Reached};
use super::run_json::skipped;
use super::style::Style;
use crate::campaign::{Finding, Summary};
use crate::rules::Rule;
use std::collections::BTreeMap;
use trackproof_contract::{Capability, Profile};

/// Widest bar of the slack histogram.
const BAR: u64 = 40;

/// What to do about a run in which nothing came to be compared.
const NOTHING_COMPARED: &str = "no word, byte, driven status bit, signal or track came to be \
                                compared: name in the capabilities what the controller can do";

/// A finished run, as far as a report tells of it.
#[derive(Debug, Clone, Copy)]
pub struct RunReport<'a> {
    /// The implementation, as it was named.
    pub implementation: &'a str,
    /// The profile's name.
    pub profile_name: &'a str,
    /// The profile.
    pub profile: &'a Profile,
    /// The run's seed; none for a replay.
    pub seed: Option<u64>,
    /// What the campaign gave.
    pub summary: &'a Summary,
    /// The findings that a fresh rig showed again, with their files where they could be written.
    pub findings: &'a [(Finding, Option<String>)],
    /// The rules that were asked for; empty for all.
    pub rules: &'a [&'static Rule],
    /// Findings of rules that were not asked for: told of, and no more.
    pub others: &'a [(Finding, Option<String>)],
    /// Those that it did not show again, with the files of the cases that showed them once.
    pub not_reproducible: &'a [(Finding, Option<String>)],
    /// Findings that were not pursued, with their files.
    pub set_aside: &'a [(Finding, Option<String>)],
    /// What was known before, and what became of it.
    pub baseline: Baseline<'a>,
    /// The verdict in a word.
    pub verdict: &'static str,
    /// The exit code and what it means.
    pub exit: (u8, &'static str),
    /// Whether no single reduction deviates alike, where that was asked.
    pub certified: Option<bool>,
}

/// The text of a run, findings apart.
#[must_use]
pub fn run(report: &RunReport<'_>, style: Style) -> String {
    let summary = report.summary;
    let mut lines = vec![style.strong(&format!(
        "{} against profile {}{}",
        report.implementation,
        report.profile_name,
        report.seed.map_or(String::new(), |seed| format!(", seed {seed}"))
    ))];
    lines.push(format!(
        "  Cases    {} run, {} judged, {} inconclusive, {} skipped{}",
        grouped(summary.cases),
        grouped(summary.judged),
        grouped(summary.inconclusive),
        grouped(summary.skipped),
        match summary.stopped {
            0 => String::new(),
            stopped => format!(", {} in which it stopped", grouped(stopped)),
        }
    ));
    if let Some(index) = summary.given_up {
        let index = grouped(index);
        lines.push(format!("           given up behind case {index}: it stops too often"));
    }
    // A separator gives no words.
    if summary.words > 0 || summary.compared.channel_bits == 0 {
        lines.push(words(summary));
    }
    lines.push(format!("  Beside   {}", beside(summary)));
    if summary.beside > 0 {
        lines.push(format!(
            "  Lent     {} not run: they ask only for what it was lent",
            count(summary.beside, "case")
        ));
    }
    lines.extend(skips(report));
    lines.extend(slack(report));
    lines.extend(reach(report, style));
    lines.push(format!("  Digest   {:016x}", summary.digest));
    lines.extend(report.baseline.lines(style));
    lines.extend(findings(report, style));
    let (code, meaning) = report.exit;
    let verdict = match code {
        0 => style.right(report.verdict),
        _ => style.wrong(report.verdict),
    };
    lines.push(format!("  Verdict  {verdict} (exit code {code}: {meaning})"));
    if summary.compared_nothing() {
        lines.push(format!("           {NOTHING_COMPARED}"));
    } else if let Some(why) = summary.too_little() {
        lines.push(format!("           {why}"));
    }
    lines.push(String::new());
    lines.join("\n")
}

fn words(summary: &Summary) -> String {
    let Some(share) = summary.unique_share() else { return "  Words    none".into() };
    let share = (share * 10_000.0).floor() / 100.0;
    format!("  Words    {} judged, {share:.2} % of them in a unique state", grouped(summary.words))
}

/// What else was compared.
fn beside(summary: &Summary) -> String {
    let compared = &summary.compared;
    let parts: Vec<String> = [
        (compared.bytes, "byte"),
        (compared.status_bits, "status bit"),
        (compared.signals, "signal"),
        (compared.tracks, "track"),
        (compared.channel_bits, "channel bit"),
    ]
    .into_iter()
    .filter(|(number, _)| *number > 0)
    .map(|(number, noun)| count(number, noun))
    .collect();
    if parts.is_empty() { "nothing".into() } else { parts.join(", ") }
}

fn skips(report: &RunReport<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    for skipped in skipped(report) {
        let mut text = match skipped.lent {
            true if skipped.capability == Capability::Separator.name() => {
                format!("it has no {} yet", skipped.capability)
            }
            true => format!("it has no {} of its own, ours is lent to it", skipped.capability),
            false => format!("it has no {}", skipped.capability),
        };
        if skipped.cases > 0 {
            let needing = if skipped.cases == 1 { "needs" } else { "need" };
            text.push_str(&format!("; {} {needing} it", count(skipped.cases, "case")));
            if skipped.alone > 0 {
                text.push_str(&format!(", {} nothing else", grouped(skipped.alone)));
            }
        }
        if !skipped.rules.is_empty() {
            text.push_str(&format!("; not held to {}", skipped.rules.join(", ")));
        }
        let label = if lines.is_empty() { "Skipped" } else { "" };
        lines.push(format!("  {label:<7}  {text}"));
    }
    lines
}

fn slack(report: &RunReport<'_>) -> Vec<String> {
    let (least, most) = (report.profile.slack_min, report.profile.slack_max);
    let histogram: &BTreeMap<u32, u64> = &report.summary.slack;
    let Some(highest) = histogram.values().max().copied() else { return Vec::new() };
    let mut lines = vec![format!(
        "  Slack    from request to acceptance; the profile allows {least} to {}",
        count(most.into(), "channel bit")
    )];
    for (slack, transfers) in histogram {
        let bar = "█".repeat((transfers * BAR).div_ceil(highest.max(1)) as usize);
        lines.push(format!("    {slack:>5}  {bar} {}", count(*transfers, "transfer")));
    }
    lines
}

/// Every point with its cases, three a line, those of few cases marked.
fn reach(report: &RunReport<'_>, style: Style) -> Vec<String> {
    let points = reach::points(report.profile, report.summary);
    let possible = points.iter().filter(|point| point.possible).count();
    let few = points.iter().filter(|point| mark(point) == '<').count();
    let mut lines = vec![format!(
        "  Reach    {} of {possible} points in {FEW_CASES} cases or more{}{}",
        possible - few,
        if few > 0 { "; the others are marked <" } else { "" },
        match (points.len() - possible) as u64 {
            0 => String::new(),
            lacking => format!("; {} more, marked -, need what it lacks", grouped(lacking)),
        }
    )];
    // Columns are read downwards.
    let rows = points.len().div_ceil(3);
    for row in 0..rows {
        let cells = points.iter().skip(row).step_by(rows.max(1)).map(|point| {
            let cases = if point.possible { grouped(point.cases) } else { String::new() };
            let cell = format!("{:<21}{cases:>7} {}", point.name, mark(point));
            if mark(point) == '<' { style.wrong(&cell) } else { cell }
        });
        let line = cells.collect::<Vec<_>>().join("  ");
        lines.push(format!("    {}", line.trim_end()));
    }
    lines
}

const fn mark(point: &Reached) -> char {
    match (point.possible, point.cases < FEW_CASES) {
        (false, _) => '-',
        (true, true) => '<',
        (true, false) => ' ',
    }
}

fn findings(report: &RunReport<'_>, style: Style) -> Vec<String> {
    let mut lines = Vec::new();
    if !report.rules.is_empty() {
        let ids: Vec<&str> = report.rules.iter().map(|rule| rule.id).collect();
        let others = match report.others.len() as u64 {
            0 => "no other rule is broken".into(),
            number => format!("{} of other rules", count(number, "finding")),
        };
        lines.push(format!("  Rules    {}; {others}", ids.join(", ")));
    }
    for (all, first) in [(report.findings, "Found"), (report.others, "Others")] {
        for (place, (finding, file)) in all.iter().enumerate() {
            let label = if place == 0 { first } else { "" };
            let file = file.as_deref().unwrap_or("not written; see standard error");
            let name = style.strong(&format!("{}: {}", finding.rule.id, finding.kind));
            lines.push(format!("  {label:<7}  {name}, case {}, {file}", finding.index));
        }
    }
    for (place, (finding, file)) in report.not_reproducible.iter().enumerate() {
        let label = if place == 0 { "Once" } else { "" };
        let file = file.as_deref().unwrap_or("not written");
        lines.push(format!(
            "  {label:<7}  {}: {}, case {}, {file}; not shown again by a fresh rig",
            finding.rule.id, finding.kind, finding.index
        ));
    }
    for (place, (finding, file)) in report.set_aside.iter().enumerate() {
        let label = if place == 0 { "Aside" } else { "" };
        let file = file.as_deref().unwrap_or("not written");
        lines.push(format!(
            "  {label:<7}  {}: {}, case {}, {file}; {}",
            finding.rule.id,
            finding.kind,
            finding.index,
            count(finding.cases, "case"),
        ));
    }
    if !report.set_aside.is_empty() {
        lines.push("           not made small: mend what was found, then check again".into());
    }
    lines
}
