//! Holding what was observed against one state (semantics 1.9, 1.11, 2.1 to 2.4).

use super::ask::Answer;
use super::rejection::{Mismatch, StatusOrd};
use super::state::{Changed, Context, Phase, Setting, Signal, State};
use crate::reach::Point;
use crate::tape::{Chance, Lines};
use trackproof_contract::{
    ByteUnit, Capabilities, Capability, ErrorFlag, MatchFlag, ReadDone, Status, YesNo,
};

impl State {
    /// A service of `transfer` took the word `seen`, or none. States that allow it go to `out`.
    ///
    /// Completion and service may come in either order within a channel bit, so a state may be
    /// let ahead by one bit before the service.
    pub(super) fn serve(
        mut self,
        ctx: &mut Context<'_>,
        (transfer, seen): (u32, Option<u64>),
        at_ns: u64,
        out: &mut Vec<Self>,
    ) -> Result<(), Mismatch> {
        let count = out.len();
        if seen.is_some() && self.may_complete_first(ctx, transfer) {
            let first = ctx.others.len();
            ctx.others.push(self.clone());
            while ctx.others.len() > first
                && let Some(mut state) = ctx.others.pop()
            {
                ctx.tape.enter(state.world);
                state.pass(ctx, self.pos + 1, at_ns);
                if state.take(ctx, transfer, seen, at_ns).is_ok() {
                    out.push(state);
                }
            }
            ctx.tape.enter(self.world);
        }
        match self.take(ctx, transfer, seen, at_ns) {
            Ok(()) => {
                out.push(self);
                Ok(())
            }
            Err(_) if out.len() > count => Ok(()),
            Err(mismatch) => Err(mismatch),
        }
    }

    /// Whether the next bit completes a word that makes a difference to a service before it.
    pub(super) fn may_complete_first(&self, ctx: &mut Context<'_>, transfer: u32) -> bool {
        let next = self.pos + 1;
        let mine = self.transfer.is_some_and(|running| running.id == transfer)
            || self.pending(ctx).iter().any(|request| request.transfer == transfer);
        let full = self.fifo.len() >= usize::from(ctx.profile.fifo_words);
        mine && (self.fifo.is_empty() || full)
            && next <= ctx.tape.len()
            && (self.next_boundary(ctx.word_bits) == next
                || self.finish == next
                || self.pending(ctx).iter().any(|request| request.first <= next)
                || (ctx.compares(self.setting)
                    && ctx.next_match(self.setting.word, self.pos).is_some_and(|m| m.0 == next)))
    }

    /// A service in the nominal order.
    pub(super) fn take(
        &mut self,
        ctx: &mut Context<'_>,
        transfer: u32,
        seen: Option<u64>,
        at_ns: u64,
    ) -> Result<(), Mismatch> {
        let Some(mut running) = self.transfer.filter(|running| running.id == transfer) else {
            return if seen.is_none() { Ok(()) } else { Err(Mismatch::WordAfterEnd) };
        };
        let (front, seen) = match (self.fifo.first().copied(), seen) {
            (Some(front), Some(seen)) => (front, seen),
            (None, None) => return Ok(()),
            // It may not have completed yet.
            (Some(front), None) if ctx.tape.end_ns(front.end) + ctx.bit_ns >= at_ns => {
                return Ok(());
            }
            // Words from before may wait for the start with it.
            (Some(_), None) if running.phase != Phase::Running => return Ok(()),
            (Some(_), None) => return Err(Mismatch::WordMissing),
            (None, Some(_)) => return Err(Mismatch::WordExtra),
        };
        let pad = ctx.word_bits - front.bits;
        let value = ctx.tape.window(front.end, front.bits) << pad;
        let free = ctx.tape.free_window(front.end, front.bits) << pad;
        ctx.hear(|| Answer::Word { value: value & !free, free });
        if (value ^ seen) & !free != 0 {
            return Err(Mismatch::WordValue);
        }
        self.fifo.remove(0);
        running.taken += 1;
        if self.world > 0 {
            ctx.reach.hit(Point::ReadWritten);
        }
        self.transfer = Some(running);
        if running.taken == running.words {
            ctx.reach.hit(Point::Completed);
            self.transfer = None;
            self.finish = 0;
            self.void_to = 0;
            self.free_to_ns = at_ns + u64::from(ctx.profile.done_latency) * ctx.bit_ns;
            if ctx.profile.read_done == ReadDone::LastStored {
                self.owe_done(ctx, at_ns, at_ns);
            }
        } else if running.stopped && self.fifo.is_empty() {
            let to_ns = at_ns + u64::from(ctx.profile.done_latency) * ctx.bit_ns;
            self.end_transfer();
            self.free_to_ns = self.free_to_ns.max(to_ns);
        }
        Ok(())
    }

