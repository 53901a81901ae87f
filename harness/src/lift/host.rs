//! Requests and FIFO that are lent to a part that has none: raw reads, by the profile.

use std::collections::VecDeque;
use trackproof_contract::{Overrun, Profile, Start, StartBusy, TransferRequest, ZeroWords};

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

/// What keeps requests, counts words and lets them wait.
#[derive(Debug)]
pub(super) struct LentHost {
    profile: Profile,
    /// Requests with the time of their acceptance, the oldest first.
    requests: VecDeque<(u64, TransferRequest)>,
    read: Option<Read>,
    fifo: VecDeque<u64>,
}

/// That a raw read starts now: a counter that is zeroed at a start is zeroed now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[must_use]
pub(super) struct Started(pub(super) bool);

impl LentHost {
    pub(super) fn new(profile: &Profile) -> Self {
        Self {
            profile: profile.clone(),
            requests: VecDeque::new(),
            read: None,
            fifo: VecDeque::new(),
        }
    }

    /// The host asks for a read; it is accepted as early as the profile allows.
    pub(super) fn request(&mut self, at_ns: u64, request: TransferRequest) {
        let slack_ns = u64::from(self.profile.slack_min) * u64::from(self.profile.channel_bit_ns);
        self.requests.push_back((at_ns + slack_ns, request));
    }

    /// Accepts the requests that are due by `at_ns`.
    pub(super) fn accept(&mut self, at_ns: u64) -> Started {
        let mut started = false;
        while self.requests.front().is_some_and(|(due_ns, _)| *due_ns <= at_ns) {
            let Some((_, request)) = self.requests.pop_front() else { break };
            if self.read.is_some() {
                if self.profile.start_busy != StartBusy::Replace {
                    continue;
                }
                self.end();
            }
            let words = match (request.words, self.profile.zero_words) {
                (0, ZeroWords::Maximum) => self.profile.max_words,
                (words, _) => words,
            };
            if words == 0 {
                continue;
            }
            let waits_for_index = request.start == Start::Index;
            started |= !waits_for_index;
            self.read = Some(Read {
                transfer: request.transfer,
                words,
                served: 0,
                waits_for_index,
                stopped: false,
            });
        }
        Started(started)
    }

    /// The index passes.
    pub(super) fn index(&mut self) -> Started {
        match &mut self.read {
            Some(read) => Started(std::mem::take(&mut read.waits_for_index)),
            None => Started(false),
        }
    }

    /// A word completes.
    pub(super) fn complete(&mut self, word: u64) {
        let Some(read) = &mut self.read else { return };
        let full = read.served as usize + self.fifo.len() >= read.words as usize;
        if read.waits_for_index || read.stopped || full {
            return;
        }
        if self.fifo.len() >= usize::from(self.profile.fifo_words) {
            match self.profile.overrun {
                Overrun::LoseNew => return,
                Overrun::LoseOld => drop(self.fifo.pop_front()),
                Overrun::Stop => {
                    read.stopped = true;
                    return;
                }
            }
        }
        self.fifo.push_back(word);
    }

    /// The bus is a transfer's to move one word.
    pub(super) fn service(&mut self, transfer: u32) -> Option<u64> {
        let read = self.read.as_mut().filter(|read| read.transfer == transfer)?;
        let word = self.fifo.pop_front()?;
        read.served += 1;
        if read.served == read.words || (read.stopped && self.fifo.is_empty()) {
            self.end();
        }
        Some(word)
    }

    fn end(&mut self) {
        self.read = None;
        self.fifo.clear();
    }
}
