//! Writes: fewer and plainer words, and words of their own in place of copies.

use super::reliefs::roomy;
use super::slot::{times, units};
use super::{Reductions, edited, sync_words};
use trackproof_contract::{Case, ChannelBits, Operation, WriteSource};

/// Most given words that are taken out one by one and looked at bit by bit.
const MOST_WORDS: usize = 64;

/// Most ones of the tracks that are moved into words.
const MOST_ONES: usize = 16;

/// The given words of an operation, if it has some.
fn given(operation: &Operation) -> Option<&ChannelBits> {
    match operation {
        Operation::Write { source: WriteSource::Words(bits), .. } => Some(bits),
        _ => None,
    }
}

/// The case with other words given by one operation.
fn giving(case: &Case, i: usize, bits: ChannelBits) -> Case {
    edited(case, |case| {
        if let Operation::Write { source, .. } = &mut case.program[i] {
            *source = WriteSource::Words(bits);
        }
    })
}

/// Every write that gives words of its own.
fn givers(case: &Case) -> impl Iterator<Item = (usize, &ChannelBits)> {
    case.program.iter().enumerate().filter_map(|(i, operation)| Some((i, given(operation)?)))
}

/// Words of their own in place of copies, and copies of all that came, unaligned.
pub(super) fn no_copies(case: &Case) -> Reductions<'_> {
    let word_bits = usize::from(case.profile.word_bits);
    Box::new((0..case.program.len()).flat_map(move |i| {
        let Operation::Write { source: WriteSource::Copy { align, count, .. }, .. } =
            &case.program[i]
        else {
            return Vec::new();
        };
        let mut variants: Vec<Case> = palette(case, *count as usize * word_bits)
            .into_iter()
            .map(|bits| giving(case, i, bits))
            .collect();
        if align.is_some() {
            variants.push(edited(case, |case| {
                if let Operation::Write { source: WriteSource::Copy { align, .. }, .. } =
                    &mut case.program[i]
                {
                    *align = None;
                }
            }));
        }
        variants
    }))
}

/// Words of that many bits in which most can be seen, the simplest first.
fn palette(case: &Case, len: usize) -> Vec<ChannelBits> {
    let width = usize::from(case.profile.word_bits);
    let words = len / width.max(1);
    let repeated = |word: u64| {
        let mut bits = ChannelBits::new();
        (0..words).for_each(|_| bits.push(word, width));
        bits
    };
    let mut contents = vec![ChannelBits::zeros(len)];
    if words == 0 {
        return contents;
    }
    let mut counted = ChannelBits::new();
    (1..=words as u64).for_each(|number| counted.push(number, width));
    contents.extend([repeated(1), counted]);
    let top = width.min(usize::from(case.profile.register_bits));
    for sync in sync_words::of(case) {
        let mut first = ChannelBits::new();
        first.push(sync & (!0 >> (64 - top)), width);
        first.push_cyclic(&ChannelBits::zeros(1), 0, len - width);
        contents.push(first);
    }
    contents.push(repeated(1 << (width - 1)));
    contents.push(repeated(!0));
    contents
}

/// That many words of zeros but for one bit of the last, counted from its first.
pub(super) fn last_one(case: &Case, words: usize, bit: usize) -> ChannelBits {
    let width = usize::from(case.profile.word_bits);
    let mut bits = ChannelBits::zeros(words * width);
    if words > 0 {
        bits.set((words - 1) * width + bit, true);
    }
    bits
}

/// Given words taken out, from anywhere; from their end is where `words.rs` takes them.
pub(super) fn fewer_given(case: &Case) -> Reductions<'_> {
    let width = usize::from(case.profile.word_bits);
    Box::new(givers(case).flat_map(move |(i, bits)| {
        let words = bits.len() / width;
        let halves = std::iter::successors(Some(words / 2), |span| Some(span / 2));
        let spans = halves
            .take_while(|span| *span > 0)
            .filter(move |span| *span > words / (2 * MOST_WORDS));
        spans.flat_map(move |span| {
            (0..words / span).flat_map(move |piece| {
                let (from, to) = (piece * span * width, (piece + 1) * span * width);
                let mut left = ChannelBits::new();
                left.push_cyclic(bits, 0, from);
                if to < bits.len() {
                    left.push_cyclic(bits, to, bits.len() - to);
                }
                let less = giving(case, i, left);
                [roomy(&less), less]
            })
        })
    }))
}

