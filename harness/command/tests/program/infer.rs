//! `infer`: what it prints, the file it leaves, and its exit codes.

use crate::start::told;

#[test]
fn the_profile_that_is_found_is_one_to_check_with() {
    let folder = tempfile::tempdir().unwrap();
    let run = told(folder.path(), "infer sample:word-reader --cases 40 --format json");
    assert_eq!(run.code, 0, "{}", run.err);
    let found = run.json();
    assert_eq!(found["verdict"], "conforms");
    assert_eq!(found["profile"]["word_bits"], "16");
    assert_eq!(found["contradictions"].as_array().unwrap().len(), 0);
    let line = format!(
        "check sample:word-reader --cases 40 --profile {}",
        found["file"].as_str().unwrap()
    );
    assert_eq!(told(folder.path(), &line).code, 0);
}

#[test]
fn a_fault_is_a_contradiction() {
    let folder = tempfile::tempdir().unwrap();
    let run = told(
        folder.path(),
        "infer sample:sync-dma+byte-flag-stays --base sync-dma --cases 60 --jobs 2",
    );
    assert_eq!(run.code, 1, "{}", run.err);
    assert!(run.out.contains("what no choice explains"), "{}", run.out);
    assert!(folder.path().join("trackproof-out/inferred.toml").is_file());
}

#[test]
fn a_base_that_is_none_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let run = told(folder.path(), "infer sample:sync-dma --base no-such --cases 10");
    assert_eq!(run.code, 2);
    assert!(run.err.contains("no built-in profile"), "{}", run.err);
}

#[test]
fn a_controller_that_crashes_is_a_contradiction_and_the_rest_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let line = "infer sample:hostile+null-pointer --base sync-dma --cases 30 --format json";
    let run = told(folder.path(), line);
    assert_eq!(run.code, 1, "{}", run.err);
    let found = run.json();
    let contradictions = found["contradictions"].as_array().unwrap();
    assert!(contradictions.iter().all(|one| one["rule"] == "stops"), "{}", run.out);
    assert!(!contradictions.is_empty() && found["cases"].as_u64() > Some(20), "{}", run.out);
}
