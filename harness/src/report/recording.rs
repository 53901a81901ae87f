//! A recording: what its lines break, what was seen, and what could not be judged; as text and JSON.

use super::phrase::{count, grouped};
use super::style::Style;
use crate::recording::{BitsAround, Fact, Judgement, LineFinding};
use crate::rules::Level;
use serde::Serialize;
use std::fmt::Write;

/// The JSON's version; fields are added and never removed.
const FORMAT: u32 = 1;
/// Rules that speak of what is written, which the host may have given so.
const OF_DATA: [&str; 3] = ["clock.rule", "mark.pattern", "run.length"];
/// What is said of them while no recording has the host's words.
const HOST: &str = "illegal data written. The recording has no words of the host: a controller that \
                    writes channel words as they are given may have been given these";

/// A judged recording, as far as a report tells of it.
#[derive(Debug, Clone, Copy)]
pub struct RecordingReport<'a> {
    /// The recording's file.
    pub file: &'a str,
    /// Its last time.
    pub end_ns: u64,
    /// What it comes to.
    pub judgement: &'a Judgement,
    /// What the reader has to say of the file.
    pub remarks: &'a [String],
    /// The verdict in a word.
    pub verdict: &'a str,
    /// The exit code and what it means.
    pub exit: (u8, &'a str),
}

/// The whole judgement.
#[derive(Debug, Clone, Serialize)]
pub struct RecordingJson {
    /// The version of this object.
    pub format: u32,
    /// The recording's file.
    pub file: String,
    /// Its last time.
    pub end_ns: u64,
    /// The verdict in a word.
    pub verdict: String,
    /// Why too little could be judged.
    pub inconclusive: Option<String>,
    /// What breaks a rule, in the order of time.
    pub findings: Vec<LineFindingJson>,
    /// What was seen and is not judged.
    pub facts: Vec<Fact>,
    /// What the reader has to say of the file.
    pub remarks: Vec<String>,
    /// Every rule of recordings.
    pub rules: Vec<CoverageJson>,
}

/// A finding.
#[derive(Debug, Clone, Serialize)]
pub struct LineFindingJson {
    /// The rule.
    pub rule: &'static str,
    /// How it is broken.
    pub kind: &'static str,
    /// How much the rule weighs.
    pub level: Level,
    /// When, in nanoseconds from the recording's zero.
    pub ns: u64,
    /// On which line.
    pub line: String,
    /// In which write, from 1.
    pub write: Option<u64>,
    /// At which channel bit of the write, from its first transition.
    pub channel_bit: Option<u64>,
    /// What the rule asks for.
    pub expected: String,
    /// What was seen.
    pub got: String,
    /// The channel bits around.
    pub bits: Option<BitsJson>,
    /// How often the same was seen again.
    pub again: u64,
    /// Whether the host may have given it so.
    pub may_be_the_hosts: bool,
}

/// Channel bits around a difference.
#[derive(Debug, Clone, Serialize)]
pub struct BitsJson {
    /// What the code asks for.
    pub expected: Option<String>,
    /// What was written.
    pub got: String,
    /// Which one differs, from 0.
    pub at: usize,
}

/// How far a rule was judged.
#[derive(Debug, Clone, Serialize)]
pub struct CoverageJson {
    /// The rule.
    pub rule: &'static str,
    /// How often there was something to look at.
    pub looked_at: u64,
    /// Why it could not be judged.
    pub skipped: Option<String>,
}

