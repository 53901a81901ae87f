//! Cores in Verilog: the samples and some of their faults, built by the script that users run.
//! `adapters/rtl/check.sh` goes through all faults.

use crate::start::{root, told};
use std::path::Path;
use std::process::{Command, Output};

/// Cases of a run. Of a track writer's one in fifteen is judged.
const READER_CASES: u32 = 400;
const WRITER_CASES: u32 = 1_500;

fn build(words: &[&str]) -> Output {
    let script = root().join("adapters/rtl/build.sh");
    Command::new("bash").arg(script).args(words).output().unwrap()
}

/// Builds a sample, with a fault perhaps; what Verilator itself needs is compiled once.
fn sample(folder: &Path, part: &str, fault: Option<&str>) -> String {
    let library = folder.join(format!("{part}-{}.so", fault.unwrap_or("right")));
    let library = library.to_str().unwrap();
    let keep = folder.join("keep");
    let mut words = vec!["--part", part, "--keep", keep.to_str().unwrap(), "-o", library];
    words.extend(fault.into_iter().flat_map(|fault| ["--fault", fault]));
    let built = build(&words);
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    library.to_owned()
}

/// The rule of the first finding of a run; none if it conforms.
fn first_rule(folder: &Path, library: &str, cases: u32) -> Option<String> {
    let line = format!("check lib:{library} --cases {cases} --format json");
    let run = told(folder, &line);
    let report = run.json();
    let first = report["findings"].get(0).map(|first| first["rule"].as_str().unwrap().to_owned());
    assert_eq!(run.code, i32::from(first.is_some()), "{}", run.err);
    assert!(report["judged"].as_u64().unwrap_or(1) > 0, "{}", run.out);
    first
}

/// The rules that may name a fault, as `--faults` tells them: NAME (PART): RULE, RULE.
fn accepted(fault: &str) -> Vec<String> {
    let told = build(&["--faults"]).stdout;
    let told = String::from_utf8(told).unwrap();
    let of_fault = |line: &str| line.split_once(' ').is_some_and(|(name, _)| name == fault);
    let line = told.lines().find(|line| of_fault(line)).expect("the fault is listed");
    let (_, rules) = line.split_once("): ").expect("rules");
    rules.split(", ").map(str::to_owned).collect()
}

fn check(part: &str, cases: u32, faults: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let right = sample(folder.path(), part, None);
    assert_eq!(first_rule(folder.path(), &right, cases), None, "the right {part}");
    for fault in faults {
        let library = sample(folder.path(), part, Some(fault));
        let rule = first_rule(folder.path(), &library, cases).expect(fault);
        assert!(accepted(fault).contains(&rule), "{fault} is named {rule}");
    }
}

#[test]
fn a_word_reader_in_verilog_conforms_and_its_faults_are_named() {
    let faults = [
        "comparator-late",
        "counter-not-zeroed",
        "fifo-full-late",
        "done-pulse-lost",
        "bits-reversed",
    ];
    check("word-reader", READER_CASES, &faults);
}

#[test]
fn a_track_writer_in_verilog_conforms_and_its_faults_are_named() {
    check("track-writer", WRITER_CASES, &["clock-ignores-data-behind", "mark-clocked"]);
}

#[test]
fn the_templates_compile_and_have_nothing_yet() {
    let folder = tempfile::tempdir().unwrap();
    for part in ["word-reader", "track-writer"] {
        let file = format!("adapters/rtl/template/trackproof_{}.v", part.replace('-', "_"));
        let (file, library) = (root().join(file), folder.path().join(format!("{part}.so")));
        let words = ["--part", part, "-o", library.to_str().unwrap(), file.to_str().unwrap()];
        let built = build(&words);
        assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
        let line = format!("check lib:{} --cases 20", library.display());
        assert_eq!(told(folder.path(), &line).code, 4);
    }
}

#[test]
fn a_build_that_cannot_be_says_what_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("empty.v");
    std::fs::write(&file, "module another;\nendmodule\n").unwrap();
    for (words, code, says) in [
        (&["--part", "disk"][..], 2, "word-reader or track-writer"),
        (&["--fault", "none-such"], 2, "see --faults"),
        (&["--clocks", "1"], 2, "from 2 to 1000"),
        (&["no-such.v"], 2, "not there"),
        (&["-o"], 2, "needs a value"),
        (&[file.to_str().unwrap()], 1, "is there a module trackproof_word_reader"),
    ] {
        let built = build(words);
        let told = String::from_utf8_lossy(&built.stderr);
        assert_eq!(built.status.code(), Some(code), "{words:?}: {told}");
        assert!(told.contains(says), "{words:?}: {told}");
    }
}