    /// The byte port was read.
    pub(super) fn poll_byte(
        mut self,
        ctx: &mut Context<'_>,
        (value, fresh): (u8, bool),
        at_ns: u64,
        out: &mut Vec<Self>,
    ) -> Result<(), Mismatch> {
        let jitter_ns = u64::from(ctx.profile.poll_jitter);
        let [newest, before] = self.bytes(self.pos, ctx.byte_bits);
        let next = self.base + ((self.pos - self.base) / ctx.byte_bits + 1) * ctx.byte_bits;
        // At the very edge the poll may see the byte on either side of it.
        let mut candidates = [newest, 0, 0];
        let mut wrong = None;
        if newest > 0 && at_ns <= ctx.tape.end_ns(newest) + jitter_ns {
            ctx.reach.hit(Point::ByteEdge);
            candidates[1] = if before > 0 { before } else { usize::MAX };
        }
        if next <= ctx.tape.len() && ctx.tape.end_ns(next) <= at_ns + jitter_ns {
            ctx.reach.hit(Point::ByteEdge);
            candidates[2] = next;
        }
        let count = out.len();
        for (way, &end) in candidates.iter().enumerate() {
            if way > 0 && end == 0 {
                continue;
            }
            // MAX stands for 'none yet', seen just before the first byte came.
            let end = if end == usize::MAX { 0 } else { end };
            let is_new = end > self.byte_read;
            let (byte, free) = self.byte(ctx, end);
            ctx.hear(|| Answer::Byte { value: byte & !free, free, fresh: is_new });
            let right = (byte ^ value) & !free == 0;
            if right && is_new == fresh {
                let mut state = self.clone();
                state.byte_read = state.byte_read.max(end);
                if out[count..].iter().all(|other| other.byte_read != state.byte_read) {
                    out.push(state);
                }
            } else if wrong.is_none() {
                wrong = Some(match (right, fresh) {
                    (false, _) => Mismatch::ByteValue,
                    (true, true) => Mismatch::ByteFlagSet,
                    (true, false) => Mismatch::ByteFlagClear,
                });
            }
        }
        self.byte_read = self.byte_read.max(newest);
        if out.len() > count { Ok(()) } else { Err(wrong.unwrap_or(Mismatch::ByteValue)) }
    }

    /// The byte that ends at a position, and its bits that are free: all of them before the first.
    fn byte(&self, ctx: &Context<'_>, end: usize) -> (u8, u8) {
        if end == 0 {
            return (0, u8::MAX);
        }
        let mut bits = ctx.tape.window(end, ctx.byte_bits);
        let mut free = ctx.tape.free_window(end, ctx.byte_bits);
        // While the gate is open zeros are read.
        if let Some(writing) = self.writing.as_ref().filter(|writing| writing.gate_open())
            && end > writing.on
        {
            let kept = !0_u64 << (end - writing.on).min(63);
            (bits, free) = (bits & kept, free & kept);
        }
        match ctx.profile.byte {
            ByteUnit::Channel8 => (bits as u8, free as u8),
            ByteUnit::Data8 => (data_bits(bits) as u8, data_bits(free) as u8),
        }
    }

