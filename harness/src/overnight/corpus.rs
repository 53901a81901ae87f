//! The corpus: streams of choices whose cases had a feature that none before them had.
//!
//! It cannot grow without end: every stream brings a feature, of which there are
//! [`FEATURES`](crate::features::FEATURES), and all together are held to a number of bytes.

use super::mutate::{MAX_STREAM_BYTES, mutate};
use crate::features::Seen;
use crate::generate::Choices;
use xxhash_rust::xxh3::xxh3_64;

/// Most bytes of all streams: in memory, and on the disk.
pub(super) const MAX_CORPUS_BYTES: usize = 128 << 20;

/// Streams that are looked at to choose one.
const LOOKED_AT: usize = 3;

/// The streams, and what they have shown.
#[derive(Debug, Clone, Default)]
pub(super) struct Corpus {
    streams: Vec<Kept>,
    seen: Seen,
    bytes: usize,
}

#[derive(Debug, Clone)]
struct Kept {
    bytes: Vec<u8>,
    /// How often it was mutated.
    mutated: usize,
}

/// The name of a stream's file.
pub(super) fn file_name(stream: &[u8]) -> String {
    format!("{:016x}", xxh3_64(stream))
}

impl Corpus {
    /// The corpus of a run that goes on: it has shown this.
    pub(super) fn that_has(seen: Seen) -> Self {
        Self { seen, ..Self::default() }
    }

    /// What it has shown.
    pub(super) const fn seen(&self) -> &Seen {
        &self.seen
    }

    /// Notes what a case has shown; whether it has shown something new.
    pub(super) fn note(&mut self, features: &[usize]) -> bool {
        self.seen.note(features)
    }

    /// Keeps a stream that has shown something new; whether there was room.
    pub(super) fn keep(&mut self, bytes: Vec<u8>) -> bool {
        if bytes.len() > MAX_STREAM_BYTES || self.bytes + bytes.len() > MAX_CORPUS_BYTES {
            return false;
        }
        self.bytes += bytes.len();
        self.streams.push(Kept { bytes, mutated: 0 });
        true
    }

    /// How many streams there are.
    pub(super) fn len(&self) -> usize {
        self.streams.len()
    }

    /// How many features were seen.
    pub(super) fn features(&self) -> usize {
        self.seen.count()
    }

    /// A mutated stream; none while there is nothing to mutate. Short streams that were seldom
    /// mutated come first: their cases are quick, and there is more to be had of them.
    pub(super) fn mutated(
        &mut self,
        words: &[[u8; 2]],
        choices: &mut impl Choices,
    ) -> Option<Vec<u8>> {
        let len = self.streams.len() as u64;
        let any = |choices: &mut _| Choices::below(choices, len) as usize;
        let cost = |kept: &Kept| (kept.mutated + 1) * (kept.bytes.len() + 256);
        let looked_at: Vec<usize> = (0..LOOKED_AT).map(|_| any(choices)).collect();
        let chosen = looked_at.into_iter().filter(|at| *at < self.streams.len());
        let chosen = chosen.min_by_key(|at| cost(&self.streams[*at]))?;
        let other = any(choices);
        self.streams[chosen].mutated += 1;
        Some(mutate(&self.streams[chosen].bytes, &self.streams[other].bytes, words, choices))
    }
}

#[cfg(test)]
mod tests {
    use super::{Corpus, MAX_CORPUS_BYTES};
    use crate::generate::SeededChoices;
    use crate::overnight::mutate::MAX_STREAM_BYTES;

    #[test]
    fn a_corpus_has_its_bounds() {
        let mut corpus = Corpus::default();
        let mut choices = SeededChoices::new(1);
        assert_eq!(corpus.mutated(&[], &mut choices), None);
        assert!(!corpus.keep(vec![0; MAX_STREAM_BYTES + 1]));
        let kept = (0..10_000).filter(|_| corpus.keep(vec![0; MAX_STREAM_BYTES])).count();
        assert_eq!(kept, MAX_CORPUS_BYTES / MAX_STREAM_BYTES);
        assert_eq!(corpus.len(), kept);
        assert!(corpus.note(&[1, 2]) && !corpus.note(&[2]));
        assert!(corpus.mutated(&[], &mut choices).is_some());
    }
}
