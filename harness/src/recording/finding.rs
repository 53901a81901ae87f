//! What breaks a rule in a recording, and the list that keeps the first of each kind.

use crate::rules::Rule;
use trackproof_contract::DriveLine;

/// Most kinds that are kept apart, far more than there are.
const MAX_FINDINGS: usize = 256;

/// Where in a write a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InWrite {
    /// Which write of the recording, from 1.
    pub write: u64,
    /// Which of its channel bits, from 0, counted from the write's first transition.
    pub channel_bit: u64,
}

/// Channel bits around a difference.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BitsAround {
    /// What the code asks for; none where it leaves that open.
    pub expected: Option<String>,
    /// What was written.
    pub got: String,
    /// Which of these bits differs first, from 0.
    pub at: usize,
    /// The place in the strings of the first clock bit, 0 or 1: a bit cell is a clock and a data bit.
    pub first_clock: usize,
}

/// A rule broken in a recording.
#[derive(Debug, Clone)]
pub struct LineFinding {
    /// The rule.
    pub rule: &'static Rule,
    /// How it is broken.
    pub kind: &'static str,
    /// When, in nanoseconds from the recording's zero.
    pub ns: u64,
    /// On which line.
    pub line: DriveLine,
    /// What the rule asks for here.
    pub expected: String,
    /// What was seen.
    pub got: String,
    /// Where in a write.
    pub in_write: Option<InWrite>,
    /// The channel bits around.
    pub bits: Option<BitsAround>,
    /// How often the same was seen again later.
    pub again: u64,
}

impl LineFinding {
    /// A finding of a line, without a write.
    ///
    /// # Panics
    /// When there is no such rule.
    pub(super) fn of(
        rule: &'static str,
        kind: &'static str,
        (ns, line): (u64, DriveLine),
        expected: String,
        got: String,
    ) -> Self {
        let rule = Rule::find(rule).expect("the catalogue has the rules of recordings");
        Self { rule, kind, ns, line, expected, got, in_write: None, bits: None, again: 0 }
    }
}

/// The findings of a recording.
#[derive(Default)]
pub(super) struct Findings {
    list: Vec<LineFinding>,
}

impl Findings {
    /// Takes a finding: the earliest of a rule, kind and line is kept, the others are counted.
    pub(super) fn add(&mut self, finding: LineFinding) {
        let name = |of: &LineFinding| (of.rule.id, of.kind, of.line);
        let room = self.list.len() < MAX_FINDINGS;
        match self.list.iter_mut().find(|other| name(other) == name(&finding)) {
            Some(kept) if kept.ns <= finding.ns => kept.again += 1,
            Some(kept) => *kept = LineFinding { again: kept.again + 1, ..finding },
            None if room => self.list.push(finding),
            None => {}
        }
    }

    /// All of them, in the order of time.
    pub(super) fn in_order(mut self) -> Vec<LineFinding> {
        self.list.sort_by_key(|finding| (finding.ns, finding.rule.id, finding.kind));
        self.list
    }
}
