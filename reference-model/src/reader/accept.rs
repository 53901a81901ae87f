//! When a request is accepted, and what begins with it (semantics 1.5, 2.6).
//!
//! A request may be accepted at any moment of its span, requests in their order. A state leaves the
//! moment open for as long as nothing could tell the difference. Ahead of a bit or an event that
//! could, it goes on as two: one that has accepted the request, and one that has not.

use super::state::{Context, Due, Entry, Phase, Request, Signal, State, Transfer};
use super::step::Join;
use super::writing::{WritePhase, Writing};
use crate::reach::Point;
use trackproof_contract::{
    Action, Counter, ErrorFlag, Event, MatchFlag, Start, StartBusy, ZeroWords,
};

impl State {
    /// The last moment before the next bit: whether a request is accepted in this bit's time.
    pub(super) fn accept_before_next_bit(&mut self, ctx: &mut Context<'_>) -> bool {
        let Some(&request) = self.pending(ctx).first() else { return false };
        let end_ns = ctx.tape.end_ns(self.pos + 1) - 1;
        if request.first.max(self.not_before) > self.pos || !ctx.may_come(&request, end_ns) {
            return false;
        }
        if request.last > self.pos && !ctx.prompt {
            if self.next_chance(ctx, self.pos, self.pos).is_none() {
                return false;
            }
            let mut later = self.clone();
            later.not_before = self.pos + 1;
            ctx.others.push(later);
        }
        self.accept(ctx, request);
        true
    }

    /// Accepts the requests whose span ends before the next event, at `at_ns`.
    pub(super) fn accept_overdue(&mut self, ctx: &mut Context<'_>, at_ns: u64) {
        while let Some(&request) = self.pending(ctx).first() {
            let early = ctx.prompt && request.first <= self.pos && request.from_ns <= at_ns;
            let over = request.last <= self.pos
                && (request.to_ns < at_ns
                    || request.to_ns == at_ns && !ctx.stays_open(&request, at_ns));
            if !early && !over {
                return;
            }
            self.accept(ctx, request);
        }
    }

    /// Splits off what may be accepted at the very moment of the position, ahead of what a write
    /// does there. What a write ends with comes first in its moment, so behind that it may be accepted
    /// as well, also where this moment is the last one of the span.
    pub(super) fn accept_at_moment(&mut self, ctx: &mut Context<'_>) {
        let at_ns = ctx.tape.end_ns(self.pos);
        let ends = |writing: &Writing| {
            matches!(writing.phase, WritePhase::Ending(..) | WritePhase::Owed(_))
        };
        let ends = self.writing.as_deref().is_some_and(ends);
        while let Some(&request) = self.pending(ctx).first() {
            if request.from_ns > at_ns || !ctx.may_come(&request, at_ns) {
                return;
            }
            if (request.to_ns > at_ns || ends) && !ctx.prompt {
                let mut now = self.clone();
                now.accept(ctx, request);
                ctx.others.push(now);
                ctx.tape.enter(self.world);
                return;
            }
            self.accept(ctx, request);
        }
    }

    /// Splits off what may be accepted before the next event, at `at_ns`.
    pub(super) fn accept_before_event(&mut self, ctx: &mut Context<'_>, at_ns: u64) {
        while let Some(&request) = self.pending(ctx).first() {
            let given = request.from_ns == request.to_ns;
            let come = request.from_ns < at_ns
                || request.from_ns == at_ns && !(given && ctx.stays_open(&request, at_ns));
            if !come || !ctx.may_come(&request, at_ns) {
                return;
            }
            let mut later = self.clone();
            later.not_before = self.pos;
            ctx.others.push(later);
            self.accept(ctx, request);
        }
    }

    /// Whether an event would find things changed by an acceptance just before it. `seen` is the
    /// transfer that takes a word there.
    pub(super) fn acceptance_shows(
        &self,
        ctx: &Context<'_>,
        action: Action,
        seen: Option<u32>,
    ) -> bool {
        match action {
            Action::Service { transfer } => {
                let takes = ctx.profile.latch_words > 0 || seen == Some(transfer);
                self.transfer.is_some_and(|running| running.id == transfer)
                    || self.writing.as_ref().is_some_and(|writing| writing.id == transfer)
                    || self
                        .pending(ctx)
                        .iter()
                        .any(|request| request.transfer == transfer && (request.writes || takes))
            }
            Action::SyncWord(_) | Action::HardwareSync(_) | Action::Abort | Action::Reset => true,
            Action::Select(_) | Action::Side(_) | Action::Motor(_) | Action::Step(_) => {
                ctx.line_matters()
            }
            // What is read changes with a gate that it closes.
            Action::PollStatus | Action::PollByte => {
                self.gate_open() && ctx.profile.start_busy == StartBusy::Replace
            }
            _ => false,
        }
    }

