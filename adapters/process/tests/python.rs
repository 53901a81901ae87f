//! The reading controller in Python: right by all that is judged, and each of its faults named by a
//! rule that was written down before.

mod interpreter;
mod lifted;

use interpreter::python;
use lifted::rig;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;
use trackproof::examine::Examiner;
use trackproof::generate::Generator;
use trackproof::verdict::Verdict;
use trackproof_contract::{Case, Profile, Recording};

/// Longest case here, in nanoseconds: Python takes a while for each channel bit.
const LONGEST_NS: u64 = 3_000_000;

/// Cases of the right controller, under each profile.
const CASES: usize = 120;

/// Most generated cases until a fault shows under one of its rules.
const UNTIL: usize = 4_000;

/// Most cases of a fault in which the cause is looked for, which takes hundreds of runs.
const CAUSES: usize = 3;

fn script() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../samples/word_reader.py")
}

fn examiner(arguments: &str) -> Examiner {
    Examiner::new(rig(&format!("{} '{}' {arguments}", python(), script().display())))
}

fn short_cases(profile: Profile, examiner: &Examiner) -> impl Iterator<Item = Case> + use<> {
    let (can, lent) = (examiner.capabilities(), examiner.lent());
    let mut generator = Generator::limited_to(profile, can);
    (0..).map(move |index| generator.case(1, index)).filter(move |case| {
        let fits = can.missing(case.needs()).is_empty() && !case.asks_only(lent);
        fits && case.end_ns() < LONGEST_NS
    })
}

#[test]
fn the_sample_conforms_under_both_profiles() {
    for profile in [Profile::sync_dma(), Profile::byte_stream()] {
        let mut examiner = examiner("");
        let mut judged = 0;
        for case in short_cases(profile, &examiner).take(CASES) {
            match examiner.glance(&case).unwrap().verdict {
                Verdict::Conforms => judged += 1,
                Verdict::Deviates(deviation) => {
                    panic!("{}: {}\n{case:#?}", deviation.rule.id, deviation.kind)
                }
                _ => {}
            }
        }
        assert!(judged > CASES * 9 / 10, "{judged} of {CASES}");
    }
}

#[test]
fn each_fault_is_named_by_a_rule_that_was_written_down_before() {
    let output = Command::new("python3").arg(script()).arg("--faults").output().unwrap();
    let list: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let faults = list[0]["faults"].as_array().unwrap();
    assert!(faults.len() >= 6);
    for fault in faults {
        let (name, rules) = (fault["name"].as_str().unwrap(), fault["rules"].as_array().unwrap());
        let mut examiner = examiner(&format!("--fault {name}"));
        let mut others = BTreeSet::new();
        let mut causes = 0;
        let found = short_cases(Profile::sync_dma(), &examiner).take(UNTIL).any(|case| {
            let Verdict::Deviates(mut deviation) = examiner.glance(&case).unwrap().verdict else {
                return false;
            };
            let is_due = |id: &str| rules.iter().any(|rule| *rule == id);
            if !is_due(deviation.rule.id) && causes < CAUSES {
                // What explains it is a better name than where it shows.
                causes += 1;
                if let Verdict::Deviates(cause) = examiner.examine(&case).unwrap().verdict {
                    deviation = cause;
                }
            }
            others.insert(deviation.rule.id);
            is_due(deviation.rule.id)
        });
        assert!(found, "{name}: none of {rules:?}, but {others:?}");
    }
}

/// A separator that a child is, under each recording.
#[test]
fn a_separator_conforms_and_fixed_thresholds_are_told() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (kit, script) = (here.join("python"), here.join("tests/separator.py"));
    let line = |arguments: &str| {
        let (kit, script) = (kit.display(), script.display());
        format!("env PYTHONPATH='{kit}' {} '{script}' {arguments}", python())
    };
    let glance = |arguments: &str, recording| {
        let profile = Profile { recording, ..Profile::sync_dma() };
        let mut examiner = Examiner::new(rig(&line(arguments)));
        let mut generator = Generator::limited_to(profile, examiner.capabilities());
        let names: BTreeSet<_> = (0..400)
            .filter_map(|index| {
                let verdict = examiner.glance(&generator.case(1, index)).unwrap().verdict;
                assert!(!matches!(verdict, Verdict::Skipped(_) | Verdict::Inconclusive(_)));
                verdict.name().map(|(rule, kind)| (rule.id, kind))
            })
            .collect();
        names
    };
    for recording in [Recording::Mfm, Recording::Fm] {
        assert_eq!(glance("", recording), BTreeSet::new(), "{recording:?}");
    }
    let expected = BTreeSet::from([("separator.legal", "pushed-at-changing-speed")]);
    assert_eq!(glance("--thresholds", Recording::Mfm), expected);
}