/// The judgement as JSON.
#[must_use]
pub fn recording_json(report: &RecordingReport<'_>) -> RecordingJson {
    let judgement = report.judgement;
    let finding = |finding: &LineFinding| LineFindingJson {
        rule: finding.rule.id,
        kind: finding.kind,
        level: finding.rule.level,
        ns: finding.ns,
        line: finding.line.to_string(),
        write: finding.in_write.map(|place| place.write),
        channel_bit: finding.in_write.map(|place| place.channel_bit),
        expected: finding.expected.clone(),
        got: finding.got.clone(),
        bits: finding.bits.as_ref().map(|bits| BitsJson {
            expected: bits.expected.clone(),
            got: bits.got.clone(),
            at: bits.at,
        }),
        again: finding.again,
        may_be_the_hosts: OF_DATA.contains(&finding.rule.id),
    };
    RecordingJson {
        format: FORMAT,
        file: report.file.to_owned(),
        end_ns: report.end_ns,
        verdict: report.verdict.to_owned(),
        inconclusive: judgement.inconclusive.clone(),
        findings: judgement.findings.iter().map(finding).collect(),
        facts: judgement.facts.clone(),
        remarks: report.remarks.to_vec(),
        rules: judgement
            .coverage
            .iter()
            .map(|of| CoverageJson {
                rule: of.rule.id,
                looked_at: of.looked_at,
                skipped: of.skipped.as_ref().map(|why| why.0.clone()),
            })
            .collect(),
    }
}

/// The judgement for people.
#[must_use]
pub fn recording(report: &RecordingReport<'_>, style: Style) -> String {
    let judgement = report.judgement;
    let mut text = format!("{}, {} ns\n", report.file, grouped(report.end_ns));
    for (number, finding) in (1..).zip(&judgement.findings) {
        text += &told(number, finding, style);
    }
    if judgement.findings.iter().any(|finding| OF_DATA.contains(&finding.rule.id)) {
        let rules = OF_DATA.join(", ");
        // Writing to a String cannot fail.
        let _ = writeln!(text, "\n{rules}: {HOST}.");
    }
    if !(judgement.facts.is_empty() && report.remarks.is_empty()) {
        text += "\nSeen, and held against nobody:\n";
        for fact in &judgement.facts {
            let _ = writeln!(text, "  {}: {}", fact.line, fact.text);
        }
        for remark in report.remarks {
            let _ = writeln!(text, "  {remark}");
        }
    }
    text += "\nRules:\n";
    for of in &judgement.coverage {
        let how = match &of.skipped {
            Some(why) => format!("skipped, {}", why.0),
            None if of.looked_at == 0 => "nothing to look at".into(),
            None => format!("looked at {}", count(of.looked_at, "time")),
        };
        let _ = writeln!(text, "  {:<18}  {how}", of.rule.id);
    }
    if let Some(why) = &judgement.inconclusive {
        let _ = writeln!(text, "\nToo little could be judged: {why}.");
    }
    let (code, meaning) = report.exit;
    let _ = writeln!(text, "\n{} (exit code {code}: {meaning})", style.strong(report.verdict));
    text
}

fn told(number: usize, finding: &LineFinding, style: Style) -> String {
    let name = style.strong(&format!("{}: {}", finding.rule.id, finding.kind));
    let mut place = format!("at {} ns on {}", grouped(finding.ns), finding.line);
    if let Some(of) = finding.in_write {
        place += &format!(", write {}, channel bit {}", grouped(of.write), grouped(of.channel_bit));
    }
    if finding.again > 0 {
        place += &format!("; {} more later", grouped(finding.again));
    }
    let mut text = format!(
        "\n{number}. {name}\n   {}\n   {place}\n   expected  {}\n   got       {}\n",
        finding.rule.sentence,
        style.right(&finding.expected),
        style.wrong(&finding.got),
    );
    if let Some(bits) = &finding.bits {
        text += &around(bits);
    }
    text
}

/// Both sides in bit cells, clock and data bit together, and a mark below the first difference.
fn around(bits: &BitsAround) -> String {
    let spaced = |bits_of: &str| {
        let mut text = String::new();
        for (place, sign) in bits_of.chars().enumerate() {
            if place > 0 && place % 2 == bits.first_clock {
                text.push(' ');
            }
            text.push(sign);
        }
        text
    };
    let mut text = String::new();
    if let Some(expected) = &bits.expected {
        let _ = writeln!(text, "   expected  {}", spaced(expected));
    }
    let _ = writeln!(text, "   got       {}", spaced(&bits.got));
    let mark = spaced(&bits.got[..=bits.at]).len() - 1;
    let _ = writeln!(text, "             {}^", " ".repeat(mark));
    text
}
