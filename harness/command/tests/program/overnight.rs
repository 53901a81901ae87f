//! `overnight`: what it finds, what it leaves, and that it goes on from whatever is in its folder.

use crate::start::{Told, command, told};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Stdio;
use std::thread::sleep;
use std::time::Duration;
use trackproof::case_file::CaseFile;

/// A fault that shows in nearly every case and settles in a moment.
const QUICK: &str = "sample:sync-dma+done-twice";

/// A sample that needs no file of its own.
const RUST: &str = "sample:word-reader";

fn overnight(folder: &Path, line: &str) -> Told {
    told(folder, &format!("overnight {line} --out night --jobs 2"))
}

fn summary(folder: &Path) -> Value {
    serde_json::from_slice(&fs::read(folder.join("night/summary.json")).unwrap()).unwrap()
}

/// Every case file, whole.
fn cases(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder.join("night/cases"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "json"))
        .map(|path| {
            CaseFile::read(&path).unwrap_or_else(|error| panic!("{error}"));
            path.file_name().unwrap().to_string_lossy().into_owned()
        })
        .collect();
    names.sort();
    names
}

#[test]
fn a_fault_is_a_group_with_a_small_case_that_replays() {
    let folder = tempfile::tempdir().unwrap();
    let told = overnight(folder.path(), &format!("{QUICK} --for 6s"));
    assert_eq!(told.code, 1, "{}", told.err);
    assert!(told.out.contains("transfer.done: not-due"), "{}", told.out);
    assert!(told.out.contains("perhaps completion is signalled twice"), "{}", told.out);
    let summary = summary(folder.path());
    assert_eq!((&summary["verdict"], &summary["exit"]), (&"deviates".into(), &1.into()));
    let group = &summary["groups"][0];
    assert_eq!((&group["rule"], &group["kind"]), (&"transfer.done".into(), &"not-due".into()));
    let case = group["cases"][0].as_str().unwrap();
    let replay = crate::start::told(folder.path(), &format!("replay night/{case} {QUICK}"));
    assert_eq!(replay.code, 1, "{}", replay.err);
    assert!(CaseFile::read(&folder.path().join("night").join(case)).unwrap().minimised);
    let junit = fs::read_to_string(folder.path().join("night/junit.xml")).unwrap();
    assert!(junit.contains("name=\"transfer.done\"") && junit.contains("<failure"), "{junit}");
    for file in ["summary.txt", "log.txt", "run.json"] {
        assert!(folder.path().join("night").join(file).exists(), "{file}");
    }
    // What is known is no failure: the same folder, with nothing left to search.
    let known = "[[known]]\nrule = \"transfer.done\"\nkind = \"not-due\"\nprofile = \"sync-dma\"\n\
                 reason = \"first series\"\n";
    fs::write(folder.path().join("known.toml"), known).unwrap();
    let again = overnight(folder.path(), &format!("{QUICK} --for 6s --known known.toml"));
    assert!(again.out.contains("Known    transfer.done: not-due; first series"), "{}", again.out);
    assert!(!again.out.contains("1. "), "{}", again.out);
}

#[test]
fn a_correct_implementation_conforms_with_its_reach_and_an_estimate() {
    let folder = tempfile::tempdir().unwrap();
    let told = overnight(folder.path(), &format!("{RUST} --for 5s --format json"));
    assert_eq!(told.code, 0, "{}", told.err);
    let report = told.json();
    assert_eq!((&report["verdict"], &report["complete"]), (&"conforms".into(), &true.into()));
    assert!(report["groups"].as_array().unwrap().is_empty());
    assert!(report["reach"]["aligned-match"].as_u64().unwrap() > 0);
    assert!(report["corpus"].as_u64().unwrap() > 20, "{}", report["corpus"]);
    let more = &report["more"];
    assert!(more["sample"].as_u64().unwrap() > 100 && more["ahead"] == 100_000, "{more}");
    assert!((0.0..=1.0).contains(&more["within"].as_f64().unwrap()), "{more}");
}

