//! Going on from what a folder holds.

use super::Event;
use super::corpus::{Corpus, file_name};
use super::folder::Contents;
use super::record::known_name;
use super::search::Run;
use crate::campaign::{CampaignError, Finding};
use crate::case_file::CaseFile;
use crate::features::Seen;
use crate::settle::{Settled, execute};
use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::Duration;

impl Run<'_> {
    /// Takes over what the folder holds: counts, corpus, findings. What was smallest is run once
    /// more, which also tells it anew.
    pub(super) fn resume(&mut self, contents: Contents) -> Result<(), CampaignError> {
        let record = contents.record;
        let known = record.is_some();
        if let Some(record) = &record {
            self.before = Duration::from_millis(record.spent_ms);
            self.next.store(record.next_shift, Ordering::Relaxed);
            let ledger = self.ledger.get_mut().unwrap_or_else(|poison| poison.into_inner());
            // What does not fit together was refused as damaged.
            ledger.summary = record.summary().unwrap_or_default();
            ledger.sample = record.sample().unwrap_or_else(|| ledger.sample.clone());
            ledger.corpus = Corpus::that_has(Seen::from_digits(&record.seen).unwrap_or_default());
            ledger.next_shift = record.next_shift;
            ledger.done_ahead = record.done_ahead.iter().copied().collect();
            ledger.cut = record.cut.iter().copied().collect();
            ledger.settled_as = record.settled_names().collect();
            self.cases_before = ledger.summary.cases;
        }
        let mut ledger = self.ledger();
        for (name, stream) in contents.corpus {
            // A stream that is named as ours was counted among what the record says was seen.
            let ours = known && name == file_name(&stream);
            if !ours {
                ledger.untried.push(stream);
            } else {
                ledger.corpus.keep(stream);
            }
        }
        drop(ledger);
        for (path, file) in contents.cases {
            self.take_over(&path, file)?;
        }
        if known {
            let (spent, cases) = (self.before, self.cases_before);
            self.tell(&Event::Resumed { spent, cases });
        }
        Ok(())
    }

    /// Takes over one case file.
    fn take_over(&self, path: &Path, file: CaseFile) -> Result<(), CampaignError> {
        let Some(of) = known_name(&[file.rule.clone(), file.kind.clone()]) else {
            self.folder.pass_over(path, "passed over: this program has no such rule");
            return Ok(());
        };
        if file.case.profile != self.plan.profile {
            self.folder.pass_over(path, "passed over: it is of another profile");
            return Ok(());
        }
        let rule = crate::rules::Rule::find(of.0).expect("a known name has a rule");
        let mut finding = Finding::told(0, file.case, rule, of.1);
        finding.earlier = file.earlier;
        if !file.minimised {
            // Also what was settled under this name and cut short: it is settled again.
            self.ledger().settled_as.retain(|_, to| *to != of);
            self.ledger().pending.insert(of, finding);
            return Ok(());
        }
        let shown = execute(self.factory, &finding)?;
        let shown = shown
            .map(|(_, examined)| examined)
            .filter(|examined| examined.verdict.name().is_some());
        let mut ledger = self.ledger();
        let Some(examined) = shown else {
            ledger.once.insert(of, finding);
            return Ok(());
        };
        let earlier = finding.earlier;
        let mut again = Finding::new(0, finding.case, examined);
        again.earlier = earlier;
        let name = again.name();
        let first = ledger.settled_as.iter().filter(|(_, to)| **to == of);
        let first_names = first.map(|(first, _)| *first).collect();
        let settled = Settled { first_names, minimised: true, ..Settled::as_it_is(again) };
        if name != of {
            ledger.settled_as.insert(of, name);
        }
        ledger.settle(settled);
        Ok(())
    }
}
