//! The transfers and the FIFO that are lent to a part that has none: raw reads, by the profile.

use std::collections::VecDeque;
use trackproof_contract::{Overrun, Profile, ReadDone, Start, TransferRequest, ZeroWords};

/// A read that was accepted.
#[derive(Debug, Clone, Copy)]
struct Read {
    transfer: u32,
    words: u32,
    served: u32,
    waits_for_index: bool,
    /// By an overrun: nothing more is taken in.
    stopped: bool,
}

/// What counts the words of a read and lets them wait.
#[derive(Debug)]
pub(super) struct LentHost {
    profile: Profile,
    read: Option<Read>,
    fifo: VecDeque<u64>,
    done: bool,
}

/// Whether a raw read starts now: a counter that is zeroed at a start is zeroed now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[must_use]
pub(super) struct Started(pub(super) bool);

impl LentHost {
    pub(super) fn new(profile: &Profile) -> Self {
        Self { profile: profile.clone(), read: None, fifo: VecDeque::new(), done: false }
    }

    /// Whether a read waits or runs.
    pub(super) const fn is_busy(&self) -> bool {
        self.read.is_some()
    }

    /// A read is accepted; none is under way.
    pub(super) fn accept(&mut self, request: TransferRequest) -> Started {
        let words = match (request.words, self.profile.zero_words) {
            (0, ZeroWords::Maximum) => self.profile.max_words,
            (words, _) => words,
        };
        if words == 0 {
            self.done = true;
            return Started(false);
        }
        let waits_for_index = request.start == Start::Index;
        let transfer = request.transfer;
        self.read = Some(Read { transfer, words, served: 0, waits_for_index, stopped: false });
        Started(!waits_for_index)
    }

    /// The index passes.
    pub(super) fn index(&mut self) -> Started {
        match &mut self.read {
            Some(read) => Started(std::mem::take(&mut read.waits_for_index)),
            None => Started(false),
        }
    }

    /// A word completes; true if it is the last one of a read.
    pub(super) fn complete(&mut self, word: u64) -> bool {
        let Some(read) = &mut self.read else { return false };
        let taken_in = |fifo: &VecDeque<u64>| read.served as usize + fifo.len();
        let words = read.words as usize;
        if read.waits_for_index || read.stopped || taken_in(&self.fifo) >= words {
            return false;
        }
        if self.fifo.len() >= usize::from(self.profile.fifo_words) {
            match self.profile.overrun {
                Overrun::LoseNew => return false,
                Overrun::LoseOld => drop(self.fifo.pop_front()),
                Overrun::Stop => {
                    read.stopped = true;
                    return false;
                }
            }
        }
        self.fifo.push_back(word);
        let last = taken_in(&self.fifo) == words;
        self.done |= last && self.profile.read_done == ReadDone::LastCompleted;
        last
    }

    /// The bus is a transfer's to move one word.
    pub(super) fn service(&mut self, transfer: u32) -> Option<u64> {
        let read = self.read.as_mut().filter(|read| read.transfer == transfer)?;
        let word = self.fifo.pop_front()?;
        read.served += 1;
        let last = read.served == read.words;
        if last || (read.stopped && self.fifo.is_empty()) {
            self.done |= last && self.profile.read_done == ReadDone::LastStored;
            self.end();
        }
        Some(word)
    }

    /// Whether completion was signalled since this was asked last.
    pub(super) fn take_done(&mut self) -> bool {
        std::mem::take(&mut self.done)
    }

    /// The read ends where it is, without completion.
    pub(super) fn end(&mut self) {
        self.read = None;
        self.fifo.clear();
    }
}
