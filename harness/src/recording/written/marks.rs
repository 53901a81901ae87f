//! Marks in what was written: where they stand, and bytes that were to be some.

use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::{Mark, data_byte};
use trackproof_model::search::{Pattern, next_match};

/// Data bytes 00 that make a sync field when a mark may follow: a third of the 12 of MFM layouts, and
/// fewer than the 6 of FM ones (SA810/860 OEM manual, fig. 6-7 and 6-9).
pub(super) const SYNC_BYTES: usize = 4;

/// Whether a mark of MFM is where marks are: right behind or before another one, behind two bytes 00
/// of its own phase, or too near the begin to tell. A clock bit that is missing in data may make its
/// channel bits as well, by enumeration.
fn stands_where_marks_do(bits: &ChannelBits, start: usize, word: u64) -> bool {
    let sync = |from: usize| data_byte(bits.window(from, 16) as u16) == 0;
    is_beside_its_like(bits, start, word)
        || start < 32
        || (sync(start - 16) && sync(start - 32) && bits.window(start - 32, 32).count_ones() > 8)
}

fn is_beside_its_like(bits: &ChannelBits, start: usize, word: u64) -> bool {
    let before = start.checked_sub(16).is_some_and(|before| bits.window(before, 16) == word);
    before || bits.window(start + 16, 16) == word
}

/// Where 4489 stands and means it. Of two that share bits (data 40 to 4F behind a mark, or a clock
/// bit missing before it, by enumeration) it is the one with another one right before or behind it,
/// else the first. Not those inside 5224, with data 80 to 9F behind it.
pub(super) fn anchors(bits: &ChannelBits) -> Vec<usize> {
    let word = u64::from(Mark::MFM_A1.channel_bits());
    let index = u64::from(Mark::MFM_C2.channel_bits());
    let pattern = Pattern { word, mask: 0xffff, width: 16 };
    let beside = |start: usize| is_beside_its_like(bits, start, word);
    let mut anchors: Vec<usize> = Vec::new();
    let mut from = 0;
    while let Some(end) = next_match(bits, pattern, from, bits.len()) {
        let start = end - 16;
        from = end + 1;
        let inside_index = start.checked_sub(5).is_some_and(|before| {
            bits.window(before, 16) == index && stands_where_marks_do(bits, before, index)
        });
        if inside_index || !stands_where_marks_do(bits, start, word) {
            continue;
        }
        match anchors.last_mut() {
            Some(last) if start < *last + 16 => {
                if beside(start) && !beside(*last) {
                    *last = start;
                }
            }
            _ => anchors.push(start),
        }
    }
    anchors
}

/// Marks that begin at clock bits, none of which overlap.
pub(super) fn marks(bits: &ChannelBits, recording: Recording) -> Vec<usize> {
    let words: Vec<u64> =
        known_marks(recording).map(|mark| u64::from(mark.channel_bits())).collect();
    let mut marks = Vec::new();
    let mut at = 0;
    while at + 16 <= bits.len() {
        let word = bits.window(at, 16);
        let expected = recording == Recording::Fm || stands_where_marks_do(bits, at, word);
        if words.contains(&word) && expected {
            marks.push(at);
            at += 16;
        } else {
            at += 2;
        }
    }
    marks
}

/// The marks of a code; of FM also the controllers' own data marks F9 and FA (standards' tables have
/// them from memory).
fn known_marks(recording: Recording) -> impl Iterator<Item = Mark> {
    const MFM: &[Mark] = &[Mark::MFM_A1, Mark::MFM_C2];
    const FM: &[Mark] = &[
        Mark::FM_INDEX,
        Mark::FM_IDENTIFIER,
        Mark::FM_DATA,
        Mark::FM_DELETED_DATA,
        Mark { data: 0xf9, clock: 0xc7 },
        Mark { data: 0xfa, clock: 0xc7 },
    ];
    match recording {
        Recording::Mfm => MFM,
        Recording::Fm => FM,
    }
    .iter()
    .copied()
}

/// A byte that was to be a mark.
#[derive(Clone, Copy)]
pub(super) struct SpoiltMark {
    pub(super) start: usize,
    pub(super) word: u16,
    pub(super) mark: Mark,
}

/// The byte around a wrong clock bit that was to be a mark: it has a mark's data bits and stands
/// behind a sync field, or behind up to two bytes like it.
pub(super) fn spoilt_mark(
    bits: &ChannelBits,
    fault: usize,
    recording: Recording,
) -> Option<SpoiltMark> {
    let alike = if recording == Recording::Mfm { 2 } else { 0 };
    (0..=7).find_map(|back| {
        let start = fault.checked_sub(2 * back)?;
        if start + 16 > bits.len() {
            return None;
        }
        let word = bits.window(start, 16) as u16;
        let mark = known_marks(recording).find(|mark| mark.data == data_byte(word))?;
        let byte = |before: usize| {
            start.checked_sub(16 * before).map(|at| data_byte(bits.window(at, 16) as u16))
        };
        let same = (1..=alike).take_while(|before| byte(*before) == Some(mark.data)).count();
        let sync = (same + 1..=same + SYNC_BYTES).all(|before| byte(before) == Some(0));
        sync.then_some(SpoiltMark { start, word, mark })
    })
}

/// Bytes A1 or C2 with all clock bits right behind a sync field, three in a row.
pub(super) fn plain_marks(bits: &ChannelBits, recording: Recording) -> impl Iterator<Item = usize> {
    // 00 00 and the byte, coded by the rule (by definition of the code).
    let words: &[u64] = match recording {
        Recording::Mfm => &[0x44a9_44a9_44a9, 0x52a4_52a4_52a4],
        Recording::Fm => &[],
    };
    words.iter().flat_map(move |word| {
        let pattern = Pattern { word: *word, mask: (1 << 48) - 1, width: 48 };
        let mut from = 0;
        std::iter::from_fn(move || {
            loop {
                let end = next_match(bits, pattern, from, bits.len())?;
                from = end + 1;
                let start = end - 48;
                let zeros = |before: usize| {
                    start
                        .checked_sub(16 * before)
                        .is_some_and(|at| data_byte(bits.window(at, 16) as u16) == 0)
                };
                if start.is_multiple_of(2) && (1..=SYNC_BYTES).all(zeros) {
                    return Some(start);
                }
            }
        })
    })
}
