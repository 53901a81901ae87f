//! A finding: one rule and kind, and the first case that shows it.

use crate::cause::Cause;
use crate::examine::Examined;
use crate::rules::Rule;
use crate::verdict::{Deviation, Verdict};
use std::collections::BTreeMap;
use trackproof_contract::Case;

/// One rule and kind that deviates.
#[derive(Debug, Clone)]
pub struct Finding {
    /// The rule.
    pub rule: &'static Rule,
    /// How it is broken.
    pub kind: &'static str,
    /// The case's index in the campaign.
    pub index: u64,
    /// How many cases of the campaign show it at first sight.
    pub cases: u64,
    /// The case.
    pub case: Case,
    /// What deviates in it.
    pub deviation: Box<Deviation>,
    /// What the name rests on.
    pub cause: Cause,
}

impl Finding {
    /// The finding of an examined case that deviates.
    ///
    /// # Panics
    /// When the case does not deviate.
    #[must_use]
    pub fn new(index: u64, case: Case, examined: Examined) -> Self {
        let Verdict::Deviates(deviation) = examined.verdict else {
            panic!("case {index} does not deviate");
        };
        Self {
            rule: deviation.rule,
            kind: deviation.kind,
            index,
            cases: 1,
            case,
            deviation,
            cause: examined.cause,
        }
    }

    /// Whether an examined case shows the same rule and kind.
    #[must_use]
    pub fn same(&self, examined: &Examined) -> bool {
        matches!(&examined.verdict, Verdict::Deviates(deviation)
            if deviation.rule.id == self.rule.id && deviation.kind == self.kind)
    }
}

/// The findings so far, the lowest index of each rule and kind, and how many cases show it.
#[derive(Debug, Default)]
pub(super) struct Findings(BTreeMap<(&'static str, &'static str), Finding>);

impl Findings {
    /// Keeps a finding if it is new or has a lower index; gives it back then.
    pub(super) fn keep(&mut self, mut finding: Finding) -> Option<&Finding> {
        let key = (finding.rule.id, finding.kind);
        if let Some(kept) = self.0.get_mut(&key) {
            kept.cases += 1;
            if kept.index <= finding.index {
                return None;
            }
            finding.cases = kept.cases;
        }
        self.0.insert(key, finding);
        self.0.get(&key)
    }

    /// All of them in case order.
    pub(super) fn in_order(self) -> Vec<Finding> {
        let mut findings: Vec<_> = self.0.into_values().collect();
        findings.sort_by_key(|finding| (finding.index, finding.rule.id, finding.kind));
        findings
    }
}
