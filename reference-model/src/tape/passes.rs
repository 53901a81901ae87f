//! Which track passes the head when, and what a write makes of every bit that comes after it.

use super::{Switch, Tape};
use crate::drive::LINE_WINDOW_NS;
use crate::recorded::Recorded;

/// A stretch of the tape during which one recorded track passes the head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pass {
    /// Its first bit's index on the tape.
    pub from: usize,
    /// The index behind its last bit.
    pub to: usize,
    /// The track, by its index in the case; none where the case records no such track.
    pub track: Option<usize>,
    /// The cell of the turn that its first bit is in.
    pub cell: usize,
    /// Cells of a turn.
    pub turn: usize,
    /// Whether the drive keeps what is written.
    pub writable: bool,
}

impl Pass {
    /// The cell of the turn that bit `index` is in; it may lie before or behind the pass.
    #[must_use]
    pub const fn cell_at(&self, index: usize) -> usize {
        let turns = self.from.div_ceil(self.turn) * self.turn;
        (self.cell + turns - self.from + index) % self.turn
    }
}

impl Tape {
    /// The pass that bit `index` is in, if a drive gives it.
    #[must_use]
    pub fn pass_at(&self, index: usize) -> Option<Pass> {
        let after = self.passes.partition_point(|pass| pass.from <= index);
        let pass = *self.passes.get(after.checked_sub(1)?)?;
        (index < pass.to).then_some(pass)
    }

    /// The first position after `after`, up to `to`, at which the cell begins in which the index
    /// of the drive ends, 1/100 turn behind its begin; and whether that drive surely is the one.
    #[must_use]
    pub(crate) fn next_index_end(&self, after: usize, to: usize) -> Option<(usize, bool)> {
        // Behind a change of drive, or of its motor, its lines may still be the old one's: an index
        // that it had begun, be it in its last nanosecond, may end as it would have.
        let lingering = LINE_WINDOW_NS.div_ceil(self.bit_ns) as usize;
        let mut next: Option<(usize, bool)> = None;
        for pass in &self.passes {
            if next.is_some_and(|(edge, _)| edge < pass.from) {
                break;
            }
            let from = pass.from.max(after + 1);
            let ahead = (pass.turn.div_ceil(100) + pass.turn - pass.cell_at(from)) % pass.turn;
            let edge = from + ahead;
            if edge > to || edge >= pass.to + lingering {
                continue;
            }
            let sure = edge > pass.from + 2 && edge < pass.to;
            next = match next {
                Some((other, _)) if other < edge => next,
                Some((other, was)) if other == edge => Some((edge, was || sure)),
                _ => Some((edge, sure)),
            };
        }
        next
    }

    /// The write gate is open from bit `on` on and closes at a bit of `first ..= last`: zeros are
    /// read, and both its edges are changes of source.
    pub(crate) fn open_gate(&mut self, on: usize, (first, last): (usize, usize)) {
        let (on, first, last) =
            (on.min(self.bits.len()), first.min(self.bits.len()), last.min(self.bits.len()));
        for at in (on..first).step_by(64) {
            self.bits.put(at, 0, (first - at).min(64));
        }
        self.clear_free(on, first);
        if last > first {
            self.free.push((first, last));
        }
        self.sort_free();
        for (first, last) in [(on, on), (first, last)] {
            let at_ns = self.end_ns(first);
            self.switches.push(Switch { first, last, at_ns, open: false });
        }
    }

    /// Lays every bit of a track from index `from` on anew.
    pub(crate) fn lay_again(&mut self, track: usize, recorded: &Recorded, from: usize) {
        for index in 0..self.passes.len() {
            let pass = self.passes[index];
            let begin = pass.from.max(from);
            if pass.track != Some(track) || begin >= pass.to {
                continue;
            }
            for at in (begin..pass.to).step_by(64) {
                let count = (pass.to - at).min(64);
                let bits = recorded.stream.cyclic_window(pass.cell_at(at), count);
                self.bits.put(at, bits, count);
            }
            self.clear_free(begin, pass.to);
            self.add_free(begin, pass.to, |at, count| {
                recorded.free_window(pass.cell_at(at), count)
            });
        }
        self.sort_free();
    }

    /// Nothing is known from index `from` on of the tracks that the case does not record.
    pub(crate) fn forget_unrecorded(&mut self, from: usize) {
        for index in 0..self.passes.len() {
            let Pass { from: begin, to, track, .. } = self.passes[index];
            if track.is_none() && to > from {
                self.free.push((begin.max(from), to));
            }
        }
        self.sort_free();
    }

    /// Brings the stretches of free bits into their order, and makes one of those that overlap.
    pub(super) fn sort_free(&mut self) {
        self.free.sort_unstable();
        self.free.dedup_by(|next, before| {
            let overlaps = next.0 <= before.1;
            if overlaps {
                before.1 = before.1.max(next.1);
            }
            overlaps
        });
    }

    /// Makes no bit of `from .. to` free but where a change of source leaves it open.
    fn clear_free(&mut self, from: usize, to: usize) {
        if !self.free.iter().any(|free| free.0 < to && free.1 > from) {
            return;
        }
        let cut = |free: &(usize, usize)| [(free.0, free.1.min(from)), (free.0.max(to), free.1)];
        let of_changes = self.switches.iter().filter(|switch| !switch.open);
        let kept: Vec<_> = self
            .free
            .iter()
            .flat_map(cut)
            .chain(of_changes.map(|switch| (switch.first.max(from), switch.last.min(to))))
            .filter(|free| free.0 < free.1)
            .collect();
        self.free = kept;
    }

    /// Makes the bits of `from .. to` free where `mask` has a 1.
    pub(super) fn add_free(&mut self, from: usize, to: usize, mask: impl Fn(usize, usize) -> u64) {
        let mut open = None;
        for at in (from..to).step_by(64) {
            let count = (to - at).min(64);
            let bits = mask(at, count);
            if bits == 0 && open.is_none() {
                continue;
            }
            for bit in 0..count {
                let free = bits >> (count - 1 - bit) & 1 == 1;
                match (free, open) {
                    (true, None) => open = Some(at + bit),
                    (false, Some(begin)) => {
                        self.free.push((begin, at + bit));
                        open = None;
                    }
                    _ => {}
                }
            }
        }
        if let Some(begin) = open {
            self.free.push((begin, to));
        }
    }
}
