//! What the program and a worker say to each other: a line of JSON for each order and record.
//!
//! Beside records a worker writes two marks, lines of one character, so that its program knows what
//! it is at: [`BEGUN`] as it gives the implementation a case, [`ENDED`] as that comes back.

use crate::campaign::{Compared, Lacking, Summary};
use crate::generate::Draw;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use trackproof_contract::{Capabilities, Capability, Case, Observation, Profile, Stop};
use trackproof_model::reach::ReachCounts;

/// Changes with every change of the messages, and with the version: a worker of another build would
/// make other cases.
pub(super) const VERSION: &str = concat!("3 ", env!("CARGO_PKG_VERSION"));

/// The implementation is given a case.
pub(super) const BEGUN: &str = ">";

/// The implementation has come back from it.
pub(super) const ENDED: &str = "<";

/// Longest line: the largest observation is some million items of some dozen bytes, and whole
/// volumes in hex.
pub(super) const MAX_LINE_BYTES: u64 = 1 << 30;

/// What a worker is to do.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum Order<'a> {
    /// Cases will be those of this profile and seed. No answer.
    Campaign { profile: Profile, seed: u64 },
    /// Make, run and judge cases `first` to `end - 1`: a `Found` for each that deviates, then
    /// `Done`; or `Stopped`.
    Cases { first: u64, end: u64 },
    /// Make, run and judge these cases: a `Judged` for each, in their order; `Stopped` behind those
    /// that came back.
    Drawn(Vec<Draw>),
    /// Run this case: `Ran` or `Stopped`.
    Case(#[serde(with = "owned_or_lent")] Lent<'a, Case>),
}

/// A value that is lent to be written, and owned when it has been read.
#[derive(Debug)]
pub(super) enum Lent<'a, T> {
    Lent(&'a T),
    Owned(Box<T>),
}

mod owned_or_lent {
    use super::Lent;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<T: Serialize, S: Serializer>(
        value: &Lent<'_, T>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        match value {
            Lent::Lent(value) => value.serialize(serializer),
            Lent::Owned(value) => value.serialize(serializer),
        }
    }

    pub(super) fn deserialize<'de, T: Deserialize<'de>, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Lent<'static, T>, D::Error> {
        T::deserialize(deserializer).map(|value| Lent::Owned(Box::new(value)))
    }
}

/// What a worker says.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum Record {
    /// The implementation is there.
    Ready { version: String, capabilities: u64, lent: u64, profile: Option<Profile> },
    /// It is not.
    Refused { usage: bool, why: String },
    /// A case deviates.
    Found { index: u64, rule: String, kind: String },
    /// Cases are done.
    Done(Box<Counts>),
    /// A drawn case is judged: rule and kind, where it deviates, and what it counts for.
    Judged { name: Option<(String, String)>, counts: Box<Counts> },
    /// A case was run.
    Ran(Observation),
    /// The implementation stopped, and the worker lives: [`Stop::kind`] and [`Stop::detail`].
    Stopped { kind: String, detail: String },
    /// What it said before, where that can be told apart. More follows.
    Said(String),
    /// A run cannot be trusted.
    Untrusted { index: u64, why: String },
    /// trackproof has a fault of its own.
    Fault { why: String },
}

impl Record {
    /// A stop to be told.
    pub(super) fn stopped(stop: Stop) -> Self {
        Self::Stopped { kind: stop.kind().into(), detail: stop.detail() }
    }
}

/// The stop that a worker tells; what names none is garbled.
pub(super) fn stop_of(kind: &str, detail: &str) -> Stop {
    Stop::from_parts(kind, detail).unwrap_or(Stop::Garbled)
}

/// A summary as numbers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Counts {
    cases: u64,
    judged: u64,
    inconclusive: u64,
    stopped: u64,
    skipped: u64,
    beside: u64,
    /// Capability number, cases, cases that lack nothing else.
    lacking: Vec<(usize, u64, u64)>,
    digest: u64,
    words: u64,
    unique_words: u64,
    compared: [u64; 5],
    slack: Vec<(u32, u64)>,
    /// Rule, kind, cases.
    deviating: Vec<(String, String, u64)>,
    reach: Vec<u64>,
}

impl Counts {
    pub(crate) fn of(summary: &Summary) -> Self {
        let Compared { bytes, status_bits, signals, tracks, channel_bits } = summary.compared;
        let place = |one: Capability| Capability::ALL.iter().position(|other| *other == one);
        Self {
            cases: summary.cases,
            judged: summary.judged,
            inconclusive: summary.inconclusive,
            stopped: summary.stopped,
            skipped: summary.skipped,
            beside: summary.beside,
            lacking: summary
                .lacking
                .iter()
                .filter_map(|(one, lacking)| Some((place(*one)?, lacking.cases, lacking.alone)))
                .collect(),
            digest: summary.digest,
            words: summary.words,
            unique_words: summary.unique_words,
            compared: [bytes, status_bits, signals, tracks, channel_bits],
            slack: summary.slack.iter().map(|(bits, count)| (*bits, *count)).collect(),
            deviating: summary
                .deviating
                .iter()
                .map(|((rule, kind), cases)| ((*rule).into(), (*kind).into(), *cases))
                .collect(),
            reach: summary.reach.numbers().to_vec(),
        }
    }

    /// The summary; none where a number names nothing.
    pub(crate) fn summary(self, capabilities: Capabilities) -> Option<Summary> {
        let [bytes, status_bits, signals, tracks, channel_bits] = self.compared;
        let lacking: Option<BTreeMap<_, _>> = self
            .lacking
            .into_iter()
            .map(|(place, cases, alone)| {
                Some((*Capability::ALL.get(place)?, Lacking { cases, alone }))
            })
            .collect();
        let deviating: Option<BTreeMap<_, _>> = self
            .deviating
            .into_iter()
            .map(|(rule, kind, cases)| {
                let (rule, kind) = super::runner::name(&rule, &kind)?;
                Some(((rule.id, kind), cases))
            })
            .collect();
        Some(Summary {
            cases: self.cases,
            judged: self.judged,
            inconclusive: self.inconclusive,
            stopped: self.stopped,
            skipped: self.skipped,
            beside: self.beside,
            lacking: lacking?,
            digest: self.digest,
            words: self.words,
            unique_words: self.unique_words,
            compared: Compared { bytes, status_bits, signals, tracks, channel_bits },
            slack: self.slack.into_iter().collect(),
            deviating: deviating?,
            reach: ReachCounts::from_numbers(&self.reach)?,
            capabilities,
            ..Summary::default()
        })
    }
}
