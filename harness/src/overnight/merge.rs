//! Putting the folders of several machines together: one run's shards, its counts and its short
//! list. No implementation is run; what the parts have settled is taken as they have it.

use super::corpus::{Corpus, file_name};
use super::folder::{Folder, FolderError};
use super::ledger::{self, Name};
use super::record::{Record, Unreadable};
use super::shard::Shard;
use super::{Listed, Outcome};
use crate::campaign::Finding;
use crate::case_file::CaseFile;
use crate::features::Seen;
use crate::isolate::name;
use crate::minimise::simplicity;
use crate::rules::Rule;
use crate::triage::Symptom;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::path::{Path, PathBuf};
use std::time::Duration;
use trackproof_contract::Profile;

/// Several parts as one run.
#[derive(Debug, Clone)]
pub struct Merged {
    /// The implementation, as it was named.
    pub implementation: String,
    /// The profile's name.
    pub profile_name: String,
    /// The profile.
    pub profile: Profile,
    /// The run's seed.
    pub seed: u64,
    /// Shards that no part was.
    pub missing: Vec<Shard>,
    /// What the run has come to.
    pub outcome: Outcome,
}

/// Why folders cannot be put together. Nothing was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MergeError {
    /// A folder cannot be used.
    Folder(FolderError),
    /// A folder holds no counts of a run, or none that this program reads.
    NoPart {
        /// The folder.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// Two folders are no parts of one run.
    Apart {
        /// The one.
        first: PathBuf,
        /// The other.
        path: PathBuf,
        /// In what they differ.
        why: String,
    },
    /// The folder to be written holds a run.
    Taken {
        /// The folder.
        path: PathBuf,
    },
}

impl fmt::Display for MergeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Folder(error) => error.fmt(f),
            Self::NoPart { path, why } => write!(
                f,
                "{}: no part of a run: {why}; give folders that `overnight` has written",
                path.display()
            ),
            Self::Apart { first, path, why } => write!(
                f,
                "{} and {} cannot be put together: {why}",
                first.display(),
                path.display()
            ),
            Self::Taken { path } => write!(
                f,
                "{}: holds a run already, and was left as it is; name a new folder with --out",
                path.display()
            ),
        }
    }
}

impl std::error::Error for MergeError {}

impl From<FolderError> for MergeError {
    fn from(error: FolderError) -> Self {
        Self::Folder(error)
    }
}

/// One folder that is to be put in.
struct Part {
    path: PathBuf,
    record: Record,
    cases: Vec<CaseFile>,
    corpus: Vec<Vec<u8>>,
    troubles: Vec<String>,
}

impl Part {
    fn read(path: &Path) -> Result<Self, MergeError> {
        let no_part = |why: String| MergeError::NoPart { path: path.into(), why };
        let folder = Folder::that_is(path);
        let record = match folder.record_bytes() {
            Ok(bytes) => Record::read(&bytes),
            Err(error) => return Err(no_part(format!("run.json: {error}"))),
        };
        let record = record.map_err(|unreadable| match unreadable {
            Unreadable::Version(why) | Unreadable::Damaged(why) => no_part(why),
        })?;
        let cases = folder.cases()?.into_values().collect();
        let corpus = folder.streams()?.into_iter().map(|(_, stream)| stream).collect();
        Ok(Self { path: path.into(), record, cases, corpus, troubles: folder.troubles() })
    }
}

/// Puts folders together and writes what they hold into `out`, but for the short list.
///
/// Counts and digest are those of one machine that ran the same cases. Of findings that several
/// parts have settled under one name the simplest case is kept.
///
/// # Errors
/// When a folder is no part of a run, or two are not parts of the same, or one is there twice.
pub fn merge(paths: &[PathBuf], out: &Folder) -> Result<Merged, MergeError> {
    let parts = paths.iter().map(|path| Part::read(path)).collect::<Result<Vec<_>, _>>()?;
    let Some(first) = parts.first() else {
        let why = "no folder was given".into();
        return Err(MergeError::NoPart { path: PathBuf::new(), why });
    };
    let shards = shards_of(&parts)?;
    if out.holds_a_run() {
        return Err(MergeError::Taken { path: out.path().into() });
    }
    let of = shards.first().map_or(1, |shard| shard.of());
    let missing: Vec<Shard> = Shard::all(of).filter(|shard| !shards.contains(shard)).collect();
    let mut record = first.record.merged();
    let mut summary = first.record.summary().unwrap_or_default();
    let mut sample = first.record.sample().unwrap_or_else(ledger::no_sample);
    let mut seen = Seen::from_digits(&first.record.seen).unwrap_or_default();
    let mut spent_ms = first.record.spent_ms;
    for part in &parts[1..] {
        summary.merge(part.record.summary().unwrap_or_default());
        sample.add(&part.record.sample().unwrap_or_else(ledger::no_sample));
        seen.add(&Seen::from_digits(&part.record.seen).unwrap_or_default());
        spent_ms = spent_ms.saturating_add(part.record.spent_ms);
    }
    let spent = Duration::from_millis(spent_ms);
    let whole = missing.is_empty();
    let all_complete = parts.iter().all(|part| part.record.complete);
    for trouble in parts.iter().flat_map(|part| &part.troubles) {
        out.note_trouble(trouble);
    }

    let kept = Kept::of(&parts);
    let mut settled: Vec<Listed> = Vec::new();
    let mut files: Vec<&CaseFile> = Vec::new();
    for (name, (file, symptom)) in &kept.settled {
        let mut finding = told(file, *name);
        finding.cases = kept.cases_of(*name, &summary.deviating);
        settled.push(Listed { cases: finding.cases, finding, symptom: symptom.clone() });
        files.push(file);
    }
    settled.sort_by_key(|listed| (Reverse(listed.cases), listed.finding.name()));
    let named = |of: &BTreeMap<Name, &CaseFile>| {
        of.iter().map(|(name, file)| told(file, *name)).collect::<Vec<Finding>>()
    };
    let (aside, once) = (named(&kept.aside), named(&kept.once));
    files.extend(kept.aside.values().chain(kept.once.values()));
    files.into_iter().for_each(|file| drop(out.copy_case(file)));

    let mut corpus = Corpus::that_has(seen);
    let mut names = BTreeSet::new();
    for stream in parts.iter().flat_map(|part| &part.corpus) {
        if names.insert(file_name(stream)) && corpus.keep(stream.clone()) {
            out.save_stream(stream);
        }
    }
    record = record.with(&summary, &sample, spent);
    record.complete = all_complete;
    record.seen = corpus.seen().digits();
    record.shards = shards.into_iter().collect();
    record.note_findings(&settled, once.iter().map(Finding::name), &kept.settled_as);
    out.save(&record);
    Ok(Merged {
        implementation: record.implementation.clone(),
        profile_name: record.profile_name.clone(),
        profile: record.profile.clone(),
        seed: record.seed,
        missing,
        outcome: Outcome {
            summary,
            settled,
            aside,
            once,
            estimates: ledger::estimates(&sample),
            corpus: corpus.len(),
            features: corpus.features(),
            spent,
            complete: all_complete && whole,
        },
    })
}

