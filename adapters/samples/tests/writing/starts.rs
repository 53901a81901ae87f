//! Where a write begins: at once, at a match, at the index; and when it cannot.

use crate::play::{Play, T, over, words_text};
use trackproof_contract::{Action, IndexEdge, Start};

const WORDS: [u64; 3] = [0x4489, 0x5554, 0x2aa9];

/// 400 cells with no sync word among them.
fn old() -> String {
    "10010100010".repeat(37)[..400].into()
}

/// 400 cells with a sync word in the cells from 50 on, and from 250 on.
fn with_syncs() -> String {
    over(&over(&"0".repeat(400), 50, &words_text(&[0x4489])), 250, &words_text(&[0x4489]))
}

#[test]
fn a_write_at_once_begins_with_the_cell_that_begins_at_the_request() {
    let played = Play::new(&old()).write(10 * T, Start::Now, &WORDS).until(400 * T);
    assert_eq!(played.shown(0), over(&old(), 10, &words_text(&WORDS)));
    assert_eq!(played.done(), [58 * T]);
}

#[test]
fn within_a_cell_the_next_one_is_the_first() {
    let played = Play::new(&old()).write(10 * T + 1, Start::Now, &WORDS).until(400 * T);
    assert_eq!(played.shown(0), over(&old(), 11, &words_text(&WORDS)));
    assert_eq!(played.done(), [59 * T]);
}

#[test]
fn a_write_at_once_waits_for_its_first_word_and_for_its_acceptance() {
    let late = Play::new(&old()).write_served(10 * T, Start::Now, &WORDS[..1], &[7 * T + 5]);
    assert_eq!(late.until(400 * T).shown(0), over(&old(), 18, &words_text(&WORDS[..1])));
    // The service at the request comes before the acceptance and is void.
    let slack = Play::new(&old())
        .with(|profile| profile.slack_min = 2)
        .write_served(10 * T, Start::Now, &WORDS[..1], &[0, T, 2 * T])
        .until(400 * T);
    assert_eq!(slack.shown(0), over(&old(), 12, &words_text(&WORDS[..1])));
}

#[test]
fn a_write_runs_over_the_index() {
    let played = Play::new(&old()).write(380 * T, Start::Now, &WORDS).until(800 * T);
    assert_eq!(played.shown(0), over(&old(), 380, &words_text(&WORDS)));
}

#[test]
fn of_a_write_longer_than_a_turn_the_last_turn_stays() {
    let words: Vec<u64> = (0..30).map(|n| 0x1111 * (n % 16)).collect();
    let played = Play::new(&old()).write(4 * T, Start::Now, &words).until(900 * T);
    assert_eq!(played.shown(0), over(&old(), 4, &words_text(&words)));
    assert_eq!(played.done(), [484 * T]);
}

#[test]
fn a_write_at_the_index_begins_at_its_edge() {
    let play = || Play::new(&old()).write(10 * T, Start::Index, &WORDS);
    assert_eq!(play().until(800 * T).shown(0), over(&old(), 0, &words_text(&WORDS)));
    assert_eq!(play().until(800 * T).done(), [448 * T]);
    let trailing = play().with(|profile| profile.index_edge = IndexEdge::Trailing);
    assert_eq!(trailing.until(800 * T).shown(0), over(&old(), 4, &words_text(&WORDS)));
    let slack = play().with(|profile| profile.slack_min = 2);
    assert_eq!(slack.until(800 * T).shown(0), over(&old(), 2, &words_text(&WORDS)));
}

#[test]
fn an_index_in_the_moment_of_the_acceptance_counts() {
    let played = Play::new(&old()).write(400 * T, Start::Index, &WORDS).until(800 * T);
    assert_eq!(played.done(), [448 * T]);
}

#[test]
fn the_end_of_the_index_is_rounded_up_to_a_cell() {
    let turn = "10".repeat(151);
    let played = Play::new(&turn)
        .with(|profile| profile.index_edge = IndexEdge::Trailing)
        .write(10 * T, Start::Index, &WORDS[..1])
        .until(700 * T);
    assert_eq!(played.shown(0), over(&turn, 4, &words_text(&WORDS[..1])));
}

#[test]
fn an_index_without_a_word_is_missed() {
    let served = |first| {
        let play = Play::new(&old()).write_served(10 * T, Start::Index, &WORDS[..1], &[first]);
        play.until(1_300 * T).done()
    };
    assert_eq!(served(390 * T), [416 * T]);
    assert_eq!(served(390 * T + 1), [816 * T]);
}

#[test]
fn a_write_at_a_match_begins_behind_it() {
    let play = |lead, after| {
        Play::new(&with_syncs())
            .with(|profile| (profile.gate_lead, profile.match_to_write) = (lead, after))
            .at(0, Action::HardwareSync(true))
            .write(10 * T, Start::Match, &WORDS)
            .until(400 * T)
    };
    let behind = |gap: usize| {
        let zeros = "0".repeat(gap);
        over(&with_syncs(), 66, &(zeros + &words_text(&WORDS)))
    };
    assert_eq!(play(0, 0).shown(0), behind(0));
    assert_eq!(play(0, 16).shown(0), behind(16));
    assert_eq!(play(5, 16).shown(0), behind(16));
    assert_eq!(play(5, 2).shown(0), behind(5));
    assert_eq!(play(5, 2).done(), [119 * T]);
}

#[test]
fn the_lead_is_written_as_zeros() {
    let played = Play::new(&old())
        .with(|profile| profile.gate_lead = 9)
        .write(10 * T, Start::Now, &WORDS)
        .until(400 * T);
    assert_eq!(played.shown(0), over(&old(), 10, &("0".repeat(9) + &words_text(&WORDS))));
}

#[test]
fn a_match_without_a_word_when_the_gate_is_due_is_missed() {
    let served = |first| {
        Play::new(&with_syncs())
            .with(|profile| profile.match_to_write = 4)
            .at(0, Action::HardwareSync(true))
            .write_served(10 * T, Start::Match, &WORDS[..1], &[first])
            .until(800 * T)
            .done()
    };
    assert_eq!(served(60 * T), [86 * T]);
    assert_eq!(served(60 * T + 1), [286 * T]);
}

#[test]
fn with_hardware_sync_off_a_write_goes_on_waiting_for_its_match() {
    let played = Play::new(&with_syncs())
        .at(0, Action::HardwareSync(true))
        .write(10 * T, Start::Match, &WORDS)
        .at(40 * T, Action::HardwareSync(false))
        .at(100 * T, Action::HardwareSync(true))
        .until(400 * T);
    assert_eq!(played.done(), [314 * T]);
}

#[test]
fn what_was_written_reads_back() {
    let played = Play::new(&old())
        .with(|profile| profile.counter = trackproof_contract::Counter::ZeroedAtStart)
        .write(10 * T, Start::Now, &WORDS)
        .read(410 * T, Start::Now, 3, 60)
        .until(500 * T);
    assert_eq!(played.words(1), WORDS);
}
