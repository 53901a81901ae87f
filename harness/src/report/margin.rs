//! Margins as a table and as JSON.

use super::style::Style;
use crate::margin::{Margin, Reach, bound_of_none};
use serde::Serialize;

/// The JSON's version; fields are added and never removed.
const FORMAT: u32 = 1;

/// Margins, and what they were measured of.
#[derive(Debug, Clone, Copy)]
pub struct MarginReport<'a> {
    /// The implementation, as it was named.
    pub implementation: &'a str,
    /// The profile's name.
    pub profile: &'a str,
    /// The seed of the trials.
    pub seed: u64,
    /// Trials a point.
    pub trials: u32,
    /// Every axis.
    pub margins: &'a [Margin],
}

/// All margins.
#[derive(Debug, Clone, Serialize)]
pub struct MarginsJson {
    /// The version of this object.
    pub format: u32,
    /// The implementation, as it was named.
    pub implementation: String,
    /// The profile's name.
    pub profile: String,
    /// The seed of the trials.
    pub seed: u64,
    /// Trials a point.
    pub trials: u32,
    /// Where none of them failed: the share that may fail all the same, at 95 % confidence.
    pub bound: f64,
    /// Every axis.
    pub axes: Vec<AxisJson>,
}

/// One axis. Values are in percent: of a cell's length for speeds, else of a channel bit.
#[derive(Debug, Clone, Serialize)]
pub struct AxisJson {
    /// Its name.
    pub name: &'static str,
    /// The last value before the first that fails; null where none passes.
    pub margin: Option<f64>,
    /// The first value that fails; null where all pass.
    pub failing: Option<f64>,
    /// How many trials fail there.
    pub failures: u32,
    /// Whether every value behind that fails.
    pub monotone: bool,
    /// Every value that was tried, with the trials that fail.
    pub tried: Vec<(f64, u32)>,
    /// The margin of the model's tracking separator.
    pub reference: Option<f64>,
    /// What a standard asks, and which.
    pub standard: Option<(f64, &'static str)>,
}

/// The JSON of margins.
#[must_use]
pub fn margins_json(report: &MarginReport<'_>) -> MarginsJson {
    MarginsJson {
        format: FORMAT,
        implementation: report.implementation.into(),
        profile: report.profile.into(),
        seed: report.seed,
        trials: report.trials,
        bound: bound_of_none(report.trials),
        axes: report
            .margins
            .iter()
            .map(|one| AxisJson {
                name: one.axis.name(),
                margin: one.own.margin().map(|tried| percent(tried.value)),
                failing: one.own.failing().map(|tried| percent(tried.value)),
                failures: one.own.failing().map_or(0, |tried| tried.failures),
                monotone: one.own.is_monotone(),
                tried: one.own.tried.iter().map(|t| (percent(t.value), t.failures)).collect(),
                reference: one.reference.margin().map(|tried| percent(tried.value)),
                standard: one.axis.standard().map(|(value, source)| (percent(value), source)),
            })
            .collect(),
    }
}

/// The table.
#[must_use]
pub fn margins(report: &MarginReport<'_>, style: Style) -> String {
    let mut lines = vec![
        style.strong(&format!(
            "Margins of {} under profile {}: {} trials a point, seed {}",
            report.implementation, report.profile, report.trials, report.seed
        )),
        format!(
            "  {:<48}  {:>8}  {:<20}  {:>9}  standard",
            "disturbed by", "holds to", "fails first at", "reference"
        ),
    ];
    for one in report.margins {
        let short = one
            .axis
            .standard()
            .is_some_and(|(asked, _)| one.own.margin().map_or(0, |tried| tried.value) < asked);
        let holds = format!("{:>8}", held(&one.own));
        let failing = one.own.failing().map_or_else(
            || nowhere(&one.own),
            |tried| format!("{} ({} of {})", shown(tried.value), tried.failures, report.trials),
        );
        lines.push(format!(
            "  {:<48}  {}  {failing:<20}  {:>9}  {}",
            one.axis.sentence(),
            if short { style.wrong(&holds) } else { style.right(&holds) },
            held(&one.reference),
            one.axis
                .standard()
                .map_or("none".into(), |(value, source)| format!("{} ({source})", shown(value))),
        ));
        if !one.own.is_monotone() {
            let all = one.own.tried.iter();
            let all: Vec<String> =
                all.map(|tried| format!("{}: {}", shown(tried.value), tried.failures)).collect();
            lines.push(format!("    not one edge; trials that fail at each: {}", all.join(", ")));
        }
    }
    lines.push(format!(
        "Where it holds none of {} trials failed: less than {:.2} % of such flux does, at 95 % \
         confidence.",
        report.trials,
        100.0 * bound_of_none(report.trials)
    ));
    lines.push(
        "The reference is the tracking separator of the model, which just meets what is judged."
            .into(),
    );
    lines.push(String::new());
    lines.join("\n")
}

/// Where nothing that was tried fails.
fn nowhere(reach: &Reach) -> String {
    reach
        .tried
        .last()
        .map_or("not tried".into(), |tried| format!("not up to {}", shown(tried.value)))
}

fn percent(thousandths: i32) -> f64 {
    f64::from(thousandths) / 10.0
}

fn shown(thousandths: i32) -> String {
    format!("{:.1} %", percent(thousandths))
}

fn held(reach: &Reach) -> String {
    reach.margin().map_or("nothing".into(), |tried| shown(tried.value))
}
