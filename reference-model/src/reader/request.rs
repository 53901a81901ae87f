//! The host's operations: requests, settings, abort, reset (semantics 1.5, 1.8, 2.6, 2.7).
//!
//! Where an operation takes effect at one moment of a span, a state is split at once into one for
//! each bit of the span; those that nothing tells apart are one state again a moment later.

use super::state::{
    Change, Changed, Context, Due, Phase, Request, Setting, Signal, Slacks, State, Transfer,
};
use super::step::Join;
use super::writing::WriteContext;
use crate::reach::Point;
use trackproof_contract::{
    Action, Counter, ErrorFlag, Event, MatchFlag, Start, StartBusy, SyncOffWaiting, SyncOnLive,
    SyncWrite, WriteUnit, YesNo, ZeroWords,
};

/// More changes on their way than any of this many are a case that the model gives up.
const MAX_CHANGES: usize = 8;

impl Context<'_> {
    /// Whether an index that a transfer may start at comes at a position.
    fn index_at(&self, at: usize, writes: bool) -> bool {
        if writes {
            self.next_index_edge(at - 1, at).is_some()
        } else {
            self.tape.next_index(at - 1, at).is_some()
        }
    }
}

impl State {
    /// Takes an operation that takes effect at one moment of a span; the ways go to `out`.
    pub(super) fn operate(self, ctx: &mut Context<'_>, event: &Event, out: &mut Vec<Self>) {
        match event.action {
            Action::SyncWord(word) => {
                self.change(ctx, Changed::Word { word, mask: !0 }, event.at_ns, out);
            }
            Action::HardwareSync(on) => self.change(ctx, Changed::On(on), event.at_ns, out),
            Action::Read { transfer, words, start } => {
                self.request(ctx, (transfer, words, start, false), event.at_ns, out);
            }
            Action::Write { transfer, start } => {
                let sent = ctx.sent.iter().find(|sent| sent.0 == transfer);
                let words = sent.map_or(0, |sent| sent.1.len() as u32);
                self.request(ctx, (transfer, words, start, true), event.at_ns, out);
            }
            _ => out.push(self),
        }
    }

    /// Splits the state over the moments at which a change of the setting takes effect.
    fn change(self, ctx: &mut Context<'_>, what: Changed, at_ns: u64, out: &mut Vec<Self>) {
        let first = ctx.tape.position(at_ns);
        let last = ctx.tape.position(at_ns + ctx.change_window_bits * ctx.bit_ns).max(first);
        if self.changes.len() + 2 > MAX_CHANGES {
            ctx.overflow = true;
            return;
        }
        match what {
            Changed::Word { word, mask } if ctx.profile.sync_write == SyncWrite::Halves => {
                let low = !0 >> (64 - ctx.profile.register_bits / 2).min(63);
                for high_at in first..=last {
                    for low_at in first..=last {
                        let mut state = self.clone();
                        let high = Changed::Word { word, mask: mask & !low };
                        state.queue(Change { at: high_at, what: high });
                        let low = Changed::Word { word, mask: mask & low };
                        state.queue(Change { at: low_at, what: low });
                        out.push(state);
                    }
                }
            }
            _ => {
                let splits = self.moment_matters(ctx, what, (first, last), at_ns);
                for at in first..if splits { last } else { first } {
                    let mut state = self.clone();
                    state.queue(Change { at, what });
                    out.push(state);
                }
                let mut state = self;
                state.queue(Change { at: last, what });
                out.push(state);
            }
        }
    }

    /// Puts a change on its way. Changes of one kind take effect in the order of their operations:
    /// an earlier one comes no later than this.
    fn queue(&mut self, change: Change) {
        for earlier in &mut self.changes {
            let same = match (earlier.what, change.what) {
                (Changed::On(_), Changed::On(_)) => true,
                (Changed::Word { mask: one, .. }, Changed::Word { mask: other, .. }) => {
                    one & other != 0
                }
                _ => false,
            };
            if same {
                earlier.at = earlier.at.min(change.at);
            }
        }
        self.changes.push(change);
    }

