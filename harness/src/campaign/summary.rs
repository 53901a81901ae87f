//! What a campaign counts. Counts of parts add up to those of the whole, in any order.

use super::Finding;
use crate::examine::{Examined, Examiner};
use crate::rules::{RULES, Rule};
use crate::verdict::Verdict;
use std::collections::BTreeMap;
use trackproof_contract::{Capabilities, Capability, Case, Item, Observation};
use trackproof_model::reach::ReachCounts;
use trackproof_model::reader::acceptor::compared_bits;

/// Below this share of words judged in a unique state a run is inconclusive.
const UNIQUE_SHARE: f64 = 0.9;

/// Below this many of a hundred cases judged a run is inconclusive.
const JUDGED_PERCENT: u64 = 99;

/// What a campaign gave.
#[derive(Debug, Clone, Default)]
pub struct Summary {
    /// Cases run.
    pub cases: u64,
    /// Cases that were judged.
    pub judged: u64,
    /// Cases that could not be judged.
    pub inconclusive: u64,
    /// Cases that the implementation stopped in.
    pub stopped: u64,
    /// The case behind which the campaign was given up, since the implementation stops too often.
    pub given_up: Option<u64>,
    /// Cases not run, since the implementation lacks something that they need.
    pub skipped: u64,
    /// Cases not run, since they ask only for what the implementation was lent.
    pub beside: u64,
    /// How many cases deviate under each first name, rule and kind.
    pub deviating: BTreeMap<(&'static str, &'static str), u64>,
    /// What it lacks, and how many cases need that.
    pub lacking: BTreeMap<Capability, Lacking>,
    /// The sum of the cases' hashes.
    pub digest: u64,
    /// Words judged.
    pub words: u64,
    /// Words judged in a unique state.
    pub unique_words: u64,
    /// What else was held against the model.
    pub compared: Compared,
    /// Slack used, in channel bits: transfers that must have had it.
    pub slack: BTreeMap<u32, u64>,
    /// What was reached.
    pub reach: ReachCounts,
    /// Findings, one a rule and kind, in case order.
    pub findings: Vec<Finding>,
    /// What the implementation can do.
    pub capabilities: Capabilities,
    /// What of that it was lent.
    pub lent: Capabilities,
}

/// Cases that were not run for want of one capability.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Lacking {
    /// All that need it; one that lacks several capabilities counts for each of them.
    pub cases: u64,
    /// Those that lack nothing else.
    pub alone: u64,
}

/// What was held against the model beside words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Compared {
    /// Bytes of the byte port, each with its flag.
    pub bytes: u64,
    /// Driven bits of all statuses.
    pub status_bits: u64,
    /// Signals that came.
    pub signals: u64,
    /// Tracks, as they were after a run.
    pub tracks: u64,
    /// Channel bits that flux was made into.
    pub channel_bits: u64,
}

impl Compared {
    /// What of an observation is compared, of an implementation that can do so much.
    fn of(observation: &Observation, capabilities: Capabilities) -> Self {
        let driven = u64::from(compared_bits(capabilities).to_bits().count_ones());
        let tracks = observation.media.len() as u64;
        let mut compared = Self { tracks, ..Self::default() };
        for seen in &observation.items {
            match seen.item {
                Item::Byte { .. } => compared.bytes += 1,
                Item::Status(_) => compared.status_bits += driven,
                Item::Done | Item::Refused { .. } | Item::Match => compared.signals += 1,
                _ => {}
            }
        }
        compared
    }

    const fn add(&mut self, other: Self) {
        self.bytes += other.bytes;
        self.status_bits += other.status_bits;
        self.signals += other.signals;
        self.tracks += other.tracks;
        self.channel_bits += other.channel_bits;
    }
}

impl Summary {
    /// The share of words judged in a unique state; none where there were no words.
    #[must_use]
    pub fn unique_share(&self) -> Option<f64> {
        (self.words > 0).then(|| self.unique_words as f64 / self.words as f64)
    }

    /// Whether no word, byte, driven status bit, signal, track or channel bit was held against the
    /// model: a run of which nothing can be said, however many cases it had.
    #[must_use]
    pub fn compared_nothing(&self) -> bool {
        self.words == 0 && self.compared == Compared::default()
    }

