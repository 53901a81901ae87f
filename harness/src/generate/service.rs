//! When the host serves a transfer: its rhythm, and the stalls that overrun or drain a FIFO.

use super::choices::Choices;
use super::frame::{RHYTHMS, Size};
use super::program::Script;
use trackproof_contract::{HostService, Stall};

/// Services of one transfer that a case can afford; more would only cost time.
const SERVICES: u64 = 600;

impl<C: Choices> Script<'_, C> {
    /// The service of a transfer of `words` that is over `lasts_ns` after its request.
    pub(super) fn service(&mut self, words: u64, lasts_ns: u64) -> HostService {
        let word_ns = self.frame.word_ns();
        let interval_ns = self.interval_ns();
        let first_ns = match self.choices.weighted(&[4, 4, 2, 1]) {
            0 => self.choices.below(interval_ns),
            1 => interval_ns,
            2 => self.frame.cell_ns * self.choices.below(2 * self.frame.word_bits),
            // So late that words wait, or are lost, or a write has none when it should begin.
            _ => word_ns * self.choices.between(1, self.frame.fifo_words.min(16) + 3),
        };
        let stalls = if self.choices.chance(self.frame.stalled_of_eight, 8) {
            self.stalls(words, lasts_ns)
        } else {
            Vec::new()
        };
        HostService { first_ns, interval_ns, stalls }
    }

    /// From service to service. Mostly no more than a word's time, so that every word is taken.
    fn interval_ns(&mut self) -> u64 {
        let (cell_ns, word_ns) = (self.frame.cell_ns, self.frame.word_ns());
        // Programs last two turns, about; on whole tracks a word's time is the least.
        let least_ns = match self.frame.size {
            Size::Whole => word_ns - cell_ns,
            _ => (2 * self.frame.span_ns() / SERVICES).clamp(cell_ns, word_ns - cell_ns),
        };
        const { assert!(RHYTHMS == 5, "one arm each") };
        match self.choices.member(self.frame.rhythms) {
            0 => self.choices.between(least_ns, word_ns - 1),
            // A whole number of cells: at the same place of every bit.
            1 => self.choices.between(least_ns.div_ceil(cell_ns), self.frame.word_bits) * cell_ns,
            // A word a word's time, exactly.
            2 => word_ns,
            // Odd: at a new place in every bit.
            3 => self.choices.between(least_ns, word_ns - 1) | 1,
            // Too slow, so that words pile up.
            _ => word_ns + self.choices.between(1, 2 * word_ns),
        }
    }

    /// Makes sure that a transfer's service has stalls.
    pub(super) fn stall(&mut self, service: &mut HostService, words: u64, lasts_ns: u64) {
        if service.stalls.is_empty() {
            service.stalls = self.stalls(words, lasts_ns);
        }
    }

    /// One stall or a burst of them, each about as long as some words take, up to a few more than
    /// the FIFO holds.
    fn stalls(&mut self, words: u64, lasts_ns: u64) -> Vec<Stall> {
        let (cell_ns, word_ns) = (self.frame.cell_ns, self.frame.word_ns());
        let mut stalls = self.spare.stalls();
        let count = match self.choices.weighted(&[3, 1]) {
            0 => 1,
            _ => self.choices.between(2, 6),
        };
        let mut from_ns = self.choices.below(lasts_ns + 1);
        for _ in 0..count {
            let full = self.frame.fifo_words.min(words + 1);
            let long = match self.choices.weighted(&[3, 2]) {
                0 => self.choices.between(1, full + 3),
                _ => full + self.choices.below(4),
            };
            let about_ns = match self.choices.below(4) {
                0 => 0,
                1 => cell_ns,
                2 => word_ns / 2,
                _ => self.choices.below(word_ns),
            };
            let length_ns = long * word_ns - about_ns.min(word_ns);
            stalls.push(Stall { from_ns, length_ns });
            from_ns += length_ns + word_ns * self.choices.between(1, full + 3);
        }
        stalls
    }
}
