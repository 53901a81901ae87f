//! What a run knows so far, shared by its threads: counts, corpus, and what became of each finding.

use super::corpus::Corpus;
use super::estimate::{Estimate, Sample};
use crate::campaign::{Finding, Summary};
use crate::features::FEATURES;
use crate::minimise::simplicity;
use crate::settle::Settled;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use trackproof_model::reach::POINTS;
use xxhash_rust::xxh3::xxh3_64;

/// Rule and kind.
pub(super) type Name = (&'static str, &'static str);

/// Places for names among the species; two names in one place count as one.
const NAMES: usize = 1_024;

/// What the estimate counts: names of deviations, points, pairs of points.
pub(super) const SPECIES: usize = NAMES + FEATURES;

/// Those that are worth waking up for: names and points.
const PLAIN: std::ops::Range<usize> = 0..NAMES + POINTS;

/// The species of a case, from its features and the name that it deviates under.
pub(super) fn species(features: &[usize], name: Option<Name>) -> impl Iterator<Item = usize> + '_ {
    let place = |(rule, kind): Name| xxh3_64(format!("{rule}: {kind}").as_bytes()) as usize % NAMES;
    features.iter().map(|feature| NAMES + feature).chain(name.map(place))
}

/// A sample of no case.
pub(super) fn no_sample() -> Sample {
    Sample::new(SPECIES)
}

/// What more cases may be expected to show: a name or a point; anything.
pub(super) fn estimates(sample: &Sample) -> [Option<Estimate>; 2] {
    [sample.estimate(PLAIN), sample.estimate(0..SPECIES)]
}

/// What a finding has to tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum News {
    /// A name that was not known.
    Name,
    /// A case so much shorter than the one that is kept that it will be made small sooner.
    Case,
    /// Nothing.
    None,
}

/// Everything that is known.
#[derive(Debug)]
pub(super) struct Ledger {
    /// Counts of the shifts that are done.
    pub(super) summary: Summary,
    /// The sample of cases with numbers.
    pub(super) sample: Sample,
    pub(super) corpus: Corpus,
    /// Streams that were found in the folder and have yet to show what they reach.
    pub(super) untried: Vec<Vec<u8>>,
    /// The lowest shift that is not done, and those above it that are.
    pub(super) next_shift: u64,
    pub(super) done_ahead: BTreeSet<u64>,
    /// Shifts that were cut short, and how many of their cases are done.
    pub(super) cut: BTreeMap<u64, u64>,
    /// Findings by first name that are to be settled.
    pub(super) pending: BTreeMap<Name, Finding>,
    /// First names of findings that are being settled.
    pub(super) at_work: BTreeSet<Name>,
    /// Findings that were shown again and left for later.
    pub(super) later: BTreeMap<Name, Finding>,
    /// First names that are dealt with, and what they settled under.
    pub(super) settled_as: BTreeMap<Name, Name>,
    pub(super) settled: BTreeMap<Name, Settled>,
    /// Findings that a fresh rig did not show.
    pub(super) once: BTreeMap<Name, Finding>,
}

impl Ledger {
    pub(super) fn new() -> Self {
        Self {
            summary: Summary::default(),
            sample: Sample::new(SPECIES),
            corpus: Corpus::default(),
            untried: Vec::new(),
            next_shift: 0,
            done_ahead: BTreeSet::new(),
            cut: BTreeMap::new(),
            pending: BTreeMap::new(),
            at_work: BTreeSet::new(),
            later: BTreeMap::new(),
            settled_as: BTreeMap::new(),
            settled: BTreeMap::new(),
            once: BTreeMap::new(),
        }
    }

    /// Takes note of a finding.
    pub(super) fn found(&mut self, finding: &Finding) -> News {
        let name = finding.name();
        let known = [&self.later, &self.once].iter().any(|some| some.contains_key(&name))
            || self.at_work.contains(&name)
            || self.settled_as.contains_key(&name)
            || self.settled.contains_key(&name);
        if known {
            return News::None;
        }
        let Some(kept) = self.pending.get_mut(&name) else {
            self.pending.insert(name, finding.clone());
            return News::Name;
        };
        let (before, now) = (kept.case.end_ns(), finding.case.end_ns());
        // The shortest, and of those the simplest: which one is kept must not depend on which came
        // first.
        if (now, simplicity(&finding.case)) < (before, simplicity(&kept.case)) {
            *kept = finding.clone();
        }
        if now < before / 2 { News::Case } else { News::None }
    }

    /// Takes out the findings to settle next, so many at the most: those of rules of which nothing
    /// is settled yet before others, frequent ones before rare ones. What was left for later has
    /// its turn when nothing else is left.
    pub(super) fn next_findings(&mut self, most: usize) -> Vec<Finding> {
        let from = if self.pending.is_empty() { &mut self.later } else { &mut self.pending };
        let mut names: Vec<Name> = from.keys().copied().collect();
        names.sort_by_key(|name| {
            let of_rule = self.settled.keys().any(|(rule, _)| *rule == name.0);
            let cases = self.summary.deviating.get(name).copied().unwrap_or(1);
            (of_rule, Reverse(cases), *name)
        });
        names.truncate(most);
        let mut taken: Vec<Finding> = names.iter().filter_map(|name| from.remove(name)).collect();
        self.at_work = taken.iter().map(Finding::name).collect();
        for finding in &mut taken {
            finding.cases = self.summary.deviating.get(&finding.name()).copied().unwrap_or(1);
        }
        taken
    }

