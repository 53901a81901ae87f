//! Letting bits pass: matches, word boundaries, the FIFO (semantics 1.1 to 1.4, 2.1).
//!
//! A state goes from one position of interest to the next; between them nothing can happen. Where
//! the text leaves two ways open, the state takes one and puts the other aside.

use super::state::{Change, Changed, Context, Doubt, Due, Entry, Phase, Signal, State, Transfer};
use super::supposition::Occasion;
use super::writing::{WritePhase, Writing};
use crate::reach::Point;
use crate::tape::Chance;
use trackproof_contract::{
    Action, AlignedMatch, Counter, ErrorFlag, MatchFlag, MisalignedMatch, Overrun, Partial,
    ReadDone, Realign, StartMatch, SyncOffWaiting, SyncOnLive, YesNo,
};

impl State {
    /// Lets bits pass up to position `to`, at the moment `at_ns` that the next event has.
    ///
    /// Where there are other ways, the states that take them go to [`Context::others`]; they are
    /// to be let pass as well.
    pub(super) fn pass(&mut self, ctx: &mut Context<'_>, to: usize, at_ns: u64) {
        loop {
            let other = self.other_way(ctx);
            ctx.others.extend(other);
            self.due_here(ctx, to, at_ns);
            if self.pos >= to {
                return;
            }
            if self.accept_before_next_bit(ctx) {
                continue;
            }
            let (next, found) = self.next_stop(ctx, to);
            self.pos = next;
            if self.before.is_some_and(|(_, at)| at < self.pos) {
                self.before = None;
            }
            let other = self.shift_in(ctx, found);
            ctx.others.extend(other);
        }
    }

    /// The next position at which anything can happen, and the match there.
    fn next_stop(&mut self, ctx: &mut Context<'_>, to: usize) -> (usize, Option<Chance>) {
        let mut next = to;
        for at in self.changes.iter().map(|change| change.at) {
            next = next.min(at.max(self.pos + 1));
        }
        if let Some(chance) = self.next_chance(ctx, self.pos + 1, next) {
            next = chance;
        }
        if let Some(transfer) = &self.transfer {
            match transfer.phase {
                Phase::Running if !transfer.stopped && transfer.entered < transfer.words => {
                    next = next.min(self.next_boundary(ctx.word_bits));
                    if self.finish > self.pos {
                        next = next.min(self.finish);
                    }
                }
                Phase::WaitIndex(_) => {
                    if let Some((mark, _)) = ctx.tape.next_index(self.pos, next) {
                        next = mark;
                    }
                }
                _ => {}
            }
        }
        if ctx.supposed.slips_at_index()
            && let Some((mark, _)) = ctx.tape.next_index(self.pos, next)
        {
            next = mark;
        }
        if let Some(at) = self.writing.as_ref().and_then(|writing| writing.next_stop(ctx, self.pos))
        {
            next = next.min(at.max(self.pos + 1));
        }
        if !self.gate_open() && (ctx.compares(self.setting) || ctx.notes_when_off()) {
            match ctx.next_match(self.setting.word, self.pos) {
                Some((at, chance)) if at <= next => return (at, Some(chance)),
                _ => {}
            }
        }
        (next, None)
    }

    /// Takes what falls due at the position, before its next bit.
    fn due_here(&mut self, ctx: &mut Context<'_>, to: usize, at_ns: u64) {
        while let Some(index) = self.changes.iter().position(|change| change.at <= self.pos) {
            let change = self.changes.remove(index);
            let other = self.change_setting(ctx, change);
            ctx.others.extend(other);
        }
        self.write_now(ctx, to, at_ns);
        if self.pos == to {
            self.accept_overdue(ctx, at_ns);
        }
        // The index of a moment comes after the operations of that moment.
        if let Some(Transfer { phase: Phase::WaitIndex(after), .. }) = self.transfer
            && after < self.pos
            && (to > self.pos || at_ns > ctx.tape.end_ns(self.pos))
            && let Some((_, chance)) = ctx.tape.next_index(self.pos - 1, self.pos)
        {
            if chance == Chance::Maybe {
                let mut missed = self.clone();
                missed.set_phase(Phase::WaitIndex(self.pos));
                ctx.others.push(missed);
            }
            ctx.reach.hit(Point::IndexStart);
            self.start_raw(ctx, Join::Never);
        }
        self.write_now(ctx, to, at_ns);
    }

