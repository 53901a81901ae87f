//! Implementations that crash, abort, hang, end their process or change their mind: the run goes on,
//! and what it says is right.

use crate::start::{run, told};
use serde_json::Value;

/// The one finding of a run with a hostile sample, which must be a stop.
fn stop(folder: &std::path::Path, fault: &str, more: &str) -> Value {
    let line = format!("check sample:hostile+{fault} --case-time 1s --format json {more}");
    let told = told(folder, &line);
    assert_eq!(told.code, 1, "{fault}: {}", told.err);
    let report = told.json();
    assert_eq!(report["verdict"], "deviates", "{fault}");
    let findings = report["findings"].as_array().unwrap();
    assert!(!findings.is_empty(), "{fault}");
    for finding in findings {
        assert_eq!((&finding["rule"], &finding["level"]), (&"stops".into(), &"must".into()));
    }
    report
}

#[test]
fn whatever_ends_its_process_is_a_finding_with_a_small_case_that_replays() {
    for (fault, kinds) in [
        ("null-pointer", &["crashed"][..]),
        ("aborts", &["aborted"]),
        ("overflows-stack", &["crashed", "aborted"]),
        ("scribbles-over-heap", &["crashed", "aborted"]),
        ("exits", &["exited"]),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let report = stop(folder.path(), fault, "--cases 130");
        assert_eq!(report["cases"], 130, "{fault}: the campaign goes on");
        let stopped = report["stopped"].as_u64().unwrap();
        assert!((1..65).contains(&stopped), "{fault}: {stopped}");
        let finding = &report["findings"][0];
        assert!(kinds.contains(&finding["kind"].as_str().unwrap()), "{finding}");
        assert_eq!((&finding["operations"], &finding["channel_bits"]), (&1.into(), &0.into()));
        let file = finding["case"].as_str().unwrap();
        for more in ["--certify", "--trace"] {
            let again =
                told(folder.path(), &format!("replay {file} sample:hostile+{fault} {more}"));
            assert_eq!(again.code, 1, "{fault}: {}", again.err);
            assert!(again.out.contains("What came back\n    nothing: it "), "{}", again.out);
        }
        let small = told(
            folder.path(),
            &format!("minimise {file} sample:hostile+{fault} --out small --format json"),
        );
        assert_eq!(small.json()["findings"][0]["operations"], 1, "{}", small.err);
        // The same case on the correct controller.
        assert_ne!(told(folder.path(), &format!("replay {file} sample:sync-dma")).code, 1);
    }
}

#[test]
fn a_hang_is_a_finding_and_too_many_end_the_campaign() {
    let folder = tempfile::tempdir().unwrap();
    let reports: Vec<Value> = ["--jobs 1", "--jobs 2"]
        .map(|jobs| stop(folder.path(), "loops-for-ever", &format!("--cases 2000 {jobs}")))
        .into();
    assert_eq!(reports[0], reports[1]);
    assert_eq!(reports[0]["findings"][0]["kind"], "endless");
    assert!(reports[0]["given_up"].as_u64() < Some(64), "{}", reports[0]);
    let line = "replay trackproof-out/stops-endless.json sample:hostile+loops-for-ever";
    let again = told(folder.path(), &format!("{line} --case-time 1s"));
    assert_eq!(again.code, 1);
    assert!(again.out.contains("it had not come back after 1 s"), "{}", again.out);
}

#[test]
fn a_fault_that_needs_earlier_cases_keeps_them_and_replays_with_them() {
    let folder = tempfile::tempdir().unwrap();
    let report = stop(folder.path(), "loops-in-thousandth-case", "--cases 1030 --jobs 2");
    assert_eq!((&report["cases"], &report["stopped"]), (&1_030.into(), &Value::Null));
    assert_eq!(report["findings"].as_array().unwrap().len(), 1);
    let finding = &report["findings"][0];
    assert_eq!((&finding["index"], &finding["kind"]), (&999.into(), &"endless".into()));
    let earlier = serde_json::json!({"seed": 1, "first": 0, "count": 999});
    assert_eq!(finding["earlier"], earlier);
    let file = finding["case"].as_str().unwrap();
    let text = std::fs::read_to_string(folder.path().join(file)).unwrap();
    assert_eq!(serde_json::from_str::<Value>(&text).unwrap()["earlier"], earlier);
    let line = format!("replay {file} sample:hostile+loops-in-thousandth-case --case-time 1s");
    let again = told(folder.path(), &line);
    assert_eq!(again.code, 1, "{}", again.err);
    assert!(again.out.contains("Needs      999 earlier cases"), "{}", again.out);
}

#[test]
fn what_comes_and_goes_is_not_reproducible_and_no_deviation() {
    let folder = tempfile::tempdir().unwrap();
    for mode in ["", "--in-process"] {
        let told = told(folder.path(), &format!("check sample:flaky --cases 150 {mode}"));
        assert_eq!(told.code, 6, "{}{}", told.out, told.err);
        assert!(told.out.contains("not shown again by a fresh rig"), "{}", told.out);
    }
}

#[test]
fn the_report_is_the_same_with_and_without_isolation() {
    let folder = tempfile::tempdir().unwrap();
    let line = "check sample:sync-dma+flag-lags --cases 1200 --format json --jobs";
    let isolated = run(folder.path(), &format!("{line} 2"), &[]);
    let inside = run(folder.path(), &format!("{line} 1"), &[("TRACKPROOF_IN_PROCESS", "1")]);
    assert_eq!(isolated.status.code(), Some(1));
    assert_eq!(String::from_utf8_lossy(&isolated.stdout), String::from_utf8_lossy(&inside.stdout));
}

#[test]
fn the_sample_in_rust_conforms_with_and_without_isolation() {
    let folder = tempfile::tempdir().unwrap();
    for profile in ["sync-dma", "byte-stream"] {
        let line =
            format!("check sample:word-reader --cases 300 --format json --profile {profile}");
        let isolated = told(folder.path(), &line);
        let inside = told(folder.path(), &format!("{line} --in-process"));
        assert_eq!((isolated.code, inside.code), (0, 0), "{}{}", isolated.err, inside.err);
        assert_eq!(isolated.out, inside.out);
    }
}
