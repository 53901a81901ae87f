//! The generator as a strategy of proptest, with the minimiser behind it.

use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::{Config, TestCaseError, TestError, TestRunner};
use trackproof::minimise::simplicity;
use trackproof::strategy::cases;
use trackproof_contract::{Capabilities, Case, Operation, Profile};

fn runner() -> TestRunner {
    let config = Config {
        cases: 200,
        max_shrink_iters: 100_000,
        failure_persistence: None,
        ..Config::default()
    };
    TestRunner::new_with_rng(
        config,
        proptest::test_runner::TestRng::deterministic_rng(
            proptest::test_runner::RngAlgorithm::ChaCha,
        ),
    )
}

fn all() -> impl Strategy<Value = Case> {
    cases(Profile::sync_dma(), Capabilities::all())
}

#[test]
fn a_failing_property_ends_in_its_smallest_case() {
    let polls_after_read = |case: &Case| {
        let read = case.program.iter().position(|one| matches!(one, Operation::Read { .. }));
        read.is_some_and(|at| case.program[at..].contains(&Operation::PollStatus))
    };
    let error = runner()
        .run(&all(), |case| {
            let fails = polls_after_read(&case);
            if fails { Err(TestCaseError::fail("a poll after a read")) } else { Ok(()) }
        })
        .expect_err("programs poll");
    let TestError::Fail(_, smallest) = error else { panic!("{error}") };
    assert!(polls_after_read(&smallest));
    assert_eq!(smallest.validate(), Ok(()));
    assert_eq!(smallest.program.len(), 2, "{:?}", smallest.program);
    assert!(smallest.tracks.is_empty() && smallest.bench.drives.len() == 1);
}

#[test]
fn every_step_goes_down_and_what_always_passes_stays_as_it_was() {
    let mut runner = runner();
    for fails in [true, false] {
        let mut tree = all().new_tree(&mut runner).unwrap();
        let first = tree.current();
        assert!(tree.simplify());
        for _ in 0..50 {
            assert!(simplicity(&tree.current()) < simplicity(&first));
            if !(if fails { tree.simplify() } else { tree.complicate() }) {
                break;
            }
        }
        let current = tree.current();
        assert!(simplicity(&current) <= simplicity(&first));
        drop(tree);
    }
    // What passes at every step leaves the first case.
    let mut tree = all().new_tree(&mut runner).unwrap();
    let first = tree.current();
    if tree.simplify() {
        while tree.complicate() {}
    }
    assert_eq!(tree.current(), first);
    assert!(!tree.complicate());
}
