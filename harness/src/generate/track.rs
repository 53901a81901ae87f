//! What is recorded: the contents of a case's tracks.
//!
//! Most tracks are numbered, so that a phase can be told from the words read; the others are what
//! numbers never hold: any bits, other run lengths, long empty or dense stretches, sectors that
//! repeat. Sync words are planted on top by `sync.rs`. All of it at up to 64 channel bits a step.
//! Image-backed drives have sectors instead, from `image.rs`.

use super::choices::Choices;
use super::frame::{Backing, Frame, Size};
use super::pen::Pen;
use super::spare::Spare;
use super::{image, sector, sync};
use trackproof_contract::{
    Bench, Case, ChannelBits, ChannelKind, Direction, MAX_CYLINDER, MAX_DRIVES, Medium, Operation,
    Recording, Track,
};

/// Run lengths, as the least and the most zeros between two 1s, of codes other than ours
/// (common practice, no source; any limits would do).
const RUN_LIMITS: [(u64, u64); 5] = [(1, 7), (2, 7), (0, 3), (3, 10), (1, 3)];

/// How often the contents of `fill` come: on tracks that keep any string, on those that keep what
/// a real medium would, and in what is written onto either.
const ANY_CONTENTS: [u8; 7] = [16, 3, 6, 2, 2, 2, 1];
const REAL_CONTENTS: [u8; 7] = [40, 8, 12, 1, 1, 1, 0];
const WRITTEN_CONTENTS: [u8; 7] = [20, 3, 5, 1, 1, 1, 2];

/// Most tracks of a case that writes: on more, a write to a wrong place need not show.
const MOST_TRACKS: usize = 8;

/// The same where they are whole ones.
const MOST_WHOLE_TRACKS: usize = 4;

/// Draws the tracks of a case: the one under each head, mostly, and some neighbours.
pub(super) fn draw(
    tracks: &mut Vec<Track>,
    bench: &Bench,
    frame: &Frame,
    spare: &mut Spare,
    choices: &mut impl Choices,
) {
    for (drive, on) in bench.drives.iter().enumerate() {
        let mut record = |cylinder, side, choices: &mut _| {
            let turn_bits = u64::from(on.turn_bits);
            tracks.push(record(drive, cylinder, side, turn_bits, frame, spare, choices));
        };
        if frame.writes || !choices.chance(1, 32) {
            record(on.cylinder, 0, choices);
        }
        if choices.chance(1, 4) {
            record(on.cylinder, 1, choices);
        }
        if frame.size != Size::Whole && !frame.writes && choices.chance(1, 4) {
            let outer = on.cylinder.checked_sub(1);
            let inner = (on.cylinder < MAX_CYLINDER).then_some(on.cylinder + 1);
            let neighbour = if choices.chance(1, 2) { outer.or(inner) } else { inner.or(outer) };
            if let Some(cylinder) = neighbour {
                record(cylinder, 0, choices);
            }
        }
    }
}

/// Records what a finished program that writes may come over, so that a write to the wrong place
/// shows: every track that is at some time under a head, of all drives and on the side that is set
/// then.
pub(super) fn complete(
    case: &mut Case,
    frame: &Frame,
    spare: &mut Spare,
    choices: &mut impl Choices,
) {
    if !case.program.iter().any(|operation| matches!(operation, Operation::Write { .. })) {
        return;
    }
    let most = if frame.size == Size::Whole { MOST_WHOLE_TRACKS } else { MOST_TRACKS };
    let mut cylinders = [0; MAX_DRIVES];
    for (cylinder, drive) in cylinders.iter_mut().zip(&case.bench.drives) {
        *cylinder = drive.cylinder;
    }
    let (mut selected, mut side) = (None, 0);
    for step in 0..=case.program.len() {
        for (drive, cylinder) in cylinders[..frame.drives].iter().copied().enumerate() {
            if case.track(drive as u8, cylinder, side).is_none() && case.tracks.len() < most {
                let turn_bits = u64::from(case.bench.drives[drive].turn_bits);
                let track = record(drive, cylinder, side, turn_bits, frame, spare, choices);
                case.tracks.push(track);
            }
        }
        match case.program.get(step) {
            Some(Operation::Select { mask }) => {
                selected = (*mask != 0).then(|| mask.trailing_zeros() as usize);
            }
            Some(Operation::Side { side: new }) => side = *new,
            Some(Operation::Step { direction }) => {
                if let Some(drive) = selected {
                    cylinders[drive] = stepped(cylinders[drive], *direction);
                }
            }
            _ => {}
        }
    }
}

