//! Profiles drawn at random, and implementations of them that are right: none is accused.
//!
//! Values that bear on each other in ways that nobody thought of are where a judge is wrong. Both
//! implementations take any profile, and come from different hands than the judge.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use trackproof::campaign::{Plan, RigFactory, run};
use trackproof::lift;
use trackproof_contract::{NoDriveRead, Profile, Rig};
use trackproof_samples::WordReader;
use trackproof_tests::profile::with;

/// Keys, and the values that are drawn: all of a choice, telling ones of a number.
const VALUES: &[(&str, &[&str])] = &[
    ("start_match", &["drop", "deliver"]),
    ("aligned_match", &["word", "drop"]),
    ("misaligned_match", &["realign-drop", "realign-deliver", "ignore"]),
    ("partial", &["drop", "pad-low", "finish"]),
    ("realign", &["every", "first", "never"]),
    ("refractory", &["0", "7", "15", "16"]),
    ("counter", &["free-running", "zeroed-at-start"]),
    ("latch_words", &["0", "1", "2"]),
    ("flag_when_off", &["no", "yes"]),
    ("sync_write", &["whole", "halves"]),
    ("sync_on_live", &["realign", "next-transfer"]),
    ("sync_off_waiting", &["start", "wait"]),
    ("flag", &["level", "latched-clear-on-read", "latched-clear-on-start", "event"]),
    ("straddle", &["no", "allowed"]),
    ("byte", &["channel-8", "data-8"]),
    ("fifo_words", &["1", "2", "3", "4"]),
    ("overrun", &["lose-new", "lose-old", "stop"]),
    ("underrun", &["repeat", "zeros", "close-gate", "hold"]),
    ("error_flag", &["none", "sticky", "per-transfer"]),
    ("read_done", &["last-stored", "last-completed"]),
    ("write_done", &["last-fetched", "last-bit", "gate-off"]),
    ("start_busy", &["ignore", "replace", "error"]),
    ("zero_words", &["none", "maximum"]),
    ("max_words", &["20"]),
    ("read_join", &["no", "yes"]),
    ("write_join", &["no", "yes"]),
    ("reset_clears_register", &["no", "yes"]),
    ("no_drive_read", &["zeros", "ones", "nothing"]),
    ("first_context", &["0", "1", "last"]),
    ("gate_lead", &["0", "1", "3"]),
    ("match_to_write", &["3", "16"]),
    ("index_edge", &["leading", "trailing"]),
    ("lost_tail", &["0", "1", "5"]),
    ("tail_pulse", &["no", "yes"]),
];

/// Spans, each a pair of keys that rise.
const SPANS: &[([&str; 2], &[[&str; 2]])] = &[
    (["slack_min", "slack_max"], &[["0", "0"], ["0", "4"], ["3", "3"], ["3", "9"], ["1", "16"]]),
    (["gate_off_min", "gate_off_max"], &[["0", "0"], ["0", "1"], ["1", "1"], ["1", "5"]]),
];

/// A built-in profile with two to nine values drawn anew, and spans in one case of three each.
fn drawn(random: &mut Xoshiro256PlusPlus) -> (Profile, Vec<(&'static str, &'static str)>) {
    let mut below = |most: usize| (random.next_u64() % most as u64) as usize;
    let base = if below(3) == 0 { Profile::byte_stream() } else { Profile::sync_dma() };
    let mut values: Vec<(&str, &str)> = Vec::new();
    for _ in 0..2 + below(8) {
        let (key, of) = VALUES[below(VALUES.len())];
        values.retain(|(other, _)| *other != key);
        values.push((key, of[below(of.len())]));
    }
    for (keys, of) in SPANS {
        if below(3) == 0 {
            let ends = of[below(of.len())];
            values.extend([(keys[0], ends[0]), (keys[1], ends[1])]);
        }
    }
    (with(base, &values), values)
}

/// Holds both implementations to so many profiles, in so many cases each.
fn none_is_accused(seed: u64, profiles: usize, cases: u64) {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let controller = trackproof_samples::find("sync-dma").unwrap().open(&[]).unwrap();
    let whole = || match controller.rig() {
        Ok(rig) => Ok(Box::new(rig) as Box<dyn Rig>),
        Err(error) => Err(error.to_string()),
    };
    let part = || Ok(lift::word_reader::rig(Arc::new(WordReader::default)));
    let mut wrong = Vec::new();
    for number in 0..profiles {
        let (profile, values) = drawn(&mut random);
        let factories: [(&str, &RigFactory<'_>); 2] =
            [("sync-dma", &whole), ("word-reader", &part)];
        for (name, factory) in factories {
            // A part that counts its slack in bits accepts nothing while none come.
            let bitless = profile.no_drive_read == NoDriveRead::Nothing && profile.slack_min > 0;
            if name == "word-reader" && bitless {
                continue;
            }
            let seed = seed * 1_000 + number as u64;
            let profile = profile.clone();
            let plan = Plan { profile, seed, cases, deadline: None, jobs: 2 };
            let summary =
                run(&plan, factory, &AtomicBool::new(false), &|_| {}).expect("a campaign");
            let found: Vec<_> =
                summary.findings.iter().map(|one| (one.name(), one.index)).collect();
            if !found.is_empty() || summary.judged == 0 {
                wrong.push(format!("{name}, {values:?}, seed {seed}: {found:?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn implementations_of_drawn_profiles_are_not_accused() {
    none_is_accused(1, 40, 60);
}

#[test]
#[ignore = "long suite: 300 drawn profiles, 2 000 cases each"]
fn implementations_of_many_drawn_profiles_are_not_accused() {
    none_is_accused(2, 300, 2_000);
}
