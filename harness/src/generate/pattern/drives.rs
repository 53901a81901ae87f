//! Patterns that look and step: what programs do before they read, and instead of it.

use super::Sync;
use crate::generate::choices::Choices;
use crate::generate::program::{Kind, Script};
use trackproof_contract::{Direction, Operation, Start};

impl<C: Choices> Script<'_, C> {
    /// Polls the byte port: in time, a little too slowly, or anyhow.
    pub(super) fn byte_poller(&mut self) {
        let sync = self.either_sync();
        self.begin(sync);
        let byte_ns = self.frame.byte_bits.max(8) * self.frame.cell_ns;
        let in_time_ns = byte_ns - self.frame.cell_ns;
        let (least_ns, most_ns) = match self.choices.weighted(&[4, 3, 2, 2]) {
            0 => (in_time_ns, in_time_ns),
            1 => (byte_ns / 4, in_time_ns),
            2 => (in_time_ns, byte_ns + 2 * self.frame.cell_ns),
            _ => (byte_ns, 4 * byte_ns),
        };
        let poll = if self.frame.byte_bits == 0 { Kind::PollStatus } else { Kind::PollByte };
        if self.choices.chance(1, 2) {
            self.wait_for_edge();
        }
        for _ in 0..self.choices.between(3, 14) {
            let gap_ns = self.choices.between(least_ns, most_ns);
            self.put_any(poll);
            self.gap(gap_ns);
        }
        self.put_any(poll);
    }

    /// Waits for the index and for the one after it, as a program does that measures a turn.
    pub(super) fn track_measurer(&mut self) {
        let sync = self.either_sync();
        self.begin_with(0, sync);
        let pulse_ns = self.frame.turn_bits[0] * self.frame.cell_ns / 100;
        for _ in 0..self.rounds(3) {
            let index_ns = self.index_after(self.now_ns);
            let early_ns = self.choices.pick(&[0, 100, self.frame.cell_ns, 2_000]);
            self.wait_until(index_ns.saturating_sub(early_ns));
            self.look();
            if self.choices.chance(1, 2) {
                let after_ns = self.choices.below(2 * pulse_ns + 2);
                self.wait_until(index_ns + after_ns);
                self.look();
            }
        }
        let words = self.few_words();
        let lasts_ns = self.put_read(words, Start::Index);
        self.sit_out(lasts_ns);
    }

    /// Switches drive lines and looks what they show.
    pub(super) fn drive_prober(&mut self) {
        for _ in 0..self.choices.between(3, 7) {
            let kind = self.choices.pick(&[
                Kind::Select,
                Kind::Motor,
                Kind::Step,
                Kind::Side,
                Kind::Select,
            ]);
            self.put_any(kind);
            if self.choices.chance(1, 2) {
                self.put_any(Kind::Wait);
            }
            self.look();
        }
    }

    /// Steps out until track 00 must have come, looks in between, and reads there.
    pub(super) fn homer(&mut self) {
        let drive = self.some_drive();
        self.begin_with(drive, Sync::Hardware);
        let cylinder = u64::from(self.bench.drives[usize::from(drive)].cylinder);
        for _ in 0..cylinder.min(5) + self.choices.below(3) {
            self.put(Operation::Step { direction: Direction::Out });
            let settle_ns = self.choices.pick(&[4_000, 10_000, 500]);
            self.wait(settle_ns);
            self.put(Operation::PollStatus);
        }
        if self.choices.chance(1, 2) {
            self.put(Operation::Step { direction: Direction::In });
        }
        let words = self.few_words();
        let lasts_ns = self.put_read(words, Start::Match);
        self.sit_out(lasts_ns);
    }
}