/// Where a head is after a step.
pub(super) const fn stepped(cylinder: u8, direction: Direction) -> u8 {
    match direction {
        Direction::In if cylinder < MAX_CYLINDER => cylinder + 1,
        Direction::In => cylinder,
        Direction::Out => cylinder.saturating_sub(1),
    }
}

/// A track of a drive with some content.
fn record(
    drive: usize,
    cylinder: u8,
    side: u8,
    turn_bits: u64,
    frame: &Frame,
    spare: &mut Spare,
    choices: &mut impl Choices,
) -> Track {
    let mut bits = spare.bits();
    let medium = match frame.backings[drive] {
        Backing::Bits(kind) => {
            let contents = match kind {
                ChannelKind::Image => ANY_CONTENTS,
                ChannelKind::Real => REAL_CONTENTS,
            };
            fill(&mut bits, turn_bits, &contents, frame, choices);
            Medium::ChannelBits { kind, track: bits }
        }
        Backing::Sectors(layout) => {
            image::fill(&mut bits, layout, choices);
            Medium::Image { layout, sectors: bits }
        }
    };
    Track { drive: drive as u8, cylinder, side, medium }
}

/// Fills an empty string with what a host may write.
pub(super) fn fill_written(
    bits: &mut ChannelBits,
    len: u64,
    frame: &Frame,
    choices: &mut impl Choices,
) {
    if len > 0 {
        fill(bits, len, &WRITTEN_CONTENTS, frame, choices);
    }
}

/// Fills an empty track with one turn. Each content says whether it is legal in the recording's
/// code, so that its seam can be closed.
fn fill(
    track: &mut ChannelBits,
    turn_bits: u64,
    contents: &[u8; 7],
    frame: &Frame,
    choices: &mut impl Choices,
) {
    let len = turn_bits as usize;
    let legal = match choices.weighted(contents) {
        0 => numbered(track, len, frame, choices),
        1 => random_data(track, len, frame, choices),
        2 => sector::fill(track, len, frame, choices),
        3 => any_bits(track, len, choices),
        4 => other_runs(track, len, choices),
        5 => stretches(track, len, choices),
        _ => one_word(track, len, frame, choices),
    };
    track.truncate(len);
    if legal {
        close_seam(track, frame.recording);
    }
    sync::plant(track, frame, choices);
}

/// Numbers that all differ: of a byte where the turn has no more than 256 of them, else of two.
fn numbered(
    track: &mut ChannelBits,
    len: usize,
    frame: &Frame,
    choices: &mut impl Choices,
) -> bool {
    let mut number = choices.bits(16) as u16;
    let step = choices.bits(16) as u16 | 1;
    let mut next = || {
        number = number.wrapping_add(step);
        number
    };
    Pen::new(track, frame.recording).data_up_to(len, |block| {
        if len <= 256 * 16 {
            block.iter_mut().for_each(|byte| *byte = next() as u8);
        } else {
            for pair in block.chunks_mut(2) {
                pair.copy_from_slice(&next().to_be_bytes()[..pair.len()]);
            }
        }
    });
    true
}

/// Any data bits in the code of the recording.
fn random_data(
    track: &mut ChannelBits,
    len: usize,
    frame: &Frame,
    choices: &mut impl Choices,
) -> bool {
    Pen::new(track, frame.recording).data_up_to(len, |block| {
        for eight in block.chunks_mut(8) {
            eight.copy_from_slice(&choices.bits(64).to_be_bytes()[..eight.len()]);
        }
    });
    true
}

/// Any channel bits, at one of several densities.
fn any_bits(track: &mut ChannelBits, len: usize, choices: &mut impl Choices) -> bool {
    let thinner = choices.below(4);
    while track.len() < len {
        let bits = (0..thinner).fold(choices.bits(64), |bits, _| bits & choices.bits(64));
        track.push(bits, 64);
    }
    false
}

/// The run lengths of another code.
fn other_runs(track: &mut ChannelBits, len: usize, choices: &mut impl Choices) -> bool {
    let (least, most) = choices.pick(&RUN_LIMITS);
    while track.len() < len {
        // One number gives eight runs of a byte each, scaled to the limits.
        let mut bytes = choices.bits(64);
        for _ in 0..8 {
            let zeros = least + (((bytes & 0xff) * (most - least + 1)) >> 8);
            track.push(1, zeros as usize + 1);
            bytes >>= 8;
        }
    }
    false
}

