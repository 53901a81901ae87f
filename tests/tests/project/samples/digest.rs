//! A run is a function of its seed: the same digest, findings and counts again, whatever the number
//! of threads; another seed gives another run.

use std::sync::atomic::AtomicBool;
use trackproof::campaign::{Plan, Summary, run};
use trackproof_contract::{Case, Profile};

const CASES: u64 = 3_000;

/// A campaign on the sample with these faults.
fn campaign(faults: &[&str], seed: u64, jobs: usize) -> Summary {
    let sample = trackproof_samples::find("sync-dma").unwrap().open(faults).unwrap();
    let profile = Profile::sync_dma();
    let plan = Plan { profile, seed, cases: CASES, deadline: None, jobs };
    let factory = || sample.rig().map(|rig| Box::new(rig) as _).map_err(|error| error.to_string());
    run(&plan, &factory, &AtomicBool::new(false), &|_| {}).unwrap()
}

/// All of a finding that a report shows.
fn findings(summary: &Summary) -> Vec<(&str, &str, u64, &Case)> {
    summary
        .findings
        .iter()
        .map(|finding| (finding.rule.id, finding.kind, finding.index, &finding.case))
        .collect()
}

/// Runs with one thread and two, and again, are one run. Gives its digest.
fn check(faults: &[&str], deviates: bool) -> u64 {
    let first = campaign(faults, 1, 1);
    assert_eq!(first.cases, CASES);
    assert_eq!(!first.findings.is_empty(), deviates, "{faults:?}");
    for jobs in [1, 2, 2] {
        let again = campaign(faults, 1, jobs);
        assert_eq!(again.digest, first.digest, "{faults:?}, {jobs} jobs");
        assert_eq!(findings(&again), findings(&first), "{faults:?}, {jobs} jobs");
        assert_eq!(
            (again.judged, again.inconclusive, again.words, again.unique_words),
            (first.judged, first.inconclusive, first.words, first.unique_words)
        );
        assert_eq!((&again.slack, &again.reach), (&first.slack, &first.reach));
    }
    first.digest
}

#[test]
fn the_same_seed_gives_the_same_run_for_any_number_of_threads() {
    let correct = check(&[], false);
    let faulty = check(&["flag-lags"], true);
    assert_ne!(correct, faulty);
}

#[test]
fn another_seed_gives_another_run() {
    assert_ne!(campaign(&[], 1, 2).digest, campaign(&[], 2, 2).digest);
}