    /// Whether it makes a difference at which bit of `first ..= last` a change takes effect.
    fn moment_matters(
        &self,
        ctx: &mut Context<'_>,
        what: Changed,
        (first, last): (usize, usize),
        at_ns: u64,
    ) -> bool {
        if ctx.compares(self.setting)
            || !self.changes.is_empty()
            || ctx.profile.flag_when_off == YesNo::Yes
        {
            // Matches under the setting as it is may fall away at any of these bits.
            if !self.changes.is_empty() || ctx.may_match(self.setting.word, first, last) {
                return true;
            }
        }
        let to_ns = at_ns + (ctx.change_window_bits + 1) * ctx.bit_ns;
        let follows = |wanted: fn(&Action) -> bool| {
            ctx.events[ctx.event + 1..]
                .iter()
                .take_while(|event| event.at_ns <= to_ns)
                .any(|event| wanted(&event.action))
        };
        // Another change on its way at the same time: which of them comes first may matter.
        if follows(|action| matches!(action, Action::SyncWord(_) | Action::HardwareSync(_))) {
            return true;
        }
        let waits = self.transfer.is_some_and(|transfer| transfer.phase != Phase::Running)
            || self.writing.is_some()
            || !self.requests.is_empty();
        let requested = || {
            follows(|action| {
                matches!(action, Action::Read { .. } | Action::Write { .. } | Action::Reset)
            })
        };
        match what {
            Changed::On(true) => {
                let touches_reads = ctx.profile.sync_on_live == SyncOnLive::NextTransfer;
                touches_reads && (waits || self.running() || requested())
                    || ctx.may_match(self.setting.word, first, last)
            }
            Changed::On(false) => {
                ctx.profile.sync_off_waiting == SyncOffWaiting::Start && (waits || requested())
            }
            Changed::Word { word, mask } => {
                let next = self.setting.word & !mask | word & mask;
                ctx.may_match(next, first, last)
            }
        }
    }

    /// Splits the state over the moments at which a request is accepted, and what it finds there.
    fn request(
        self,
        ctx: &mut Context<'_>,
        (transfer, words, start, writes): (u32, u32, Start, bool),
        at_ns: u64,
        out: &mut Vec<Self>,
    ) {
        match words {
            0 => ctx.reach.hit(Point::NoWords),
            1 => ctx.reach.hit(Point::OneWord),
            _ => {}
        }
        if self.join > 0 && self.pos - self.join < 2 * ctx.word_bits {
            ctx.reach.hit(Point::RequestBackToBack);
        }
        let from_ns = at_ns + u64::from(ctx.profile.slack_min) * ctx.bit_ns;
        let to_ns = at_ns + u64::from(ctx.profile.slack_max) * ctx.bit_ns;
        let (first, last) = (ctx.tape.position(from_ns), ctx.tape.position(to_ns));
        let here = ctx.tape.position(at_ns);
        let splits = self.acceptance_matters(ctx, (transfer, start, writes), (first, last), to_ns);
        let slacks = if splits { 1 } else { (1_u64 << (last - first).min(62) << 1) - 1 };
        for at in first..=if splits { last } else { first } {
            let mark =
                start == Start::Index && ctx.tape.end_ns(at) >= from_ns && ctx.index_at(at, writes);
            // At the index itself: it counts; a moment later it does not.
            let exact = from_ns == to_ns || !splits;
            let ways: &[bool] = match (mark, exact) {
                (true, true) => &[true],
                (true, false) => &[true, false],
                (false, _) => &[false],
            };
            // Within the bit's time it may come between any two other events.
            let mut moment = Some(ctx.first_moment(at, (from_ns, to_ns), at_ns));
            while let Some(before_event) = moment {
                for &index_counts in ways {
                    for stale in 0..=ctx.profile.latch_words {
                        let mut state = self.clone();
                        state.slacks = Slacks(slacks << (at - here).min(63));
                        state.requests.push(Request {
                            at,
                            transfer,
                            words,
                            start,
                            writes,
                            index_counts,
                            stale,
                            before_event,
                            from_ns,
                            to_ns,
                        });
                        out.push(state);
                    }
                }
                moment = if exact {
                    None
                } else {
                    self.later_moment(ctx, before_event, at, (transfer, writes, to_ns))
                };
            }
        }
    }

