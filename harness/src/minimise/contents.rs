//! Contents: whole tracks to try in place of what is recorded.
//!
//! A content that was found by cutting bits out keeps the shape of the one it came from; these do
//! not, so that different cases of one fault come to the same content.

use super::reliefs::roomy;
use super::tracks::{drives, map_drive};
use super::{Reductions, edited, requests, sync_words};
use trackproof_contract::{Case, ChannelBits, Medium, Operation, Start, Track};

/// Longest content of which every value is tried.
const ALL_VALUES_BITS: usize = 10;

/// Longest content of which every value is tried in place of a longer one.
const ALL_SHORT_BITS: usize = 6;

/// Longest program that is tried on rich contents with each operation taken out.
const MOST_OPERATIONS: usize = 24;

/// Contents of that length that show most of what a reader can do wrong, the simplest first.
pub(super) fn canonical(case: &Case, length: usize) -> Vec<ChannelBits> {
    let width = usize::from(case.profile.register_bits);
    let mut contents = vec![ChannelBits::zeros(length)];
    for word in sync_words::of(case) {
        if length < width {
            // The word's own beginning over and over: it matches where the word overlaps itself.
            let mut bits = ChannelBits::new();
            bits.push(word >> (width - length), length);
            contents.extend((0..length).map(|by| bits.rotated(by)));
            continue;
        }
        let mut bits = ChannelBits::new();
        bits.push(word, width);
        bits.push_cyclic(&ChannelBits::zeros(1), 0, length - width);
        let places = (0..length).rev().filter(|at| length <= 64 || at % width == 0 || *at < 4);
        contents.extend(places.map(|at| bits.rotated((length - at) % length)));
    }
    contents
}

/// Contents in which sync words follow each other in every way that matters, each with words
/// behind it that differ from each other; longer than a minimal case needs.
pub(super) fn rich(case: &Case) -> Vec<ChannelBits> {
    let width = usize::from(case.profile.register_bits);
    let mut contents = Vec::new();
    for word in sync_words::of(case).into_iter().take(2) {
        let mut places: Vec<Vec<usize>> = vec![vec![], vec![0], vec![0, width], vec![0, width + 1]];
        places.push(vec![0, width + 1, 2 * width + 2]);
        let overlaps = |by: &usize| word >> by == word & (!0 >> (64 - width + by));
        for by in (1..width).filter(overlaps).take(2) {
            places.extend([vec![0, by], vec![0, by, 2 * by]]);
        }
        for places in places {
            let mut bits = ChannelBits::new();
            for place in places {
                bits.truncate(place);
                bits.push_cyclic(&ChannelBits::zeros(1), 0, place - bits.len());
                bits.push(word, width);
            }
            for number in 1..5 {
                bits.push(number, usize::from(case.profile.word_bits));
            }
            contents.push(bits);
        }
    }
    contents
}

/// Puts `bits` on every track of a drive, in place of an image too; a drive without a track gets
/// one under its head.
pub(super) fn put(case: &mut Case, drive: usize, bits: &ChannelBits) {
    for track in case.tracks.iter_mut().filter(|track| usize::from(track.drive) == drive) {
        if track.medium.layout().is_some() {
            track.medium = Medium::image_bits(ChannelBits::new());
        }
    }
    if !case.tracks.iter().any(|track| usize::from(track.drive) == drive) {
        let cylinder = case.bench.drives[drive].cylinder;
        let medium = Medium::image_bits(ChannelBits::new());
        case.tracks.push(Track { drive: drive as u8, cylinder, side: 0, medium });
    }
    map_drive(case, drive, |_| bits.clone());
}

/// The case on rich contents, drive by drive.
pub(super) fn on_rich(case: &Case) -> Vec<Case> {
    let mut variants = Vec::new();
    let width = usize::from(case.profile.register_bits);
    let mut contents = rich(case);
    contents.extend(canonical(case, width + 1).into_iter().take(width + 2));
    let at_index = |operation: &Operation| requests::start(operation) == Some(Start::Index);
    let starts = if case.program.iter().any(at_index) { 2 } else { 1 };
    for drive in 0..case.bench.drives.len() {
        for start in 0..starts {
            variants.extend(contents.iter().map(|bits| {
                roomy(&edited(case, |case| {
                    put(case, drive, bits);
                    case.bench.drives[drive].start_bit = start;
                }))
            }));
        }
    }
    variants
}

/// Rich contents in place of longer ones.
pub(super) fn rich_instead(case: &Case) -> Reductions<'_> {
    Box::new(on_rich(case).into_iter())
}

/// One operation less, on rich contents and with all the time it takes.
pub(super) fn fewer_operations_on_rich(case: &Case) -> Reductions<'_> {
    let count = if case.program.len() <= MOST_OPERATIONS { case.program.len() } else { 0 };
    Box::new((0..count).rev().flat_map(move |i| {
        let plain = edited(case, |case| {
            case.program.remove(i);
        });
        on_rich(&plain)
    }))
}

/// The whole content of a drive replaced by a canonical one of the same or a smaller length.
pub(super) fn canonical_instead(case: &Case) -> Reductions<'_> {
    Box::new(drives(case).flat_map(move |drive| {
        let turn = case.bench.drives[drive].turn_bits as usize;
        let width = usize::from(case.profile.register_bits);
        let lengths = (1..=turn).filter(move |length| {
            *length == turn || *length <= 2 * width || length.is_power_of_two()
        });
        lengths.flat_map(move |length| {
            let few = if length == turn { usize::MAX } else { 2 * width };
            canonical(case, length).into_iter().take(few).flat_map(move |bits| {
                let plain = edited(case, |case| map_drive(case, drive, |_| bits.clone()));
                [roomy(&plain), plain]
            })
        })
    }))
}

/// Every content of the case's tracks while they are short, in increasing order.
pub(super) fn all_short(case: &Case) -> Reductions<'_> {
    let total: usize = case.tracks.iter().map(|track| track.medium.track().len()).sum();
    let same = (total <= ALL_VALUES_BITS).then(|| 0..1_u64 << total).into_iter().flatten();
    let same = same.map(move |mut value| {
        edited(case, |case| {
            for track in case.tracks.iter_mut().rev() {
                let length = track.medium.track().len();
                let mut bits = ChannelBits::new();
                bits.push(value & ((1 << length) - 1), length);
                value >>= length;
                *track.medium.track_mut() = bits;
            }
        })
    });
    let short = drives(case).flat_map(move |drive| {
        let turn = case.bench.drives[drive].turn_bits as usize;
        (1..=ALL_SHORT_BITS.min(turn)).flat_map(move |length| {
            (0..1_u64 << length).map(move |value| {
                let mut bits = ChannelBits::new();
                bits.push(value, length);
                edited(case, |case| map_drive(case, drive, |_| bits.clone()))
            })
        })
    });
    Box::new(same.chain(short))
}