    /// What a write does at the position: like an index, after the operations of that moment. But
    /// the end of a complete one belongs to its last bit.
    fn write_now(&mut self, ctx: &mut Context<'_>, to: usize, at_ns: u64) {
        let passed = to > self.pos || at_ns > ctx.tape.end_ns(self.pos);
        let due = |writing: &Writing| {
            (passed || matches!(writing.phase, WritePhase::Ending(..) | WritePhase::Owed(_)))
                && writing.acts_at(ctx, self.pos)
        };
        if !self.writing.as_deref().is_some_and(due) {
            return;
        }
        self.accept_at_moment(ctx);
        loop {
            let (acted, other) = self.write_here(ctx);
            let over = !acted && other.is_none();
            ctx.others.extend(other);
            // The other one may have gone on in a world of its own.
            ctx.tape.enter(self.world);
            if over {
                return;
            }
        }
    }

    /// A change of the setting takes effect at the position (1.8).
    fn change_setting(&mut self, ctx: &mut Context<'_>, change: Change) -> Option<Self> {
        let old = self.setting;
        self.before = Some((old, self.pos));
        match change.what {
            Changed::On(on) => {
                self.setting.on = on;
                if on && !old.on {
                    // Bits do not count among the refractory ones while nothing is compared.
                    if self.quiet > 0 && !ctx.compares(old) {
                        self.quiet += self.pos;
                    }
                    let next_transfer = ctx.profile.sync_on_live == SyncOnLive::NextTransfer;
                    if let Some(transfer) = self.transfer.as_mut()
                        && transfer.phase == Phase::Running
                    {
                        ctx.reach.hit(Point::SyncOnRunning);
                        transfer.frozen |= next_transfer;
                    }
                } else if !on && old.on {
                    if !ctx.compares(self.setting) {
                        self.quiet = self.quiet.saturating_sub(self.pos);
                    }
                    if self.transfer.is_some_and(|t| t.phase == Phase::WaitMatch) {
                        ctx.reach.hit(Point::SyncOffWaiting);
                        if ctx.profile.sync_off_waiting == SyncOffWaiting::Start {
                            self.start_raw(ctx, Join::Never);
                        }
                    }
                    if self.running() {
                        ctx.reach.hit(Point::SyncOffRunning);
                    }
                }
            }
            Changed::Word { word, mask } => {
                self.setting.word = old.word & !mask | word & mask;
                if self.transfer.is_some_and(|t| t.phase == Phase::WaitMatch) {
                    ctx.reach.hit(Point::SyncWordWaiting);
                }
            }
        }
        // Bits that are already in the register may match the new setting at once, or not.
        if !ctx.flag_shows(self.setting) || self.gate_open() {
            return None;
        }
        let matched_before =
            ctx.flag_shows(old) && ctx.tape.matches(ctx.pattern(old.word), self.pos).is_some();
        if matched_before && (old.on || !self.setting.on) {
            return None;
        }
        ctx.tape.matches(ctx.pattern(self.setting.word), self.pos)?;
        let other = self.clone();
        self.make_match(ctx, false);
        Some(other)
    }

    /// One bit of interest has been shifted in: a match, a word boundary, or neither.
    fn shift_in(&mut self, ctx: &mut Context<'_>, found: Option<Chance>) -> Option<Self> {
        self.slip_at_index(ctx);
        if self.finish == self.pos {
            self.finish = 0;
            let word = Entry { end: self.pos, bits: ctx.word_bits };
            // Of a read that is over, the text does not say.
            self.note_word(word, if self.running() { Doubt::None } else { Doubt::Some });
            let served_first = if self.running() { self.complete(ctx, word) } else { None };
            if let Some(mut other) = served_first {
                let more = other.match_or_boundary(ctx, found);
                ctx.others.push(other);
                ctx.others.extend(more);
            }
        }
        self.match_or_boundary(ctx, found)
    }

