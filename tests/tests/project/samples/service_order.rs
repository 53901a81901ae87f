//! A service and a word's completion at one moment: the judge allows both orders, wherever words
//! complete.
//!
//! The sample lets the completion come first. What it does when the services come a nanosecond
//! earlier, told at the moment itself, is what a controller of the other order does.

use trackproof::judge::Judge;
use trackproof::verdict::Verdict;
use trackproof_contract::{
    Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Medium, Observation, Operation,
    Profile, Rig, Start, Track,
};
use trackproof_tests::profile::sync_dma_with;

/// Channel bits of a turn: no multiple of a word, so that a sync word comes at every phase.
const TURN_BITS: usize = 203;

/// A read over two turns of a track with one sync word, served at the boundaries that words have
/// before the first match, or `early_ns` before them.
fn case(profile: &Profile, start_bit: u32, early_ns: u64) -> Case {
    let word_ns = u64::from(profile.word_bits) * u64::from(profile.channel_bit_ns);
    let mut track = ChannelBits::new();
    track.push(0x4489, 16);
    for bit in 16..TURN_BITS {
        track.push(u64::from(bit % 5 == 0), 1);
    }
    let service =
        HostService { first_ns: 2 * word_ns - early_ns, interval_ns: word_ns, stalls: Vec::new() };
    let drive = DriveBench {
        turn_bits: TURN_BITS as u32,
        start_bit,
        cylinder: 0,
        write_protected: true,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    Case {
        profile: profile.clone(),
        bench: Bench { access_ns: 0, drives: vec![drive] },
        tracks: vec![Track { drive: 0, cylinder: 0, side: 0, medium: Medium::image_bits(track) }],
        program: vec![
            Operation::Select { mask: 1 },
            Operation::Motor { mask: 1 },
            Operation::HardwareSync { on: true },
            Operation::Read { words: 20, start: Start::Now, service },
            Operation::Wait { ns: 25 * word_ns },
        ],
        flux: None,
    }
}

fn both_orders_conform(values: &[(&str, &str)]) {
    let profile = sync_dma_with(values);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let sample = trackproof_samples::find("sync-dma").unwrap().open(&[]).unwrap();
    let (mut rig, mut judge) = (sample.rig().unwrap(), Judge::new());
    let capabilities = rig.capabilities();
    let mut others = 0;
    for start_bit in 0..TURN_BITS as u32 {
        let (due, early) = (case(&profile, start_bit, 0), case(&profile, start_bit, 1));
        due.validate().expect("a case");
        let (mut first, mut second) = (Observation::new(), Observation::new());
        rig.run(&due, &mut second).unwrap();
        rig.reset().unwrap();
        rig.run(&early, &mut first).unwrap();
        rig.reset().unwrap();
        for seen in &mut first.items {
            seen.at_ns += u64::from(seen.at_ns % bit_ns == bit_ns - 1);
        }
        others += u32::from(first != second);
        for (order, observation) in [("completion", &second), ("service", &first)] {
            let verdict = judge.judge(&due, observation, capabilities);
            assert!(
                matches!(verdict, Verdict::Conforms),
                "{values:?}, start bit {start_bit}, {order} first: {verdict:?}"
            );
        }
    }
    assert!(others > 0, "{values:?}: the two orders are the same everywhere");
}

#[test]
fn a_service_may_come_before_or_behind_a_plain_word() {
    both_orders_conform(&[("fifo_words", "1"), ("overrun", "lose-old")]);
    both_orders_conform(&[("fifo_words", "1"), ("overrun", "lose-new")]);
}

#[test]
fn a_service_may_come_before_or_behind_a_word_that_is_finished() {
    let finish = ("partial", "finish");
    both_orders_conform(&[finish, ("fifo_words", "1"), ("overrun", "lose-old")]);
    both_orders_conform(&[finish, ("fifo_words", "1"), ("overrun", "lose-new")]);
}

#[test]
fn a_service_may_come_before_or_behind_a_word_that_is_padded() {
    let pad = ("partial", "pad-low");
    both_orders_conform(&[pad, ("fifo_words", "1"), ("overrun", "lose-old")]);
}
