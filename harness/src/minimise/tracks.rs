//! Tracks: shorter turns, fewer ones, the least rotation.

use super::contents::{all_short, canonical_instead};
use super::media::is_image;
use super::reliefs::roomy;
use super::slot::units;
use super::{Reductions, edited};
use trackproof_contract::{Case, ChannelBits};

/// Longest turn whose bits are looked at one by one from the beginning.
const SHORT_TURN: u32 = 96;

/// Pieces of a longer one that are looked at from the beginning.
const PIECES: usize = 64;

/// Longest program, in channel bits, whose turns are unrolled.
const LONGEST_UNROLLED: u64 = 4_096;

/// The numbers of the drives that are made of channel bits; `media.rs` is about the others.
pub(super) fn drives(case: &Case) -> impl Iterator<Item = usize> + use<> {
    let drives: Vec<usize> =
        (0..case.bench.drives.len()).filter(|drive| !is_image(case, *drive)).collect();
    drives.into_iter()
}

/// Changes what is on every track of a drive, and with it the length of its turn. A drive that is
/// backed by an image stays as it is.
pub(super) fn map_drive(case: &mut Case, drive: usize, map: impl Fn(&ChannelBits) -> ChannelBits) {
    if is_image(case, drive) {
        return;
    }
    let mut length = None;
    for track in &mut case.tracks {
        if usize::from(track.drive) == drive {
            let bits = map(track.medium.track());
            length = Some(bits.len());
            *track.medium.track_mut() = bits;
        }
    }
    if let Some(length) = length {
        set_turn(case, drive, length);
    }
}

/// Sets a drive's turn and keeps the start inside it.
fn set_turn(case: &mut Case, drive: usize, length: usize) {
    let drive = &mut case.bench.drives[drive];
    drive.turn_bits = length as u32;
    drive.start_bit %= drive.turn_bits.max(1);
}

/// `bits` without those from `from` to `to`.
pub(super) fn without(bits: &ChannelBits, from: usize, to: usize) -> ChannelBits {
    let mut left = ChannelBits::new();
    left.push_cyclic(bits, 0, from);
    left.push_cyclic(bits, to % bits.len().max(1), bits.len() - to);
    left
}

/// A drive's turn without the bits from `from` to `to`; the start stays over the same bit.
pub(super) fn cut(case: &Case, drive: usize, from: usize, to: usize) -> Case {
    edited(case, |case| {
        let start = case.bench.drives[drive].start_bit as usize;
        let turn = case.bench.drives[drive].turn_bits as usize;
        map_drive(case, drive, |bits| without(bits, from, to));
        if start >= from {
            case.bench.drives[drive].start_bit = start.saturating_sub(to - from).max(from) as u32;
        }
        set_turn(case, drive, turn - (to - from));
    })
}

/// Turns of a drive and its start together, so that the head meets the same bits.
pub(super) fn rotated(case: &Case, drive: usize, by: usize) -> Case {
    edited(case, |case| {
        let turn = case.bench.drives[drive].turn_bits as usize;
        let start = case.bench.drives[drive].start_bit as usize;
        map_drive(case, drive, |bits| bits.rotated(by));
        case.bench.drives[drive].start_bit = ((start + turn - by % turn) % turn) as u32;
    })
}

/// Turns as long as the program, with the bits that the head meets: whatever comes round again
/// does so only on the track, not by the index.
pub(super) fn unrolled(case: &Case) -> Case {
    let (bit_ns, _) = units(case);
    let cells = (case.end_ns() / bit_ns + 2).min(LONGEST_UNROLLED) as usize;
    edited(case, |case| {
        for drive in drives(case) {
            let start = std::mem::take(&mut case.bench.drives[drive].start_bit) as usize;
            if cells <= case.bench.drives[drive].turn_bits as usize {
                case.bench.drives[drive].start_bit = start as u32;
                continue;
            }
            map_drive(case, drive, |bits| {
                let mut long = ChannelBits::new();
                long.push_cyclic(bits, start, cells);
                long
            });
            set_turn(case, drive, cells);
        }
    })
}

/// Shorter turns: spans cut out beside every edge of a run of zeros or ones, long spans first.
pub(super) fn shorter(case: &Case) -> Reductions<'_> {
    Box::new(drives(case).flat_map(move |drive| {
        let turn = case.bench.drives[drive].turn_bits as usize;
        spans(turn).flat_map(move |span| {
            let from = |edge: &usize| [Some(*edge), edge.checked_sub(span)];
            let mut places: Vec<usize> =
                edges(case, drive).iter().flat_map(from).flatten().collect();
            places.sort_unstable_by(|one, two| two.cmp(one));
            places.dedup();
            places.into_iter().filter(move |from| from + span <= turn).flat_map(move |from| {
                let plain = cut(case, drive, from, from + span);
                let start = case.bench.drives[drive].start_bit;
                let moved = edited(&plain, |case| {
                    let turn = case.bench.drives[drive].turn_bits;
                    case.bench.drives[drive].start_bit = start % turn.max(1);
                });
                [plain, moved]
            })
        })
    }))
}