    /// The first position of `from ..= to` whose next bit would find things changed by an
    /// acceptance before it, or that is the last chance.
    pub(super) fn next_chance(
        &self,
        ctx: &mut Context<'_>,
        from: usize,
        to: usize,
    ) -> Option<usize> {
        let &Request { first, last, .. } = self.pending(ctx).first()?;
        let from = from.max(first);
        let mut next = last.max(from);
        // A request that is turned down changes nothing; where a write ends by itself, what is
        // accepted just before is split off there.
        if !self.busy() || ctx.profile.start_busy == StartBusy::Replace {
            let wanted = |start: Start, writes: bool| {
                self.pending(ctx).iter().any(|it| it.start == start && it.writes == writes)
            };
            let raw = wanted(Start::Now, false);
            if ctx.profile.counter == Counter::ZeroedAtStart && raw || self.gate_open() {
                next = from;
            }
            for writes in [false, true] {
                if wanted(Start::Index, writes)
                    && let Some(index) = ctx.next_start(from - 1, next, writes)
                {
                    // Before its bit, and at the very moment of the index.
                    next = from.max(index - 1);
                }
            }
            if self.transfer.is_some() || raw || ctx.profile.latch_words > 0 {
                let words = (from - self.base) / ctx.word_bits;
                next = next.min(self.base + (words + 1) * ctx.word_bits - 1);
            }
            if self.finish > from {
                next = next.min(self.finish - 1);
            }
            for change in self.changes.iter() {
                next = next.min(change.at.max(from + 1) - 1);
            }
            if (ctx.compares(self.setting) || ctx.notes_when_off())
                && let Some((found, _)) = ctx.next_match(self.setting.word, from)
            {
                next = next.min(found - 1);
            }
        }
        (next <= to).then_some(next)
    }

    /// The next request is accepted at the position, or refused (2.6).
    fn accept(&mut self, ctx: &mut Context<'_>, request: Request) {
        let accepted = !self.busy() || self.make_way(ctx, &request);
        self.answer();
        if !accepted {
            return;
        }
        self.hurry_changes_of_the_request();
        self.free_to_ns = self.free_to_ns.max(request.to_ns);
        self.done_since_ns = None;
        if ctx.profile.error_flag == ErrorFlag::PerTransfer {
            self.error = false;
            self.error_free_to_ns = request.to_ns;
        }
        if ctx.profile.flag == MatchFlag::LatchedClearOnStart {
            self.latched = 0;
        }
        if request.writes {
            self.accept_write(ctx, &request);
            return;
        }
        let words = match (request.words, ctx.profile.zero_words) {
            (0, ZeroWords::None) => {
                self.owe_done(ctx, request.from_ns, request.to_ns);
                return;
            }
            (0, ZeroWords::Maximum) => ctx.profile.max_words,
            (words, _) => words,
        };
        self.slacks = self.slacks_of(&request);
        self.transfer = Some(Transfer {
            id: request.transfer,
            words,
            // Nothing waits there but what a reset is supposed to have kept.
            entered: self.fifo.len() as u32,
            taken: 0,
            phase: Phase::WaitMatch,
            realigned: false,
            frozen: false,
            stopped: false,
            overrun: false,
        });
        let most = usize::from(ctx.profile.latch_words);
        if most > 0 {
            let (words, doubtful) = self.words(ctx.word_bits);
            let all = words.into_iter().zip(0..).filter(|(word, _)| word.end > 0);
            let sure: Vec<Entry> = all
                .clone()
                .filter(|(_, at)| doubtful >> at & 1 == 0)
                .map(|(word, _)| word)
                .collect();
            let all: Vec<Entry> = all.map(|(word, _)| word).collect();
            for words in [&all, &sure].into_iter().take(if sure == all { 1 } else { 2 }) {
                for stale in (1..=most.min(words.len())).rev() {
                    let mut other = self.clone();
                    other.begin(ctx, request, &words[..stale]);
                    ctx.others.push(other);
                }
            }
        }
        self.begin(ctx, request, &[]);
    }

    /// The state in which a request finds a transfer under way as it is made, and is turned down, or
    /// replaces those before it: whether that is looked at then or at the acceptance is left open.
    /// None where it makes no difference. It is the next one to be made, at a moment.
    pub(super) fn looked_at_as_made(&self, ctx: &mut Context<'_>, at_ns: u64) -> Option<Self> {
        let request = ctx.requests[ctx.made];
        let waiting = ctx.made - self.answered;
        let busy = self.busy() || waiting > 0;
        if !busy || request.to_ns == at_ns || waiting >= u64::BITS as usize {
            return None;
        }
        let mut other = self.clone();
        if ctx.profile.start_busy == StartBusy::Replace {
            (other.answered, other.turned_down) = (ctx.made, 0);
            // An abort, also of what was on its way alone: nothing joins what was before.
            other.abort_write(ctx, at_ns, at_ns);
            other.end_transfer();
            // Nor is it said what is under way until the acceptance.
            other.free_to_ns = other.free_to_ns.max(request.to_ns);
            return Some(other);
        }
        if waiting == 0 {
            other.answered += 1;
        } else {
            other.turned_down |= 1 << (ctx.made % u64::BITS as usize);
        }
        if ctx.profile.start_busy == StartBusy::Error {
            other.owe_refusal(request.transfer, at_ns, request.to_ns);
        }
        Some(other)
    }

