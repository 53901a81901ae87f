//! What a run is, and its counts, as the file `run.json`.

use super::estimate::Sample;
use super::ledger::{Name, SPECIES};
use super::shard::Shard;
use super::{Listed, Plan};
use crate::campaign::Summary;
use crate::features::Seen;
use crate::isolate::{Counts, name};
use crate::settle::Showing;
use crate::triage::Symptom;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use trackproof_contract::{Capabilities, Profile};

/// Changes when the file's meaning does.
const FORMAT: u32 = 1;

/// No run has so many shifts: at a million cases a second it would take a century.
const MOST_SHIFTS: u64 = 1 << 43;

/// The counts, and what they are of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Record {
    format: u32,
    /// Other versions make other cases of the same numbers and streams.
    version: String,
    pub(super) implementation: String,
    pub(super) profile: Profile,
    #[serde(default)]
    pub(super) profile_name: String,
    pub(super) seed: u64,
    /// The cases to run, where the run has an end.
    #[serde(default)]
    cases: Option<u64>,
    #[serde(default)]
    shard: Shard,
    /// Milliseconds that the run has taken so far.
    pub(super) spent_ms: u64,
    /// The next shift; those under way are run again.
    pub(super) next_shift: u64,
    /// Shifts behind it that are done.
    pub(super) done_ahead: Vec<u64>,
    /// Shifts that were cut short, and how many of their cases are done.
    #[serde(default)]
    pub(super) cut: Vec<(u64, u64)>,
    capabilities: u64,
    lent: u64,
    counts: Counts,
    /// The sample of cases with numbers: how many, and a digit a species.
    sampled: u64,
    species: String,
    /// The features that the corpus has shown, a digit each.
    pub(super) seen: String,
    /// First names and what they settled under.
    pub(super) settled_as: Vec<[[String; 2]; 2]>,
    /// What settled findings are grouped by.
    #[serde(default)]
    settled: Vec<SymptomText>,
    /// The names that a fresh rig did not show again.
    #[serde(default)]
    once: Vec<[String; 2]>,
    /// Whether nothing was left to search, in any of the shards that it has counts of.
    #[serde(default)]
    pub(super) complete: bool,
    /// The shards that were put together here; none in a run's own folder.
    #[serde(default)]
    pub(super) shards: Vec<Shard>,
}

/// A symptom, as a file has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct SymptomText {
    name: [String; 2],
    showing: Showing,
    explained: bool,
    shape: String,
    likely: String,
}

/// Why a file gives no counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Unreadable {
    /// It is of another version.
    Version(String),
    /// It is no such file, or not whole.
    Damaged(String),
}

#[derive(Deserialize)]
struct AnyVersion {
    format: Option<u32>,
    version: Option<String>,
}

impl Record {
    /// The record of a run that has not begun.
    pub(super) fn new(plan: &Plan) -> Self {
        Self {
            format: FORMAT,
            version: crate::case_file::MODEL.into(),
            implementation: plan.implementation.clone(),
            profile: plan.profile.clone(),
            profile_name: plan.profile_name.clone(),
            seed: plan.seed,
            cases: plan.cases,
            shard: plan.shard,
            spent_ms: 0,
            next_shift: 0,
            done_ahead: Vec::new(),
            cut: Vec::new(),
            capabilities: 0,
            lent: 0,
            counts: Counts::of(&Summary::default()),
            sampled: 0,
            species: Sample::new(SPECIES).digits(),
            seen: Seen::default().digits(),
            settled_as: Vec::new(),
            settled: Vec::new(),
            once: Vec::new(),
            complete: false,
            shards: Vec::new(),
        }
    }

    /// The same run with these counts.
    pub(super) fn with(&self, summary: &Summary, sample: &Sample, spent: Duration) -> Self {
        Self {
            spent_ms: u64::try_from(spent.as_millis()).unwrap_or(u64::MAX),
            capabilities: summary.capabilities.to_bits(),
            lent: summary.lent.to_bits(),
            counts: Counts::of(summary),
            sampled: sample.cases(),
            species: sample.digits(),
            ..self.clone()
        }
    }

