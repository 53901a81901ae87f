//! Which rules a recording can be held to, by the lines that it has.

use crate::rules::Rule;
use trackproof_contract::{DriveLine, RecordingSetup, SelectUse};

/// A rule, and how far a recording was held to it.
#[derive(Debug, Clone)]
pub struct Coverage {
    /// The rule.
    pub rule: &'static Rule,
    /// How often there was something to look at: writes, openings of the gate, selects, steps.
    pub looked_at: u64,
    /// Why it could not be judged at all.
    pub skipped: Option<SkippedRule>,
}

/// Why a rule was skipped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SkippedRule(pub String);

/// What a rule needs: all of the first lines, and one of the second if there are any.
struct Needs {
    rule: &'static str,
    all: &'static [&'static str],
    any: &'static [&'static str],
}

const STEERING: &[&str] = &["select", "side", "motor-on", "direction", "step"];
const WRITE: &[&str] = &["write-gate", "write-data"];

/// Every rule that a recording can show, in the order of the catalogue.
const NEEDS: &[Needs] = &[
    Needs { rule: "clock.rule", all: WRITE, any: &[] },
    Needs { rule: "run.length", all: WRITE, any: &[] },
    Needs { rule: "mark.pattern", all: WRITE, any: &[] },
    Needs { rule: "gate.quiet", all: &["write-gate"], any: &["select", "write-data"] },
    Needs { rule: "transfer.hold", all: &["write-gate"], any: &["select", "side"] },
    Needs { rule: "write.steady", all: &["write-gate"], any: STEERING },
    Needs { rule: "write.cadence", all: WRITE, any: &[] },
    Needs { rule: "select.exclusive", all: &["select"], any: &[] },
    Needs { rule: "select.break-first", all: &["select"], any: &[] },
    Needs { rule: "drive.step", all: &["step"], any: &[] },
    Needs { rule: "drive.index", all: &["index"], any: &[] },
];

/// How far each rule was judged.
pub(super) fn of(setup: &RecordingSetup, looked_at: impl Fn(&str) -> u64) -> Vec<Coverage> {
    NEEDS
        .iter()
        .map(|needs| {
            let rule = Rule::find(needs.rule).expect("the catalogue has the rules of recordings");
            let skipped = skipped(setup, needs).map(SkippedRule);
            let looked_at = if skipped.is_some() { 0 } else { looked_at(needs.rule) };
            Coverage { rule, looked_at, skipped }
        })
        .collect()
}

fn skipped(setup: &RecordingSetup, needs: &Needs) -> Option<String> {
    let has = |name: &&str| setup.lines.iter().any(|line| line.name() == *name);
    let mut missing: Vec<String> =
        needs.all.iter().filter(|name| !has(name)).map(|name| (*name).to_owned()).collect();
    if !needs.any.is_empty() && !needs.any.iter().any(has) {
        missing.push(needs.any.join(" or "));
    }
    if !missing.is_empty() {
        return Some(format!("not recorded: {}", missing.join(", ")));
    }
    if needs.rule.starts_with("select.") {
        if setup.limits.selects == SelectUse::Independent {
            return Some("the map says that selects are independent".into());
        }
        let selects = setup.lines.iter().filter(|line| matches!(line, DriveLine::Select(_)));
        if selects.count() < 2 {
            return Some("not recorded: a second select".into());
        }
    }
    if needs.rule == "drive.index" && setup.limits.index_permille == 0 {
        return Some("the map gives no index_permille; index is stated and not judged".into());
    }
    None
}