    /// The next request is over, and those behind it that were turned down as they were made.
    fn answer(&mut self) {
        self.answered += 1;
        let bit = |number: usize| 1 << (number % u64::BITS as usize);
        while self.turned_down & bit(self.answered) != 0 {
            self.turned_down &= !bit(self.answered);
            self.answered += 1;
        }
    }

    fn owe_refusal(&mut self, transfer: u32, from_ns: u64, to_ns: u64) {
        let signal = Signal::Refused(transfer);
        self.dues.push(Due { signal, from_ns, to_ns, owed: true });
    }

    /// A request finds another transfer (2.6). Whether it is accepted all the same.
    fn make_way(&mut self, ctx: &mut Context<'_>, request: &Request) -> bool {
        ctx.reach.hit(match (self.transfer, &self.writing) {
            (Some(Transfer { phase: Phase::Running, .. }), _) => Point::RequestRunning,
            (None, Some(_)) => Point::RequestWriting,
            _ => Point::RequestWaiting,
        });
        match ctx.profile.start_busy {
            StartBusy::Ignore => false,
            StartBusy::Error => {
                self.owe_refusal(request.transfer, request.from_ns, request.to_ns);
                false
            }
            StartBusy::Replace => {
                // Some moment of this bit's time.
                let from_ns = request.from_ns.max(ctx.tape.end_ns(self.pos));
                let to_ns = request.to_ns.min(ctx.tape.end_ns(self.pos + 1) - 1);
                self.abort_write(ctx, from_ns, to_ns.max(from_ns));
                self.end_transfer();
                true
            }
        }
    }

    /// An accepted write begins.
    fn accept_write(&mut self, ctx: &mut Context<'_>, request: &Request) {
        let of = (request.transfer, ctx.words_of(request), request.start);
        let span = (request.from_ns, request.to_ns);
        let (counts, open) = self.index_counts(ctx, request);
        if open {
            let mut other = self.clone();
            other.begin_write(ctx, of, false, span);
            ctx.others.push(other);
        }
        self.begin_write(ctx, of, counts, span);
    }

    /// Whether an index at the position starts what is accepted there, and whether it may also not:
    /// accepted at the index itself it counts; a moment later it does not.
    fn index_counts(&self, ctx: &Context<'_>, request: &Request) -> (bool, bool) {
        let index_ns = ctx.tape.end_ns(self.pos);
        let counts = request.start == Start::Index
            && index_ns >= request.from_ns
            && ctx.index_at(self.pos, request.writes);
        (counts, counts && index_ns < request.to_ns)
    }

    /// The accepted read begins, with these words from before, the newest first.
    fn begin(&mut self, ctx: &mut Context<'_>, request: Request, stale: &[Entry]) {
        for word in stale.iter().rev() {
            self.take_in_stale(ctx, *word);
        }
        match request.start {
            Start::Now => self.start_raw(ctx, Join::AsProfile),
            Start::Match => {}
            Start::Index => {
                let (counts, open) = self.index_counts(ctx, &request);
                if open {
                    let mut other = self.clone();
                    other.set_phase(Phase::WaitIndex(self.pos));
                    ctx.others.push(other);
                }
                let after = if counts { self.pos - 1 } else { self.pos };
                self.set_phase(Phase::WaitIndex(after));
            }
        }
    }

    /// The slacks, a bit each, that an acceptance at the position may have.
    fn slacks_of(&self, request: &Request) -> u64 {
        let first = request.first.max(self.not_before).min(self.pos);
        let several = (1_u64 << (self.pos - first).min(62) << 1) - 1;
        several << (first - request.here).min(63)
    }
}

impl Context<'_> {
    /// Whether a request of this moment is lost, as is supposed of one close behind an abort.
    pub(super) fn is_deaf(&self, at_ns: u64) -> bool {
        let span_ns = u64::from(self.supposed.deaf_bits()) * self.bit_ns;
        let close = |event: &&Event| event.at_ns + span_ns > at_ns;
        let before = self.events[..self.event].iter().rev().take_while(close);
        span_ns > 0 && before.into_iter().any(|event| event.action == Action::Abort)
    }

    /// Whether a moment of the request's span is left by `at_ns`: behind the last event that it had
    /// to come before or behind.
    fn may_come(&self, request: &Request, at_ns: u64) -> bool {
        self.divide.is_none_or(|divide| divide < request.event || self.events[divide].at_ns < at_ns)
    }

    /// Whether a request whose span ends at the next event's moment may be accepted behind that
    /// event: it is a service of an earlier transfer, and those of a moment come first.
    fn stays_open(&self, request: &Request, at_ns: u64) -> bool {
        let next = &self.events[self.event];
        matches!(next.action, Action::Service { transfer } if transfer != request.transfer)
            && next.at_ns == at_ns
            && request.to_ns > self.events[request.event].at_ns
    }
}
