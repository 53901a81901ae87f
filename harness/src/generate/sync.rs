//! Sync words planted into a track: alone, in rows, overlapping themselves, damaged, at every
//! phase and over the index.

use super::choices::Choices;
use super::frame::{Frame, Size};
use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::{Before, clock_bit};

/// Plants none, some or many sync words.
pub(super) fn plant(track: &mut ChannelBits, frame: &Frame, choices: &mut impl Choices) {
    let most = if frame.size == Size::Whole { 40 } else { 12 };
    let count = match choices.weighted(&[3, 6, 6, 2]) {
        0 => 0,
        1 => choices.between(1, 2),
        2 => choices.between(2, 4),
        _ => choices.between(4, most),
    };
    let mut after = 0;
    for _ in 0..count {
        let at = place(track.len() as u64, after, frame, choices);
        let word = if choices.chance(1, 5) { frame.other_sync } else { frame.sync };
        after = arrange(track, at, word, frame, choices);
    }
}

/// Where the next one goes; `after` is the bit after the one before.
fn place(len: u64, after: u64, frame: &Frame, choices: &mut impl Choices) -> u64 {
    match choices.weighted(&[6, 2, 2, 2]) {
        0 => choices.below(len),
        // Less than a word behind the last one: a partial word of each length.
        1 => after + choices.below(frame.word_bits),
        // Whole words behind it: an aligned match.
        2 => after + frame.word_bits * choices.between(1, 8),
        // Over the index.
        _ => len - choices.between(1, frame.register_bits).min(len),
    }
}

/// Writes one arrangement of the word at `at` and returns the bit after it.
fn arrange(
    track: &mut ChannelBits,
    at: u64,
    word: u64,
    frame: &Frame,
    choices: &mut impl Choices,
) -> u64 {
    let width = frame.register_bits;
    let row = |track: &mut ChannelBits, count: u64| {
        (0..count).for_each(|i| write(track, at + i * width, word, width));
        at + count * width
    };
    match choices.weighted(&[8, 3, 2, 2, 2, 2, 1]) {
        0 => row(track, 1),
        1 => row(track, 2),
        2 => row(track, 3),
        3 => {
            let shift = overlap(word, width, choices);
            write(track, at, word, width);
            write(track, at + shift, word, width);
            at + shift + width
        }
        // Cut short: its first bits alone, and a bit that does not belong.
        4 => {
            let kept = choices.below(width);
            let head = word >> 1 >> (width - 1 - kept);
            let next = !(word >> (width - 1 - kept)) & 1;
            write(track, at, head << 1 | next, kept + 1);
            at + kept + 1
        }
        // One bit wrong.
        5 => {
            write(track, at, word ^ 1 << choices.below(width), width);
            at + width
        }
        _ => forged(track, at, word, frame, choices),
    }
}

/// A shift at which the word fits over itself, or its own width. 4489 has 7 and 14, alternating
/// patterns every even one, a constant every one.
fn overlap(word: u64, width: u64, choices: &mut impl Choices) -> u64 {
    let mut shifts = 1_u64 << (width - 1);
    for shift in 1..width {
        let kept = width - shift;
        let tail = word & ((1 << kept) - 1);
        if tail == word >> shift {
            shifts |= 1 << (shift - 1);
        }
    }
    u64::from(choices.member(shifts)) + 1
}

/// Data after a mark that makes another one out of phase: 40 … 4F after A1, 80 … 9F after C2 (by
/// exhaustive search over the codes' rule).
fn forged(
    track: &mut ChannelBits,
    at: u64,
    word: u64,
    frame: &Frame,
    choices: &mut impl Choices,
) -> u64 {
    let width = frame.register_bits;
    write(track, at, word, width);
    let byte = if word == 0x5224 { 0x80 + choices.below(32) } else { 0x40 + choices.below(16) };
    let mut before = Before::bit(word & 1 == 1);
    let bits = (0..8).rev().map(|place| byte >> place & 1 == 1).fold(0, |bits, data| {
        let clock = clock_bit(Recording::Mfm, before, data);
        before = Before::bit(data);
        bits << 2 | u64::from(clock) << 1 | u64::from(data)
    });
    write(track, at + width, bits, 16);
    at + width + 16
}

/// Writes the low `width` bits of `value` at `at`, around the end of the track.
fn write(track: &mut ChannelBits, at: u64, value: u64, width: u64) {
    let len = track.len() as u64;
    for place in 0..width {
        track.set(((at + place) % len) as usize, value >> (width - 1 - place) & 1 == 1);
    }
}

#[cfg(test)]
mod tests {
    use super::{forged, overlap, write};
    use crate::generate::choices::SeededChoices;
    use crate::generate::frame::{Frame, Scope};
    use std::collections::BTreeSet;
    use trackproof_contract::{Capabilities, ChannelBits, Profile};

    fn shifts(word: u64) -> BTreeSet<u64> {
        (0..400).map(|seed| overlap(word, 16, &mut SeededChoices::new(seed))).collect()
    }

    #[test]
    fn words_overlap_themselves_at_their_own_shifts() {
        assert_eq!(shifts(0x4489), BTreeSet::from([7, 14, 16]));
        assert_eq!(shifts(0xaaaa), (2..=16).step_by(2).collect());
        assert_eq!(shifts(0), (1..=16).collect());
    }

    #[test]
    fn a_word_over_the_index_is_whole_around_the_turn() {
        let mut track = ChannelBits::zeros(100);
        write(&mut track, 93, 0x4489, 16);
        assert_eq!(track.cyclic_window(93, 16), 0x4489);
    }

    #[test]
    fn data_after_a_mark_forges_another_one() {
        let profile = Profile::sync_dma();
        let scope = Scope::of(&profile, Capabilities::NONE);
        let frame = Frame::draw(&profile, scope, &mut SeededChoices::new(0));
        for seed in 0..50 {
            let mut track = ChannelBits::zeros(64);
            forged(&mut track, 0, 0x4489, &frame, &mut SeededChoices::new(seed));
            assert_eq!(track.window(7, 16), 0x4489);
            forged(&mut track, 0, 0x5224, &frame, &mut SeededChoices::new(seed));
            assert_eq!(track.window(5, 16), 0x4489);
        }
    }
}
