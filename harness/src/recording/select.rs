//! Selects that overlap: two drives at once, or a change of drive that makes before it breaks.

use super::finding::{Findings, LineFinding};
use super::lines::{Change, Lines, Selected};
use crate::report::grouped;
use trackproof_contract::{DriveLine, LineState, RecordingSetup, SelectUse};

/// Watches the selects.
#[derive(Default)]
pub(super) struct SelectWatch {
    /// Since when more than one is active, and which came last.
    overlap: Option<(u64, DriveLine)>,
    limit_ns: u64,
    edges: u64,
}

impl SelectWatch {
    pub(super) fn take(
        &mut self,
        changes: &[Change],
        lines: &Lines,
        setup: &RecordingSetup,
        findings: &mut Findings,
    ) {
        if setup.limits.selects == SelectUse::Independent {
            return;
        }
        self.limit_ns = setup.limits.overlap_ns;
        let selects = || changes.iter().filter(|one| matches!(one.line, DriveLine::Select(_)));
        self.edges += selects().filter(|change| change.leads()).count() as u64;
        let Some(last) = selects().max_by_key(|change| change.to == LineState::Active) else {
            return;
        };
        match (lines.selected(), self.overlap) {
            (Selected::Several, None) => self.overlap = Some((last.ns, last.line)),
            (Selected::Several, Some(_)) | (_, None) => {}
            (_, Some(overlap)) => {
                self.overlap = None;
                self.told(overlap, last.ns, findings);
            }
        }
    }

    /// The recording has ended.
    pub(super) fn ends(&mut self, ns: u64, findings: &mut Findings) {
        if let Some(overlap) = self.overlap.take() {
            self.told(overlap, ns, findings);
        }
    }

    fn told(&self, (since_ns, line): (u64, DriveLine), ns: u64, findings: &mut Findings) {
        let lasts_ns = ns - since_ns;
        let (rule, kind) = if lasts_ns <= self.limit_ns {
            ("select.break-first", "makes-first")
        } else {
            ("select.exclusive", "two-selected")
        };
        findings.add(LineFinding::of(
            rule,
            kind,
            (since_ns, line),
            "at most one select active".into(),
            format!("{line} active beside another one, for {} ns", grouped(lasts_ns)),
        ));
    }

    /// How often a drive was selected.
    pub(super) const fn looked_at(&self) -> u64 {
        self.edges
    }
}
