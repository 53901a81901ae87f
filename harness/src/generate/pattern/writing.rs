//! Patterns that write: sectors, whole tracks, copies from drive to drive, and what is read back.

use super::Sync;
use crate::generate::choices::Choices;
use crate::generate::image;
use crate::generate::program::Script;
use trackproof_contract::{Operation, SectorLayout, Start};

/// Bytes before the place of an update at which its header is looked for: sync, marks and address.
const HEADER_BYTES: u64 = 12 + 4 + 4 + 2;

/// Channel bits of a byte.
const BYTE_BITS: u64 = 16;

impl<C: Choices> Script<'_, C> {
    /// Reads to a sync word, writes at the next one, and reads back: how sectors are updated.
    pub(super) fn sector_updater(&mut self) {
        self.begin(Sync::Hardware);
        for _ in 0..self.rounds(3) {
            match self.layout() {
                Some(layout) if self.choices.chance(3, 4) => self.update_image(layout),
                _ => {
                    let words = self.few_words();
                    let lasts_ns = self.put_read(words, Start::Match);
                    self.sit_out(lasts_ns);
                    let words = self.few_words();
                    let source = self.some_source(words);
                    let lasts_ns = self.put_write(source, words, Start::Match);
                    self.see_out(lasts_ns);
                }
            }
            self.read_back(Sync::Hardware);
        }
    }

    /// Gives one sector of an image new data: written when it comes by.
    fn update_image(&mut self, layout: SectorLayout) {
        let number = self.choices.below(layout.sectors() as u64) as usize;
        let span = image::update_span(layout, number);
        let index_ns = self.index_after(self.now_ns);
        if self.choices.chance(1, 2) {
            let header_bits = (span.start as u64).saturating_sub(HEADER_BYTES * BYTE_BITS);
            self.wait_until(index_ns + header_bits * self.frame.cell_ns);
            self.put_read(6, Start::Match);
        }
        let about_bits = self.choices.below(4);
        self.wait_until(index_ns + (span.start as u64 + about_bits) * self.frame.cell_ns);
        let (source, words) = self.stream(layout, span);
        let lasts_ns = self.put_write(source, words, Start::Now);
        self.see_out(lasts_ns);
    }

    /// Writes whole tracks from the index on and looks at them.
    pub(super) fn formatter(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        for _ in 0..self.rounds(2) {
            let (source, words) = match self.layout() {
                Some(layout) if self.choices.chance(3, 4) => {
                    let turn = self.frame.turn_bits[usize::from(self.head.drive)] as usize;
                    self.stream(layout, 0..turn)
                }
                _ => {
                    let words = self.track_words();
                    (self.words(words), words)
                }
            };
            let start = self.choices.pick(&[Start::Index, Start::Index, Start::Index, Start::Now]);
            let lasts_ns = self.put_write(source, words, start);
            self.see_out(lasts_ns);
            self.read_back(sync);
        }
    }

    /// Reads a track of one drive and writes what came onto the other: an image becomes a disk.
    pub(super) fn disk_copier(&mut self) {
        let sync = self.either_sync();
        self.begin_with(0, sync);
        self.spin_all();
        let start = match sync {
            Sync::Hardware => Start::Match,
            Sync::Software => self.choices.pick(&[Start::Now, Start::Index]),
        };
        let words = self.track_words();
        let lasts_ns = self.put_read(words, start);
        self.see_out(lasts_ns);
        let read = self.last_read.unwrap_or(0);
        self.turn_to_target();
        let source = self.copy_of(read, words);
        let start = self.choices.pick(&[Start::Index, Start::Index, Start::Now]);
        let lasts_ns = self.put_write(source, words, start);
        self.see_out(lasts_ns);
        self.read_back(sync);
    }

    /// Sector by sector from one drive to the other, in turn.
    pub(super) fn drive_copier(&mut self) {
        let sync = self.either_sync();
        self.begin_with(0, sync);
        self.spin_all();
        let start = if sync == Sync::Hardware { Start::Match } else { Start::Now };
        for round in 0..self.rounds(3) {
            if round > 0 {
                self.put(Operation::Select { mask: 1 });
            }
            let words = self.few_words();
            let lasts_ns = self.put_read(words, start);
            self.see_out(lasts_ns);
            let read = self.last_read.unwrap_or(0);
            self.turn_to_target();
            let source = self.copy_of(read, words);
            let target = self.choices.pick(&[Start::Match, Start::Now, Start::Index]);
            let lasts_ns = self.put_write(source, words, target);
            self.see_out(lasts_ns);
        }
        self.read_back(sync);
    }

    /// Requests right after the end of a write, at it, or while it still runs.
    pub(super) fn write_verify(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        for _ in 0..self.rounds(3) {
            let start = self.any_start();
            let words = self.few_words();
            let source = self.some_source(words);
            let requested_ns = self.now_ns;
            let lasts_ns = self.put_write(source, words, start);
            match self.choices.weighted(&[3, 3, 2, 2]) {
                0 => self.wait_until(requested_ns + words * self.frame.word_ns()),
                1 => self.wait_until(requested_ns + lasts_ns + self.frame.cell_ns),
                2 => self.wait_for_edge(),
                _ => {}
            }
            self.read_back(sync);
        }
    }

    /// A few words here and there, and anything right after them.
    pub(super) fn small_writer(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        for _ in 0..self.rounds(4) {
            let start = self.any_start();
            let words = self.few_words();
            let source = self.some_source(words);
            let lasts_ns = self.put_write(source, words, start);
            self.see_out(lasts_ns);
            if self.choices.chance(1, 2) {
                let kind = self.kind();
                self.put_any(kind);
            } else {
                self.read_back(sync);
            }
        }
    }

    /// More than a turn in one write: what it began with is written over.
    pub(super) fn long_writer(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        let turn_bits = self.frame.turn_bits[usize::from(self.head.drive)];
        let turns = self.rounds(3);
        let bits = turns * turn_bits + self.choices.below(turn_bits);
        let words = bits.div_ceil(self.frame.word_bits).max(2);
        let start = self.any_start();
        let source = self.words(words);
        let begins_ns = self.put_write(source, words, start);
        let lasts_ns = begins_ns.max((words + 2) * self.frame.word_ns());
        self.see_out(lasts_ns);
        self.read_back(sync);
    }

    /// Waits till a transfer is over, mostly, and looks then sometimes.
    pub(super) fn see_out(&mut self, lasts_ns: u64) {
        if self.choices.chance(1, 8) {
            self.sit_out(lasts_ns);
            return;
        }
        let after_ns = self.choices.below(4 * self.frame.word_ns());
        self.wait(lasts_ns + after_ns);
        if self.choices.chance(1, 4) {
            self.look();
        }
    }

    /// Reads what is there now: a few words or a turn.
    pub(super) fn read_back(&mut self, sync: Sync) {
        let start = match sync {
            Sync::Hardware => self.choices.pick(&[Start::Match, Start::Index, Start::Now]),
            Sync::Software => self.choices.pick(&[Start::Now, Start::Index]),
        };
        let words = match self.choices.chance(1, 3) {
            true => self.track_words(),
            false => self.few_words(),
        };
        let lasts_ns = self.put_read(words, start);
        self.sit_out(lasts_ns);
    }

    /// Words of part of the turn under the head, of the whole, or a few more.
    fn track_words(&mut self) -> u64 {
        let turn = self.frame.turn_bits[usize::from(self.head.drive)] / self.frame.word_bits;
        match self.choices.weighted(&[3, 4, 3]) {
            0 => self.choices.between(turn / 4, turn),
            1 => turn,
            _ => turn + self.choices.between(1, 1 + turn / 8),
        }
    }

    /// All motors on: drives in turn have to spin all the time.
    fn spin_all(&mut self) {
        if self.frame.drives > 1 && self.choices.chance(7, 8) {
            self.put(Operation::Motor { mask: (1 << self.frame.drives) - 1 });
        }
    }

    /// Goes to where copies are written: the last drive, or the other side of the only one.
    fn turn_to_target(&mut self) {
        if self.frame.drives > 1 {
            self.put(Operation::Select { mask: 1 << (self.frame.drives - 1) });
        } else if self.choices.chance(1, 2) {
            self.put(Operation::Side { side: 1 - self.head.side });
        }
    }
}
