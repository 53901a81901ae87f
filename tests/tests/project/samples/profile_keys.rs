//! What tells one choice of a profile from another: a table, and the proof of each of its rows.
//!
//! The table names, for every key and value but the default's own, the rule that tells an
//! implementation of that value from the default, or why none can. The default is the built-in
//! profile `sync-dma`. A row is proved with the sample `sync-dma`, which takes any profile: told
//! to choose the row's value it conforms to the row's profile, and held to the default's it
//! deviates by that rule, or, where the table says that nothing tells the two apart, conforms.

use super::choosing::choosing;
use std::sync::atomic::AtomicBool;
use trackproof::campaign::{Finding, Plan, Summary, run};
use trackproof::examine::Examiner;
use trackproof::rules::Rule;
use trackproof::verdict::Verdict;
use trackproof_contract::{KEYS, Key, Profile, Rig};
use trackproof_samples::OpenSample;

/// What tells a row's value from the default.
#[derive(Debug, Clone, Copy)]
enum Told {
    /// A deviation from this rule.
    By(&'static str),
    /// Nothing: an implementation of either value conforms to both, and why.
    Not(&'static str),
    /// Nothing that the controller does: the key is the host's, and why.
    ByHost(&'static str),
}
use Told::{By, ByHost, Not};

type Setting = (&'static str, &'static str);

/// One value of a key.
#[derive(Debug, Clone, Copy)]
struct Row {
    key: &'static str,
    value: &'static str,
    /// Other keys that the implementation chooses along with it: what it asks for.
    along_with: &'static [Setting],
    /// Keys that are otherwise on both sides: where it shows.
    beside: &'static [Setting],
    told: Told,
}

impl Row {
    const fn along_with(self, along_with: &'static [Setting]) -> Self {
        Self { along_with, ..self }
    }

    const fn beside(self, beside: &'static [Setting]) -> Self {
        Self { beside, ..self }
    }

    fn name(&self) -> String {
        let others = |word: &str, settings: &[Setting]| -> String {
            settings.iter().map(|(key, value)| format!(", {word} {key} = {value}")).collect()
        };
        format!(
            "{} = {}{}{}",
            self.key,
            self.value,
            others("along with", self.along_with),
            others("beside", self.beside)
        )
    }

    /// The profile that the value is told from.
    fn default_side(&self) -> Profile {
        with(&Profile::sync_dma(), self.beside)
    }

    /// The profile that has the value.
    fn own_side(&self) -> Profile {
        with(&with(&self.default_side(), self.along_with), &[(self.key, self.value)])
    }
}

const fn row(key: &'static str, value: &'static str, told: Told) -> Row {
    Row { key, value, along_with: &[], beside: &[], told }
}

const VERBATIM: &str = "it speaks of clock bits, and of channel words none are made";
const WIDER: &str = "it only permits what the implementation need not do";
const SEPARATORS: &str = "what a data separator states of itself, and no controller uses";
const WITHIN: &str = "it only promises what the default permits";

const TABLE: &[Row] = &[
    row("recording", "fm", Not("the reader works on channel bits, whatever their code")),
    row("channel_bit_ns", "1000", By("raw.contiguous")),
    row("register_bits", "8", By("sync.source")).beside(&[("sync_mask", "ff")]),
    row("register_bits", "32", By("sync.phase")),
    row("word_bits", "8", By("raw.contiguous")),
    row("word_bits", "32", By("raw.contiguous")),
    row("sync_mask", "fff0", By("sync.start")),
    row("start_match", "deliver", By("sync.start")),
    row("aligned_match", "drop", By("sync.double")),
    row("misaligned_match", "realign-deliver", By("sync.realign")),
    row("misaligned_match", "ignore", By("sync.realign")),
    row("partial", "pad-low", By("sync.realign")),
    row("partial", "pad-low", By("sync.realign"))
        .beside(&[("misaligned_match", "realign-deliver")]),
    row("partial", "finish", By("sync.realign")),
    row("partial", "finish", By("sync.realign")).beside(&[("misaligned_match", "realign-deliver")]),
    row("realign", "first", By("sync.realign")),
    row("realign", "never", By("sync.realign")),
    row("refractory", "7", By("sync.overlap")),
    row("refractory", "20", By("sync.overlap")),
    row("slack_min", "1", Not(WITHIN)),
    row("slack_min", "3", Not(WITHIN)).beside(&[("slack_max", "5")]),
    row("slack_max", "0", Not(WITHIN)),
    row("slack_max", "5", Not(WIDER)),
    row("slack_max", "32", Not(WIDER)),
    row("slack_max", "5", By("raw.contiguous")).along_with(&[("slack_min", "3")]),
    row("counter", "zeroed-at-start", By("raw.contiguous")),
    row("latch_words", "1", By("raw.fresh")),
    row("flag_when_off", "yes", By("sync.flag")),
    row("sync_write", "halves", Not(WIDER)),
    row("sync_on_live", "next-transfer", By("sync.change")),
    row("sync_off_waiting", "wait", By("sync.change")),
    row("flag", "latched-clear-on-read", By("sync.flag")),
    row("flag", "latched-clear-on-start", By("sync.flag")),
    row("flag", "event", By("sync.flag")),
    row("poll_jitter", "0", Not(WITHIN)),
    row("poll_jitter", "1000", Not(WIDER)),
    row("straddle", "allowed", By("sync.source")),
    row("byte_port", "no", By("byte.poll")),
    row("byte", "data-8", By("byte.poll")),
    row("fifo_words", "1", By("transfer.stall")),
    row("fifo_words", "2", By("transfer.stall")),
    row("fifo_words", "8", By("transfer.stall")),
    row("overrun", "lose-old", By("transfer.stall")),
    row("overrun", "stop", By("transfer.stall")),
    row("underrun", "repeat", By("transfer.stall")),
    row("underrun", "close-gate", By("transfer.stall")),
    row("underrun", "hold", By("transfer.stall")),
    row("error_flag", "none", By("transfer.stall")),
    row("error_flag", "per-transfer", By("transfer.stall")),
    row("service", "slots(64000,2)", ByHost("when the bus is given is not the controller's")),
    row("read_done", "last-completed", By("transfer.done")),
    row("write_done", "last-fetched", By("transfer.done")),
    row("write_done", "last-bit", Not(WITHIN)),
    row("done_latency", "0", Not(WITHIN)),
    row("done_latency", "50", Not(WIDER)),
    row("start_busy", "replace", By("transfer.rearm")),
    row("start_busy", "error", By("transfer.rearm")),
    row("zero_words", "maximum", By("transfer.count")),
    row("max_words", "20", Not("no request names more words than its profile has")),
    row("max_words", "20", By("transfer.done")).beside(&[("zero_words", "maximum")]),
    row("read_join", "yes", Not("a counter that runs free joins reads by itself")),
    row("read_join", "yes", By("transfer.split")).beside(&[("counter", "zeroed-at-start")]),
    row("write_join", "yes", Not(VERBATIM)),
    row("abort_to_gate", "0", Not(WITHIN)),
    row("reset_clears_register", "yes", By("reset.clean")),
    row("no_drive_read", "ones", By("select.answer")),
    row("no_drive_read", "noise", By("raw.contiguous")),
    row("no_drive_read", "nothing", By("select.answer")),
    row("write_unit", "data-bytes", By("write.verbatim")),
    row("first_context", "1", Not(VERBATIM)),
    row("first_context", "last", Not(VERBATIM)),
    row("gate_lead", "8", By("write.start")),
    row("match_to_write", "16", By("write.start")),
    row("match_jitter", "0", Not(WITHIN)),
    row("match_jitter", "4", Not(WIDER)),
    row("index_edge", "trailing", By("write.start")),
    row("lost_tail", "8", By("write.words")),
    row("tail_pulse", "yes", By("write.guard")),
    row("gate_off_min", "1", Not(WITHIN)),
    row("gate_off_max", "0", Not(WITHIN)),
    row("gate_off_max", "9", Not(WIDER)),
    row("splice_guard", "0,0,0,0", Not(WITHIN)),
    row("checks_protect", "yes", By("transfer.done")),
    row("window", "40", Not(SEPARATORS)),
    row("rate_limit", "6", Not(SEPARATORS)),
    row("lock_bits", "48", Not(SEPARATORS)),
];

/// Rows that must be told at the least.
const LEAST_TOLD: usize = 20;

/// Cases that the search for a told row's deviation runs, more and more until there is one.
const SEARCHED: [u64; 4] = [250, 1_000, 4_000, 20_000];

/// Any fixed one.
const SEED: u64 = 3;

fn key(name: &str) -> &'static Key {
    Profile::key(name).expect("a key of the profile")
}

fn with(profile: &Profile, settings: &[Setting]) -> Profile {
    let mut profile = profile.clone();
    for (name, value) in settings {
        key(name).set_text(&mut profile, value).expect("a value of the key");
    }
    profile
}

fn sample() -> OpenSample {
    trackproof_samples::find("sync-dma").unwrap().open(&[]).unwrap()
}

/// Runs a campaign on the sample choosing `chosen`, held to `held_to`.
fn campaign(sample: &OpenSample, chosen: &Profile, held_to: &Profile, cases: u64) -> Summary {
    let plan = Plan { profile: held_to.clone(), seed: SEED, cases, deadline: None, jobs: 2 };
    let factory = || Ok(Box::new(choosing(sample, chosen)) as Box<dyn Rig>);
    run(&plan, &factory, &AtomicBool::new(false), &|_| {}).unwrap()
}

fn names(findings: &[Finding]) -> Vec<(&str, &str, u64)> {
    findings.iter().map(|finding| (finding.rule.id, finding.kind, finding.index)).collect()
}

/// Each row's own side conforms in `cases` cases.
fn check_own_side(cases: u64) {
    let sample = sample();
    let mut failed = Vec::new();
    for row in TABLE {
        let own = row.own_side();
        // Where bits are free all of their values live on, and a case takes its time.
        let cases = if row.value == "noise" { cases / 10 } else { cases };
        let summary = campaign(&sample, &own, &own, cases);
        if !summary.findings.is_empty() {
            failed.push(format!("{}: {:?}", row.name(), names(&summary.findings)));
        }
        if summary.judged * 10 < summary.cases * 9 {
            let Summary { judged, cases, .. } = summary;
            failed.push(format!("{}: {judged} of {cases} cases judged", row.name()));
        }
    }
    assert!(failed.is_empty(), "{failed:#?}");
}

/// The default side of a row that is not told conforms in `cases` cases.
fn check_untold(cases: u64) {
    let sample = sample();
    let mut failed = Vec::new();
    for row in TABLE {
        let Not(why) = row.told else { continue };
        let summary = campaign(&sample, &row.own_side(), &row.default_side(), cases);
        if !summary.findings.is_empty() {
            let found = names(&summary.findings);
            failed.push(format!("{}: not told, as {why}, but: {found:?}", row.name()));
        }
    }
    assert!(failed.is_empty(), "{failed:#?}");
}

#[test]
fn every_value_of_every_key_but_the_defaults_own_has_a_row() {
    let default = Profile::sync_dma();
    for key in KEYS {
        let rows: Vec<&Row> = TABLE.iter().filter(|row| row.key == key.name).collect();
        assert!(!rows.is_empty(), "{} has no row", key.name);
        for row in &rows {
            assert_ne!(row.value, key.text(&default), "{} is the default", row.name());
            row.default_side().validate().unwrap_or_else(|e| panic!("{}: {e}", row.name()));
            row.own_side().validate().unwrap_or_else(|e| panic!("{}: {e}", row.name()));
        }
        // Choices name their values; numbers are described, and their rows are examples.
        for value in key.allowed().split(" | ") {
            if key.set_text(&mut default.clone(), value).is_ok() && value != key.text(&default) {
                let has_row = rows.iter().any(|row| row.value == value);
                assert!(has_row, "{} = {value} has no row", key.name);
            }
        }
    }
    for row in TABLE {
        key(row.key);
        match row.told {
            By(rule) => assert!(Rule::find(rule).is_some(), "{}: no rule {rule}", row.name()),
            Not(why) | ByHost(why) => assert!(!why.is_empty()),
        }
    }
    let told = TABLE.iter().filter(|row| matches!(row.told, By(_))).count();
    assert!(told >= LEAST_TOLD, "{told} rows are told");
}

#[test]
fn an_implementation_of_any_value_conforms_to_it() {
    check_own_side(600);
}

/// Values that bear on each other: each alone conformed where these together were accused.
const TOGETHER: &[&[(&str, &str)]] = &[
    &[("gate_lead", "4"), ("match_to_write", "5")],
    &[
        ("gate_lead", "4"),
        ("fifo_words", "1"),
        ("underrun", "close-gate"),
        ("service", "slots(64000,2)"),
    ],
    &[("partial", "finish"), ("fifo_words", "1"), ("overrun", "lose-old")],
    &[("partial", "pad-low"), ("fifo_words", "1"), ("misaligned_match", "realign-deliver")],
];

#[test]
fn an_implementation_of_several_values_conforms_to_them() {
    let sample = sample();
    for values in TOGETHER {
        let mut profile = Profile::sync_dma();
        for (name, value) in *values {
            key(name).set_text(&mut profile, value).unwrap();
        }
        profile.validate().unwrap();
        let summary = campaign(&sample, &profile, &profile, 1_000);
        assert!(summary.findings.is_empty(), "{values:?}: {:?}", names(&summary.findings));
        assert!(summary.judged * 10 >= summary.cases * 9, "{values:?}: {} judged", summary.judged);
    }
}

#[test]
#[ignore = "long suite"]
fn an_implementation_of_any_value_conforms_to_it_in_many_cases() {
    check_own_side(20_000);
}

#[test]
fn an_implementation_of_another_value_deviates_by_the_rule_that_tells_it() {
    let sample = sample();
    for row in TABLE {
        let By(rule) = row.told else { continue };
        let (own, default) = (row.own_side(), row.default_side());
        let told = SEARCHED.iter().any(|cases| {
            let findings = campaign(&sample, &own, &default, *cases).findings;
            let mut examiner = Examiner::new(Box::new(choosing(&sample, &own)));
            // The name that a report would have: of what explains the deviation.
            findings.iter().any(|finding| {
                let examined = examiner.examine(&finding.case).unwrap();
                matches!(examined.verdict, Verdict::Deviates(found) if found.rule.id == rule)
            })
        });
        assert!(told, "{}: nothing deviates by {rule}", row.name());
    }
}

#[test]
fn an_implementation_of_a_value_that_is_not_told_conforms_to_the_default() {
    check_untold(1_500);
}

#[test]
#[ignore = "long suite"]
fn an_implementation_of_a_value_that_is_not_told_conforms_to_the_default_in_many_cases() {
    check_untold(20_000);
}