/// Plainer words: those of the palette, words of zeros, single ones less, later ones.
pub(super) fn plainer_words(case: &Case) -> Reductions<'_> {
    let width = usize::from(case.profile.word_bits);
    Box::new(givers(case).flat_map(move |(i, bits)| {
        let whole = palette(case, bits.len()).into_iter().map(move |bits| giving(case, i, bits));
        let words = (bits.len() / width).min(MOST_WORDS);
        let zeroed = (0..words).flat_map(move |word| {
            [0, 1].into_iter().filter_map(move |value| {
                let place = word * width;
                (bits.window(place, width) > value).then(|| {
                    let mut plainer = bits.clone();
                    for bit in 0..width {
                        plainer.set(place + bit, value >> (width - 1 - bit) & 1 == 1);
                    }
                    giving(case, i, plainer)
                })
            })
        });
        let ones = (0..words * width).filter(|bit| bits.get(*bit));
        let single = ones.flat_map(move |bit| {
            let mut without = bits.clone();
            without.set(bit, false);
            let free = (bit + 1..bits.len()).take_while(|next| !bits.get(*next)).count();
            let later = [free, 1].into_iter().filter(move |by| *by > 0 && *by <= free);
            let moved = later.map({
                let without = without.clone();
                move |by| {
                    let mut moved = without.clone();
                    moved.set(bit + by, true);
                    giving(case, i, moved)
                }
            });
            std::iter::once(giving(case, i, without.clone())).chain(moved)
        });
        whole.chain(zeroed).chain(single)
    }))
}

/// Given words that begin with fewer zeros, and a time shorter by as many bits: what is written
/// later than it need be.
pub(super) fn sooner(case: &Case) -> Reductions<'_> {
    let (bit_ns, _) = units(case);
    Box::new(givers(case).flat_map(move |(i, bits)| {
        let zeros = (0..bits.len()).take_while(|bit| !bits.get(*bit)).count();
        let most = if zeros < bits.len() { zeros } else { 0 };
        [most, most / 2, 1].into_iter().filter(move |by| *by > 0 && *by <= most).flat_map(
            move |by| {
                let mut early = ChannelBits::new();
                early.push_cyclic(bits, by, bits.len() - by);
                early.push_cyclic(&ChannelBits::zeros(1), 0, by);
                let early = giving(case, i, early);
                let by_ns = by as u64 * bit_ns;
                let times = times(case).into_iter().filter(move |time| time.get(case) >= by_ns);
                times.map(move |time| edited(&early, |case| time.set(case, time.get(case) - by_ns)))
            },
        )
    }))
}

/// Tracks of zeros, with plain words in every write; ones of the tracks moved into the last bits
/// of the words: what is written shows on an empty track as well as on a full one.
pub(super) fn words_for_tracks(case: &Case) -> Reductions<'_> {
    let writes: Vec<usize> = givers(case).map(|(i, _)| i).collect();
    if writes.is_empty() {
        return Box::new(std::iter::empty());
    }
    let empty = edited(case, |case| {
        for track in &mut case.tracks {
            let bits = track.medium.track_mut();
            *bits = ChannelBits::zeros(bits.len());
        }
    });
    let plain = (0..palette(case, 64).len()).map(move |choice| {
        writes.iter().fold(empty.clone(), |case, i| {
            let contents = palette(&case, given(&case.program[*i]).map_or(0, ChannelBits::len));
            let bits = contents.get(choice).or(contents.first()).cloned();
            giving(&case, *i, bits.unwrap_or_default())
        })
    });
    let moved = givers(case).filter(|(_, bits)| !bits.is_empty()).flat_map(move |(i, bits)| {
        let width = usize::from(case.profile.word_bits);
        let ones = (0..case.tracks.len()).flat_map(move |t| {
            let track = case.tracks[t].medium.track();
            (0..track.len()).filter(|bit| track.get(*bit)).map(move |bit| (t, bit)).take(MOST_ONES)
        });
        ones.flat_map(move |(t, bit)| {
            let lasts = (1..=bits.len() / width).map(move |word| word * width - 1);
            lasts.filter(|last| !bits.get(*last)).take(MOST_ONES).map(move |last| {
                let mut with = bits.clone();
                with.set(last, true);
                edited(&giving(case, i, with), |case| {
                    case.tracks[t].medium.track_mut().set(bit, false);
                })
            })
        })
    });
    Box::new(plain.chain(moved))
}
