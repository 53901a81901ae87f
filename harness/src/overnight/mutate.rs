//! Mutations of streams of choices: a few bytes changed, more, fewer, elsewhere, or from another
//! stream. What a byte means follows from those before it, so most changes act on everything
//! behind them; the begin of a program stays.

use crate::generate::Choices;

/// Longest stream that is kept or made. The longest case that is generated takes less than a third.
pub const MAX_STREAM_BYTES: usize = 64 << 10;

/// Most changes of one stream, and most bytes of one of them.
const MOST_CHANGES: u64 = 4;
const MOST_BYTES: u64 = 64;

/// Makes a stream out of one that is kept, with parts of another. `words` are values that are worth
/// a try anywhere, as bytes.
pub(super) fn mutate(
    parent: &[u8],
    other: &[u8],
    words: &[[u8; 2]],
    choices: &mut impl Choices,
) -> Vec<u8> {
    let mut stream = parent.to_vec();
    for _ in 0..choices.between(1, MOST_CHANGES) {
        change(&mut stream, other, words, choices);
    }
    stream.truncate(MAX_STREAM_BYTES);
    stream
}

fn change(stream: &mut Vec<u8>, other: &[u8], words: &[[u8; 2]], choices: &mut impl Choices) {
    // Early bytes decide what the case is, late ones what the tracks hold: near the begin as often
    // as anywhere.
    let end = stream.len() as u64;
    let near = if choices.chance(1, 2) { end.min(MOST_BYTES) } else { end };
    let at = choices.below(near + 1) as usize;
    let to = (at + choices.between(1, MOST_BYTES) as usize).min(stream.len());
    match choices.below(9) {
        0 | 1 => put(stream, at, &[choices.bits(8) as u8]),
        2 => {
            let old = stream.get(at).copied().unwrap_or(0);
            let by = if choices.chance(1, 2) { 1 } else { u8::MAX };
            put(stream, at, &[old.wrapping_add(by)]);
        }
        3 if !words.is_empty() => put(stream, at, &choices.pick(words)),
        4 => drop(stream.drain(at..to)),
        5 => {
            let copy = stream[at..to].to_vec();
            let to = choices.below(end + 1) as usize;
            stream.splice(to..to, copy);
        }
        6 => {
            let more: Vec<u8> = (at..to.max(at + 1)).map(|_| choices.bits(8) as u8).collect();
            stream.splice(at..at, more);
        }
        7 => {
            // The begin of this one and the rest of the other.
            stream.truncate(at);
            stream.extend_from_slice(other.get(at..).unwrap_or(&[]));
        }
        _ => {
            // The begin of this one, and then anything.
            for byte in &mut stream[at..] {
                *byte = choices.bits(8) as u8;
            }
        }
    }
}

/// Overwrites bytes; the stream grows where it must.
fn put(stream: &mut Vec<u8>, at: usize, bytes: &[u8]) {
    stream.resize(stream.len().max(at + bytes.len()), 0);
    stream[at..at + bytes.len()].copy_from_slice(bytes);
}

#[cfg(test)]
mod tests {
    use super::{MAX_STREAM_BYTES, mutate};
    use crate::generate::SeededChoices;
    use std::collections::BTreeSet;

    #[test]
    fn streams_change_and_stay_within_their_limit() {
        let mut choices = SeededChoices::new(1);
        let (parent, other) = ([7; 40], [9; 300]);
        let made: BTreeSet<Vec<u8>> =
            (0..500).map(|_| mutate(&parent, &other, &[[0x44, 0x89]], &mut choices)).collect();
        assert!(made.len() > 400, "{}", made.len());
        assert!(made.iter().any(|one| one.windows(2).any(|word| word == [0x44, 0x89])));
        assert!(made.iter().any(|one| one.ends_with(&[9; 200])));
        assert!(made.iter().any(|one| one.len() < 40) && made.iter().any(|one| one.len() > 40));
        let long = vec![1; MAX_STREAM_BYTES];
        for _ in 0..200 {
            assert!(mutate(&long, &long, &[], &mut choices).len() <= MAX_STREAM_BYTES);
            // Nothing is a stream as well.
            mutate(&[], &[], &[], &mut choices);
        }
    }
}
