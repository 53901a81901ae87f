//! The least edit: what makes the words that came of the words that should have come.

use crate::verdict::Edit;
use trackproof_contract::Case;
use trackproof_model::reader::predict::Predicted;
use trackproof_model::reader::rejection::{Mismatch, Rejection};
use trackproof_model::tape::Tape;

/// Words behind the first wrong one that an edit is tested on.
const TESTED: usize = 4;

/// Finds the edit. `before` is the word of the transfer before the first wrong one.
pub(super) fn find(
    tape: &Tape,
    case: &Case,
    rejection: &Rejection,
    expected: &[Predicted],
    got: &[u64],
    before: Option<u64>,
) -> Edit {
    match rejection.mismatch {
        Mismatch::WordValue => {}
        Mismatch::WordMissing => return Edit::Missing,
        Mismatch::WordExtra | Mismatch::WordAfterEnd => return Edit::Extra,
        _ => return Edit::None,
    }
    let Some(&first) = got.first() else { return Edit::Foreign };
    let word_bits = usize::from(case.profile.word_bits);

    // Each edit predicts what came; the one that is right for the most words wins, the simpler one
    // of equals: they stand in that order.
    let mut best = (0, Edit::Foreign);
    let mut offer = |edit: Edit, right: usize| {
        if right > best.0 {
            best = (right, edit);
        }
    };
    let equal = |word: Option<&Predicted>, seen: u64| {
        word.is_some_and(|word| (word.value ^ seen) & !word.free == 0)
    };
    let run = |from: usize, shift: usize| {
        got.iter()
            .skip(from)
            .take(TESTED)
            .enumerate()
            .take_while(|(i, seen)| equal(expected.get(i + shift), **seen))
            .count()
    };

    for dropped in 1..=3 {
        offer(Edit::Dropped(dropped as u8), run(0, dropped));
    }
    if got.len() >= 2 && equal(expected.get(1), first) && equal(expected.first(), got[1]) {
        offer(Edit::Swapped, 2 + run(2, 2));
    }
    let follows = run(1, 0);
    if follows > 0 {
        let stale = rejection.state.transfer.is_some_and(|transfer| transfer.taken == 0);
        offer(
            match before {
                Some(before) if before == first => Edit::Repeated,
                None if stale => Edit::Stale,
                _ => Edit::Inserted,
            },
            follows + usize::from(before == Some(first)),
        );
    }
    offer(Edit::Substituted, run(1, 1));
    let swapped = |seen: u64| match word_bits {
        16 => u64::from((seen as u16).swap_bytes()),
        32 => u64::from((seen as u32).swap_bytes()),
        _ => seen,
    };
    if word_bits > 8 {
        let right = got
            .iter()
            .take(TESTED)
            .enumerate()
            .take_while(|(i, seen)| equal(expected.get(*i), swapped(**seen)))
            .count();
        offer(Edit::BytesSwapped, right);
    }
    if let Some(place) = expected.first().filter(|word| word.bits == word_bits) {
        let reach = 2 * word_bits as i32;
        for slip in (1..reach).flat_map(|slip| [slip, -slip]) {
            let right = got
                .iter()
                .take(TESTED)
                .enumerate()
                .take_while(|(i, seen)| {
                    let end = place.end as i64 + i64::from(slip) + (*i * word_bits) as i64;
                    usize::try_from(end)
                        .is_ok_and(|end| end <= tape.len() && tape.window(end, word_bits) == **seen)
                })
                .count();
            // A slip of whole words is a drop or a repetition, and found as such.
            if slip % word_bits as i32 != 0 {
                offer(Edit::Slipped(slip), right);
            }
        }
    }
    best.1
}
