//! Patterns that disturb writes: words that come late, and what changes before a write begins or
//! under an open gate.

use crate::generate::choices::Choices;
use crate::generate::program::{Kind, Script};
use trackproof_contract::{HostService, Operation, Start};

impl<C: Choices> Script<'_, C> {
    /// The host falls behind: the FIFO runs empty under the open gate.
    pub(super) fn stalled_writer(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        for _ in 0..self.rounds(3) {
            let start = self.any_start();
            let words = self.choices.between(2, 2 * self.frame.fifo_words.min(24) + 8);
            let source = self.some_source(words);
            let (mut write, lasts_ns) = self.write(source, words, start);
            let mut late_ns = 0;
            if let Some(service) = write.service_mut() {
                self.stall(service, words, lasts_ns);
                late_ns = service.stalls.iter().map(|stall| stall.length_ns).sum();
            }
            self.put(write);
            self.sit_out(lasts_ns + late_ns.min(self.frame.span_ns()));
            if self.choices.chance(1, 2) {
                self.read_back(sync);
            }
        }
    }

    /// Abort, reset, another request or a poll in every state of a write.
    pub(super) fn write_breaker(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        for _ in 0..self.rounds(3) {
            let start = self.choices.pick(&[Start::Now, Start::Index, Start::Match, Start::Now]);
            let words = self.choices.between(1, 2 * self.frame.fifo_words.min(16) + 4);
            let word_ns = self.frame.word_ns();
            match self.choices.weighted(&[6, 3, 2, 1]) {
                // Somewhere under the open gate, if the start is not waited for in vain.
                0 => {
                    let begins_ns = match start {
                        Start::Index => self.index_after(self.now_ns),
                        _ => self.now_ns,
                    };
                    self.put_some_write(words, start);
                    let after_ns = self.choices.below((words + 1) * word_ns);
                    self.wait_until(begins_ns + after_ns);
                }
                // Nobody gives it words: it waits for the first.
                1 => {
                    self.unserved_write(words, start);
                    let waits_ns = self.choices.below(8 * word_ns);
                    self.gap(waits_ns);
                }
                2 => {
                    let lasts_ns = self.put_some_write(words, start);
                    self.wait(lasts_ns + 2 * word_ns);
                }
                _ => {
                    self.put_some_write(words, start);
                }
            }
            let by = [Kind::Abort, Kind::Reset, Kind::Write, Kind::Read, Kind::PollStatus];
            let by = by[self.choices.weighted(&[6, 3, 2, 2, 1])];
            self.put_any(by);
            if by == Kind::Reset && self.choices.chance(2, 3) {
                self.put(Operation::SyncWord { word: self.frame.sync });
                self.put(Operation::HardwareSync { on: true });
            }
            if self.choices.chance(1, 2) {
                self.look();
            }
        }
        self.read_back(sync);
    }

    /// Select, side or motor away under the open gate, now and then a step; sync word and switch
    /// under a write that waits.
    pub(super) fn line_dropper(&mut self) {
        let drive = self.some_drive();
        let sync = self.either_sync();
        self.begin_with(drive, sync);
        for _ in 0..self.rounds(2) {
            let start = self.choices.pick(&[Start::Now, Start::Match, Start::Index, Start::Now]);
            let most = (self.frame.span_bits() / self.frame.word_bits).min(64);
            let words = self.choices.between(2, most);
            let lasts_ns = self.put_some_write(words, start);
            for _ in 0..self.choices.between(1, 2) {
                self.part_of(lasts_ns / 2);
                let kinds = [
                    Kind::Select,
                    Kind::Side,
                    Kind::Motor,
                    Kind::HardwareSync,
                    Kind::SyncWord,
                    Kind::Step,
                ];
                let kind = kinds[self.choices.weighted(&[6, 5, 5, 4, 5, 1])];
                self.put_any(kind);
            }
            self.sit_out(lasts_ns);
        }
        self.begin_with(drive, sync);
        self.read_back(sync);
    }

    /// Appends a write of so many words, and says about how long it lasts.
    fn put_some_write(&mut self, words: u64, start: Start) -> u64 {
        let source = self.some_source(words);
        self.put_write(source, words, start)
    }

    /// A write whose first word comes only after a long while.
    fn unserved_write(&mut self, words: u64, start: Start) {
        let source = self.some_source(words);
        let (mut write, _) = self.write(source, words, start);
        if let Some(HostService { first_ns, .. }) = write.service_mut() {
            *first_ns = 12 * self.frame.word_ns() + self.frame.span_ns();
        }
        self.put(write);
    }
}
