//! Patterns that read: whole tracks, sectors, several turns, from two drives, one after the other.

use super::Sync;
use crate::generate::choices::Choices;
use crate::generate::program::{Kind, Script};
use trackproof_contract::{Operation, Start};

impl<C: Choices> Script<'_, C> {
    /// The hardware finds the sync word, then most of a turn comes.
    pub(super) fn sync_reader(&mut self) {
        self.begin(Sync::Hardware);
        for _ in 0..self.rounds(2) {
            let words = self.turn_words();
            let lasts_ns = self.put_read(words, Start::Match);
            self.sit_out(lasts_ns);
        }
    }

    /// A turn and more at whatever phase: the host will search it itself.
    pub(super) fn raw_reader(&mut self) {
        self.begin(Sync::Software);
        for _ in 0..self.rounds(2) {
            let start = self.choices.pick(&[Start::Now, Start::Now, Start::Index]);
            let words = self.turn_words();
            let lasts_ns = self.put_read(words, start);
            self.sit_out(lasts_ns);
        }
    }

    /// A few words after each of several sync words.
    pub(super) fn sector_reader(&mut self) {
        self.begin(Sync::Hardware);
        for _ in 0..self.rounds(5) {
            let words = self.few_words();
            let lasts_ns = self.put_read(words, Start::Match);
            self.sit_out(lasts_ns);
        }
    }

    /// Requests right after the end of the one before, at it, or while it still runs.
    pub(super) fn back_to_back(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        let start = self.choices.pick(&[Start::Now, Start::Now, Start::Match, Start::Index]);
        for _ in 0..1 + self.rounds(4) {
            let words = self.few_words();
            let requested_ns = self.now_ns;
            let lasts_ns = self.put_read(words, start);
            match self.choices.weighted(&[3, 3, 2, 2]) {
                0 => self.wait_until(requested_ns + words * self.frame.word_ns()),
                1 => self.wait_until(requested_ns + lasts_ns + self.frame.cell_ns),
                2 => self.wait_for_edge(),
                _ => {}
            }
        }
        self.sit_out(8 * self.frame.word_ns());
    }

    /// Several turns in one request.
    pub(super) fn multi_turn(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        let turns = self.rounds(4);
        let words = turns * self.frame.span_bits() / self.frame.word_bits;
        let start = match sync {
            Sync::Hardware => Start::Match,
            Sync::Software => self.choices.pick(&[Start::Now, Start::Index]),
        };
        let lasts_ns = self.put_read(words, start).max(turns * self.frame.span_ns());
        self.sit_out(lasts_ns);
    }

    /// Drives in turn, as copiers do; with one drive, that and none.
    pub(super) fn two_drives(&mut self) {
        let sync = self.either_sync();
        self.begin_with(0, sync);
        let start = if sync == Sync::Hardware { Start::Match } else { Start::Now };
        for round in 0..1 + self.rounds(3) {
            if round > 0 {
                self.put(Operation::Select { mask: (1 << (round % 2)) & self.all_drives() });
            }
            let words = match self.choices.chance(1, 2) {
                true => self.choices.between(1, self.frame.span_bits() / self.frame.word_bits),
                false => self.few_words(),
            };
            let lasts_ns = self.put_read(words, start);
            self.sit_out(lasts_ns);
        }
    }

    /// The select mask that names every drive.
    fn all_drives(&self) -> u8 {
        (1 << self.frame.drives) - 1
    }

    /// The disk turns a long while before anyone reads.
    pub(super) fn idle_then_read(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        let ns = self.choices.below(self.frame.span_ns());
        self.wait(ns);
        self.wait_for_edge();
        let start = self.choices.pick(&[Start::Now, Start::Match, Start::Index]);
        let words = self.few_words();
        let lasts_ns = self.put_read(words, start);
        self.sit_out(lasts_ns);
        self.put_any(Kind::PollStatus);
    }

    /// The host falls behind: the FIFO fills up and overflows.
    pub(super) fn stalled_reader(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        for _ in 0..self.rounds(3) {
            let start = self.choices.pick(&[Start::Now, Start::Match, Start::Index]);
            let words = match self.choices.chance(1, 3) {
                true => self.turn_words(),
                false => self.choices.between(1, 2 * self.frame.fifo_words.min(24) + 8),
            };
            let (mut read, lasts_ns) = self.read(words, start);
            if let Operation::Read { words, service, .. } = &mut read {
                self.stall(service, u64::from(*words), lasts_ns);
            }
            self.put(read);
            self.sit_out(lasts_ns);
        }
    }
}