    /// What else the bit that has been shifted in brings about.
    fn match_or_boundary(&mut self, ctx: &mut Context<'_>, found: Option<Chance>) -> Option<Self> {
        match found {
            Some(Chance::Sure) => self.make_match(ctx, true),
            Some(Chance::Maybe) => {
                let mut without = self.clone();
                let served_first = without.boundary(ctx);
                ctx.others.push(without);
                ctx.others.extend(served_first);
                self.make_match(ctx, true)
            }
            None => self.boundary(ctx),
        }
    }

    /// The register equals the sync word at the position. `with_boundary`: the bit has just been
    /// shifted in, so a word boundary may fall here as well.
    fn make_match(&mut self, ctx: &mut Context<'_>, with_boundary: bool) -> Option<Self> {
        self.note_match(ctx);
        let made = ctx.compares(self.setting) && self.pos > self.quiet;
        if !made {
            return if with_boundary { self.boundary(ctx) } else { None };
        }
        self.quiet = self.pos + usize::from(ctx.profile.refractory);
        self.hurry_changes_of_the_word(ctx);
        let since = (self.pos - self.base) % ctx.word_bits;
        // A match that moves the boundaries ends what a later read could join.
        if since != 0 {
            self.join = 0;
        }
        let Some(transfer) = self.transfer else {
            self.zero_counter(ctx);
            self.slip(ctx, Occasion::Match);
            self.match_for_write(ctx);
            return None;
        };
        match transfer.phase {
            Phase::Running if transfer.frozen => {
                if with_boundary {
                    self.boundary(ctx)
                } else {
                    None
                }
            }
            Phase::Running if since == 0 => {
                ctx.reach.hit(Point::AlignedMatch);
                let is_word = ctx.profile.aligned_match == AlignedMatch::Word
                    && with_boundary
                    && self.completes_here(ctx);
                self.zero_counter(ctx);
                self.slip(ctx, Occasion::Match);
                if !is_word {
                    // Not delivered and not counted: whether it has completed is open.
                    self.doubtful_words |= u8::from(self.old_words[0].end == self.pos);
                    return None;
                }
                let mut other = self.complete(ctx, Entry { end: self.pos, bits: ctx.word_bits });
                for state in std::iter::once(self).chain(&mut other) {
                    state.complete_again(ctx);
                }
                other
            }
            Phase::Running => self.misaligned_match(ctx, transfer, since),
            Phase::WaitMatch => {
                ctx.reach.hit(Point::StartPhase((self.pos - crate::tape::REGISTER) as u8 & 31));
                if ctx.tape.wrapped_within(self.pos, ctx.pattern(0).width) {
                    ctx.reach.hit(Point::MatchAcrossIndex);
                }
                self.zero_counter(ctx);
                self.slip(ctx, Occasion::Start);
                self.set_phase(Phase::Running);
                match ctx.profile.start_match {
                    StartMatch::Deliver => {
                        if since != 0 {
                            let word = Entry { end: self.pos, bits: ctx.word_bits };
                            self.note_word(word, Doubt::None);
                        }
                        self.complete(ctx, Entry { end: self.pos, bits: ctx.word_bits })
                    }
                    StartMatch::Drop => None,
                }
            }
            Phase::WaitIndex(_) => {
                self.zero_counter(ctx);
                self.slip(ctx, Occasion::Match);
                None
            }
        }
    }

