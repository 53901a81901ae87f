//! `merge`: shards put together are the run of one machine.

use crate::start::{Told, told};
use serde_json::Value;
use std::fs;
use std::path::Path;

/// A fault that shows in nearly every case and settles in a moment.
const FAULTY: &str = "sample:sync-dma+done-twice";

/// A sample that needs no file of its own.
const RIGHT: &str = "sample:word-reader";

fn shard(folder: &Path, implementation: &str, cases: u32, shard: &str, out: &str) -> Told {
    let line =
        format!("overnight {implementation} --cases {cases} --shard {shard} --out {out} --jobs 2");
    told(folder, &line)
}

/// A run's JSON without what depends on time and the order in which cases came.
fn lasting(json: &[u8]) -> Value {
    let mut run: Value = serde_json::from_slice(json).unwrap();
    let fields = run.as_object_mut().unwrap();
    for passing in ["searched_s", "corpus"] {
        fields.remove(passing).expect("a field");
    }
    run
}

#[test]
fn shards_put_together_are_the_run_of_one_machine() {
    for (implementation, code) in [(RIGHT, 0), (FAULTY, 1)] {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        // Shifts are of 512 cases; the last one is short.
        let cases = 5_000;
        assert_eq!(shard(folder.path(), implementation, cases, "1/1", "whole").code, code);
        for number in 1..=3 {
            let part = shard(
                folder.path(),
                implementation,
                cases,
                &format!("{number}/3"),
                &format!("part-{number}"),
            );
            assert_eq!(part.code, code, "{}", part.err);
        }
        let merged = told(folder.path(), "merge part-3 part-1 part-2 --out merged --format json");
        assert_eq!(merged.code, code, "{}", merged.err);
        let whole = lasting(&fs::read(at("whole/summary.json")).unwrap());
        assert_eq!((&whole["cases"], &whole["complete"]), (&5_000.into(), &true.into()));
        assert_eq!(lasting(merged.out.as_bytes()), whole);
        assert_eq!(lasting(&fs::read(at("merged/summary.json")).unwrap()), whole);
        for group in whole["groups"].as_array().unwrap() {
            for case in group["cases"].as_array().unwrap() {
                let case = case.as_str().unwrap();
                let replay = told(folder.path(), &format!("replay merged/{case} {implementation}"));
                assert_eq!(replay.code, 1, "{case}: {}", replay.err);
            }
        }
        for file in ["summary.txt", "junit.xml", "run.json"] {
            assert!(at("merged").join(file).exists(), "{file}");
        }
        // In two steps it comes to the same.
        assert_eq!(told(folder.path(), "merge part-1 part-2 --out two").code, code);
        let two = fs::read(at("two/summary.json")).unwrap();
        assert_eq!(lasting(&two)["complete"], false, "a third is missing");
        assert_eq!(told(folder.path(), "merge two part-3 --out three").code, code);
        assert_eq!(lasting(&fs::read(at("three/summary.json")).unwrap()), whole);
    }
}

#[test]
fn folders_that_do_not_belong_together_are_refused_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    for (number, out) in [("1/2", "one"), ("2/2", "two"), ("1/3", "third")] {
        assert_eq!(shard(path, RIGHT, 1_000, number, out).code & !4, 0);
    }
    assert_eq!(
        told(path, "overnight sample:word-reader --cases 999 --shard 2/2 --out other").code & !4,
        0
    );
    fs::create_dir(path.join("empty")).unwrap();
    fs::create_dir(path.join("torn")).unwrap();
    fs::write(path.join("torn/run.json"), b"{").unwrap();
    for (line, word) in [
        ("merge one one", "both have shard 1/2"),
        ("merge one third", "one is of 2 shards, the other of 3"),
        ("merge one other", "its number of cases is 999, this run's is 1000"),
        ("merge one empty", "empty: no part of a run: run.json"),
        ("merge one torn", "torn: no part of a run"),
        ("merge one nowhere", "nowhere: no part of a run"),
        ("merge one two --out two", "two: holds a run already"),
        ("merge", "DIR"),
        ("overnight sample:word-reader --shard 3/2", "the last 2"),
    ] {
        let told = told(path, line);
        assert_eq!(told.code, 2, "{line}: {}", told.err);
        assert!(told.err.contains(word), "{line}: {}", told.err);
    }
    // Nothing goes on from what was put together.
    let merged = told(path, "merge one two --out merged");
    assert_eq!(merged.code, 0, "{}", merged.err);
    let again = told(path, "overnight sample:word-reader --cases 1000 --out merged");
    assert_eq!(again.code, 2, "{}", again.err);
    assert!(again.err.contains("put together of several"), "{}", again.err);
    // A shard that is missing is said.
    let part = told(path, "merge one --out part");
    assert_eq!(part.code & !4, 0, "{}", part.err);
    assert!(part.err.contains("1 of the run's shards missing: 2/2"), "{}", part.err);
}

/// As the README has it, with GNU parallel.
#[test]
fn workers_under_parallel_are_one_run() {
    let folder = tempfile::tempdir().unwrap();
    let program = env!("CARGO_BIN_EXE_trackproof");
    let line = format!(
        "seq 4 | parallel -j 2 {program} overnight {RIGHT} \
         --cases 4000 --shard {{}}/4 --out night-{{}} --jobs 1"
    );
    let mut shell = std::process::Command::new("sh");
    let shards = shell.args(["-c", &line]).current_dir(folder.path()).output().unwrap();
    assert!(shards.status.success(), "{}", String::from_utf8_lossy(&shards.stderr));
    let merged = told(folder.path(), "merge night-1 night-2 night-3 night-4 --format json");
    assert_eq!(merged.code, 0, "{}", merged.err);
    let (all, digest) = (&merged.json()["cases"], &merged.json()["digest"]);
    assert_eq!(all, &4_000);
    let whole = told(folder.path(), &format!("overnight {RIGHT} --cases 4000 --format json"));
    assert_eq!(&whole.json()["digest"], digest);
}