    /// Why too little could be judged to say that anything conforms; none where it was enough.
    #[must_use]
    pub fn too_little(&self) -> Option<String> {
        let answered = self.judged + self.inconclusive;
        let share = self.judged as f64 / answered.max(1) as f64 * 100.0;
        if self.judged * 100 < answered * JUDGED_PERCENT {
            return Some(format!(
                "only {share:.2} % of the cases could be judged, and {JUDGED_PERCENT} % must be: the \
                 profile may leave more open than the controller needs"
            ));
        }
        let share = self.unique_share().filter(|share| *share < UNIQUE_SHARE)?;
        Some(format!(
            "only {:.2} % of the words were judged in a unique state, and {:.0} % must be: the \
             profile may leave more open than the controller needs",
            share * 100.0,
            UNIQUE_SHARE * 100.0
        ))
    }

    /// What the implementation can do by itself.
    #[must_use]
    pub const fn own(&self) -> Capabilities {
        self.capabilities.minus(self.lent)
    }

    /// Rules that the implementation cannot be held to, with what it lacks.
    pub fn skipped_rules(&self) -> impl Iterator<Item = (&'static Rule, Capabilities)> + '_ {
        RULES
            .iter()
            .filter(|rule| rule.shows_in_cases())
            // What a separator does no other implementation can, and the other way round: nothing of
            // that was left out.
            .filter(|rule| {
                rule.needs().has(Capability::Separator) == self.capabilities.are_a_separators()
            })
            .map(|rule| (rule, self.own().missing(rule.needs())))
            .filter(|(_, missing)| !missing.is_empty())
    }

    /// Counts a case that `examiner` has just examined; its hash comes extra.
    pub fn count(&mut self, case: &Case, examiner: &Examiner, examined: &Examined) {
        self.cases += 1;
        match &examined.verdict {
            Verdict::Skipped(_) => {
                self.skipped += 1;
                let missing = examiner.capabilities().missing(case.needs());
                let alone = u64::from(missing.iter().count() == 1);
                for capability in missing.iter() {
                    let lacking = self.lacking.entry(capability).or_default();
                    lacking.cases += 1;
                    lacking.alone += alone;
                }
                return;
            }
            Verdict::Beside => {
                self.beside += 1;
                return;
            }
            Verdict::Stops(_) => {
                self.stopped += 1;
                return;
            }
            Verdict::Inconclusive(_) => self.inconclusive += 1,
            Verdict::Conforms | Verdict::Deviates(_) | Verdict::Misreads(_) => {
                self.judged += 1;
                if let Some((rule, kind)) = examined.verdict.name() {
                    *self.deviating.entry((rule.id, kind)).or_default() += 1;
                }
                self.compared.add(Compared::of(examiner.observation(), examiner.capabilities()));
                if case.flux.is_some() {
                    self.compared.channel_bits += examiner.judge().flux_bits();
                }
            }
        }
        let tally = examiner.judge().tally();
        self.words += tally.words;
        self.unique_words += tally.unique_words;
        for (slack, count) in (0..).zip(tally.slack).filter(|(_, count)| *count > 0) {
            *self.slack.entry(slack).or_default() += u64::from(count);
        }
        self.reach.add(&tally.reach);
    }

    /// Adds the counts of another part of the same run.
    pub fn merge(&mut self, other: Self) {
        self.cases += other.cases;
        self.judged += other.judged;
        self.inconclusive += other.inconclusive;
        self.stopped += other.stopped;
        self.given_up = self.given_up.or(other.given_up);
        self.skipped += other.skipped;
        self.beside += other.beside;
        for (capability, more) in other.lacking {
            let lacking = self.lacking.entry(capability).or_default();
            lacking.cases += more.cases;
            lacking.alone += more.alone;
        }
        for (name, more) in other.deviating {
            *self.deviating.entry(name).or_default() += more;
        }
        self.digest = self.digest.wrapping_add(other.digest);
        self.words += other.words;
        self.unique_words += other.unique_words;
        self.compared.add(other.compared);
        for (slack, count) in other.slack {
            *self.slack.entry(slack).or_default() += count;
        }
        self.reach.merge(&other.reach);
    }
}