    /// Whether it makes a difference at which bit of `first ..= last` a request is accepted.
    fn acceptance_matters(
        &self,
        ctx: &mut Context<'_>,
        (transfer, start, writes): (u32, Start, bool),
        (first, last): (usize, usize),
        to_ns: u64,
    ) -> bool {
        if self.busy() || !self.requests.is_empty() || !self.changes.is_empty() {
            return true;
        }
        if start == Start::Index && (first..=last).any(|at| ctx.index_at(at, writes)) {
            return true;
        }
        // Words that complete, or matches, between the earliest and the latest moment.
        let counts = start != Start::Match && !writes;
        if counts && ctx.profile.counter == Counter::ZeroedAtStart && start == Start::Now
            || counts && self.next_boundary(ctx.word_bits) <= last
            || ctx.profile.latch_words > 0
            || ctx.compares(self.setting) && ctx.may_match(self.setting.word, first, last)
        {
            return true;
        }
        // Other events in that time.
        ctx.events[ctx.event + 1..].iter().take_while(|event| event.at_ns <= to_ns).any(|event| {
            !matches!(event.action, Action::PollStatus | Action::PollByte | Action::Output(_))
                && (writes || event.action != (Action::Service { transfer }))
        })
    }

    /// The next event, behind `before` and in the same bit, before which the request may be
    /// accepted as well and find things changed by what lies between.
    fn later_moment(
        &self,
        ctx: &Context<'_>,
        before: usize,
        at: usize,
        (transfer, writes, to_ns): (u32, bool, u64),
    ) -> Option<usize> {
        let end_ns = to_ns.min(ctx.tape.end_ns(at + 1) - 1);
        let mut changed = false;
        for (index, pair) in ctx.events.windows(2).enumerate().skip(before) {
            let (event, next) = (&pair[0], &pair[1]);
            if event.at_ns > end_ns {
                break;
            }
            changed |= self.acceptance_notices(ctx, event.action, (transfer, writes));
            // In one moment an acceptance comes behind services and ahead of operations.
            let service =
                matches!(event.action, Action::Service { transfer: of } if of != transfer);
            let time_passes = event.at_ns < end_ns && event.at_ns < next.at_ns;
            if changed && (service || time_passes) {
                return Some(index + 1);
            }
        }
        None
    }

    /// Whether it can make a difference if a request is accepted before or after an event.
    fn acceptance_notices(
        &self,
        ctx: &Context<'_>,
        action: Action,
        (transfer, writes): (u32, bool),
    ) -> bool {
        match action {
            Action::Service { transfer: of } if of == transfer => {
                writes || ctx.profile.latch_words > 0
            }
            Action::Service { transfer: of } => {
                of > transfer
                    || self.transfer.is_some_and(|running| running.id == of)
                    || self.writing.as_ref().is_some_and(|writing| writing.id == of)
                    || self.requests.iter().any(|request| request.transfer == of)
            }
            Action::PollStatus | Action::PollByte | Action::Output(_) | Action::End => false,
            Action::Select(_) => writes,
            Action::Motor(_) | Action::Side(_) | Action::Step(_) => false,
            _ => true,
        }
    }

    /// A request is accepted at the position, or refused (2.6).
    pub(super) fn accept(&mut self, ctx: &mut Context<'_>, request: Request) {
        if self.busy() {
            ctx.reach.hit(match (self.transfer, &self.writing) {
                (Some(Transfer { phase: Phase::Running, .. }), _) => Point::RequestRunning,
                (None, Some(_)) => Point::RequestWriting,
                _ => Point::RequestWaiting,
            });
            match ctx.profile.start_busy {
                StartBusy::Ignore => return,
                StartBusy::Error => {
                    self.dues.push(Due {
                        signal: Signal::Refused(request.transfer),
                        from_ns: request.from_ns,
                        to_ns: request.to_ns,
                        owed: true,
                    });
                    return;
                }
                StartBusy::Replace => {
                    self.abort_write(ctx, ctx.tape.end_ns(self.pos));
                    self.end_transfer();
                }
            }
        }
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
            let of = (request.transfer, request.words, request.start);
            let span = (request.from_ns, request.to_ns);
            self.begin_write(ctx, of, request.index_counts, span);
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
        self.transfer = Some(Transfer {
            id: request.transfer,
            words,
            entered: 0,
            taken: 0,
            phase: Phase::WaitMatch,
            realigned: false,
            frozen: false,
            stopped: false,
            overrun: false,
        });
        let stale = self.words(ctx.word_bits);
        for end in stale.iter().take(usize::from(request.stale)).rev() {
            if *end > 0 {
                self.take_in_stale(ctx, *end);
            }
        }
        match request.start {
            Start::Now => self.start_raw(ctx, Join::AsProfile),
            Start::Match => {}
            Start::Index => {
                let after = if request.index_counts { self.pos - 1 } else { self.pos };
                self.set_phase(Phase::WaitIndex(after));
            }
        }
    }