    /// Takes note of a settled finding; false where its name was settled before.
    pub(super) fn settle(&mut self, settled: Settled) -> bool {
        let name = settled.finding.name();
        // Its own name as well: what is found by it has nothing to tell.
        for first in settled.first_names.iter().chain([&name]) {
            self.settled_as.insert(*first, name);
            self.later.remove(first);
            self.pending.remove(first);
        }
        match self.settled.get_mut(&name) {
            Some(before) => {
                before.first_names.extend(settled.first_names);
                false
            }
            None => {
                self.settled.insert(name, settled);
                true
            }
        }
    }

    /// Notes that a shift is done.
    pub(super) fn shift_done(&mut self, number: u64) {
        self.cut.remove(&number);
        self.done_ahead.insert(number);
        while self.done_ahead.remove(&self.next_shift) {
            self.next_shift += 1;
        }
    }

    /// How many cases a settled finding stands for.
    pub(super) fn cases_of(&self, settled: &Settled) -> u64 {
        let own = settled.finding.name();
        let names: BTreeSet<Name> = settled.first_names.iter().copied().chain([own]).collect();
        let cases = names.iter().filter_map(|name| self.summary.deviating.get(name));
        cases.sum::<u64>().max(1)
    }
}

#[cfg(test)]
mod tests {
    use super::{Ledger, News, SPECIES, species};
    use crate::campaign::Finding;
    use crate::features::FEATURES;
    use crate::generate::Generator;
    use crate::rules::Rule;
    use trackproof_contract::{Operation, Profile};

    fn finding(rule: &str, kind: &'static str, wait_ns: u64) -> Finding {
        let mut case = Generator::new(Profile::sync_dma()).case(1, 0);
        case.program = vec![Operation::Wait { ns: wait_ns }];
        Finding::told(0, case, Rule::find(rule).unwrap(), kind)
    }

    #[test]
    fn a_name_is_pending_once_unless_a_much_shorter_case_comes() {
        let mut ledger = Ledger::new();
        let found = |ledger: &mut Ledger, kind, ns| ledger.found(&finding("sync.start", kind, ns));
        assert_eq!(found(&mut ledger, "late-start", 1_000), News::Name);
        assert_eq!(found(&mut ledger, "late-start", 900), News::None);
        assert_eq!(found(&mut ledger, "late-start", 400), News::Case);
        assert_eq!(found(&mut ledger, "no-start", 1_000), News::Name);
        let taken = ledger.next_findings(9);
        assert_eq!(taken.len(), 2);
        assert_eq!(taken[0].case.end_ns(), 400);
        assert_eq!(found(&mut ledger, "late-start", 1), News::None, "it is being settled");
        let [first, ..] = &taken[..] else { panic!() };
        ledger.at_work.clear();
        ledger.later.insert(first.name(), first.clone());
        assert_eq!(ledger.found(first), News::None, "what was left for later is known");
        assert_eq!(ledger.next_findings(9).len(), 1, "and has its turn");
    }

    #[test]
    fn rules_of_which_nothing_is_settled_come_first() {
        let mut ledger = Ledger::new();
        for (rule, kind) in [("sync.start", "a"), ("sync.start", "b"), ("raw.fresh", "c")] {
            ledger.found(&finding(rule, kind, 1));
        }
        ledger.summary.deviating.insert(("sync.start", "b"), 9);
        let first = ledger.next_findings(1).remove(0);
        assert_eq!(first.name(), ("sync.start", "b"));
        let mut settled = crate::settle::Settled::as_it_is(first);
        settled.first_names.push(("sync.start", "b"));
        assert!(ledger.settle(settled.clone()));
        assert!(!ledger.settle(settled));
        assert_eq!(ledger.next_findings(1)[0].name(), ("raw.fresh", "c"));
    }

    #[test]
    fn shifts_may_end_in_any_order() {
        let mut ledger = Ledger::new();
        for number in [1, 3, 0] {
            ledger.shift_done(number);
        }
        assert_eq!(ledger.next_shift, 2);
        assert!(ledger.done_ahead.contains(&3));
        ledger.shift_done(2);
        assert_eq!((ledger.next_shift, ledger.done_ahead.len()), (4, 0));
        ledger.cut.insert(4, 100);
        ledger.shift_done(4);
        assert!(ledger.cut.is_empty(), "what is done is not cut");
    }

    #[test]
    fn species_stay_within_their_number() {
        let last = [FEATURES - 1];
        let all: Vec<usize> = species(&last, Some(("sync.start", "late-start"))).collect();
        assert_eq!(all.len(), 2);
        assert!(all.iter().all(|one| *one < SPECIES));
    }
}