    /// A match off the boundaries of a running read (1.3), `since` bits after the last one.
    fn misaligned_match(
        &mut self,
        ctx: &mut Context<'_>,
        transfer: Transfer,
        since: usize,
    ) -> Option<Self> {
        let ignored = match ctx.profile.realign {
            Realign::Every => false,
            Realign::First => transfer.realigned,
            Realign::Never => true,
        };
        if ignored || ctx.profile.misaligned_match == MisalignedMatch::Ignore {
            return None;
        }
        ctx.reach.hit(Point::RealignPartial(since as u8));
        if let Some(transfer) = self.transfer.as_mut() {
            transfer.realigned = true;
        }
        let boundary = self.pos - since;
        let (mut padded, mut served_first) = (None, None);
        match ctx.profile.partial {
            Partial::Drop => {}
            Partial::PadLow => {
                if boundary >= self.void_to {
                    let word = Entry { end: self.pos, bits: since };
                    padded = Some(word);
                    served_first = self.complete(ctx, word);
                }
            }
            Partial::Finish => {
                if boundary >= self.void_to {
                    self.finish = boundary + ctx.word_bits;
                }
                self.void_to = self.pos + ctx.word_bits;
            }
        }
        if let Some(mut other) = served_first {
            let more = other.realign(ctx, padded);
            ctx.others.push(other);
            ctx.others.extend(more);
        }
        self.realign(ctx, padded)
    }

    /// Moves the boundaries to a match, once the partial word before it is settled.
    fn realign(&mut self, ctx: &mut Context<'_>, padded: Option<Entry>) -> Option<Self> {
        self.zero_counter(ctx);
        if let Some(word) = padded {
            self.note_word(word, Doubt::None);
        }
        self.slip(ctx, Occasion::Realign);
        match ctx.profile.misaligned_match {
            MisalignedMatch::RealignDeliver => {
                let word = Entry { end: self.pos, bits: ctx.word_bits };
                self.note_word(word, Doubt::None);
                self.complete(ctx, word)
            }
            _ => None,
        }
    }

    /// Latches the flag and owes the match signal, as the profile has them.
    fn note_match(&mut self, ctx: &mut Context<'_>) {
        if !ctx.flag_shows(self.setting) {
            return;
        }
        match ctx.profile.flag {
            MatchFlag::LatchedClearOnRead | MatchFlag::LatchedClearOnStart => {
                if self.shown_ahead != self.pos {
                    self.latched = self.pos;
                }
            }
            MatchFlag::Event => {
                let end_ns = ctx.tape.end_ns(self.pos);
                // Where the bit before matched as well, the register did not come to equal the
                // word by this bit: a signal of its own may come, it need not.
                let pattern = ctx.pattern(self.setting.word);
                let again = ctx.tape.matches(pattern, self.pos - 1).is_some();
                let sure = ctx.tape.matches(pattern, self.pos) == Some(Chance::Sure);
                self.dues.push(Due {
                    signal: Signal::Match,
                    from_ns: end_ns,
                    to_ns: end_ns + u64::from(ctx.profile.poll_jitter).max(ctx.bit_ns),
                    owed: sure && !again,
                });
            }
            MatchFlag::Level => {}
        }
    }

    /// A word completes at the position if it is a boundary and a read runs.
    fn boundary(&mut self, ctx: &mut Context<'_>) -> Option<Self> {
        if !self.completes_here(ctx) {
            return None;
        }
        self.complete(ctx, Entry { end: self.pos, bits: ctx.word_bits })
    }

    /// Whether a word completes at the position.
    fn completes_here(&self, ctx: &Context<'_>) -> bool {
        let on_boundary =
            self.pos > self.base && (self.pos - self.base).is_multiple_of(ctx.word_bits);
        on_boundary && self.pos > self.void_to && self.running()
    }

    /// A word of the running read completes (2.1).
    pub(super) fn complete(&mut self, ctx: &mut Context<'_>, entry: Entry) -> Option<Self> {
        let mut transfer = self.transfer?;
        if transfer.stopped || transfer.entered >= transfer.words {
            return None;
        }
        let depth = usize::from(ctx.profile.fifo_words);
        let mut other = None;
        if self.fifo.len() >= depth {
            // A service within a channel bit may have come first.
            if ctx.service_follows(ctx.tape.end_ns(entry.end), transfer.id)
                && self.fifo.len() == depth
            {
                let mut served_first = self.clone();
                served_first.take_in(ctx, entry);
                other = Some(served_first);
            }
            ctx.reach.hit(Point::Overrun(depth.min(255) as u8));
            transfer.overrun = true;
            transfer.stopped = ctx.profile.overrun == Overrun::Stop;
            self.transfer = Some(transfer);
            if ctx.profile.error_flag != ErrorFlag::None {
                self.error = true;
                self.error_free_to_ns = ctx.tape.end_ns(entry.end) + ctx.bit_ns;
            }
            if ctx.profile.overrun == Overrun::LoseOld {
                self.fifo.remove(0);
                self.fifo.push(entry);
            }
            self.slip(ctx, Occasion::Overrun);
        } else {
            self.take_in(ctx, entry);
        }
        other
    }