    /// The status was read. Bits in `compared` count.
    pub(super) fn poll_status(
        mut self,
        ctx: &mut Context<'_>,
        (seen, compared, lines): (Status, Status, Lines),
        at_ns: u64,
        out: &mut Vec<Self>,
    ) -> Result<(), Mismatch> {
        let mut free = lines.free;
        let mut value = lines.value;
        let transient = at_ns <= self.free_to_ns || !self.pending(ctx).is_empty();
        value = value.with(Status::DONE, self.done_since_ns.is_some_and(|since| since <= at_ns));
        free = free.with(Status::DONE.with(Status::BUSY, true), transient);
        value = value.with(Status::BUSY, self.busy());
        value = value.with(Status::ERROR, self.error);
        let clears =
            !self.pending(ctx).is_empty() && ctx.profile.error_flag == ErrorFlag::PerTransfer;
        free = free.with(Status::ERROR, at_ns <= self.error_free_to_ns || clears);
        // A word that completes within a channel bit may be lost already.
        let full = self.fifo.len() >= usize::from(ctx.profile.fifo_words);
        free = free.with(Status::ERROR, full && self.overrun_near(ctx));

        let (sure, open) = self.match_flag(ctx, at_ns);
        value = value.with(Status::MATCH, sure);
        free = free.with(Status::MATCH, open);
        let pinned = !free.to_bits() & compared.to_bits();
        ctx.hear(|| Answer::Status { value: value.to_bits() & pinned, free: !pinned });
        let wrong = (seen.to_bits() ^ value.to_bits()) & pinned;
        if wrong != 0 {
            return Err(Mismatch::StatusBits { bits: StatusOrd(wrong) });
        }
        if ctx.profile.flag == MatchFlag::LatchedClearOnRead && compared.has(Status::MATCH) {
            self.clear_latch(ctx, seen.has(Status::MATCH), at_ns);
        }
        out.push(self);
        Ok(())
    }

    fn overrun_near(&self, ctx: &Context<'_>) -> bool {
        let boundary = self.next_boundary(ctx.word_bits);
        ctx.profile.error_flag != ErrorFlag::None && self.running() && boundary <= self.pos + 1
    }

