//! Pursuing: findings are settled while the search goes on, a few at a time, and written as soon
//! as they are smallest.

use super::Event;
use super::ledger::Name;
use super::search::Run;
use crate::campaign::{CampaignError, Finding};
use crate::settle::{Settled, Settlement, settle};
use std::collections::BTreeSet;

/// Findings that are settled together: what has one explanation is seen to be one before any of
/// them is made small.
const TOGETHER: usize = 6;

impl Run<'_> {
    /// Settles the next few findings; false when there are none. One thread at a time does.
    pub(super) fn pursue(
        &self,
        jobs: usize,
        over: &(dyn Fn() -> bool + Sync),
    ) -> Result<bool, CampaignError> {
        let findings = self.ledger().next_findings(TOGETHER);
        if findings.is_empty() {
            return Ok(false);
        }
        let names: Vec<Name> = findings.iter().map(Finding::name).collect();
        let kept = findings.clone();
        let each = |settled: &Settled| self.write(settled);
        let settled = settle(findings, self.factory, jobs, self.plan.executions, over, &each);
        let settlement = match settled {
            Ok(settlement) => settlement,
            Err(error) => {
                // They are no less found for it.
                let mut ledger = self.ledger();
                ledger.at_work.clear();
                ledger.pending.extend(kept.into_iter().map(|one| (one.name(), one)));
                return Err(error);
            }
        };
        self.note(settlement, &names);
        Ok(true)
    }

    /// Takes note of what became of findings.
    fn note(&self, settlement: Settlement, names: &[Name]) {
        let mut told = Vec::new();
        let mut ledger = self.ledger();
        ledger.at_work.clear();
        for settled in settlement.settled {
            let (name, first) = (settled.finding.name(), settled.first_names.clone());
            if ledger.settle(settled) {
                told.push(Event::Settled { name, first });
            }
        }
        for finding in settlement.not_reproducible {
            ledger.once.insert(finding.name(), finding);
        }
        for finding in settlement.set_aside {
            ledger.later.insert(finding.name(), finding);
        }
        // What is neither has come to be named as one of the others was.
        let files: BTreeSet<Name> = ledger
            .settled
            .keys()
            .chain(ledger.once.keys())
            .chain(ledger.later.keys())
            .chain(ledger.pending.keys())
            .copied()
            .collect();
        let written: Vec<_> = ledger.settled.values().cloned().collect();
        drop(ledger);
        for name in names.iter().filter(|name| !files.contains(*name)) {
            self.folder.remove_case(*name);
        }
        // The file of a name that was settled twice is that of its first.
        for settled in written.iter().filter(|one| names.contains(&one.finding.name())) {
            self.write(settled);
        }
        for event in told {
            self.tell(&event);
        }
        self.save();
        (self.heard.look)(&self.outcome());
    }

    /// Writes the case file of a settled finding.
    fn write(&self, settled: &Settled) {
        let note = format!("found overnight on {}", self.plan.implementation);
        self.folder.save_case(&settled.finding, settled.minimised, note);
    }
}
