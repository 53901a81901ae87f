//! What the minimiser promises, held against toy controllers.

use super::toys::{Fault, deviation};
use super::{Limits, Minimised, Outcome, minimise, simplicity, single_reductions};
use crate::generate::Generator;
use std::cmp::Ordering;
use std::collections::HashSet;
use trackproof_contract::{
    Case, ChannelBits, Medium, Operation, Profile, SectorLayout, Start, Track, WriteSource,
};

/// What was due and what came, at the first difference.
type Shown = (&'static str, &'static str);

/// Generated cases, as many as asked for, that `wanted` likes.
fn cases(count: usize, wanted: impl Fn(&Case) -> bool) -> Vec<Case> {
    let mut generator = Generator::new(Profile::sync_dma());
    // Toys are slow, and long tracks have tests of their own.
    let small = |case: &Case| case.bench.drives.iter().all(|drive| drive.turn_bits <= 4_096);
    let found: Vec<Case> = (0..200_000)
        .map(|index| generator.case(1, index))
        .filter(|case| small(case) && case.end_ns() < 100_000_000 && wanted(case))
        .take(count)
        .collect();
    assert_eq!(found.len(), count, "the generator makes such cases");
    found
}

fn outcome(case: &Case, fault: Fault, shown: Shown) -> Outcome {
    match deviation(case, fault) {
        None => Outcome::Passes,
        Some(seen) if seen == shown => Outcome::Same,
        Some(_) => Outcome::Other,
    }
}

fn minimised(case: &Case, fault: Fault, shown: Shown) -> Minimised {
    minimise(case, Limits::default(), &mut |case| outcome(case, fault, shown))
}

/// Minimises `count` random cases of one fault: one form must come out, certified and in time.
fn check_one_form(fault: Fault, shown: Shown, count: usize) {
    let mut forms: Vec<Case> = Vec::new();
    for (n, case) in
        cases(count, |case| deviation(case, fault) == Some(shown)).into_iter().enumerate()
    {
        let small = minimised(&case, fault, shown);
        assert!(small.complete && small.executions < 12_000, "{} executions", small.executions);
        assert_eq!(outcome(&small.case, fault, shown), Outcome::Same);
        if n < 3 {
            let smaller = single_reductions(&small.case)
                .find(|case| outcome(case, fault, shown) == Outcome::Same);
            assert_eq!(smaller, None, "no single reduction is left");
        }
        if !forms.contains(&small.case) {
            forms.push(small.case);
        }
    }
    let told: Vec<String> = forms.iter().map(told).collect();
    assert_eq!(forms.len(), 1, "{}", told.join("\n"));
}

/// A case in a few lines.
fn told(case: &Case) -> String {
    let bench = &case.bench;
    let mut lines = vec![format!("access {} ns, {:?}", bench.access_ns, bench.drives)];
    lines.extend(case.tracks.iter().map(|track| format!("  {track:?}")));
    lines.extend(case.program.iter().map(|operation| format!("    {operation:?}")));
    lines.join("\n")
}

macro_rules! one_form {
    ($($name:ident: $fault:ident, $due:literal, $came:literal, $count:literal;)+) => {$(
        #[test]
        fn $name() {
            check_one_form(Fault::$fault, ($due, $came), $count);
        }
    )+};
}

one_form! {
    matches_missed_at_odd_phases_come_to_one_case: EvenPhase, "word", "nothing", 20;
    a_second_realignment_left_out_comes_to_one_case: RealignsOnce, "word", "word", 20;
    a_word_from_before_comes_to_one_case: StaleWord, "word", "word", 20;
    a_bit_lost_at_the_index_comes_to_one_case: SlipsAtWrap, "word", "word", 20;
    a_match_missed_across_the_index_comes_to_one_case: MissesAtWrap, "word", "nothing", 20;
    an_output_in_the_status_comes_to_one_case: OutputInStatus, "status", "status", 20;
    words_shifted_after_an_overrun_come_to_one_case: OverrunLosesHalf, "word", "word", 20;
    another_drives_status_comes_to_one_case: OtherDrivesStatus, "status", "status", 20;
    matches_while_switched_off_come_to_one_case: ComparatorStaysOn, "word", "word", 20;
    a_sync_word_taken_late_comes_to_one_case: SyncWordLate, "word", "nothing", 10;
    words_left_by_an_abort_come_to_one_case: AbortKeepsWords, "word", "word", 20;
    a_byte_without_its_flag_comes_to_one_case: ByteEdge, "new byte", "byte", 20;
    a_start_without_a_cause_comes_to_one_case: StartsItself, "nothing", "word", 20;
    a_switch_that_outlives_reset_comes_to_one_case: ResetKeepsEnable, "word", "word", 20;
    a_third_read_too_long_comes_to_one_case: ThirdReadLonger, "signal", "word", 20;
    a_first_written_word_lost_comes_to_one_case: FirstWordLost, "medium", "medium", 10;
    a_last_written_word_lost_comes_to_one_case: LastWordLost, "medium", "medium", 10;
    a_written_word_too_many_comes_to_one_case: WordTooMany, "medium", "medium", 10;
    a_gate_that_stays_open_comes_to_one_case: GateStaysOpen, "medium", "medium", 10;
    a_protected_medium_written_comes_to_one_case: ProtectIgnored, "medium", "medium", 10;
    half_a_word_at_an_underrun_comes_to_one_case: HalfUnderrun, "medium", "medium", 10;
    a_write_that_stops_after_a_turn_comes_to_one_case: StopsAfterTurn, "medium", "medium", 10;
    a_write_to_the_drive_before_comes_to_one_case: WritesToOldDrive, "medium", "medium", 10;
    a_side_taken_late_comes_to_one_case: SideLate, "medium", "medium", 10;
    an_image_without_clock_bits_comes_to_one_case: NoClockBits, "word", "word", 10;
    old_data_after_a_write_come_to_one_case: OldDataOnce, "word", "word", 10;
}

