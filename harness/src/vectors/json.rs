//! `vectors.json`: a line for each vector, so that two exports can be compared line by line.

use super::outcome::{Outcome, Wanted, Window};
use super::{Corpus, FORMAT, Vector};
use crate::case_file::MODEL;
use serde::Serialize;
use trackproof_contract::{Bench, ChannelBits, Item, Operation, Profile, Track};

/// What stands before the vectors.
#[derive(Serialize)]
struct Head<'a> {
    format: u32,
    model: &'a str,
    profile_name: &'a str,
    profile: &'a Profile,
    seed: u64,
    cases_drawn: u64,
    count: usize,
}

#[derive(Serialize)]
struct VectorJson<'a> {
    id: String,
    rule: &'a str,
    rule_says: &'a str,
    catches: &'a str,
    effect: &'a str,
    source: &'a str,
    needs: Vec<&'static str>,
    bench: &'a Bench,
    tracks: &'a [Track],
    program: &'a [Operation],
    allowed: Vec<OutcomeJson<'a>>,
}

#[derive(Serialize)]
struct OutcomeJson<'a> {
    items: Vec<ItemJson>,
    signals: Vec<SignalJson>,
    media: Vec<MediumJson<'a>>,
}

/// An answer: `value` and `compared` are hexadecimal.
#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
enum ItemJson {
    Word { at_ns: u64, transfer: u32, value: String, compared: String },
    Byte { at_ns: u64, new: bool, value: String, compared: String },
    Status { at_ns: u64, value: String, compared: String },
}

#[derive(Serialize)]
struct SignalJson {
    kind: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    transfer: Option<u32>,
    from_ns: u64,
    to_ns: u64,
}

/// A track after the run, where it is not as it was or not all of it is compared.
#[derive(Serialize)]
struct MediumJson<'a> {
    track: usize,
    content: &'a ChannelBits,
    #[serde(skip_serializing_if = "Option::is_none")]
    free: Option<&'a ChannelBits>,
}

/// The file's text.
pub(super) fn text(corpus: &Corpus) -> String {
    let head = Head {
        format: FORMAT,
        model: MODEL,
        profile_name: &corpus.plan.profile_name,
        profile: &corpus.plan.profile,
        seed: corpus.plan.seed,
        cases_drawn: corpus.plan.cases,
        count: corpus.vectors.len(),
    };
    let mut text = json(&head);
    text.pop();
    text.push_str(",\n\"vectors\":[\n");
    let lines: Vec<String> = corpus.vectors.iter().map(|one| json(&vector_json(one))).collect();
    text.push_str(&lines.join(",\n"));
    text.push_str("\n]}\n");
    text
}

fn json(value: &impl Serialize) -> String {
    serde_json::to_string(value).expect("plain data has a JSON form")
}

fn vector_json(vector: &Vector) -> VectorJson<'_> {
    let rule = vector.note();
    VectorJson {
        id: vector.id(),
        rule: rule.id,
        rule_says: rule.sentence,
        catches: rule.catches,
        effect: rule.effect,
        source: rule.source,
        needs: vector.needs().iter().map(|one| one.name()).collect(),
        bench: &vector.case.bench,
        tracks: &vector.case.tracks,
        program: &vector.case.program,
        allowed: vector.outcomes.iter().map(|one| outcome_json(one, vector)).collect(),
    }
}

fn outcome_json<'a>(outcome: &'a Outcome, vector: &Vector) -> OutcomeJson<'a> {
    let media = outcome.media.iter().zip(&vector.case.tracks).enumerate();
    OutcomeJson {
        items: outcome.items.iter().map(item_json).collect(),
        signals: outcome.signals.iter().map(signal_json).collect(),
        media: media
            .filter(|(_, ((bits, free), track))| free.is_some() || bits != track.medium.track())
            .map(|(track, ((content, free), _))| MediumJson { track, content, free: free.as_ref() })
            .collect(),
    }
}

fn item_json(wanted: &Wanted) -> ItemJson {
    let at_ns = wanted.at_ns;
    let compared = format!("{:x}", wanted.compared);
    match wanted.item {
        Item::Word { transfer, value } => {
            ItemJson::Word { at_ns, transfer, value: format!("{value:x}"), compared }
        }
        Item::Byte { value, fresh } => {
            ItemJson::Byte { at_ns, new: fresh, value: format!("{value:x}"), compared }
        }
        Item::Status(status) => {
            ItemJson::Status { at_ns, value: format!("{:x}", status.to_bits()), compared }
        }
        // Signals stand in a list of their own.
        _ => unreachable!("an answer is a word, a byte or a status"),
    }
}

fn signal_json(window: &Window) -> SignalJson {
    let (kind, transfer) = match window.item {
        Item::Refused { transfer } => ("refused", Some(transfer)),
        Item::Match => ("match", None),
        _ => ("done", None),
    };
    SignalJson { kind, transfer, from_ns: window.from_ns, to_ns: window.to_ns }
}
