//! A finding in full: the rule, the smallest program that breaks it, both sides, how to see it
//! again.

use super::moment::Moment;
use super::phrase::{count, grouped};
use super::style::Style;
use super::{case_text, comparison, flux, showing};
use crate::campaign::Finding;
use crate::cause::{Cause, Hypothesis};
use crate::judge::Judge;
use crate::minimise::{channel_bits, words};
use crate::rules::Level;
use crate::verdict::Deviation;
use similar::{ChangeTag, TextDiff};
use trackproof_contract::{Action, Capabilities, Case, Event, Item, Observation, Profile};
use trackproof_model::reader::rejection::Mismatch;
use trackproof_model::tape::Tape;

/// Right words shown before the first difference.
const WORDS_BEFORE: usize = 2;

/// Most lines of the way to the nearest passing case; a longer way explains nothing.
const NEAREST_LINES: usize = 12;

/// A finding and what its text needs beside it.
#[derive(Debug, Clone, Copy)]
pub struct Shown<'a> {
    /// The finding, with its smallest case.
    pub finding: &'a Finding,
    /// What came back when that case was run.
    pub observation: &'a Observation,
    /// What the implementation can do.
    pub capabilities: Capabilities,
    /// Where the case comes from: `case 17 of seed 1`.
    pub origin: &'a str,
    /// Whether nothing smaller is left to try.
    pub minimised: bool,
    /// The simplest case next to it that conforms.
    pub nearest_passing: Option<&'a Case>,
    /// The command line that shows it again.
    pub again: &'a str,
}

/// The text of a finding.
#[must_use]
pub fn finding(shown: &Shown<'_>, style: Style) -> String {
    let found = shown.finding;
    let case = &found.case;
    let mut judge = Judge::new();
    // For the timeline and the tape; the verdict is the finding's.
    let _ = judge.judge(case, shown.observation, shown.capabilities);

    let mut lines = head(found, style);
    if let Some(flux) = &case.flux {
        section(&mut lines, &title(shown), flux::told(case, flux), style);
    } else {
        section(&mut lines, &title(shown), case_text::program(case), style);
        section(&mut lines, "What is recorded", case_text::media(case), style);
    }
    if let (Some(flux), Some(misreading)) = (&case.flux, found.misreading()) {
        lines.push(String::new());
        lines.push(format!("  {}", style.strong("What came back")));
        lines.extend(flux::misread(case, flux, misreading, style));
    }
    match (found.deviation(), found.stop()) {
        (Some(deviation), _) => {
            let tape = judge.acceptor().tape();
            lines.push(String::new());
            lines.push(format!("  {}", style.strong("What came back")));
            lines.extend(both_sides(shown, deviation, tape, style));
            lines.push(String::new());
            lines.extend(place(shown, deviation, judge.events(), tape));
        }
        (None, Some(stop)) => {
            section(&mut lines, "What came back", vec![format!("nothing: {stop}")], style);
        }
        (None, None) => {}
    }
    if let Some(neighbour) = shown.nearest_passing {
        let way = nearest(case, neighbour);
        if !way.is_empty() {
            section(&mut lines, "The nearest case that conforms", way, style);
        }
    }
    section(&mut lines, "See it again", vec![shown.again.to_owned()], style);
    lines.push(String::new());
    lines.join("\n")
}

fn section(lines: &mut Vec<String>, title: &str, body: Vec<String>, style: Style) {
    lines.push(String::new());
    lines.push(format!("  {}", style.strong(title)));
    lines.extend(body.into_iter().map(|line| format!("    {line}")));
}

fn head(found: &Finding, style: Style) -> Vec<String> {
    let level = match found.rule.level {
        Level::Must => "must",
        Level::Should => "should",
    };
    let mut lines = vec![
        format!("{}  ({level})", style.strong(&format!("{}: {}", found.rule.id, found.kind))),
        format!("  The rule   {}", found.rule.sentence),
        format!("  Catches    {}", found.rule.catches),
        format!("  For users  {}", found.rule.effect),
        format!("  Source     {}", found.rule.source),
    ];
    if let Some(sentence) = found.cause.sentence() {
        lines.push(format!("  Explains   {sentence}"));
    }
    if let Some(earlier) = found.earlier {
        lines.push(format!(
            "  Needs      {earlier}, on the same controller; alone it does not show"
        ));
    }
    if let Cause::Hypothesis(Hypothesis::Key { key, value }) = &found.cause {
        lines.push(format!("  If meant   {}", how_to_mean(key, value, &found.case.profile)));
    }
    lines
}

/// What to do for who means the other choice.
fn how_to_mean(key: &str, value: &str, profile: &Profile) -> String {
    let number = value.bytes().all(|byte| byte.is_ascii_digit());
    let setting = if number { format!("{key} = {value}") } else { format!("{key} = \"{value}\"") };
    let built_in = Profile::BUILT_IN
        .iter()
        .find(|name| Profile::built_in(name).as_ref() == Some(profile))
        .map(|name| format!("base = \"{name}\" and "));
    let base = built_in.unwrap_or_default();
    format!("put {base}{setting} into a profile file and give it with --profile")
}

