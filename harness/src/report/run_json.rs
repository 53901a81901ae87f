//! A run as one JSON object, for programs. Fields are added and never removed.

use super::baseline::{KnownJson, RegressionsJson};
use super::finding_text::size;
use super::reach;
use super::run_text::RunReport;
use crate::campaign::{Earlier, Finding};
use crate::rules::Level;
use serde::Serialize;
use std::collections::BTreeMap;
use trackproof_contract::Capability;

/// The whole run.
#[derive(Debug, Clone, Serialize)]
pub struct RunJson {
    /// `conforms`, `deviates`, `inconclusive`, `nothing-judged`, `not-reproducible`,
    /// `interrupted`, `known-gone`, or `other-rules-deviate` where none of the rules asked for is broken.
    pub verdict: &'static str,
    /// The sum of the cases' hashes, 16 hex digits.
    pub digest: String,
    /// Cases run.
    pub cases: u64,
    /// Those that were judged.
    pub judged: u64,
    /// Those that could not be judged.
    pub inconclusive: u64,
    /// Those that the implementation stopped in; left out where there are none.
    #[serde(skip_serializing_if = "is_zero")]
    pub stopped: u64,
    /// The case behind which the campaign was given up, since the implementation stops too often;
    /// left out where it was not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub given_up: Option<u64>,
    /// The share of words that were judged in a unique state; null where there were no words.
    pub unique_share: Option<f64>,
    /// How much was held against the model.
    pub compared: ComparedJson,
    /// Cases that were not run, since something that they need is lacking.
    pub skipped_cases: u64,
    /// Cases that were not run, since they ask only for what the implementation was lent.
    pub beside_cases: u64,
    /// What was not held against the implementation, and why.
    pub skipped: Vec<SkippedJson>,
    /// How many transfers must have used how much slack, in channel bits.
    pub slack: BTreeMap<u32, u64>,
    /// How many cases reached each point.
    pub reach: BTreeMap<String, u64>,
    /// Points that need what the implementation lacks.
    pub unreachable: Vec<String>,
    /// The rules that were asked for; left out where all were.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rules: Vec<&'static str>,
    /// The findings, in case order; of the rules that were asked for.
    pub findings: Vec<FindingJson>,
    /// Findings of other rules than those asked for; left out where there are none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub other_findings: Vec<FindingJson>,
    /// Findings that a fresh rig did not show again; left out where there are none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_reproducible: Vec<FindingJson>,
    /// Findings that were not made small, since others are more frequent and may be their cause;
    /// left out where there are none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub set_aside: Vec<FindingJson>,
    /// Known deviations that occurred; left out where there are none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub known: Vec<KnownJson>,
    /// Known deviations that did not occur; left out where there are none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub known_gone: Vec<KnownJson>,
    /// The case files that were replayed first; left out where none were to be.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub regressions: Option<RegressionsJson>,
    /// Whether no single reduction of the replayed case deviates alike; only with `--certify`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certified: Option<bool>,
}

/// What was held against the model. Where all of it is 0, nothing can be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct ComparedJson {
    /// Words.
    pub words: u64,
    /// Bytes of the byte port.
    pub bytes: u64,
    /// Driven status bits.
    pub status_bits: u64,
    /// Signals.
    pub signals: u64,
    /// Tracks after a run.
    pub tracks: u64,
    /// Channel bits that flux was made into.
    pub channel_bits: u64,
}

/// A capability that the implementation lacks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SkippedJson {
    /// Its name.
    pub capability: &'static str,
    /// Whether it is not lacking, but lent and so not the implementation's own.
    pub lent: bool,
    /// Cases that need it and were not run; one that lacks several counts for each.
    pub cases: u64,
    /// Those of them that lack nothing else.
    pub alone: u64,
    /// Rules that need it.
    pub rules: Vec<&'static str>,
}

/// A finding.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FindingJson {
    /// The rule's id.
    pub rule: &'static str,
    /// How it is broken.
    pub kind: &'static str,
    /// `must` or `should`.
    pub level: Level,
    /// The index of the case that showed it first.
    pub index: u64,
    /// The case file; null where it could not be written.
    pub case: Option<String>,
    /// Operations of its smallest case.
    pub operations: u64,
    /// Words that they ask for.
    pub words: u64,
    /// Channel bits that are recorded for it.
    pub channel_bits: u64,
    /// The cases without which it does not show; left out where it shows alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earlier: Option<Earlier>,
}

impl FindingJson {
    fn new(finding: &Finding, file: Option<String>) -> Self {
        let size = size(&finding.case);
        Self {
            rule: finding.rule.id,
            kind: finding.kind,
            level: finding.rule.level,
            index: finding.index,
            case: file,
            operations: size.operations,
            words: size.words,
            channel_bits: size.channel_bits,
            earlier: finding.earlier,
        }
    }
}

const fn is_zero(number: &u64) -> bool {
    *number == 0
}

fn findings(list: &[(Finding, Option<String>)]) -> Vec<FindingJson> {
    list.iter().map(|(finding, file)| FindingJson::new(finding, file.clone())).collect()
}

/// The JSON of a run.
#[must_use]
pub fn run_json(report: &RunReport<'_>) -> RunJson {
    let summary = report.summary;
    let points = reach::points(report.profile, summary);
    let unreachable = points.iter().filter(|point| !point.possible);
    RunJson {
        verdict: report.verdict,
        digest: format!("{:016x}", summary.digest),
        cases: summary.cases,
        judged: summary.judged,
        inconclusive: summary.inconclusive,
        stopped: summary.stopped,
        given_up: summary.given_up,
        unique_share: summary.unique_share(),
        compared: ComparedJson {
            words: summary.words,
            bytes: summary.compared.bytes,
            status_bits: summary.compared.status_bits,
            signals: summary.compared.signals,
            tracks: summary.compared.tracks,
            channel_bits: summary.compared.channel_bits,
        },
        skipped_cases: summary.skipped,
        beside_cases: summary.beside,
        skipped: skipped(report),
        slack: summary.slack.clone(),
        unreachable: unreachable.map(|point| point.name.clone()).collect(),
        reach: points.into_iter().map(|point| (point.name, point.cases)).collect(),
        rules: report.rules.iter().map(|rule| rule.id).collect(),
        findings: findings(report.findings),
        other_findings: findings(report.others),
        not_reproducible: findings(report.not_reproducible),
        set_aside: findings(report.set_aside),
        known: report.baseline.known_json(),
        known_gone: report.baseline.gone_json(),
        regressions: report.baseline.regressions_json(),
        certified: report.certified,
    }
}

/// Every capability that is lacking and wanted, in the order of their numbers.
pub(super) fn skipped(report: &RunReport<'_>) -> Vec<SkippedJson> {
    let rules: Vec<_> = report.summary.skipped_rules().collect();
    Capability::ALL
        .iter()
        .map(|capability| (capability, report.summary.lacking.get(capability).copied()))
        .map(|(capability, lacking)| SkippedJson {
            capability: capability.name(),
            lent: report.summary.lent.has(*capability),
            cases: lacking.unwrap_or_default().cases,
            alone: lacking.unwrap_or_default().alone,
            rules: rules
                .iter()
                .filter(|(_, missing)| missing.has(*capability))
                .map(|(rule, _)| rule.id)
                .collect(),
        })
        .filter(|skipped| skipped.cases > 0 || !skipped.rules.is_empty())
        .collect()
}
