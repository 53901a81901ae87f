//! The texts of reports, on cases written by hand and the sample with faults: what a tired person
//! gets to read.
#![cfg(feature = "samples")]

use insta::assert_snapshot;
use trackproof::campaign::{Compared, Finding, Lacking, Summary};
use trackproof::examine::Examiner;
use trackproof::report::{self, Baseline, RunReport, Shown, Style};
use trackproof::verdict::Verdict;
use trackproof_contract::{
    Bench, Capabilities, Capability, Case, ChangeClear, ChannelBits, DriveBench, HostService,
    Medium, Operation, Profile, Start, Track,
};

/// A drive whose head is on cylinder 2, and a track of 96 channel bits with one sync word, at
/// channel bit 20.
fn case(program: Vec<Operation>) -> Case {
    let drive = DriveBench {
        turn_bits: 96,
        start_bit: 0,
        cylinder: 2,
        write_protected: true,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    let mut bits = ChannelBits::new();
    bits.push(0xaaaaa, 20);
    bits.push(0x4489, 16);
    bits.push(0x5545_2a51_5294_92a9, 60);
    let medium = Medium::image_bits(bits);
    let mut whole = vec![Operation::Select { mask: 1 }, Operation::Motor { mask: 1 }];
    whole.extend(program);
    Case {
        profile: Profile::sync_dma(),
        bench: Bench { access_ns: 500, drives: vec![drive] },
        tracks: vec![Track { drive: 0, cylinder: 2, side: 0, medium }],
        program: whole,
        flux: None,
    }
}

fn read(words: u32, start: Start) -> Operation {
    let service = HostService { first_ns: 0, interval_ns: 16_000, stalls: Vec::new() };
    Operation::Read { words, start, service }
}

/// What a sample with a fault makes of a case, as the finding's text and the trace.
fn texts(fault: &str, case: &Case) -> (String, String) {
    let sample = trackproof_samples::find("sync-dma").unwrap().open(&[fault]).unwrap();
    let mut examiner = Examiner::new(Box::new(sample.rig().unwrap()));
    let examined = examiner.examine(case).unwrap();
    assert!(matches!(examined.verdict, Verdict::Deviates(_)), "{fault}: {:?}", examined.verdict);
    let shown = Shown {
        finding: &Finding::new(17, case.clone(), examined),
        observation: examiner.observation(),
        capabilities: examiner.capabilities(),
        origin: "case 17 of seed 1",
        minimised: false,
        nearest_passing: None,
        again: "trackproof replay FILE IMPL",
    };
    let trace = report::trace(case, examiner.observation(), examiner.capabilities(), Style::Plain);
    (report::finding(&shown, Style::Plain), trace)
}

#[test]
fn shifted_words_are_shown_beside_the_right_ones_and_bit_by_bit() {
    let case = case(vec![read(5, Start::Now), Operation::Wait { ns: 300_000 }]);
    let (finding, trace) = texts("comparator-stays-on", &case);
    assert_snapshot!("shifted-words", finding);
    assert_snapshot!("shifted-words-trace", trace);
}

#[test]
fn a_wrong_status_is_shown_by_the_names_of_its_bits() {
    let case = case(vec![
        Operation::Wait { ns: 100_000 },
        Operation::Output { value: 1 },
        Operation::PollStatus,
    ]);
    let (finding, trace) = texts("output-disturbs-status", &case);
    assert_snapshot!("wrong-status", finding);
    assert_snapshot!("wrong-status-trace", trace);
}

#[test]
fn a_signal_too_many_is_shown_as_what_was_not_due() {
    let program = vec![
        Operation::HardwareSync { on: true },
        read(2, Start::Match),
        Operation::Wait { ns: 300_000 },
    ];
    let (finding, trace) = texts("done-twice", &case(program));
    assert_snapshot!("done-twice", finding);
    assert_snapshot!("done-twice-trace", trace);
}

#[test]
fn a_run_tells_what_it_did_what_it_could_not_and_what_it_comes_to() {
    let summary = Summary {
        cases: 20_000,
        judged: 19_000,
        inconclusive: 2,
        skipped: 998,
        lacking: [(Capability::Reset, Lacking { cases: 998, alone: 900 })].into(),
        compared: Compared { bytes: 0, status_bits: 5_000, signals: 1, tracks: 0, channel_bits: 0 },
        digest: 0x1234_5678_9abc_def0,
        words: 1_000_000,
        unique_words: 987_654,
        slack: [(0, 120), (1, 30)].into(),
        capabilities: Capabilities::all()
            .without(Capability::Reset)
            .without(Capability::DoneSignal),
        ..Summary::default()
    };
    let report = RunReport {
        implementation: "lib:controller.so",
        profile_name: "sync-dma",
        profile: &Profile::sync_dma(),
        seed: Some(1),
        summary: &summary,
        findings: &[],
        rules: &[],
        others: &[],
        not_reproducible: &[],
        set_aside: &[],
        baseline: Baseline::default(),
        verdict: "conforms",
        exit: (0, "nothing that was judged deviates"),
        certified: None,
    };
    assert_snapshot!("run", report::run(&report, Style::Plain));
    let json = serde_json::to_string_pretty(&report::run_json(&report)).unwrap();
    assert_snapshot!("run-json", json);
}
