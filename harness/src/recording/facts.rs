//! What is stated and not judged: how the index comes, and what is read.

use super::finding::{Findings, LineFinding};
use super::lines::Change;
use crate::report::{count, grouped};
use trackproof_contract::{DriveLine, LineState, RecordingSetup};
use trackproof_model::code::run_length::limits;

/// Something seen of a line.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Fact {
    /// What it is about, in a word.
    pub about: &'static str,
    /// The line.
    pub line: String,
    /// The sentence.
    pub text: String,
}

impl Fact {
    pub(super) fn of(about: &'static str, line: DriveLine, text: String) -> Self {
        Self { about, line: line.to_string(), text }
    }
}

/// Least, mean and greatest of some times.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spread {
    /// How many.
    pub count: u64,
    /// The least.
    pub min_ns: u64,
    /// The greatest.
    pub max_ns: u64,
    sum_ns: u128,
}

impl Spread {
    /// Takes one.
    pub fn add(&mut self, ns: u64) {
        self.min_ns = if self.count == 0 { ns } else { self.min_ns.min(ns) };
        self.max_ns = self.max_ns.max(ns);
        self.sum_ns += u128::from(ns);
        self.count += 1;
    }

    /// The mean, rounded down; none of none.
    #[must_use]
    pub fn mean_ns(&self) -> Option<u64> {
        self.sum_ns.checked_div(u128::from(self.count)).map(|mean| mean as u64)
    }

    /// `1 000 to 1 200 ns`; none of none.
    #[must_use]
    pub fn text(&self) -> Option<String> {
        let (min, max) = (grouped(self.min_ns), grouped(self.max_ns));
        match self.count {
            0 => None,
            _ if min == max => Some(format!("{min} ns")),
            _ => Some(format!("{min} to {max} ns")),
        }
    }
}

/// Turns, by the leading edges of the index.
#[derive(Default)]
pub(super) struct IndexFacts {
    last_ns: Option<u64>,
    turns: Spread,
    pulses: u64,
}

impl IndexFacts {
    pub(super) fn take(
        &mut self,
        changes: &[Change],
        setup: &RecordingSetup,
        findings: &mut Findings,
    ) {
        for change in changes {
            match change.line {
                // Another drive, or another speed: what lies between is no turn.
                DriveLine::Select(_) | DriveLine::MotorOn => self.last_ns = None,
                DriveLine::Index if change.leads() => {
                    self.pulses += 1;
                    if let Some(last_ns) = self.last_ns.replace(change.ns) {
                        self.turn(change.ns, change.ns - last_ns, setup, findings);
                    }
                }
                DriveLine::Index if change.to == LineState::Unknown => self.last_ns = None,
                _ => {}
            }
        }
    }

    fn turn(&mut self, ns: u64, took_ns: u64, setup: &RecordingSetup, findings: &mut Findings) {
        self.turns.add(took_ns);
        let permille = setup.limits.index_permille;
        let off_ns = took_ns.abs_diff(setup.turn_ns);
        if permille == 0 || u128::from(off_ns) * 1_000 <= u128::from(setup.turn_ns * permille) {
            return;
        }
        let kind = if took_ns > setup.turn_ns * 3 / 2 { "index-lost" } else { "turn-time" };
        findings.add(LineFinding::of(
            "drive.index",
            kind,
            (ns, DriveLine::Index),
            format!("a turn of {} ns, {permille} thousandths more or less", grouped(setup.turn_ns)),
            format!("{} ns", grouped(took_ns)),
        ));
    }

    pub(super) fn looked_at(&self, setup: &RecordingSetup) -> u64 {
        if setup.limits.index_permille > 0 { self.turns.count } else { 0 }
    }

    pub(super) fn facts(&self, setup: &RecordingSetup) -> Vec<Fact> {
        if self.pulses == 0 {
            return Vec::new();
        }
        let mut text = count(self.pulses, "pulse");
        if let (Some(mean_ns), Some(range)) = (self.turns.mean_ns(), self.turns.text()) {
            let hundredths = 6_000_000_000_000 / mean_ns.max(1);
            text += &format!(
                ", a turn takes {range}, {}.{:02} turns a minute in the mean",
                hundredths / 100,
                hundredths % 100
            );
            if setup.turn_ns > 0 {
                let worst = self.turns.max_ns.abs_diff(setup.turn_ns);
                let worst = worst.max(self.turns.min_ns.abs_diff(setup.turn_ns));
                let hundredths = worst * 10_000 / setup.turn_ns;
                let (whole, part) = (hundredths / 100, hundredths % 100);
                text += &format!(", at most {whole}.{part:02} % off the nominal time");
            }
        }
        text += "; that is the drive's matter";
        vec![Fact::of("turns", DriveLine::Index, text)]
    }
}

/// The spacing of read data.
#[derive(Default)]
pub(super) struct ReadFacts {
    last_ns: Option<u64>,
    transitions: u64,
    /// Intervals by their nearest whole number of channel bits, from 1; the last one: five or more.
    by_bits: [u64; 5],
    outside: u64,
    first_outside_ns: Option<u64>,
}

impl ReadFacts {
    pub(super) fn take(&mut self, changes: &[Change]) {
        let breaks = |change: &Change| {
            matches!(
                change.line,
                DriveLine::Select(_) | DriveLine::Side | DriveLine::Step | DriveLine::WriteGate
            ) || change.line == DriveLine::ReadData
        };
        if changes.iter().any(breaks) {
            self.last_ns = None;
        }
    }

    pub(super) fn transition(&mut self, ns: u64, setup: &RecordingSetup) {
        self.transitions += 1;
        let Some(last_ns) = self.last_ns.replace(ns) else { return };
        let bit_ns = setup.channel_bit_ns.max(1);
        let nearest = ((2 * (ns - last_ns) + bit_ns) / (2 * bit_ns)).max(1);
        self.by_bits[nearest.min(5) as usize - 1] += 1;
        if !limits(setup.recording).contains(&(nearest as usize)) {
            self.outside += 1;
            self.first_outside_ns = self.first_outside_ns.or(Some(ns));
        }
    }

    pub(super) fn facts(&self, setup: &RecordingSetup) -> Vec<Fact> {
        if self.transitions == 0 {
            return Vec::new();
        }
        let names = ["1", "2", "3", "4", "5 or more"];
        let parts: Vec<String> = names
            .iter()
            .zip(self.by_bits)
            .filter(|(_, count)| *count > 0)
            .map(|(name, count)| format!("{} of {name}", grouped(count)))
            .collect();
        let mut text = count(self.transitions, "transition");
        if !parts.is_empty() {
            text += &format!("; intervals in channel bits: {}", parts.join(", "));
        }
        if let Some(ns) = self.first_outside_ns {
            let limits = limits(setup.recording);
            text += &format!(
                "; {} outside {} to {}, the first at {} ns: of the medium or the drive",
                grouped(self.outside),
                limits.start(),
                limits.end(),
                grouped(ns)
            );
        }
        vec![Fact::of("read", DriveLine::ReadData, text)]
    }
}
