//! Exit codes, streams, variables.

use crate::start::{library, run, told};
use std::process::Output;

/// Checks code and a part of standard error.
fn check(line: &str, variables: &[(&str, &str)], code: i32, error: &str) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let output = run(folder.path(), line, variables);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{line}: {said}");
    assert!(said.contains(error), "{line}: {said}");
    output
}

#[test]
fn a_bad_variable_is_named_and_a_flag_beats_it() {
    for (variable, value, line) in [
        ("TRACKPROOF_SEED", "x", "check sample:sync-dma"),
        ("TRACKPROOF_CASES", "-1", "check sample:sync-dma"),
        ("TRACKPROOF_JOBS", "0", "check sample:sync-dma"),
        ("TRACKPROOF_FOR", "10", "check sample:sync-dma"),
        ("TRACKPROOF_RULE", "sync.never", "check sample:sync-dma"),
        ("TRACKPROOF_FORMAT", "xml", "samples"),
    ] {
        check(line, &[(variable, value)], 2, &format!("variable {variable} has a bad value"));
    }
    check("check sample:sync-dma", &[("TRACKPROOF_PROFILE", "none")], 2, "profile `none`");
    let variables = [("TRACKPROOF_SEED", "x"), ("TRACKPROOF_CASES", "5")];
    let output = check("check sample:sync-dma --seed 3 --format json", &variables, 0, "5 cases");
    assert!(String::from_utf8_lossy(&output.stdout).starts_with("{\"verdict\":\"conforms\""));
}

#[test]
fn what_cannot_be_used_is_said_in_one_error_with_its_code() {
    for (line, code, error) in [
        ("check sample:none", 2, "there is sync-dma"),
        ("check sample:sync-dma+none", 2, "has no fault `none`"),
        ("check sample:word-reader+none", 2, "it is correct and has none"),
        ("check lib:none.so", 2, "no such file"),
        ("check rust:mine", 2, "no implementation of its own"),
        ("check nothing:x", 2, "an implementation is"),
        ("check cmd:nothing-there", 2, "cmd: nothing-there: "),
        ("check sample:sync-dma --cases 0", 4, "0 cases"),
        ("replay none.json sample:sync-dma", 2, "none.json: cannot open"),
        ("replay . sample:sync-dma --trace --format json", 2, "--trace"),
        ("rules explain sync.never", 2, "there is sync.start"),
    ] {
        check(line, &[], code, error);
    }
}

#[test]
fn a_file_that_is_no_library_is_the_adapters_fault() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("x.so"), "no library").unwrap();
    let output = run(folder.path(), "check lib:x.so", &[]);
    assert_eq!(output.status.code(), Some(7));
}

#[test]
fn a_finding_is_written_replayed_certified_and_conforms_without_the_fault() {
    let folder = tempfile::tempdir().unwrap();
    let started = |line: &str| {
        let told = told(folder.path(), line);
        (told.code, told.out, told.err)
    };
    let (code, report, said) =
        started("check sample:sync-dma+flag-lags --cases 1200 --jobs 1 --format json");
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("found sync.flag: wrong-flag, case "), "{said}");
    let report: serde_json::Value = serde_json::from_str(&report).unwrap();
    let findings = report["findings"].as_array().unwrap();
    let finding = findings.iter().find(|finding| finding["rule"] == "sync.flag").unwrap();
    assert_eq!(finding["level"], "must");
    let file = finding["case"].as_str().unwrap();
    let (code, told, _) = started(&format!("replay {file} sample:sync-dma+flag-lags --certify"));
    assert_eq!(code, 1);
    assert!(told.contains("certified: none of"), "{told}");
    let (code, told, _) = started(&format!("replay {file} sample:sync-dma --trace"));
    assert_eq!(code, 0);
    assert!(told.contains("phase, sync, transfer") && told.contains("conforms"), "{told}");
    // Under another profile it is another case, and the user has to say so.
    let (code, told, said) =
        started(&format!("minimise {file} sample:sync-dma+flag-lags --out small --format json"));
    assert_eq!(code, 1, "{said}");
    assert!(told.contains("small/sync.flag-wrong-flag.json"), "{told}");
}

#[test]
fn the_report_is_the_same_for_any_number_of_jobs_and_an_unwritable_folder_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let line = "check sample:sync-dma+flag-lags --cases 1000 --jobs";
    let one = run(folder.path(), &format!("{line} 1"), &[]);
    let two = run(folder.path(), &format!("{line} 2"), &[]);
    assert_eq!(one.status.code(), Some(1));
    assert_eq!(String::from_utf8_lossy(&one.stdout), String::from_utf8_lossy(&two.stdout));
    std::fs::write(folder.path().join("taken"), "").unwrap();
    let lost = run(folder.path(), &format!("{line} 2 --out taken"), &[]);
    assert_eq!(lost.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&lost.stderr).contains("\"rule\": \"sync.flag\""));
}

#[test]
fn an_implementation_that_can_do_nothing_has_not_passed() {
    let (folder, name) = library(&[("CAPABILITIES", "0"), ("POWER_UP", "return TP_OK;")]);
    let human = told(folder.path(), &format!("check lib:{name} --cases 2000"));
    assert_eq!(human.code, 4, "{}", human.out);
    assert!(human.out.contains("name in the capabilities what the controller can do"));
    assert!(human.out.contains("Words    none") && !human.out.contains('%'), "{}", human.out);
    let json = told(folder.path(), &format!("check lib:{name} --cases 2000 --format json")).json();
    assert_eq!(json["verdict"], "nothing-judged");
    assert!(json["judged"].as_u64() > Some(0) && json["unique_share"].is_null(), "{json}");
    // What one case lacks counts for each capability, the case itself once.
    let lacking: u64 =
        json["skipped"].as_array().unwrap().iter().filter_map(|s| s["cases"].as_u64()).sum();
    assert!(lacking > json["skipped_cases"].as_u64().unwrap(), "{json}");
}

#[test]
fn findings_are_filtered_by_the_rule_that_they_settle_under() {
    let folder = tempfile::tempdir().unwrap();
    let line = "check sample:sync-dma+flag-lags --cases 400 --format json";
    let all = told(folder.path(), line).json();
    let one = told(folder.path(), &format!("{line} --rule sync.flag"));
    assert_eq!(one.code, 1);
    let report = one.json();
    assert_eq!(report["digest"], all["digest"]);
    assert_eq!(report["rules"], serde_json::json!(["sync.flag"]));
    assert!(report["findings"].as_array().unwrap().iter().all(|one| one["rule"] == "sync.flag"));
    let other = told(folder.path(), &format!("{line} --rule byte.poll"));
    assert_eq!((other.code, &other.json()["verdict"]), (0, &"other-rules-deviate".into()));
    assert_eq!(other.json()["findings"], serde_json::json!([]));
    assert_eq!(other.json()["other_findings"][0]["rule"], "sync.flag");
    let human = told(folder.path(), "check sample:sync-dma+flag-lags --cases 400 --rule byte.poll");
    assert!(human.out.contains("Rules    byte.poll; 1 finding of other rules"), "{}", human.out);
    assert!(human.out.contains("no rule that was asked for is broken"), "{}", human.out);
}
