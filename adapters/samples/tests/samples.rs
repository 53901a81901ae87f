//! Every sample opens, knows exactly the faults that are told of it, and runs a case.

use std::collections::BTreeSet;
use trackproof_contract::{
    Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Item, Medium, Observation,
    Operation, Profile, Rig, Start, Track,
};
use trackproof_samples::{Form, SampleError, find, samples};

/// The track of [`case`]: 512 channel bits in which every 16-bit window is another.
fn track() -> ChannelBits {
    let mut state = 1_u32;
    (0..512)
        .map(|_| {
            state = state >> 1 ^ if state & 1 == 1 { 0xb400 } else { 0 };
            state & 1 == 1
        })
        .collect()
}

/// A raw read of eight words from the only drive, each word served in time.
fn case() -> Case {
    let drive = DriveBench {
        turn_bits: 512,
        start_bit: 100,
        cylinder: 0,
        write_protected: false,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    let service = HostService { first_ns: 0, interval_ns: 16_000, stalls: Vec::new() };
    Case {
        profile: Profile::sync_dma(),
        bench: Bench { access_ns: 500, drives: vec![drive] },
        tracks: vec![Track { drive: 0, cylinder: 0, side: 0, medium: Medium::image_bits(track()) }],
        program: vec![
            Operation::Select { mask: 1 },
            Operation::Motor { mask: 1 },
            Operation::Wait { ns: 100_000 },
            Operation::Read { words: 8, start: Start::Now, service },
            Operation::Wait { ns: 400_000 },
            Operation::PollStatus,
        ],
        flux: None,
    }
}

/// The words that a sample with these faults reads in [`case`], and how often it is done.
fn run(faults: &[&str]) -> (Vec<u64>, usize) {
    let open = find("sync-dma").unwrap().open(faults).unwrap();
    let mut observation = Observation::new();
    open.rig().unwrap().run(&case(), &mut observation).unwrap();
    let done = observation.items.iter().filter(|seen| seen.item == Item::Done).count();
    let words = observation.items.iter().filter_map(|seen| match seen.item {
        Item::Word { transfer: 0, value } => Some(value),
        _ => None,
    });
    (words.collect(), done)
}

#[test]
fn the_correct_sample_reads_unbroken_words_of_the_track_and_is_done_once() {
    let (words, done) = run(&[]);
    let track = track();
    let first = (0..512).find(|at| track.cyclic_window(*at, 16) == words[0]);
    let first = first.expect("the first word is on the track");
    let expected: Vec<u64> = (0..8).map(|i| track.cyclic_window(first + 16 * i, 16)).collect();
    assert_eq!((words, done), (expected, 1));
}

#[test]
fn a_sample_made_with_faults_has_them() {
    let (correct, _) = run(&[]);
    assert_eq!(run(&["done-twice"]), (correct.clone(), 2));
    assert_eq!(run(&["done-twice", "one-word-short"]), (correct[..7].to_vec(), 2));
}

#[test]
fn every_fault_told_is_accepted_and_no_other() {
    for sample in samples() {
        assert!(Profile::built_in(sample.profile).is_some());
        let all: Vec<&str> = sample.faults.iter().map(|fault| fault.name.as_str()).collect();
        if let Form::Separator(_) = sample.form {
            for faults in all.iter().map(std::slice::from_ref).chain([&all[..], &[]]) {
                sample.open_separator(faults).unwrap();
            }
            assert!(sample.open_separator(&["no-such-fault"]).is_err());
        }
        if !matches!(sample.form, Form::Library(_)) {
            continue;
        }
        for faults in all.iter().map(std::slice::from_ref).chain([&all[..], &[]]) {
            sample.open(faults).unwrap().create().unwrap();
        }
        let library = sample.open(&[]).unwrap().library().clone();
        for options in ["no-such-fault", "done-twice,", "done-twice,no-such-fault"] {
            assert!(library.create(Some(options)).is_err(), "{options}");
        }
    }
}

#[test]
fn every_fault_in_the_source_is_told() {
    let source = include_str!("../sync_dma/faults.h");
    let built: BTreeSet<&str> = source
        .lines()
        .filter_map(|line| line.trim().strip_prefix("X(")?.split('"').nth(1))
        .collect();
    let told: BTreeSet<&str> =
        find("sync-dma").unwrap().faults.iter().map(|fault| fault.name.as_str()).collect();
    assert_eq!(built, told);
}

#[test]
fn an_unknown_name_is_refused_with_those_there_are() {
    let error = find("sync_dma").unwrap_err();
    assert_eq!(
        error.to_string(),
        "no sample `sync_dma`; there is sync-dma, byte-stream, word-reader, separator, hostile, flaky"
    );
    let error = find("sync-dma").unwrap().open(&["done-thrice"]).unwrap_err();
    assert!(matches!(error, SampleError::Fault { .. }));
    let text = error.to_string();
    assert!(text.starts_with("sample `sync-dma` has no fault `done-thrice`; it has "), "{text}");
    assert!(text.contains("done-twice"), "{text}");
}

#[test]
fn the_sample_in_rust_has_no_faults_and_is_no_library() {
    let sample = find("word-reader").unwrap();
    assert!(matches!(sample.form, Form::WordReader(_)) && sample.faults.is_empty());
    let error = sample.open(&["done-twice"]).unwrap_err().to_string();
    assert_eq!(error, "sample `word-reader` has no fault `done-twice`; it is correct and has none");
    assert!(matches!(sample.open(&[]), Err(SampleError::NoLibrary { .. })));
}

#[test]
fn the_unpacked_library_is_private_and_goes_with_its_handle() {
    let unpacked = find("sync-dma").unwrap().unpack().unwrap();
    let folder = unpacked.path().parent().unwrap().to_path_buf();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(folder.metadata().unwrap().permissions().mode() & 0o777, 0o700);
    }
    drop(unpacked);
    assert!(!folder.exists());
}
