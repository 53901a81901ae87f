//! While the gate is open, and how it closes: underruns, ends, aborts, changes of the lines.

use crate::play::{Play, Played, T, over, words_text};
use trackproof_contract::{Action, Direction, Item, Medium, Start, Underrun, WriteDone, YesNo};

const WORDS: [u64; 3] = [0x4489, 0x5554, 0x2aa9];

fn old() -> String {
    "10010100010".repeat(37)[..400].into()
}

fn cells(word: u64) -> String {
    words_text(&[word])
}

/// Three words of which the last is served 5 cells late: the second has just ended then.
fn late(underrun: Underrun) -> Played {
    Play::new(&old())
        .with(|profile| profile.underrun = underrun)
        .write_served(10 * T, Start::Now, &WORDS, &[0, 0, 37 * T])
        .until(400 * T)
}

#[test]
fn an_underrun_repeats_the_last_word_and_the_owed_one_still_follows() {
    let played = late(Underrun::Repeat);
    let written = cells(0x4489) + &cells(0x5554) + &cells(0x5554) + &cells(0x2aa9);
    assert_eq!(played.shown(0), over(&old(), 10, &written));
    assert_eq!(played.done(), [74 * T]);
}

#[test]
fn an_underrun_writes_a_word_of_zeros() {
    let written = cells(0x4489) + &cells(0x5554) + &cells(0) + &cells(0x2aa9);
    assert_eq!(late(Underrun::Zeros).shown(0), over(&old(), 10, &written));
}

#[test]
fn an_underrun_holds_bit_by_bit() {
    let written = cells(0x4489) + &cells(0x5554) + "00000" + &cells(0x2aa9);
    let played = late(Underrun::Hold);
    assert_eq!(played.shown(0), over(&old(), 10, &written));
    assert_eq!(played.done(), [63 * T]);
}

#[test]
fn an_underrun_closes_the_gate_for_good() {
    let played = late(Underrun::CloseGate);
    assert_eq!(played.shown(0), over(&old(), 10, &words_text(&WORDS[..2])));
    assert_eq!(played.done(), []);
}

#[test]
fn services_beyond_the_fifo_are_lost() {
    // Three wait; the fourth service of that moment is void, so the fourth word comes at 52.
    let words = [0x4489, 0x5554, 0x2aa9, 0x2aa9];
    let played = Play::new(&old())
        .with(|profile| (profile.fifo_words, profile.underrun) = (3, Underrun::Hold))
        .write_served(10 * T, Start::Now, &words, &[0, 0, 0, 0, 50 * T])
        .until(400 * T);
    let written = words_text(&words[..3]) + "00" + &cells(words[3]);
    assert_eq!(played.shown(0), over(&old(), 10, &written));
}

#[test]
fn busy_lasts_from_the_acceptance_to_the_closing_of_the_gate() {
    let played = Play::new(&old())
        .with(|profile| (profile.gate_off_min, profile.gate_off_max) = (4, 4))
        .write(10 * T, Start::Now, &WORDS)
        .at(9 * T, Action::PollStatus)
        .at(10 * T, Action::PollStatus)
        .at(62 * T - 1, Action::PollStatus)
        .at(62 * T, Action::PollStatus)
        .until(400 * T);
    let status: Vec<_> = played.status().iter().map(|one| (one.0, one.1)).collect();
    assert_eq!(status, [(false, false), (false, true), (false, true), (true, false)]);
    assert_eq!(played.shown(0), over(&old(), 10, &(words_text(&WORDS) + "0000")));
}

#[test]
fn done_comes_with_its_event() {
    let done = |event| {
        Play::new(&old())
            .with(|profile| {
                (profile.write_done, profile.gate_off_min, profile.gate_off_max) = (event, 4, 4);
            })
            .write(10 * T, Start::Now, &WORDS)
            .until(400 * T)
            .done()
    };
    assert_eq!(done(WriteDone::LastFetched), [42 * T]);
    assert_eq!(done(WriteDone::LastBit), [58 * T]);
    assert_eq!(done(WriteDone::GateOff), [62 * T]);
}

#[test]
fn the_lost_tail_is_not_written() {
    let play = |event| {
        Play::new(&old())
            .with(|profile| (profile.lost_tail, profile.write_done) = (5, event))
            .write(10 * T, Start::Now, &WORDS)
            .until(400 * T)
    };
    assert_eq!(play(WriteDone::GateOff).shown(0), over(&old(), 10, &words_text(&WORDS)[..43]));
    assert_eq!(play(WriteDone::GateOff).done(), [53 * T]);
    assert_eq!(play(WriteDone::LastBit).done(), [58 * T]);
}

#[test]
fn the_tail_pulse_stands_two_cells_behind_the_last_one() {
    let tail = |last: u64, lost_tail: u16| {
        Play::new(&old())
            .with(|profile| {
                (profile.tail_pulse, profile.lost_tail) = (YesNo::Yes, lost_tail);
                (profile.gate_off_min, profile.gate_off_max) = (1, 1);
            })
            .write(10 * T, Start::Now, &[last])
            .until(400 * T)
            .shown(0)
    };
    let written = |text: &str| over(&old(), 10, text);
    assert_eq!(tail(0x2aa9, 0), written("0010101010101001010"));
    assert_eq!(tail(0x2aaa, 0), written("001010101010101010"));
    assert_eq!(tail(0x2aac, 0), written("00101010101011000"));
    assert_eq!(tail(0x2aac, 3), written("0010101010101010"));
    assert_eq!(tail(0, 0), written("00000000000000000"));
}