    /// A completed word goes into the FIFO.
    fn take_in(&mut self, ctx: &mut Context<'_>, entry: Entry) {
        self.fifo.push(entry);
        ctx.reach.hit(Point::FifoFilled(self.fifo.len().min(255) as u8));
        let Some(transfer) = self.transfer.as_mut() else { return };
        transfer.entered += 1;
        let number = transfer.entered;
        if number == transfer.words {
            self.join = entry.end;
            if ctx.profile.read_done == ReadDone::LastCompleted {
                let end_ns = ctx.tape.end_ns(entry.end);
                self.owe_done(ctx, end_ns, end_ns);
            }
        }
        self.slip_behind_word(ctx, number);
    }

    /// A word from before the transfer is the first that it delivers (`latch_words`).
    pub(super) fn take_in_stale(&mut self, ctx: &mut Context<'_>, word: Entry) {
        self.fifo.push(word);
        let Some(transfer) = self.transfer.as_mut() else { return };
        transfer.entered += 1;
        if transfer.entered == transfer.words && ctx.profile.read_done == ReadDone::LastCompleted {
            // Done at its acceptance or at its start: the text leaves it open.
            let from_ns = ctx.tape.end_ns(self.pos);
            self.done_since_ns = Some(from_ns);
            self.free_to_ns = u64::MAX;
            self.dues.push(Due { signal: Signal::Done, from_ns, to_ns: u64::MAX, owed: false });
        }
    }

    /// The transfer is done: the signal is owed from its event on.
    pub(super) fn owe_done(&mut self, ctx: &Context<'_>, from_ns: u64, event_ns: u64) {
        let to_ns = event_ns + u64::from(ctx.profile.done_latency) * ctx.bit_ns;
        self.done_since_ns = Some(from_ns);
        self.free_to_ns = self.free_to_ns.max(to_ns);
        self.dues.push(Due { signal: Signal::Done, from_ns, to_ns, owed: true });
    }

    /// A raw read starts at the position (1.5).
    pub(super) fn start_raw(&mut self, ctx: &mut Context<'_>, join: Join) {
        let joined = join == Join::AsProfile
            && ctx.profile.read_join == YesNo::Yes
            && self.join > 0
            && self.pos - self.join < ctx.word_bits;
        if ctx.profile.counter == Counter::ZeroedAtStart && !joined {
            self.zero_counter(ctx);
        }
        self.set_phase(Phase::Running);
    }

    pub(super) fn set_phase(&mut self, phase: Phase) {
        if let Some(transfer) = self.transfer.as_mut() {
            transfer.phase = phase;
        }
    }
}

/// Whether a raw read may continue the words of the read before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Join {
    /// As `read_join` says: it starts at once.
    AsProfile,
    /// Not: it starts at the index, or because hardware sync was switched off.
    Never,
}

impl Context<'_> {
    /// Whether so many services of that transfer are to come.
    pub(super) fn services_to_come(&self, transfer: u32, wanted: u32) -> bool {
        let mut left = wanted;
        left == 0
            || self.events[self.event..].iter().any(|event| {
                left -= u32::from(event.action == Action::Service { transfer });
                left == 0
            })
    }

    /// Whether a service of that transfer comes within a channel bit after a moment.
    pub(super) fn service_follows(&self, from_ns: u64, transfer: u32) -> bool {
        self.events[self.event..]
            .iter()
            .take_while(|event| event.at_ns <= from_ns + self.bit_ns)
            .any(|event| event.at_ns >= from_ns && event.action == Action::Service { transfer })
    }
}