/// Minimises a generated case under a plain question.
fn minimised_while(wanted: impl Fn(&Case) -> bool) -> Case {
    let start = cases(1, &wanted).remove(0);
    let small = minimise(&start, Limits::default(), &mut |case| {
        if wanted(case) { Outcome::Same } else { Outcome::Passes }
    });
    assert!(small.complete);
    small.case
}

fn waited_ns(case: &Case) -> u64 {
    let ns = |operation: &Operation| match operation {
        Operation::Wait { ns } => *ns,
        _ => 0,
    };
    case.program.iter().map(ns).sum()
}

#[test]
fn whatever_does_not_matter_goes() {
    let small = minimised_while(|case| case.program.contains(&Operation::PollStatus));
    assert_eq!(small.program, [Operation::PollStatus]);
    assert_eq!(small.bench.access_ns, 0);
    assert!(small.tracks.is_empty());
    let [drive] = small.bench.drives.as_slice() else { panic!("one drive is left") };
    let (turn, start, cylinder) = (drive.turn_bits, drive.start_bit, drive.cylinder);
    assert_eq!((turn, start, cylinder, drive.spin_up_ns), (1, 0, 0, 0));
    assert!(!drive.write_protected);
}

#[test]
fn a_time_becomes_the_least_round_one_that_still_does() {
    for (least_ns, expected_ns) in [(100_000, 100_000), (99_999, 100_000), (98_001, 100_000)] {
        let small = minimised_while(|case| waited_ns(case) >= least_ns);
        assert_eq!(small.program, [Operation::Wait { ns: expected_ns }]);
    }
    let odd = |case: &Case| waited_ns(case) >= 5_000 && !waited_ns(case).is_multiple_of(2_000);
    assert_eq!(minimised_while(odd).program, [Operation::Wait { ns: 5_000 }]);
}

#[test]
fn a_copy_becomes_that_of_a_read_of_nothing() {
    let copies = |operation: &Operation| {
        matches!(operation, Operation::Write { source: WriteSource::Copy { .. }, .. })
    };
    let small = minimised_while(|case| case.program.iter().any(copies));
    let [
        Operation::Read { words: 0, start: Start::Now, .. },
        Operation::Write { source, start, .. },
    ] = small.program.as_slice()
    else {
        panic!("{:?}", small.program)
    };
    let plain = WriteSource::Copy { transfer: 0, align: None, skip: 0, count: 0 };
    assert_eq!((source, *start), (&plain, Start::Now));
}

#[test]
fn an_image_becomes_the_smallest_one() {
    let small = minimised_while(|case| case.tracks.iter().any(|t| t.medium.layout().is_some()));
    let [Track { medium: Medium::Image { layout, sectors }, .. }] = small.tracks.as_slice() else {
        panic!("{:?}", small.tracks)
    };
    assert_eq!(*layout, SectorLayout::FullTrack { sectors: 1, sector_bytes: 2 });
    assert_eq!(*sectors, ChannelBits::zeros(16));
    assert_eq!(small.bench.drives[0].turn_bits as usize, layout.used_bits());
    let soft = |medium: &Medium| matches!(medium.layout(), Some(SectorLayout::SoftSector { .. }));
    let small = minimised_while(|case| case.tracks.iter().any(|track| soft(&track.medium)));
    let least = SectorLayout::SoftSector {
        sectors: 1,
        size_code: 0,
        gap_4a_bytes: 0,
        gap_1_bytes: 0,
        gap_2_bytes: 0,
        gap_3_bytes: 0,
    };
    assert_eq!(small.tracks[0].medium.layout(), Some(least));
    assert_eq!(small.tracks[0].medium.track().count_ones(), 0);
}

#[test]
fn two_operations_that_go_only_together_go() {
    let paired = |case: &Case| {
        let count = |wanted: &Operation| case.program.iter().filter(|op| *op == wanted).count();
        let (polls, aborts) = (count(&Operation::PollStatus), count(&Operation::Abort));
        aborts == polls && case.program.contains(&Operation::Motor { mask: 1 })
    };
    let small = minimised_while(|case| {
        paired(case) && (case.program.len() < 4 || case.program.contains(&Operation::Abort))
    });
    assert_eq!(small.program, [Operation::Motor { mask: 1 }]);
}