#[test]
fn an_abort_closes_the_gate_at_the_next_boundary() {
    let aborted = |at_ns| {
        let play = Play::new(&old()).write(10 * T, Start::Now, &WORDS);
        let played = play.at(at_ns, Action::Abort).until(400 * T);
        assert_eq!(played.done(), []);
        played.shown(0)
    };
    assert_eq!(aborted(33 * T), over(&old(), 10, &words_text(&WORDS)[..23]));
    assert_eq!(aborted(33 * T + 1), over(&old(), 10, &words_text(&WORDS)[..24]));
    assert_eq!(aborted(10 * T), old());
}

#[test]
fn a_reset_closes_the_gate_and_a_new_write_replaces_the_old() {
    let play = Play::new(&old()).write(10 * T, Start::Now, &WORDS);
    let reset = play.at(33 * T, Action::Reset).until(400 * T);
    assert_eq!(reset.shown(0), over(&old(), 10, &words_text(&WORDS)[..23]));

    let play = Play::new(&old())
        .with(|profile| profile.start_busy = trackproof_contract::StartBusy::Replace)
        .write(10 * T, Start::Now, &WORDS)
        .write(33 * T + 1, Start::Now, &[0x5555])
        .until(400 * T);
    let written = words_text(&WORDS)[..24].to_string() + &cells(0x5555);
    assert_eq!(play.shown(0), over(&old(), 10, &written));
    assert_eq!(play.done(), [50 * T]);
}

#[test]
fn a_change_of_select_side_or_motor_ends_the_write_and_a_step_does_not() {
    let played = |action| {
        let mut play = Play::new(&old());
        play.drive(400);
        play.track(1, 0, Medium::image_bits(crate::play::bits(&old())));
        play.track(0, 1, Medium::image_bits(crate::play::bits(&old())));
        play.write(10 * T, Start::Now, &WORDS)
            .at(33 * T + 1, action)
            .at(33 * T + 2, Action::PollStatus)
            .at(34 * T, Action::PollStatus)
            .until(400 * T)
    };
    for action in [Action::Select(2), Action::Select(0), Action::Side(1), Action::Motor(2)] {
        let played = played(action);
        assert_eq!(played.shown(0), over(&old(), 10, &words_text(&WORDS)[..23]), "{action:?}");
        assert_eq!((played.shown(1), played.shown(2)), (old(), old()), "{action:?}");
        assert_eq!(played.done(), [], "{action:?}");
        let busy: Vec<bool> = played.status().iter().map(|one| one.1).collect();
        assert_eq!(busy, [true, false], "{action:?}");
    }
    for action in [Action::Step(Direction::In), Action::Select(1), Action::Side(0)] {
        let played = played(action);
        assert_eq!(played.shown(0), over(&old(), 10, &words_text(&WORDS)), "{action:?}");
    }
    assert_eq!(played(Action::Motor(1)).done(), [58 * T], "the other drive's motor");
}

#[test]
fn a_protected_medium_stays_as_it_is() {
    let played = |checks_protect| {
        let mut play = Play::new(&old()).with(|profile| profile.checks_protect = checks_protect);
        play.drives[0].write_protected = true;
        play.write(10 * T, Start::Now, &WORDS).at(20 * T, Action::PollStatus).until(400 * T)
    };
    for (checks, busy, done) in [(YesNo::No, true, vec![58 * T]), (YesNo::Yes, false, vec![])] {
        let played = played(checks);
        assert_eq!(played.shown(0), old());
        assert_eq!((played.status()[0].1, played.done()), (busy, done));
    }
}

#[test]
fn a_write_of_no_words_is_done_at_once_and_opens_no_gate() {
    let played = Play::new(&old())
        .with(|profile| profile.zero_words = trackproof_contract::ZeroWords::Maximum)
        .write(10 * T, Start::Now, &[])
        .until(400 * T);
    assert_eq!((played.shown(0), played.done()), (old(), vec![10 * T]));
}

#[test]
fn a_request_under_way_is_refused() {
    let played = Play::new(&old())
        .with(|profile| profile.start_busy = trackproof_contract::StartBusy::Error)
        .write(10 * T, Start::Now, &WORDS)
        .write(20 * T, Start::Now, &WORDS)
        .until(400 * T);
    let refused =
        |item: &&trackproof_contract::Observed| item.item == Item::Refused { transfer: 1 };
    assert_eq!(played.observation.items.iter().filter(refused).count(), 1);
    assert_eq!(played.shown(0), over(&old(), 10, &words_text(&WORDS)));
}

#[test]
fn without_a_drive_words_are_fetched_and_nothing_is_kept() {
    let played = Play::new(&old())
        .at(5 * T, Action::Select(0))
        .write(10 * T, Start::Now, &WORDS)
        .until(400 * T);
    assert_eq!((played.shown(0), played.done()), (old(), vec![58 * T]));
}

#[test]
fn while_the_gate_is_open_the_reader_sees_zeros_and_never_a_match() {
    // All zeros match at every bit; the register needs 16 of one source.
    let poll = |play: Play, at: u64| play.at(at * T, Action::PollStatus);
    let play = Play::new(&"0".repeat(400))
        .at(0, Action::HardwareSync(true))
        .at(0, Action::SyncWord(0))
        .write(100 * T, Start::Now, &WORDS);
    let played = [100, 101, 148, 149, 163, 164].into_iter().fold(play, poll).until(400 * T);
    let shown: Vec<bool> = played.status().iter().map(|one| one.2).collect();
    assert_eq!(shown, [true, false, false, false, false, true]);
}