/// Lengths of spans to cut out of a turn: halves, and each up to a word.
fn spans(turn: usize) -> impl Iterator<Item = usize> {
    let halves = std::iter::successors(Some(turn / 2), |span| Some(span / 2));
    let halves = halves.take_while(|span| *span > 17);
    halves.chain([17, 16, 8, 7, 4, 3, 2, 1].into_iter().filter(move |span| *span < turn))
}

/// Where runs begin on a drive's tracks, with the track's begin and end; on a long track not all.
fn edges(case: &Case, drive: usize) -> Vec<usize> {
    let turn = case.bench.drives[drive].turn_bits as usize;
    let mut edges = vec![0, turn];
    for track in case.tracks.iter().filter(|track| usize::from(track.drive) == drive) {
        let bits = track.medium.track();
        edges.extend((1..turn).filter(|i| bits.get(*i) != bits.get(i - 1)));
    }
    edges.sort_unstable();
    edges.dedup();
    edges
}

/// All of this file on short tracks, the long spans of [`shorter`] on long ones: comes early,
/// while what is for long tracks and single bits can wait for stronger means.
pub(super) fn early(case: &Case) -> Reductions<'_> {
    if case.bench.drives.iter().all(|drive| drive.turn_bits <= SHORT_TURN) {
        let all = [shorter, rotations, fewer_ones, later_ones, canonical_instead, all_short];
        return Box::new(all.into_iter().flat_map(move |reduction| reduction(case)));
    }
    Box::new(shorter(case).take(4 * PIECES))
}

/// Ones taken out, in spans that halve down to one bit.
pub(super) fn fewer_ones(case: &Case) -> Reductions<'_> {
    Box::new((0..case.tracks.len()).flat_map(move |t| {
        let bits = case.tracks[t].medium.track();
        (0..bits.len())
            .filter(|i| bits.get(*i))
            .map(move |i| edited(case, |case| case.tracks[t].medium.track_mut().set(i, false)))
    }))
}

/// Each one moved later by a bit, or to just before the next one.
pub(super) fn later_ones(case: &Case) -> Reductions<'_> {
    Box::new((0..case.tracks.len()).flat_map(move |t| {
        let bits = case.tracks[t].medium.track();
        (0..bits.len()).filter(|i| bits.get(*i)).flat_map(move |i| {
            let free = (i + 1..bits.len()).take_while(|k| !bits.get(*k)).count();
            let targets = [free, 1].into_iter().filter(move |by| *by > 0 && *by <= free);
            targets.map(move |by| {
                edited(case, |case| {
                    let track = case.tracks[t].medium.track_mut();
                    track.set(i, false);
                    track.set(i + by, true);
                })
            })
        })
    }))
}

/// The tracks of a drive turned: with the start, alone, and the start alone.
pub(super) fn rotations(case: &Case) -> Reductions<'_> {
    Box::new(drives(case).flat_map(move |drive| {
        let turn = case.bench.drives[drive].turn_bits as usize;
        let start = case.bench.drives[drive].start_bit as usize;
        let far = (turn <= 256).then_some(1..turn).into_iter().flatten();
        let near = [start % turn].into_iter().chain(run_starts(case, drive));
        let to_zero = [start].into_iter().filter(|by| *by > 0);
        let together = to_zero.chain(near.clone()).chain(far.clone());
        let together = together.map(move |by| rotated(case, drive, by));
        let alone = near
            .chain(far)
            .map(move |by| edited(case, |case| map_drive(case, drive, |bits| bits.rotated(by))));
        together.chain(alone)
    }))
}

/// Where a run of zeros begins on a drive's tracks: where the least rotation begins.
fn run_starts(case: &Case, drive: usize) -> Vec<usize> {
    let mut starts = Vec::new();
    for track in case.tracks.iter().filter(|track| usize::from(track.drive) == drive) {
        let bits = track.medium.track();
        let last = bits.len() - 1;
        let begins = |i: &usize| !bits.get(*i) && bits.get(if *i == 0 { last } else { i - 1 });
        starts.extend((0..bits.len()).filter(begins).take(64));
    }
    starts
}

/// Short turns of drives that have no track.
pub(super) fn bare_turns(case: &Case) -> Reductions<'_> {
    let bare = drives(case)
        .filter(|drive| case.tracks.iter().all(|track| usize::from(track.drive) != *drive));
    Box::new(bare.flat_map(move |drive| {
        let turn = case.bench.drives[drive].turn_bits as usize;
        let halves = (0..20).map(move |k| turn - (turn >> k).min(turn - 1)).rev();
        let steps = (0..20).rev().map(|k| 1 << k).filter(move |step| *step < turn);
        let lengths = (1..turn.min(64)).chain(halves).chain(steps.map(move |step| turn - step));
        lengths.filter(move |length| *length < turn).flat_map(move |length| {
            let plain = edited(case, |case| set_turn(case, drive, length));
            let mut variants = vec![roomy(&plain)];
            // The index tells drives apart; so does where the heads are.
            variants.extend(
                drives(case)
                    .map(|other| edited(&plain, |case| case.bench.drives[other].cylinder = 1)),
            );
            variants.push(plain);
            variants
        })
    }))
}
