//! An inference: what was found of every choice, in words, as JSON and as a profile's file.

use super::phrase::{count, grouped};
use super::style::Style;
use crate::infer::{CaseOf, Choice, Inferred};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write;
use trackproof_contract::{KEYS, Profile};

/// The JSON's version; fields are added and never removed.
const FORMAT: u32 = 1;

/// Most values of a key that are listed in the text; all are in the JSON.
const MOST_VALUES: usize = 6;

/// An inference, as far as a report tells of it.
#[derive(Debug, Clone, Copy)]
pub struct InferredReport<'a> {
    /// The implementation, as it was named.
    pub implementation: &'a str,
    /// What was found.
    pub inferred: &'a Inferred,
    /// The file that holds it, and the command line that checks by it, if it could be written.
    pub file: Option<(&'a str, &'a str)>,
    /// The verdict in a word.
    pub verdict: &'a str,
    /// The exit code and what it means.
    pub exit: (u8, &'a str),
}

/// The whole inference.
#[derive(Debug, Clone, Serialize)]
pub struct InferredJson {
    /// The version of this object.
    pub format: u32,
    /// The implementation, as it was named.
    pub implementation: String,
    /// The verdict in a word.
    pub verdict: String,
    /// The base's name.
    pub base: String,
    /// Cases that were judged.
    pub cases: u64,
    /// Of those, the ones that the profile allows.
    pub allowed: u64,
    /// Whether it was ended before all was tried.
    pub cut: bool,
    /// The file that holds the profile.
    pub file: Option<String>,
    /// Every key and its value.
    pub profile: BTreeMap<&'static str, String>,
    /// What was found of every key.
    pub choices: Vec<ChoiceJson>,
    /// What no choice explains.
    pub contradictions: Vec<ContradictionJson>,
}

/// One key.
#[derive(Debug, Clone, Serialize)]
pub struct ChoiceJson {
    /// The key.
    pub key: &'static str,
    /// Its value.
    pub value: String,
    /// Its value in the base.
    pub base: String,
    /// Whether it was not searched.
    pub given: bool,
    /// The values that it cannot have.
    pub refused: Vec<RefusedJson>,
    /// The values that it might have as well.
    pub open: Vec<String>,
}

/// A value that a key cannot have, and the case that refuses it.
#[derive(Debug, Clone, Serialize)]
pub struct RefusedJson {
    /// The value.
    pub value: String,
    /// The case's seed.
    pub seed: u64,
    /// Its index.
    pub index: u64,
}

/// A deviation from the profile that was found.
#[derive(Debug, Clone, Serialize)]
pub struct ContradictionJson {
    /// The rule.
    pub rule: &'static str,
    /// How.
    pub kind: &'static str,
    /// In how many cases.
    pub cases: u64,
    /// The first one's seed.
    pub seed: u64,
    /// Its index.
    pub index: u64,
}

/// The inference as JSON.
#[must_use]
pub fn inferred_json(report: &InferredReport<'_>) -> InferredJson {
    let inferred = report.inferred;
    let choice = |choice: &Choice| ChoiceJson {
        key: choice.key.name,
        value: choice.value.clone(),
        base: choice.base.clone(),
        given: choice.given,
        refused: choice
            .refused
            .iter()
            .map(|(value, case)| RefusedJson {
                value: value.clone(),
                seed: case.seed,
                index: case.index,
            })
            .collect(),
        open: choice.open.clone(),
    };
    InferredJson {
        format: FORMAT,
        implementation: report.implementation.to_owned(),
        verdict: report.verdict.to_owned(),
        base: inferred.base_name.clone(),
        cases: inferred.cases,
        allowed: inferred.allowed,
        cut: inferred.cut,
        file: report.file.map(|(file, _)| file.to_owned()),
        profile: KEYS.iter().map(|key| (key.name, key.text(&inferred.profile))).collect(),
        choices: inferred.choices.iter().map(choice).collect(),
        contradictions: inferred
            .contradictions
            .iter()
            .map(|one| ContradictionJson {
                rule: one.rule.id,
                kind: one.kind,
                cases: one.cases,
                seed: one.first.seed,
                index: one.first.index,
            })
            .collect(),
    }
}