#[test]
#[cfg(unix)]
fn a_run_that_is_killed_goes_on_and_loses_nothing_that_it_found() {
    let folder = tempfile::tempdir().unwrap();
    let mut found = Vec::new();
    for after_ms in [1_500, 2_200] {
        let line = format!("overnight {QUICK} --for 9s --out night --jobs 2");
        let mut child = command(folder.path(), &line, &[]);
        let mut child = child.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        sleep(Duration::from_millis(after_ms));
        child.kill().unwrap();
        child.wait().unwrap();
        found.extend(cases(folder.path()));
    }
    let streams = |folder: &Path| fs::read_dir(folder.join("night/corpus")).unwrap().count();
    let before = streams(folder.path());
    assert!(before > 0 && !found.is_empty(), "{before} streams, {found:?}");
    let told = overnight(folder.path(), &format!("{QUICK} --for 9s"));
    assert_eq!(told.code, 1, "{}", told.err);
    assert!(told.err.contains("goes on behind"), "{}", told.err);
    assert!(streams(folder.path()) >= before);
    let summary = summary(folder.path());
    assert_eq!((&summary["complete"], &summary["searched_s"]), (&true.into(), &9.into()));
    assert_eq!(summary["groups"][0]["rule"], "transfer.done");
    // A second start has nothing to search, and says the same.
    let again = overnight(folder.path(), &format!("{QUICK} --for 9s --format json"));
    assert_eq!(again.code, 1, "{}", again.err);
    assert_eq!(again.json()["groups"][0]["rule"], "transfer.done");
}

#[test]
fn foreign_and_damaged_files_are_told_and_left_as_they_are() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(overnight(folder.path(), &format!("{RUST} --for 2s")).code, 0);
    let night = folder.path().join("night");
    let foreign = [
        ("corpus/holiday.txt", b"not a stream of choices".to_vec()),
        ("corpus/large", vec![7; 70_000]),
        ("cases/torn.json", b"{\"format\": 1, \"rule\"".to_vec()),
        ("cases/notes.txt", b"buy floppies".to_vec()),
    ];
    for (name, bytes) in &foreign {
        fs::write(night.join(name), bytes).unwrap();
    }
    fs::create_dir(night.join("corpus/folder")).unwrap();
    fs::write(night.join("run.json"), b"{\"format\":1,\"version\":\"").unwrap();
    let told = overnight(folder.path(), &format!("{RUST} --for 3s"));
    assert_eq!(told.code, 0, "{}", told.err);
    for word in
        ["large: passed over", "torn.json: passed over", "folder: passed over", "begin anew"]
    {
        assert!(told.err.contains(word), "no `{word}`: {}", told.err);
    }
    for (name, bytes) in &foreign {
        assert_eq!(&fs::read(night.join(name)).unwrap(), bytes, "{name}");
    }
    assert!(night.join("run.damaged.json").exists());
}

#[test]
fn the_folder_of_another_run_is_refused_and_left_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(overnight(folder.path(), &format!("{RUST} --for 1s")).code, 0);
    let record = folder.path().join("night/run.json");
    let text = fs::read_to_string(&record).unwrap();
    for (line, word) in [
        (format!("{QUICK} --for 1s"), "its implementation is sample:word-reader"),
        (format!("{RUST} --for 1s --seed 2"), "its seed is 1"),
    ] {
        let told = overnight(folder.path(), &line);
        assert_eq!(told.code, 2, "{}", told.err);
        assert!(told.err.contains(word) && told.err.contains("--out"), "{}", told.err);
        assert_eq!(fs::read_to_string(&record).unwrap(), text);
    }
    let older = text.replacen("\"version\":\"", "\"version\":\"0.0.", 1);
    fs::write(&record, &older).unwrap();
    let told = overnight(folder.path(), &format!("{RUST} --for 1s"));
    assert_eq!(told.code, 2, "{}", told.err);
    assert!(told.err.contains("its version is `0.0."), "{}", told.err);
    assert_eq!(fs::read_to_string(&record).unwrap(), older);
    fs::write(folder.path().join("file"), "").unwrap();
    let told = crate::start::told(folder.path(), &format!("overnight {RUST} --for 1s --out file"));
    assert_eq!(told.code, 2, "{}", told.err);
    assert!(told.err.contains("cannot make the folder"), "{}", told.err);
}

/// A limit on the size of files is met as a full disk is: writing fails, at any moment.
#[test]
#[cfg(target_os = "linux")]
fn a_full_disk_is_told_and_ends_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let program = env!("CARGO_BIN_EXE_trackproof");
    let line = format!(
        "trap '' XFSZ; ulimit -f 0; exec {program} overnight {RUST} --for 3s --out night --jobs 1"
    );
    let mut shell = std::process::Command::new("sh");
    let output = shell.args(["-c", &line]).current_dir(folder.path()).output().unwrap();
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{err}");
    assert!(err.contains("cannot be written"), "{err}");
    let out = String::from_utf8_lossy(&output.stdout);
    assert!(out.contains("Trouble") && out.contains("points in 20 cases"), "{out}");
}