    /// Reads a file's bytes.
    pub(super) fn read(bytes: &[u8]) -> Result<Self, Unreadable> {
        let damaged = |error: serde_json::Error| Unreadable::Damaged(error.to_string());
        let any: AnyVersion = serde_json::from_slice(bytes).map_err(damaged)?;
        let version = any.version.unwrap_or_default();
        if any.format != Some(FORMAT) || version != crate::case_file::MODEL {
            let there = any.format.map_or("none".into(), |format| format.to_string());
            return Err(Unreadable::Version(format!(
                "its version is `{}` (format {there}), this program's is `{}` (format {FORMAT}), \
                 which makes other cases",
                version.chars().take(40).collect::<String>().escape_debug(),
                crate::case_file::MODEL
            )));
        }
        let record: Self = serde_json::from_slice(bytes).map_err(damaged)?;
        let seen = Seen::from_digits(&record.seen);
        let shifts = [record.next_shift].into_iter().chain(record.done_ahead.iter().copied());
        let in_reach =
            shifts.chain(record.cut.iter().map(|(number, _)| *number)).all(|n| n < MOST_SHIFTS);
        if !in_reach || record.summary().is_none() || record.sample().is_none() || seen.is_none() {
            return Err(Unreadable::Damaged("counts that do not fit together".into()));
        }
        Ok(record)
    }

    /// Why a run like `own` cannot go on from it; none where it can.
    pub(super) fn differs_from(&self, own: &Self) -> Option<String> {
        if !self.shards.is_empty() {
            return Some("it was put together of several, and nothing goes on from it".into());
        }
        let other = self.is_other_run_than(own);
        other.or_else(|| {
            let shards = [self.shard.to_string(), own.shard.to_string()];
            let [there, here] = &shards;
            (there != here).then(|| format!("its shard is {there}, this run's is {here}"))
        })
    }

    /// In what it is another run, shards apart; none where it is not.
    pub(super) fn is_other_run_than(&self, own: &Self) -> Option<String> {
        let differ = |what: &str, there: &str, here: &str| {
            Some(format!("its {what} is {}, this run's is {here}", there.escape_debug()))
        };
        if self.implementation != own.implementation {
            return differ("implementation", &self.implementation, &own.implementation);
        }
        if self.seed != own.seed {
            return differ("seed", &self.seed.to_string(), &own.seed.to_string());
        }
        if self.cases != own.cases {
            let text = |cases: Option<u64>| cases.map_or("none".into(), |cases| cases.to_string());
            return differ("number of cases", &text(self.cases), &text(own.cases));
        }
        (self.profile != own.profile).then(|| "its profile is another one".into())
    }

    /// The record of the run that this is a part of, without counts.
    pub(super) fn merged(&self) -> Self {
        Self {
            shard: Shard::WHOLE,
            next_shift: 0,
            done_ahead: Vec::new(),
            cut: Vec::new(),
            ..self.clone()
        }
    }

    /// The shards that it has counts of.
    pub(super) fn shards_held(&self) -> Vec<Shard> {
        if self.shards.is_empty() { vec![self.shard] } else { self.shards.clone() }
    }

    /// Takes note of what became of findings.
    pub(super) fn note_findings(
        &mut self,
        settled: &[Listed],
        once: impl Iterator<Item = Name>,
        settled_as: &BTreeMap<Name, Name>,
    ) {
        let text = |(rule, kind): Name| [rule.to_owned(), kind.to_owned()];
        let symptoms = settled.iter().map(|Listed { symptom, .. }| SymptomText {
            name: text((symptom.rule.id, symptom.kind)),
            showing: symptom.showing,
            explained: symptom.explained,
            shape: symptom.shape.clone(),
            likely: symptom.likely.clone(),
        });
        self.settled = symptoms.collect();
        self.once = once.map(text).collect();
        let pairs = settled_as.iter();
        self.settled_as = pairs.map(|(first, to)| [text(*first), text(*to)]).collect();
    }

