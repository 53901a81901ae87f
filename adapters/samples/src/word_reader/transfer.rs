//! A read that was accepted: what it waits for, what it takes in, what it has given away.
//! Semantics 2.1, 2.3 and 2.4.

use std::collections::VecDeque;
use trackproof_contract::{Overrun, Profile, Start, TransferRequest};

/// Where a transfer stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stage {
    /// It waits for a match.
    AwaitsMatch,
    /// It waits for the index.
    AwaitsIndex,
    /// It takes words in, or its last ones wait to be taken.
    Runs,
}

/// An accepted read that has not ended.
#[derive(Debug, Clone)]
pub(super) struct Transfer {
    pub(super) number: u32,
    pub(super) stage: Stage,
    /// Words that it is for.
    wanted: u32,
    /// Words that services have taken.
    stored: u32,
    fifo: VecDeque<u64>,
    fifo_words: usize,
    overrun: Overrun,
    /// Nothing more is taken in: a word was lost, and `overrun` is `stop`.
    stopped: bool,
    /// Whether a misaligned match has realigned it.
    pub(super) realigned: bool,
    /// Hardware sync was switched on while it ran raw, and is not its business.
    pub(super) ignores_matches: bool,
    /// Bits until the word that a match has cut completes all the same (`partial = finish`).
    pub(super) finishes_in: Option<u16>,
    /// The word under way is none: it began in the middle of one that was to be finished.
    pub(super) no_word: bool,
}

/// What became of a word that completed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Taken {
    /// A word was lost: this one or an older one.
    pub(super) lost: bool,
    /// The read's last word has completed, and this is the one.
    pub(super) last: bool,
}

/// What a service got.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Served {
    /// No word.
    Nothing,
    /// A word, and more may come.
    Word(u64),
    /// The last word: the transfer ends, done.
    Last(u64),
    /// The last word that there is after an overrun: the transfer ends, not done.
    Stopped(u64),
}

impl Transfer {
    /// A read of some words.
    pub(super) fn new(request: TransferRequest, wanted: u32, profile: &Profile) -> Self {
        Self {
            number: request.transfer,
            stage: match request.start {
                Start::Now => Stage::Runs,
                Start::Match => Stage::AwaitsMatch,
                Start::Index => Stage::AwaitsIndex,
            },
            wanted,
            stored: 0,
            fifo: VecDeque::new(),
            fifo_words: profile.fifo_words.into(),
            overrun: profile.overrun,
            stopped: false,
            realigned: false,
            ignores_matches: false,
            finishes_in: None,
            no_word: false,
        }
    }

    /// Words of its own that have completed and are not lost.
    fn completed(&self) -> u32 {
        self.stored + u32::try_from(self.fifo.len()).expect("the FIFO holds a few words")
    }

    /// A word completes while it runs.
    pub(super) fn take_in(&mut self, word: u64) -> Taken {
        if self.stopped || self.completed() == self.wanted {
            return Taken { lost: false, last: false };
        }
        let lost = self.fifo.len() == self.fifo_words;
        match self.overrun {
            Overrun::LoseNew if lost => return Taken { lost, last: false },
            Overrun::Stop if lost => {
                self.stopped = true;
                return Taken { lost, last: false };
            }
            Overrun::LoseOld if lost => _ = self.fifo.pop_front(),
            _ => {}
        }
        self.fifo.push_back(word);
        Taken { lost, last: self.completed() == self.wanted }
    }

    /// A service takes the oldest word.
    pub(super) fn serve(&mut self) -> Served {
        let Some(word) = self.fifo.pop_front() else {
            return Served::Nothing;
        };
        self.stored += 1;
        if self.stored == self.wanted {
            Served::Last(word)
        } else if self.stopped && self.fifo.is_empty() {
            Served::Stopped(word)
        } else {
            Served::Word(word)
        }
    }
}
