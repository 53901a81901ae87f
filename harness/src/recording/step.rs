//! Step pulses: width, rate, direction, and for whom they are.

use super::facts::{Fact, Spread};
use super::finding::{Findings, LineFinding};
use super::lines::{Change, Lines, Selected};
use crate::report::{count, grouped};
use std::collections::BTreeMap;
use trackproof_contract::{DriveLine, LineState, RecordingSetup};

/// Watches step and direction.
#[derive(Default)]
pub(super) struct StepWatch {
    /// When the pulse under way began.
    since_ns: Option<u64>,
    /// Of each drive the last pulse's trailing edge, with the direction.
    last: BTreeMap<Selected, (u64, LineState)>,
    last_trailing_ns: Option<u64>,
    pulses: u64,
    widths: Spread,
    intervals: Spread,
}

impl StepWatch {
    pub(super) fn take(
        &mut self,
        changes: &[Change],
        lines: &Lines,
        setup: &RecordingSetup,
        findings: &mut Findings,
    ) {
        let limits = &setup.limits;
        for change in changes.iter().filter(|change| change.line == DriveLine::Direction) {
            if !change.is_an_edge() {
                continue;
            }
            let behind = self.last_trailing_ns.map(|last| change.ns - last);
            if self.since_ns.is_some() {
                findings.add(LineFinding::of(
                    "drive.step",
                    "direction-in-pulse",
                    (change.ns, change.line),
                    "direction steady while step is active".into(),
                    "a change inside the pulse".into(),
                ));
            } else if let Some(ns) = behind.filter(|ns| *ns < limits.direction_hold_ns) {
                findings.add(LineFinding::of(
                    "drive.step",
                    "direction-hold",
                    (change.ns, change.line),
                    at_least("direction steady", limits.direction_hold_ns, "behind the pulse"),
                    format!("a change {} ns behind it", grouped(ns)),
                ));
            }
        }
        for change in changes.iter().filter(|change| change.line == DriveLine::Step) {
            if change.leads() {
                self.leads(change.ns, lines, setup, findings);
            } else if change.trails() {
                self.trails(change.ns, lines, setup, findings);
            } else {
                self.since_ns = None;
            }
        }
    }

    fn leads(&mut self, ns: u64, lines: &Lines, setup: &RecordingSetup, findings: &mut Findings) {
        self.since_ns = Some(ns);
        self.pulses += 1;
        if lines.selected() == Selected::Nobody {
            findings.add(LineFinding::of(
                "drive.step",
                "not-selected",
                (ns, DriveLine::Step),
                "a recorded select active".into(),
                "a step pulse for no drive".into(),
            ));
        }
        let setup_ns = lines.moved_ns(DriveLine::Direction).map(|moved| ns - moved);
        if let Some(got) = setup_ns.filter(|got| *got < setup.limits.direction_setup_ns) {
            findings.add(LineFinding::of(
                "drive.step",
                "direction-set-up",
                (ns, DriveLine::Step),
                at_least("direction steady", setup.limits.direction_setup_ns, "before the pulse"),
                format!("a change {} ns before it", grouped(got)),
            ));
        }
    }

    fn trails(&mut self, ns: u64, lines: &Lines, setup: &RecordingSetup, findings: &mut Findings) {
        let Some(since_ns) = self.since_ns.take() else { return };
        let limits = &setup.limits;
        let width_ns = ns - since_ns;
        self.widths.add(width_ns);
        let here = (since_ns, DriveLine::Step);
        if width_ns < limits.step_pulse_min_ns {
            let expected = at_least("a pulse of", limits.step_pulse_min_ns, "");
            let got = format!("{} ns", grouped(width_ns));
            findings.add(LineFinding::of("drive.step", "pulse-too-short", here, expected, got));
        }
        if limits.step_pulse_max_ns > 0 && width_ns > limits.step_pulse_max_ns {
            let expected = format!("a pulse of at most {} ns", grouped(limits.step_pulse_max_ns));
            let got = format!("{} ns", grouped(width_ns));
            findings.add(LineFinding::of("drive.step", "pulse-too-long", here, expected, got));
        }
        let direction = lines.state(DriveLine::Direction);
        let selected = lines.selected();
        self.last_trailing_ns = Some(ns);
        let Some((last_ns, before)) = self.last.insert(selected, (ns, direction)) else { return };
        let interval_ns = ns - last_ns;
        self.intervals.add(interval_ns);
        let here = (ns, DriveLine::Step);
        if interval_ns < limits.step_interval_ns {
            let expected = at_least("steps of one drive", limits.step_interval_ns, "apart");
            let got = format!("{} ns", grouped(interval_ns));
            findings.add(LineFinding::of("drive.step", "too-fast", here, expected, got));
        } else if before != direction && interval_ns < limits.direction_reversal_ns {
            let expected = at_least("a step back", limits.direction_reversal_ns, "behind the last");
            let got = format!("{} ns", grouped(interval_ns));
            findings.add(LineFinding::of("drive.step", "reversal-too-fast", here, expected, got));
        }
    }

    pub(super) const fn looked_at(&self) -> u64 {
        self.pulses
    }

    pub(super) fn facts(&self) -> Vec<Fact> {
        if self.pulses == 0 {
            return Vec::new();
        }
        let mut text = count(self.pulses, "pulse");
        if let Some(widths) = self.widths.text() {
            text += &format!(", {widths} wide");
        }
        if let Some(intervals) = self.intervals.text() {
            text += &format!(", {intervals} apart");
        }
        vec![Fact::of("steps", DriveLine::Step, text)]
    }
}

fn at_least(what: &str, ns: u64, place: &str) -> String {
    format!("{what} at least {} ns {place}", grouped(ns)).trim_end().to_owned()
}
