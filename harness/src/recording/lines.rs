//! What every recorded line is at the moment, and since when.

use super::facts::Fact;
use crate::report::{count, grouped};
use std::collections::BTreeMap;
use trackproof_contract::{DriveLine, LineState};

/// A change of a line's state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Change {
    pub(super) ns: u64,
    pub(super) line: DriveLine,
    pub(super) from: LineState,
    pub(super) to: LineState,
}

impl Change {
    /// Whether the line moved: it was known before and is known now.
    pub(super) fn is_an_edge(&self) -> bool {
        self.from != LineState::Unknown && self.to != LineState::Unknown
    }

    /// Whether the line became active, from inactive.
    pub(super) fn leads(&self) -> bool {
        self.is_an_edge() && self.to == LineState::Active
    }

    /// Whether the line became inactive, from active.
    pub(super) fn trails(&self) -> bool {
        self.is_an_edge() && self.to == LineState::Inactive
    }
}

/// Which drives are selected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Selected {
    /// None of those whose select was recorded.
    Nobody,
    /// One.
    Drive(u8),
    /// More than one.
    Several,
    /// Some select is unknown, or none was recorded.
    Unknown,
}

struct Line {
    state: LineState,
    /// When it moved last; none while nobody has seen it move.
    moved_ns: Option<u64>,
    known_since_ns: Option<u64>,
    unknown_since_ns: Option<u64>,
    unknown_ns: u64,
    unknown_times: u64,
}

/// All recorded lines.
pub(super) struct Lines {
    lines: BTreeMap<DriveLine, Line>,
}

impl Lines {
    pub(super) fn of(recorded: &[DriveLine]) -> Self {
        let unknown = |line: &DriveLine| {
            let state = LineState::Unknown;
            let line_state = Line {
                state,
                moved_ns: None,
                known_since_ns: None,
                unknown_since_ns: None,
                unknown_ns: 0,
                unknown_times: 0,
            };
            (*line, line_state)
        };
        Self { lines: recorded.iter().map(unknown).collect() }
    }

    /// Takes a state; gives the change if it is one.
    pub(super) fn becomes(&mut self, ns: u64, line: DriveLine, to: LineState) -> Option<Change> {
        let entry = self.lines.get_mut(&line)?;
        let from = std::mem::replace(&mut entry.state, to);
        if from == to {
            return None;
        }
        let change = Change { ns, line, from, to };
        if change.is_an_edge() {
            entry.moved_ns = Some(ns);
        }
        if to == LineState::Unknown {
            entry.unknown_since_ns = Some(ns);
            entry.unknown_times += 1;
            entry.moved_ns = None;
        } else if let Some(since_ns) = entry.unknown_since_ns.take() {
            entry.unknown_ns += ns - since_ns;
        }
        entry.known_since_ns = entry.known_since_ns.or(Some(ns));
        Some(change)
    }

    /// The recording ends: what is unknown was so up to here.
    pub(super) fn ends(&mut self, ns: u64) {
        for line in self.lines.values_mut() {
            if let Some(since_ns) = line.unknown_since_ns.take() {
                line.unknown_ns += ns - since_ns;
            }
        }
    }

    /// What a line is; unknown if it was not recorded.
    pub(super) fn state(&self, line: DriveLine) -> LineState {
        self.lines.get(&line).map_or(LineState::Unknown, |line| line.state)
    }

    /// When a line moved last, if anybody saw it.
    pub(super) fn moved_ns(&self, line: DriveLine) -> Option<u64> {
        self.lines.get(&line).and_then(|line| line.moved_ns)
    }

    /// The drives whose select is active.
    pub(super) fn selected(&self) -> Selected {
        let mut found = Selected::Unknown;
        for (line, entry) in &self.lines {
            let DriveLine::Select(drive) = *line else { continue };
            found = match (entry.state, found) {
                (LineState::Unknown, _) => return Selected::Unknown,
                (LineState::Active, Selected::Unknown | Selected::Nobody) => Selected::Drive(drive),
                (LineState::Active, _) => Selected::Several,
                (LineState::Inactive, Selected::Unknown) => Selected::Nobody,
                (LineState::Inactive, before) => before,
            };
        }
        found
    }

    /// Lines that were unknown in between, or had their first value late.
    pub(super) fn facts(&self) -> Vec<Fact> {
        let mut facts = Vec::new();
        for (line, entry) in &self.lines {
            if entry.unknown_times > 0 {
                facts.push(Fact::of(
                    "unknown",
                    *line,
                    format!(
                        "unknown (x or z) {}, {} ns in all; not judged meanwhile",
                        count(entry.unknown_times, "time"),
                        grouped(entry.unknown_ns)
                    ),
                ));
            }
            match entry.known_since_ns {
                None => facts.push(Fact::of("silent", *line, "never has a value".into())),
                Some(0) => {}
                Some(ns) => facts.push(Fact::of(
                    "late",
                    *line,
                    format!("has its first value at {} ns; not judged before", grouped(ns)),
                )),
            }
        }
        facts
    }
}