    /// What settled findings are grouped by. Names that this program does not know are left out.
    pub(super) fn symptoms(&self) -> BTreeMap<Name, Symptom> {
        let symptoms = self.settled.iter().filter_map(|text| {
            let (rule, kind) = name(&text.name[0], &text.name[1])?;
            let symptom = Symptom {
                rule,
                kind,
                showing: text.showing,
                explained: text.explained,
                shape: text.shape.clone(),
                likely: text.likely.clone(),
            };
            Some(((rule.id, kind), symptom))
        });
        symptoms.collect()
    }

    /// The names that a fresh rig did not show again.
    pub(super) fn once_names(&self) -> BTreeSet<Name> {
        self.once.iter().filter_map(known_name).collect()
    }

    /// First names, and what they settled under.
    pub(super) fn settled_names(&self) -> impl Iterator<Item = (Name, Name)> + '_ {
        self.settled_as.iter().filter_map(|[first, to]| Some((known_name(first)?, known_name(to)?)))
    }

    /// The counts.
    pub(super) fn summary(&self) -> Option<Summary> {
        let mut summary =
            self.counts.clone().summary(Capabilities::from_bits(self.capabilities))?;
        summary.lent = Capabilities::from_bits(self.lent);
        Some(summary)
    }

    /// The sample.
    pub(super) fn sample(&self) -> Option<Sample> {
        Sample::from_digits(&self.species, SPECIES, self.sampled)
    }

    /// The file's text.
    pub(super) fn text(&self) -> String {
        let mut text = serde_json::to_string(self).expect("counts hold nothing that JSON has not");
        text.push('\n');
        text
    }
}

/// A name as this program knows it; none where it cannot.
pub(super) fn known_name([rule, kind]: &[String; 2]) -> Option<Name> {
    name(rule, kind).map(|(rule, kind)| (rule.id, kind))
}

#[cfg(test)]
mod tests {
    use super::{Plan, Record, Shard, Unreadable};
    use std::time::Duration;
    use trackproof_contract::Profile;

    fn plan() -> Plan {
        Plan {
            implementation: "sample:sync-dma".into(),
            profile_name: "sync-dma".into(),
            profile: Profile::sync_dma(),
            seed: 1,
            lasts: Duration::from_secs(60),
            cases: None,
            shard: Shard::WHOLE,
            jobs: 1,
            executions: 1,
        }
    }

    fn record() -> Record {
        Record::new(&plan())
    }

    #[test]
    fn a_record_is_read_as_it_was_written() {
        let cut = vec![(7, 100), (9, 3)];
        let record =
            Record { next_shift: 7, done_ahead: vec![8], cut, spent_ms: 1_234, ..record() };
        assert_eq!(Record::read(record.text().as_bytes()), Ok(record.clone()));
        assert_eq!(record.differs_from(&self::record()), None);
    }

    #[test]
    fn other_runs_other_versions_and_damage_are_told_apart() {
        let text = record().text();
        for (other, word) in [
            (Plan { implementation: "lib:x.so".into(), ..plan() }, "implementation"),
            (Plan { profile: Profile::byte_stream(), ..plan() }, "profile"),
            (Plan { seed: 2, ..plan() }, "seed"),
            (Plan { cases: Some(9), ..plan() }, "number of cases is 9, this run's is none"),
            (Plan { shard: "2/3".parse().unwrap(), ..plan() }, "shard is 2/3"),
        ] {
            assert!(Record::new(&other).differs_from(&record()).unwrap().contains(word));
        }
        let newer = text.replacen("\"format\":1", "\"format\":9", 1);
        let Err(Unreadable::Version(why)) = Record::read(newer.as_bytes()) else { panic!() };
        assert!(why.contains("format 9"), "{why}");
        let halved = text.replacen("\"species\":\"0", "\"species\":\"", 1);
        let far = text.replacen("\"next_shift\":0", "\"next_shift\":18446744073709551615", 1);
        for damaged in [&text[..text.len() / 2], "", "[]", "\u{0}", &halved, &far] {
            let read = Record::read(damaged.as_bytes());
            assert!(matches!(read, Err(Unreadable::Damaged(_) | Unreadable::Version(_))));
        }
        assert!(matches!(Record::read(halved.as_bytes()), Err(Unreadable::Damaged(_))));
    }
}
