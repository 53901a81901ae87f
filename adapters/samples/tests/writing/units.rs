//! What a written word is: channel words as they are, data bytes with their clock bits.

use crate::play::{Play, T, over, words_text};
use trackproof_contract::{
    Action, FirstContext, Profile, Recording, Start, Underrun, WriteUnit, YesNo,
};

fn old() -> String {
    "0".repeat(400)
}

/// What a write of these words puts into the cells from 10 on.
fn written(words: &[u64], change: impl FnOnce(&mut Profile)) -> String {
    let played = Play::new(&old())
        .with(|profile| profile.write_unit = WriteUnit::DataBytes)
        .with(change)
        .write(10 * T, Start::Now, words)
        .until(400 * T);
    played.shown(0)[10..10 + 16 * words.len()].into()
}

#[test]
fn channel_words_are_written_as_they_are() {
    let words = [0xffff, 0x0000, 0x8001, 0x0180];
    let played = Play::new(&old()).write(10 * T, Start::Now, &words).until(400 * T);
    assert_eq!(played.shown(0), over(&old(), 10, &words_text(&words)));
}

/// Channel words: SA810/860 OEM manual, figures 6-7 to 6-9, give the marks' clock bytes 0A and 14
/// (MFM), D7 (FM); the words follow from them and from the codes' rules by hand.
#[test]
fn mfm_data_bytes_get_their_clock_bits_and_marks_lack_one() {
    // 00 before A1 A1 A1 FE 4E; the missing clock stands before bit 2 of A1, before bit 3 of C2.
    let words = [0x0000, 0x04a1, 0x04a1, 0x00fe, 0x004e, 0x08c2, 0x00fc, 0x00a1];
    let cells = [0xaaaa, 0x4489, 0x4489, 0x5554, 0x9254, 0x5224, 0x5552, 0x44a9];
    assert_eq!(written(&words, |_| {}), words_text(&cells));
}

#[test]
fn fm_data_bytes_get_their_clock_bits_and_marks_lack_some() {
    // Clock D7 is FF without 28, C7 is FF without 38. FE with C7 is from memory.
    let cells = [0xf77a, 0xf57e, 0xaaaa, 0xffff];
    let fm = |profile: &mut Profile| profile.recording = Recording::Fm;
    assert_eq!(written(&[0x28fc, 0x38fe, 0x0000, 0x00ff], fm), words_text(&cells));
}

#[test]
fn a_word_of_8_bits_has_4_data_bits_and_one_of_32_has_16() {
    let eight = Play::new(&old())
        .with(|profile| (profile.write_unit, profile.word_bits) = (WriteUnit::DataBytes, 8))
        .write_served(10 * T, Start::Now, &[0x0a, 0x41], &[0, 8 * T])
        .until(400 * T);
    assert_eq!(eight.shown(0), over(&old(), 10, &words_text(&[0x4489])));
    let long = Play::new(&old())
        .with(|profile| (profile.write_unit, profile.word_bits) = (WriteUnit::DataBytes, 32))
        .write(10 * T, Start::Now, &[0x0404_a1a1])
        .until(400 * T);
    assert_eq!(long.shown(0), over(&old(), 10, &words_text(&[0x4489, 0x4489])));
}

#[test]
fn the_first_clock_bit_follows_the_first_context() {
    let first = |context| written(&[0], |profile| profile.first_context = context);
    assert_eq!(first(FirstContext::Zero), words_text(&[0xaaaa]));
    assert_eq!(first(FirstContext::One), words_text(&[0x2aaa]));
    assert_eq!(first(FirstContext::Last), words_text(&[0xaaaa]));
}

/// The first cell of a second write, of zeros, after a first one that ended with a 1.
fn second(change: impl FnOnce(&mut Profile), between: Option<(u64, Action)>) -> char {
    let mut play = Play::new(&old())
        .with(|profile| profile.write_unit = WriteUnit::DataBytes)
        .with(change)
        .write(10 * T, Start::Now, &[0x00ff, 0x00ff]);
    if let Some((at_ns, action)) = between {
        play = play.at(at_ns, action);
    }
    play.write(100 * T, Start::Now, &[0]).until(400 * T).shown(0).chars().nth(100).unwrap()
}

#[test]
fn a_write_may_go_on_with_the_data_bit_of_the_last() {
    let join = |profile: &mut Profile| profile.write_join = YesNo::Yes;
    let last = |profile: &mut Profile| profile.first_context = FirstContext::Last;
    let abort = Some((20 * T, Action::Abort));
    assert_eq!(second(|_| {}, None), '1');
    assert_eq!(second(join, None), '0');
    assert_eq!(second(join, abort), '1');
    assert_eq!(second(join, Some((60 * T, Action::Reset))), '1');
    assert_eq!(second(last, None), '0');
    assert_eq!(second(last, abort), '0');
    assert_eq!(second(last, Some((60 * T, Action::Reset))), '0');
}

#[test]
fn fillers_of_an_underrun_have_clock_bits_and_held_cells_have_none() {
    let late = |underrun| {
        let played = Play::new(&old())
            .with(|profile| {
                (profile.write_unit, profile.underrun) = (WriteUnit::DataBytes, underrun);
            })
            .write_served(10 * T, Start::Now, &[0x00ff, 0x0000], &[0, 18 * T])
            .until(400 * T);
        played.shown(0)[10..58].to_string()
    };
    assert_eq!(late(Underrun::Zeros), words_text(&[0x5555, 0x2aaa, 0xaaaa]));
    assert_eq!(late(Underrun::Repeat), words_text(&[0x5555, 0x5555, 0x2aaa]));
    assert_eq!(
        late(Underrun::Hold),
        words_text(&[0x5555]) + "00" + &words_text(&[0xaaaa]) + &"0".repeat(14)
    );
}