    /// The transfer ends without done: abort, or another that replaces it.
    pub(super) fn end_transfer(&mut self) {
        self.transfer = None;
        self.fifo.clear();
        self.finish = 0;
        self.void_to = 0;
        self.join = 0;
    }

    /// Abort (2.7): transfer and request end, the FIFO is emptied; counter and register go on.
    pub(super) fn abort(&mut self, ctx: &mut Context<'_>, at_ns: u64) {
        match self.transfer.map(|transfer| transfer.phase) {
            None if self.writing.is_some() => {}
            None => ctx.reach.hit(Point::AbortIdle),
            Some(Phase::WaitMatch) => ctx.reach.hit(Point::AbortWaiting),
            Some(Phase::WaitIndex(_)) => ctx.reach.hit(Point::AbortWaitingIndex),
            Some(Phase::Running) if self.fifo.is_empty() => ctx.reach.hit(Point::AbortRunning),
            Some(Phase::Running) => ctx.reach.hit(Point::AbortFilled),
        }
        self.requests.clear();
        self.abort_write(ctx, at_ns);
        self.end_transfer();
        self.done_since_ns = None;
        self.free_to_ns = self.free_to_ns.max(at_ns);
        for due in &mut self.dues {
            due.owed &= due.signal == Signal::Match;
        }
    }

    /// Reset (2.7): as abort, and everything of the controller but the register as at power-up.
    pub(super) fn reset(&mut self, ctx: &mut Context<'_>, at_ns: u64) {
        ctx.reach.hit(if self.busy() { Point::ResetBusy } else { Point::ResetIdle });
        self.requests.clear();
        self.abort_write(ctx, at_ns);
        self.context = WriteContext::default();
        self.end_transfer();
        self.done_since_ns = None;
        self.free_to_ns = self.free_to_ns.max(at_ns);
        for due in &mut self.dues {
            due.owed = false;
        }
        self.base = self.pos;
        self.setting = Setting { on: false, word: ctx.profile.default_sync_word() };
        self.before = None;
        self.changes.clear();
        self.quiet = 0;
        self.latched = 0;
        self.shown_ahead = 0;
        self.old_bytes = [0; 2];
        self.byte_read = self.pos;
        self.old_words = [0; 4];
        self.error = false;
        self.error_free_to_ns = 0;
    }

    /// Forgets what can make no difference any more, so that equal states are equal.
    pub(super) fn forget_what_is_over(&mut self, ctx: &Context<'_>, at_ns: u64) {
        if self.setting.on && self.quiet <= self.pos {
            self.quiet = 0;
        }
        if self.void_to <= self.base {
            self.void_to = 0;
        }
        if ctx.profile.read_join == YesNo::No || self.pos - self.join >= ctx.word_bits {
            self.join = 0;
        }
        if ctx.profile.write_unit == WriteUnit::ChannelWords {
            self.context = WriteContext::default();
        }
        if ctx.profile.latch_words == 0 {
            self.old_words = [0; 4];
        }
        if ctx.profile.byte_port == YesNo::No {
            self.old_bytes = [0; 2];
        }
        if self.error_free_to_ns < at_ns {
            self.error_free_to_ns = 0;
        }
        if self.free_to_ns < at_ns {
            self.free_to_ns = 0;
        }
        if self.done_since_ns.is_some_and(|since_ns| since_ns < at_ns) && self.free_to_ns == 0 {
            self.done_since_ns = Some(0);
        }
        self.before = self.before.filter(|(_, at)| *at >= self.pos);
    }
}

impl Context<'_> {
    /// The event before which a request is accepted that is accepted as early as it may in the
    /// time of the bit after position `at`. `requested_ns` is when it was made.
    fn first_moment(&self, at: usize, (from_ns, to_ns): (u64, u64), requested_ns: u64) -> usize {
        let begin_ns = from_ns.max(self.tape.end_ns(at));
        // What is accepted at one given moment is accepted behind the services of that moment.
        let behind_services = from_ns == to_ns && from_ns > requested_ns;
        let after = self.events[self.event + 1..].iter().position(|event| {
            let service = matches!(event.action, Action::Service { .. });
            event.at_ns > begin_ns || event.at_ns == begin_ns && !(service && behind_services)
        });
        after.map_or(self.events.len(), |after| self.event + 1 + after)
    }
}