fn title(shown: &Shown<'_>) -> String {
    let case = &shown.finding.case;
    let size = size(case);
    if case.flux.is_some() {
        let what = if shown.minimised { "The smallest flux" } else { "Flux, not the smallest yet" };
        return format!(
            "{what} ({}; from {})",
            count(size.channel_bits, "channel bit"),
            shown.origin
        );
    }
    let what =
        if shown.minimised { "The smallest program" } else { "A program, not the smallest yet" };
    let numbers = [
        count(size.operations, "operation"),
        count(size.words, "word"),
        match size.channel_bits {
            0 => "nothing recorded".into(),
            bits => count(bits, "channel bit"),
        },
    ];
    format!("{what} ({}; from {})", numbers.join(", "), shown.origin)
}

/// How large a case is, in the numbers of the JSON report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Size {
    pub(super) operations: u64,
    pub(super) words: u64,
    pub(super) channel_bits: u64,
}

pub(super) fn size(case: &Case) -> Size {
    Size {
        operations: case.program.len() as u64,
        words: words(case),
        channel_bits: channel_bits(case),
    }
}

fn both_sides(shown: &Shown<'_>, deviation: &Deviation, tape: &Tape, style: Style) -> Vec<String> {
    let found = shown.finding;
    let profile = &found.case.profile;
    let words = matches!(
        deviation.rejection.mismatch,
        Mismatch::WordValue | Mismatch::WordMissing | Mismatch::WordExtra | Mismatch::WordAfterEnd
    );
    if let Some(medium) = &deviation.medium {
        return comparison::medium(&found.case, medium, style);
    }
    if !words {
        let sides = showing::sides(&found.case, deviation, shown.observation, tape);
        let mark = style.strong("→");
        let mut lines = vec![
            format!("  {mark} allowed  {}", style.right(&sides.allowed)),
            format!("    got      {}", style.wrong(&sides.got)),
        ];
        if let Mismatch::StatusBits { bits } = deviation.rejection.mismatch {
            lines.push(format!("    differs  {}", style.strong(&bits.status().to_string())));
        }
        return lines;
    }
    let items = shown.observation.items.iter().take(deviation.rejection.item);
    let before: Vec<u64> = items
        .filter_map(|seen| match seen.item {
            Item::Word { transfer, value } if Some(transfer) == deviation.transfer => Some(value),
            _ => None,
        })
        .collect();
    let before = &before[before.len().saturating_sub(WORDS_BEFORE)..];
    let mut lines = comparison::words(deviation, before, profile.word_bits, style);
    if let Some(edit) = showing::edit(deviation.edit) {
        lines.push(String::new());
        lines.push(format!("  Looks like {edit}"));
    }
    lines
}

/// When, where and in which state the first difference shows.
fn place(shown: &Shown<'_>, deviation: &Deviation, events: &[Event], tape: &Tape) -> Vec<String> {
    let case = &shown.finding.case;
    let rejection = &deviation.rejection;
    let moment = Moment::at(case, events, rejection.at_ns);
    let mut lines = vec![format!("  Seen at    {}", moment.sentence())];
    if let Some(event) = events.get(rejection.event)
        && let Some(operation) = case.program.get(event.operation as usize)
    {
        let what = match event.action {
            Action::Service { .. } => ": one of its services",
            _ => "",
        };
        let number = grouped(u64::from(event.operation) + 1);
        let text = super::phrase::operation(operation, &case.profile);
        lines.push(format!("  Operation  number {number}, {text}{what}"));
    }
    if matches!(rejection.mismatch, Mismatch::WordValue | Mismatch::WordMissing)
        && let Some(word) = deviation.expected.first()
        && word.bits > 0
        && tape.end_ns(word.end) > 0
    {
        let bit_ns = u64::from(case.profile.channel_bit_ns);
        // The word's last bit is the one whose cell ends there.
        let last = Moment::at(case, events, tape.end_ns(word.end) - bit_ns);
        if let Some((bit, turn)) = last.bit() {
            let first = (bit + turn - (word.bits as u64 - 1) % turn) % turn;
            lines.push(format!(
                "  On track   the right word is channel bits {} to {} of {}",
                grouped(first),
                grouped(bit),
                grouped(turn)
            ));
        }
    }
    lines.push(format!("  State      {}", showing::state(&rejection.state, case)));
    if rejection.states > 1 {
        let others = count(rejection.states as u64 - 1, "other state");
        lines.push(format!("             the closest one; {others} allowed it no more"));
    }
    lines
}

/// What changes from the case to its neighbour, line by line.
fn nearest(case: &Case, neighbour: &Case) -> Vec<String> {
    let told = |case: &Case| {
        let mut lines = match &case.flux {
            Some(flux) => flux::told(case, flux),
            None => case_text::program(case),
        };
        lines.extend(case_text::media(case));
        lines.join("\n") + "\n"
    };
    let (old, new) = (told(case), told(neighbour));
    let diff = TextDiff::from_lines(&old, &new);
    let mut lines = Vec::new();
    for change in diff.iter_all_changes() {
        let sign = match change.tag() {
            ChangeTag::Delete => "-",
            ChangeTag::Insert => "+",
            ChangeTag::Equal => continue,
        };
        lines.push(format!("{sign} {}", change.value().trim()));
    }
    if lines.len() > NEAREST_LINES {
        lines.clear();
    }
    lines
}