#[test]
fn a_content_becomes_the_least_that_still_does() {
    let small = minimised_while(|case| {
        let bits = |t: usize| case.tracks[t].medium.track();
        (0..case.tracks.len())
            .filter(|t| case.tracks[*t].medium.layout().is_none())
            .any(|t| (0..bits(t).len()).any(|i| bits(t).cyclic_window(i, 5) == 13))
    });
    let [track] = small.tracks.as_slice() else { panic!("one track is left") };
    // Three bits round and round hold 01101 already: 011 011 …
    assert_eq!((track.medium.track().len(), track.medium.track().window(0, 3)), (3, 0b011));
}

#[test]
fn every_proposal_is_valid_new_and_simpler_than_the_best_so_far() {
    for fault in [Fault::EvenPhase, Fault::StaleWord, Fault::OverrunLosesHalf] {
        let shown = ("word", if fault == Fault::EvenPhase { "nothing" } else { "word" });
        for start in cases(4, |case| deviation(case, fault) == Some(shown)) {
            let mut seen = HashSet::from([start.clone()]);
            let mut best = start.clone();
            let small = minimise(&start, Limits::default(), &mut |case| {
                assert_eq!(case.validate(), Ok(()));
                assert!(simplicity(case) < simplicity(&best));
                assert!(seen.insert(case.clone()), "proposed twice: {case:?}");
                let outcome = outcome(case, fault, shown);
                if outcome == Outcome::Same {
                    best = case.clone();
                }
                outcome
            });
            assert_eq!(small.case, best);
            assert_eq!(small.executions as usize, seen.len() - 1);
        }
    }
}

#[test]
fn the_same_case_gives_the_same_result() {
    let shown = ("word", "word");
    for start in cases(3, |case| deviation(case, Fault::SlipsAtWrap) == Some(shown)) {
        let (one, two) = (0..2)
            .map(|_| minimised(&start, Fault::SlipsAtWrap, shown))
            .map(|small| (small.case, small.executions, small.nearest_passing))
            .fold((None, None), |(_, one), two| (one, Some(two)));
        assert_eq!(one, two);
    }
}

#[test]
fn a_limit_ends_the_search_and_is_told() {
    let shown = ("word", "nothing");
    let start = cases(1, |case| deviation(case, Fault::EvenPhase) == Some(shown)).remove(0);
    let full = minimised(&start, Fault::EvenPhase, shown);
    let left = std::cell::Cell::new(50);
    let late = || left.replace(left.get() - 1) <= 0;
    for limits in [
        Limits { executions: 50, deadline: None },
        Limits { executions: 20_000, deadline: Some(&late) },
    ] {
        let mut executions = 0;
        let cut = minimise(&start, limits, &mut |case| {
            executions += 1;
            outcome(case, Fault::EvenPhase, shown)
        });
        assert!(!cut.complete);
        assert_eq!((cut.executions, executions), (50, 50));
        assert_eq!(outcome(&cut.case, Fault::EvenPhase, shown), Outcome::Same);
        assert!(simplicity(&full.case) < simplicity(&cut.case));
    }
}

#[test]
fn the_nearest_passing_case_is_one_reduction_away_and_passes() {
    for fault in [Fault::StaleWord, Fault::SlipsAtWrap] {
        let shown = ("word", "word");
        let start = cases(1, |case| deviation(case, fault) == Some(shown)).remove(0);
        let small = minimised(&start, fault, shown);
        let near = small.nearest_passing.expect("something passes");
        assert_eq!(deviation(&near, fault), None);
        let between = single_reductions(&small.case)
            .filter(|case| deviation(case, fault).is_none())
            .all(|case| simplicity(&case) <= simplicity(&near));
        assert!(between, "none is nearer");
        assert!(single_reductions(&small.case).any(|case| case == near));
    }
}

#[test]
fn single_reductions_are_valid_simpler_and_each_its_own() {
    for start in cases(40, |_| true) {
        let mut seen = HashSet::new();
        for case in single_reductions(&start).take(400) {
            assert_eq!(case.validate(), Ok(()));
            assert!(simplicity(&case) < simplicity(&start));
            assert!(seen.insert(case));
        }
    }
}

#[test]
fn the_order_is_total_and_only_equal_cases_are_equal_in_it() {
    let mut all = cases(40, |_| true);
    let reduced: Vec<Case> =
        all.iter().flat_map(|case| single_reductions(case).step_by(97).take(4)).collect();
    all.extend(reduced);
    all.extend(all[..5].to_vec());
    all.sort_by(|one, two| simplicity(one).cmp(&simplicity(two)));
    for (i, one) in all.iter().enumerate() {
        for (k, two) in all.iter().enumerate() {
            let order = simplicity(one).cmp(&simplicity(two));
            assert_eq!(order.reverse(), simplicity(two).cmp(&simplicity(one)));
            assert_eq!(order == Ordering::Equal, one == two);
            if i < k {
                assert_ne!(order, Ordering::Greater, "sorting holds for all pairs, not only next");
            }
        }
    }
}
