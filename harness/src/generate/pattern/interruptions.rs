//! Patterns that disturb: a transfer waits or runs, and something changes under it.

use super::Sync;
use crate::generate::choices::Choices;
use crate::generate::program::{Kind, Script};
use trackproof_contract::{HostService, Operation, Start};

impl<C: Choices> Script<'_, C> {
    /// Another sync word while a read waits or runs.
    pub(super) fn sync_word_changer(&mut self) {
        self.begin(Sync::Hardware);
        for _ in 0..self.rounds(3) {
            let words = self.few_words();
            let lasts_ns = self.put_read(words, Start::Match);
            for _ in 0..self.choices.between(1, 2) {
                self.part_of(lasts_ns);
                self.put_any(Kind::SyncWord);
            }
            self.sit_out(lasts_ns);
        }
    }

    /// Hardware sync off and on while a read waits or runs raw.
    pub(super) fn sync_toggler(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        let mut on = sync == Sync::Hardware;
        for _ in 0..self.rounds(3) {
            let start = self.choices.pick(&[Start::Match, Start::Now, Start::Index]);
            let words = self.choices.between(1, self.frame.span_bits() / self.frame.word_bits);
            let lasts_ns = self.put_read(words, start);
            for _ in 0..self.choices.between(1, 3) {
                on = !on;
                self.part_of(lasts_ns / 2);
                self.put(Operation::HardwareSync { on });
            }
            self.sit_out(lasts_ns);
        }
    }

    /// Abort in every state, and another read after it.
    pub(super) fn aborter(&mut self) {
        self.cut_off(Kind::Abort);
    }

    /// Reset in every state; afterwards nothing is set up any more.
    pub(super) fn resetter(&mut self) {
        self.cut_off(Kind::Reset);
    }

    fn cut_off(&mut self, by: Kind) {
        let sync = self.either_sync();
        self.begin(sync);
        for _ in 0..self.rounds(3) {
            let start = self.choices.pick(&[Start::Now, Start::Match, Start::Index]);
            let words = self.choices.between(1, 2 * self.frame.fifo_words.min(16) + 4);
            let word_ns = self.frame.word_ns();
            match self.choices.weighted(&[3, 3, 2, 1]) {
                // Nobody takes the words: some wait in the FIFO when it comes.
                0 => {
                    let begins_ns = match start {
                        Start::Index => self.index_after(self.now_ns) - self.now_ns,
                        _ => 0,
                    };
                    self.unserved_read(words, start);
                    let taken = self.choices.below(self.frame.fifo_words.min(16) + 2);
                    self.gap(begins_ns + taken * word_ns + word_ns / 2);
                }
                1 => {
                    let lasts_ns = self.put_read(words, start);
                    self.part_of(lasts_ns);
                }
                2 => {
                    let lasts_ns = self.put_read(words, start);
                    self.wait(lasts_ns + 2 * word_ns);
                }
                _ => {
                    self.put_read(words, start);
                }
            }
            self.put_any(by);
            if by == Kind::Reset && self.choices.chance(2, 3) {
                self.put(Operation::SyncWord { word: self.frame.sync });
                self.put(Operation::HardwareSync { on: true });
            }
            if self.choices.chance(1, 2) {
                self.look();
            }
        }
        let start = self.choices.pick(&[Start::Now, Start::Match]);
        let words = self.few_words();
        let lasts_ns = self.put_read(words, start);
        self.sit_out(lasts_ns);
    }

    /// A read whose words nobody takes for longer than the FIFO lasts.
    fn unserved_read(&mut self, words: u64, start: Start) {
        let (mut read, _) = self.read(words, start);
        if let Operation::Read { service: HostService { first_ns, .. }, .. } = &mut read {
            *first_ns =
                self.frame.word_ns() * (self.frame.fifo_words.min(16) + 4) + self.frame.span_ns();
        }
        self.put(read);
    }

    /// An output that has nothing to do with it, while reading and polling.
    pub(super) fn output_toggler(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        let start = if sync == Sync::Hardware { Start::Match } else { Start::Now };
        for _ in 0..self.rounds(3) {
            self.put_any(Kind::Output);
            let words = self.few_words();
            let lasts_ns = self.put_read(words, start);
            for _ in 0..self.choices.between(1, 3) {
                self.part_of(lasts_ns / 2);
                self.put_any(Kind::Output);
            }
            self.sit_out(lasts_ns);
        }
    }

    /// Another drive, side or cylinder, or the motor off, in a read that goes on.
    pub(super) fn source_switcher(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        for _ in 0..self.rounds(2) {
            let start = self.choices.pick(&[Start::Now, Start::Match, Start::Now]);
            let words = self.choices.between(2, self.frame.span_bits() / self.frame.word_bits);
            let lasts_ns = self.put_read(words, start);
            for _ in 0..self.choices.between(1, 3) {
                self.part_of(lasts_ns / 2);
                let kind = self.choices.pick(&[Kind::Select, Kind::Side, Kind::Step, Kind::Motor]);
                self.put_any(kind);
            }
            self.sit_out(lasts_ns);
        }
    }

    /// Anything after anything.
    pub(super) fn medley(&mut self) {
        if self.choices.chance(3, 4) {
            let sync = self.either_sync();
            self.begin(sync);
        }
        for _ in 0..self.choices.between(4, 14) {
            let kind = self.kind();
            self.put_any(kind);
        }
    }

    /// Waits for some part of a time, mostly a small one, and to a bit's end now and then.
    pub(super) fn part_of(&mut self, ns: u64) {
        let most_ns = match self.choices.below(3) {
            0 => ns.min(2 * self.frame.word_ns()),
            1 => ns / 2,
            _ => ns,
        };
        let wait_ns = self.choices.below(most_ns + 1);
        self.wait(wait_ns);
        if self.choices.chance(1, 4) {
            self.wait_for_edge();
        }
    }
}