/// Long stretches without any transition, with one in every place, or as close as MFM has them.
fn stretches(track: &mut ChannelBits, len: usize, choices: &mut impl Choices) -> bool {
    while track.len() < len {
        let word = choices.pick(&[0, !0, 0xaaaa_aaaa_aaaa_aaaa, 0x8888_8888_8888_8888]);
        let most = choices.pick(&[16, 64, 300, 3_000]);
        let mut left = choices.between(1, most) as usize;
        left = left.min(len - track.len());
        while left > 0 {
            let count = left.min(64);
            track.push(word >> (64 - count), count);
            left -= count;
        }
    }
    false
}

/// One word over and over: a phase cannot be told at all.
fn one_word(
    track: &mut ChannelBits,
    len: usize,
    frame: &Frame,
    choices: &mut impl Choices,
) -> bool {
    let word = choices.bits(frame.word_bits as u32);
    while track.len() < len {
        track.push(word, frame.word_bits as usize);
    }
    false
}

/// Makes the first clock bit what the last and the first data bit demand. Where a turn is an odd
/// number of bits, its seam stays a break, as on real tracks.
pub(super) fn close_seam(track: &mut ChannelBits, recording: Recording) {
    let len = track.len();
    if recording == Recording::Mfm && len >= 2 && len.is_multiple_of(2) {
        let clock = !track.get(len - 1) && !track.get(1);
        track.set(0, clock);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::generate::choices::SeededChoices;
    use crate::generate::frame::Frame;
    use crate::generate::frame::Scope;
    use trackproof_contract::{Capabilities, Profile};

    fn frame(recording: Recording) -> Frame {
        let profile = Profile { recording, ..Profile::sync_dma() };
        let scope = Scope::of(&profile, Capabilities::NONE);
        Frame::draw(&profile, scope, &mut SeededChoices::new(0))
    }

    /// The zeros between neighbouring 1s, around the turn.
    fn runs(track: &ChannelBits) -> Vec<usize> {
        let ones: Vec<usize> = (0..track.len()).filter(|i| track.get(*i)).collect();
        let next = ones.iter().skip(1).copied().chain([ones[0] + track.len()]);
        ones.iter().zip(next).map(|(one, next)| next - one - 1).collect()
    }

    #[test]
    fn legal_contents_keep_the_codes_run_lengths_around_the_turn() {
        for (recording, limits) in [(Recording::Mfm, 1..=3), (Recording::Fm, 0..=1)] {
            let frame = frame(recording);
            for (seed, len) in (0..200).zip([64, 128, 130, 512, 4_096, 20_000].into_iter().cycle())
            {
                let mut choices = SeededChoices::new(seed);
                for content in [numbered, random_data] {
                    let mut track = ChannelBits::new();
                    assert!(content(&mut track, len, &frame, &mut choices));
                    track.truncate(len);
                    close_seam(&mut track, recording);
                    assert!(runs(&track).iter().all(|run| limits.contains(run)), "{track:?}");
                }
            }
        }
    }

    #[test]
    fn a_numbered_track_has_no_two_equal_numbers() {
        let frame = frame(Recording::Mfm);
        for (len, number_bits) in [(4_096, 16), (100_000, 32)] {
            let mut track = ChannelBits::new();
            numbered(&mut track, len, &frame, &mut SeededChoices::new(5));
            // Data bits alone: the clock bits also depend on what is before.
            let mut numbers: Vec<u64> = (0..len / number_bits)
                .map(|i| track.window(i * number_bits, number_bits) & 0x5555_5555)
                .collect();
            numbers.sort_unstable();
            assert!(numbers.windows(2).all(|pair| pair[0] != pair[1]));
        }
    }

    #[test]
    fn other_runs_keep_the_limits_that_were_picked() {
        for seed in 0..50 {
            let mut track = ChannelBits::new();
            let mut choices = SeededChoices::new(seed);
            other_runs(&mut track, 4_000, &mut choices);
            let (least, most) = SeededChoices::new(seed).pick(&RUN_LIMITS);
            // The last run spans the seam and is cut.
            let (_, whole) = runs(&track).split_last().map(|(l, w)| (*l, w.to_vec())).unwrap();
            assert!(whole.iter().all(|run| (least as usize..=most as usize).contains(run)));
        }
    }
}