/// The shards that the parts are, each once, all of one run.
fn shards_of(parts: &[Part]) -> Result<BTreeSet<Shard>, MergeError> {
    let mut shards: BTreeMap<Shard, &Path> = BTreeMap::new();
    for part in parts {
        let first = &parts[0];
        let apart = |first: &Path, why: String| MergeError::Apart {
            first: first.into(),
            path: part.path.clone(),
            why,
        };
        let mut differ = part.record.is_other_run_than(&first.record);
        let number = |part: &Part| part.record.shards_held().first().map_or(1, |shard| shard.of());
        if differ.is_none() && number(part) != number(first) {
            differ =
                Some(format!("one is of {} shards, the other of {}", number(first), number(part)));
        }
        if let Some(why) = differ {
            return Err(apart(&first.path, why));
        }
        for shard in part.record.shards_held() {
            if let Some(other) = shards.insert(shard, &part.path) {
                return Err(apart(other, format!("both have shard {shard}")));
            }
        }
    }
    Ok(shards.into_keys().collect())
}

/// What the parts have found, a name once.
#[derive(Default)]
struct Kept<'a> {
    settled: BTreeMap<Name, (&'a CaseFile, Symptom)>,
    once: BTreeMap<Name, &'a CaseFile>,
    aside: BTreeMap<Name, &'a CaseFile>,
    /// First names, and what they settled under.
    settled_as: BTreeMap<Name, Name>,
}

impl<'a> Kept<'a> {
    fn of(parts: &'a [Part]) -> Self {
        let mut kept = Self::default();
        for part in parts {
            let symptoms = part.record.symptoms();
            let once = part.record.once_names();
            for (first, to) in part.record.settled_names() {
                kept.settled_as.entry(first).or_insert(to);
            }
            for file in &part.cases {
                let Some((rule, kind)) = name(&file.rule, &file.kind) else { continue };
                let name = (rule.id, kind);
                match symptoms.get(&name) {
                    Some(symptom) => kept.settle(name, file, symptom),
                    None if once.contains(&name) => drop(kept.once.entry(name).or_insert(file)),
                    None => drop(kept.aside.entry(name).or_insert(file)),
                }
            }
        }
        let settled =
            |name: &Name| kept.settled.contains_key(name) || kept.settled_as.contains_key(name);
        kept.aside.retain(|name, _| !settled(name));
        kept.once.retain(|name, _| !settled(name) && !kept.aside.contains_key(name));
        kept
    }

    /// Keeps the simplest case of a name, one that is smallest before one that was cut short.
    fn settle(&mut self, name: Name, file: &'a CaseFile, symptom: &Symptom) {
        let order = |file: &'a CaseFile| (!file.minimised, simplicity(&file.case));
        let simpler = self.settled.get(&name).is_none_or(|(kept, _)| order(file) < order(kept));
        if simpler {
            self.settled.insert(name, (file, symptom.clone()));
        }
    }

    /// How many cases a settled finding stands for.
    fn cases_of(&self, name: Name, deviating: &BTreeMap<Name, u64>) -> u64 {
        let first = self.settled_as.iter().filter(|(_, to)| **to == name).map(|(first, _)| *first);
        let names: BTreeSet<Name> = first.chain([name]).collect();
        names.iter().filter_map(|name| deviating.get(name)).sum::<u64>().max(1)
    }
}

/// The finding of a case file, of which only the name is known.
fn told(file: &CaseFile, (rule, kind): Name) -> Finding {
    let rule = Rule::find(rule).expect("a known name has a rule");
    let mut finding = Finding::told(0, file.case.clone(), rule, kind);
    finding.earlier = file.earlier;
    finding
}