/// The profile that was found as a profile's file: the nearest built-in one, and what differs.
#[must_use]
pub fn inferred_toml(implementation: &str, inferred: &Inferred) -> String {
    let profile = &inferred.profile;
    let nearest = Profile::BUILT_IN
        .into_iter()
        .filter_map(|name| Profile::built_in(name).map(|base| (name, base)))
        .min_by_key(|(_, base)| profile.differences(base).count());
    let (name, base) = nearest.expect("there are built-in profiles");
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(
        text,
        "# Inferred from {} cases of {}.",
        inferred.cases,
        implementation.escape_debug()
    );
    let _ = writeln!(text, "base = \"{name}\"");
    for choice in &inferred.choices {
        let open = open_values(choice);
        if choice.key.code(profile) == choice.key.code(&base) {
            continue;
        }
        let _ = writeln!(text);
        if !choice.refused.is_empty() {
            let _ = writeln!(text, "# {}", settled_by(choice));
        }
        if !open.is_empty() {
            let _ = writeln!(text, "# It might as well be {open}.");
        }
        let value = &choice.value;
        let number = !value.is_empty() && value.bytes().all(|byte| byte.is_ascii_digit());
        // A mask is hex, whatever it looks like.
        let quoted = !number || choice.key.allowed().starts_with("hex");
        let quote = if quoted { "\"" } else { "" };
        let _ = writeln!(text, "{} = {quote}{value}{quote}", choice.key.name);
    }
    text
}

/// The inference in words.
#[must_use]
pub fn inferred(report: &InferredReport<'_>, style: Style) -> String {
    let inferred = report.inferred;
    let mut text = String::new();
    let heading = format!("the choices of {}", report.implementation);
    // Writing to a String cannot fail.
    let _ = writeln!(text, "{}", style.strong(&heading));
    let others = match (inferred.allowed == inferred.cases, inferred.contradictions.is_empty()) {
        (true, _) => "",
        (false, true) => "; the others cannot be judged",
        (false, false) => "; what does not is at the end",
    };
    let (allowed, cases) = (grouped(inferred.allowed), count(inferred.cases, "case"));
    let _ = writeln!(text, "  {allowed} of {cases} fit the profile below{others}");
    if inferred.cut {
        let _ = writeln!(text, "  It was ended early: what follows is what was known by then.");
    }
    let part = |text: &mut String, title: String, rows: Vec<String>| {
        if !rows.is_empty() {
            let _ = writeln!(text, "\n  {}", style.strong(&title));
            rows.iter().for_each(|row| {
                let _ = writeln!(text, "    {row}");
            });
        }
    };
    let rows = |of: &dyn Fn(&Choice) -> bool, row: &dyn Fn(&Choice) -> String| {
        inferred.choices.iter().filter(|choice| of(choice)).map(row).collect::<Vec<_>>()
    };
    part(
        &mut text,
        format!("other than {}", inferred.base_name),
        rows(&Choice::differs, &|choice| {
            let key = format!("{} = {}", choice.key.name, choice.value);
            format!("{key:<36} not {:<16} {}", choice.base, settled_by(choice))
        }),
    );
    part(
        &mut text,
        format!("as {} has it", inferred.base_name),
        rows(&|choice| !choice.differs() && !choice.given && choice.open.is_empty(), &|choice| {
            let key = format!("{} = {}", choice.key.name, choice.value);
            format!("{key:<36} {}", settled_by(choice))
        }),
    );
    part(
        &mut text,
        "open: no case tells them apart".to_owned(),
        rows(&|choice| !choice.open.is_empty(), &|choice| {
            let key = format!("{} = {}", choice.key.name, choice.value);
            format!("{key:<36} or {}", open_values(choice))
        }),
    );
    let given =
        rows(&|choice| choice.given, &|choice| format!("{} = {}", choice.key.name, choice.value));
    part(&mut text, "given, not searched".to_owned(), vec![given.join(", ")]);
    part(
        &mut text,
        style.wrong("what no choice explains"),
        inferred
            .contradictions
            .iter()
            .map(|one| {
                let cases = count(one.cases, "case");
                format!("{}: {} in {cases}, first in {}", one.rule.id, one.kind, name(one.first))
            })
            .collect(),
    );
    if let Some((file, line)) = report.file {
        let _ = writeln!(text, "\n  Profile  {file}\n  Check    {line}");
    }
    let (code, meaning) = report.exit;
    let _ = writeln!(text, "  Verdict  {} (exit code {code}: {meaning})", report.verdict);
    text
}

/// The case that settles a choice: the last one that is needed to refuse all that is refused.
fn settled_by(choice: &Choice) -> String {
    let last = choice.refused.iter().map(|(_, case)| *case).max_by_key(|it| (it.seed, it.index));
    let Some(last) = last else { return String::new() };
    let refused = choice.refused.iter().map(|(value, _)| value.as_str());
    match choice.refused.len() {
        1..=3 => {
            let values: Vec<&str> = refused.collect();
            format!("{} refuses {}", name(last), values.join(", "))
        }
        all => format!("{} refuses the last of {all} others", name(last)),
    }
}

fn name(case: CaseOf) -> String {
    format!("case {} of seed {}", grouped(case.index), case.seed)
}

fn open_values(choice: &Choice) -> String {
    let shown: Vec<&str> = choice.open.iter().take(MOST_VALUES).map(String::as_str).collect();
    let more = choice.open.len() - shown.len();
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{}{more}", shown.join(", "))
}