    /// The match flag at a moment, and whether the poll may see it either way.
    fn match_flag(&self, ctx: &mut Context<'_>, at_ns: u64) -> (bool, bool) {
        let jitter_ns = u64::from(ctx.profile.poll_jitter);
        match ctx.profile.flag {
            MatchFlag::Event => (false, false),
            MatchFlag::Level => {
                let mut seen = [false; 2];
                let gate = self.writing.as_ref().filter(|writing| writing.gate_open());
                if let Some(writing) = gate {
                    // Just behind the opening a poll may still see the flag of before.
                    if writing.on <= ctx.tape.position(at_ns.saturating_sub(jitter_ns)) {
                        return (false, false);
                    }
                    seen[0] = true;
                }
                let mut look = |ctx: &Context<'_>, setting: Setting, at: usize| {
                    let chance = ctx
                        .tape
                        .matches(ctx.pattern(setting.word), at)
                        .filter(|_| ctx.flag_shows(setting));
                    // The register is invalid from the change of source on, before a bit has come.
                    let switched = ctx.tape.just_switched(at, at_ns);
                    seen[0] |= chance != Some(Chance::Sure) || switched;
                    seen[1] |= chance.is_some();
                };
                let early = ctx.tape.position(at_ns.saturating_sub(jitter_ns));
                let late = ctx.tape.position(at_ns + jitter_ns);
                for at in early..=late {
                    look(ctx, self.setting, at);
                    if let Some((before, changed)) = self.before
                        && changed >= early
                    {
                        look(ctx, before, at);
                    }
                    for change in self.changes.iter() {
                        if change.at <= late {
                            look(ctx, self.changed(change.what), at);
                        }
                    }
                }
                (!seen[0], seen[0] && seen[1])
            }
            MatchFlag::LatchedClearOnRead | MatchFlag::LatchedClearOnStart => {
                let set = self.latched > 0;
                let fresh = set && at_ns <= ctx.tape.end_ns(self.latched) + jitter_ns.max(1);
                let soon = self.match_just_ahead(ctx, at_ns).is_some();
                let starts = ctx.profile.flag == MatchFlag::LatchedClearOnStart
                    && (!self.pending(ctx).is_empty() || at_ns <= self.free_to_ns);
                let changing = self.before.is_some_and(|(_, at)| at == self.pos)
                    || self.changes.iter().any(|change| change.at <= self.pos);
                (set, fresh || (!set && soon) || starts || changing)
            }
        }
    }

    /// The setting as a change on its way will make it.
    fn changed(&self, what: Changed) -> Setting {
        match what {
            Changed::On(on) => Setting { on, ..self.setting },
            Changed::Word { word, mask } => {
                Setting { word: self.setting.word & !mask | word & mask, ..self.setting }
            }
        }
    }

    /// A match at the next bit, if that bit comes within the jitter.
    fn match_just_ahead(&self, ctx: &Context<'_>, at_ns: u64) -> Option<usize> {
        let next = self.pos + 1;
        let soon = next <= ctx.tape.len()
            && ctx.tape.end_ns(next) <= at_ns + u64::from(ctx.profile.poll_jitter);
        (soon && ctx.flag_shows(self.setting) && !self.gate_open())
            .then(|| ctx.tape.matches(ctx.pattern(self.setting.word), next))
            .flatten()
            .map(|_| next)
    }

    /// A poll has shown the latched flag as `shown`.
    fn clear_latch(&mut self, ctx: &Context<'_>, shown: bool, at_ns: u64) {
        if shown {
            if self.latched == 0
                && let Some(next) = self.match_just_ahead(ctx, at_ns)
            {
                self.shown_ahead = next;
            }
            self.latched = 0;
        }
    }

    /// A signal was seen. States in which it may come at that moment go to `out`.
    pub(super) fn signal(
        mut self,
        signal: Signal,
        at_ns: u64,
        out: &mut Vec<Self>,
    ) -> Result<(), Mismatch> {
        let due = self
            .dues
            .iter()
            .position(|due| due.signal == signal && due.from_ns <= at_ns && at_ns <= due.to_ns);
        match due {
            Some(index) => {
                self.dues.remove(index);
                out.push(self);
                Ok(())
            }
            None => Err(match signal {
                Signal::Done => Mismatch::DoneExtra,
                Signal::Refused(_) => Mismatch::RefusedExtra,
                Signal::Match => Mismatch::MatchSignalExtra,
            }),
        }
    }

    /// Whether nothing is overdue at a moment.
    pub(super) fn dues_in_time(&self, at_ns: u64) -> bool {
        self.dues.iter().all(|due| due.to_ns >= at_ns)
    }

    /// Drops what is owed but cannot be seen of this implementation.
    pub(super) fn drop_unseen(&mut self, capabilities: Capabilities) {
        for due in self.dues.iter_mut() {
            due.owed &= capabilities.has(match due.signal {
                Signal::Done => Capability::DoneSignal,
                Signal::Refused(_) => Capability::RefusedSignal,
                Signal::Match => Capability::MatchSignal,
            });
        }
    }

    /// Whether every signal that is owed by a moment has come.
    pub(super) fn check_dues(&mut self, at_ns: u64) -> Result<(), Mismatch> {
        if let Some(due) = self.dues.iter().find(|due| due.owed && due.to_ns < at_ns) {
            return Err(match due.signal {
                Signal::Done => Mismatch::DoneMissing,
                Signal::Refused(_) => Mismatch::RefusedMissing,
                Signal::Match => Mismatch::MatchSignalMissing,
            });
        }
        self.dues.retain(|due| due.to_ns >= at_ns);
        Ok(())
    }

    /// Whether the byte port must show a byte as new that no poll has seen yet.
    #[must_use]
    pub fn has_new_byte(&self, byte_bits: usize, byte_port: YesNo) -> bool {
        byte_port == YesNo::Yes && self.bytes(self.pos, byte_bits)[0] > self.byte_read
    }

    /// Whether the state's transfer waits for something before its words.
    #[must_use]
    pub fn waiting(&self) -> bool {
        self.transfer.is_some_and(|transfer| transfer.phase != Phase::Running)
    }
}

/// The data bits of up to 32 channel bits: the second, fourth, … of each pair.
fn data_bits(channel: u64) -> u64 {
    let mut bits = channel & 0x5555_5555;
    bits = (bits | bits >> 1) & 0x3333_3333;
    bits = (bits | bits >> 2) & 0x0f0f_0f0f;
    bits = (bits | bits >> 4) & 0x00ff_00ff;
    (bits | bits >> 8) & 0xffff
}
