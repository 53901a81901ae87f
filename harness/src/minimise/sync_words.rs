//! Sync words: simpler ones, and the tracks rewritten for them.

use super::contents::canonical;
use super::reliefs::roomy;
use super::tracks::map_drive;
use super::{Reductions, edited};
use trackproof_contract::{Case, Operation};

/// The sync words that the case speaks of, the one of power-up first.
pub(super) fn of(case: &Case) -> Vec<u64> {
    let mut words = vec![case.profile.default_sync_word()];
    for operation in &case.program {
        if let Operation::SyncWord { word } = operation
            && !words.contains(word)
        {
            words.push(*word);
        }
    }
    words.truncate(4);
    words
}

/// Sync words made simpler, or not set at all, and every place where they stand rewritten.
pub(super) fn rewritten_everywhere(case: &Case) -> Reductions<'_> {
    let width = usize::from(case.profile.register_bits);
    let default = case.profile.default_sync_word();
    let set = case.program.iter().enumerate().filter_map(|(i, operation)| match operation {
        Operation::SyncWord { word } => Some((i, *word)),
        _ => None,
    });
    Box::new(set.flat_map(move |(i, word)| {
        let unset = edited(case, |case| {
            case.program.remove(i);
        });
        let mut variants = vec![rewritten(&unset, word, default, width)];
        for other in of(case).into_iter().chain(0..4) {
            let set = edited(case, |case| case.program[i] = Operation::SyncWord { word: other });
            variants.push(rewritten(&set, word, other, width));
        }
        variants
    }))
}

/// The tracks with every occurrence of one word overwritten by another.
fn rewritten(case: &Case, from: u64, to: u64, width: usize) -> Case {
    edited(case, |case| {
        for track in &mut case.tracks {
            let bits = track.medium.track_mut();
            let places: Vec<usize> =
                (0..bits.len()).filter(|at| bits.cyclic_window(*at, width) == from).collect();
            for at in places {
                for k in 0..width {
                    let length = bits.len();
                    bits.set((at + k) % length, to >> (width - 1 - k) & 1 == 1);
                }
            }
        }
    })
}

/// Another sync word, on canonical contents that hold it.
pub(super) fn on_canonical(case: &Case) -> Reductions<'_> {
    let width = usize::from(case.profile.register_bits);
    let set =
        (0..case.program.len()).filter(|i| matches!(case.program[*i], Operation::SyncWord { .. }));
    Box::new(set.flat_map(move |i| {
        [0, 1, case.profile.default_sync_word()].into_iter().flat_map(move |word| {
            let other = edited(case, |case| case.program[i] = Operation::SyncWord { word });
            let drives = 0..case.bench.drives.len();
            let lengths = [1, 2, 7, width, width + 1];
            drives.flat_map(move |drive| {
                let turn = case.bench.drives[drive].turn_bits as usize;
                let other = other.clone();
                let lengths = lengths.into_iter().chain([turn]).filter(move |n| *n <= turn);
                lengths.flat_map(move |length| {
                    let contents = canonical(&other, length).into_iter().take(3 * width);
                    let other = other.clone();
                    contents.map(move |bits| {
                        roomy(&edited(&other, |case| map_drive(case, drive, |_| bits.clone())))
                    })
                })
            })
        })
    }))
}

/// No drive at all: zeros come in, and they match the sync word 0.
pub(super) fn without_drive(case: &Case) -> Reductions<'_> {
    let drives = |operation: &Operation| {
        matches!(operation, Operation::Select { .. } | Operation::Motor { .. })
    };
    let matching = Operation::SyncWord { word: 0 };
    let first = case.program.iter().position(drives);
    let mut bare = edited(case, |case| {
        case.tracks.clear();
        for drive in &mut case.bench.drives {
            (drive.turn_bits, drive.start_bit) = (1, 0);
        }
    });
    let replaced: Vec<Case> = (0..case.program.len())
        .filter(|i| drives(&case.program[*i]))
        .map(|i| edited(&bare, |case| case.program[i] = matching.clone()))
        .collect();
    bare.program.retain(|operation| !drives(operation));
    let first = first.map(|first| {
        edited(&bare, |case| case.program.insert(first.min(case.program.len()), matching))
    });
    Box::new(first.into_iter().chain(replaced))
}
