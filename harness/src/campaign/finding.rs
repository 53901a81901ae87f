//! A finding: one rule and kind, and the first case that shows it.

use super::Earlier;
use crate::cause::Cause;
use crate::examine::Examined;
use crate::judge::Place;
use crate::rules::Rule;
use crate::verdict::{Deviation, Misreading, Verdict};
use std::collections::BTreeMap;
use trackproof_contract::{Case, Stop};

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
    /// What was seen of it.
    pub evidence: Evidence,
    /// What the name rests on.
    pub cause: Cause,
    /// Cases that its rig had run before. Of a settled finding: those without which it does not
    /// show; none where it shows alone.
    pub earlier: Option<Earlier>,
}

/// What was seen of a finding.
#[derive(Debug, Clone)]
pub enum Evidence {
    /// What deviates.
    Deviation(Box<Deviation>),
    /// What flux was made into wrongly.
    Misreading(Box<Misreading>),
    /// How the implementation stopped.
    Stop(Stop),
    /// Only its name: a worker told it, and what it saw is gone with it.
    Told,
}

/// The rule of an implementation that stops.
fn stops() -> &'static Rule {
    Rule::find("stops").expect("a rule of the catalogue")
}

const NO_CAUSE: Cause = Cause::Place { idle: Place::NONE };

impl Finding {
    /// The finding of an examined case that deviates or that the implementation stopped in.
    ///
    /// # Panics
    /// When it is neither.
    #[must_use]
    pub fn new(index: u64, case: Case, examined: Examined) -> Self {
        let (rule, kind, evidence) = match examined.verdict {
            Verdict::Deviates(found) => (found.rule, found.kind, Evidence::Deviation(found)),
            Verdict::Misreads(found) => (found.rule, found.kind, Evidence::Misreading(found)),
            Verdict::Stops(stop) => (stops(), stop.kind(), Evidence::Stop(stop)),
            _ => panic!("case {index} does not deviate"),
        };
        Self { rule, kind, index, cases: 1, case, evidence, cause: examined.cause, earlier: None }
    }

    /// The finding of a case that the implementation stopped in.
    #[must_use]
    pub fn stopped(index: u64, case: Case, stop: Stop) -> Self {
        let (rule, kind, evidence) = (stops(), stop.kind(), Evidence::Stop(stop));
        Self { rule, kind, index, cases: 1, case, evidence, cause: NO_CAUSE, earlier: None }
    }

    /// A finding of which only the name is known.
    #[must_use]
    pub fn told(index: u64, case: Case, rule: &'static Rule, kind: &'static str) -> Self {
        let evidence = Evidence::Told;
        Self { rule, kind, index, cases: 1, case, evidence, cause: NO_CAUSE, earlier: None }
    }

    /// What deviates, where that was seen.
    #[must_use]
    pub fn deviation(&self) -> Option<&Deviation> {
        match &self.evidence {
            Evidence::Deviation(deviation) => Some(deviation),
            Evidence::Misreading(_) | Evidence::Stop(_) | Evidence::Told => None,
        }
    }

    /// What flux was made into wrongly, where that was seen.
    #[must_use]
    pub fn misreading(&self) -> Option<&Misreading> {
        match &self.evidence {
            Evidence::Misreading(misreading) => Some(misreading),
            _ => None,
        }
    }

    /// How the implementation stopped, if it did.
    #[must_use]
    pub const fn stop(&self) -> Option<Stop> {
        match &self.evidence {
            Evidence::Stop(stop) => Some(*stop),
            _ => None,
        }
    }

    /// Rule and kind.
    #[must_use]
    pub const fn name(&self) -> (&'static str, &'static str) {
        (self.rule.id, self.kind)
    }

    /// Whether an examined case shows the same rule and kind. How an implementation stops may
    /// depend on where its memory lies, so there the rule is enough.
    #[must_use]
    pub fn same(&self, examined: &Examined) -> bool {
        match &examined.verdict {
            Verdict::Stops(_) => self.stop().is_some(),
            verdict => verdict.name().is_some_and(|(rule, kind)| (rule.id, kind) == self.name()),
        }
    }
}

/// The findings so far, the lowest index of each rule and kind, and how many cases show it.
#[derive(Debug, Default)]
pub(super) struct Findings(BTreeMap<(&'static str, &'static str), Finding>);

impl Findings {
    /// Keeps a finding if it is new or has a lower index; gives it back then.
    pub(super) fn keep(&mut self, finding: Finding) -> Option<&Finding> {
        let key = finding.name();
        if self.0.get(&key).is_some_and(|kept| kept.index <= finding.index) {
            return None;
        }
        self.0.insert(key, finding);
        self.0.get(&key)
    }

    /// All of them before a case, in case order.
    pub(super) fn in_order(self, end: u64) -> Vec<Finding> {
        let mut findings: Vec<_> =
            self.0.into_values().filter(|finding| finding.index < end).collect();
        findings.sort_by_key(|finding| (finding.index, finding.rule.id, finding.kind));
        findings
    }
}
