//! The host's operations but for requests: settings, abort, reset (semantics 1.8, 2.7).
//!
//! Where a changed setting takes effect at one moment of a span, a state is split at once into one
//! for each bit of the span; those that nothing tells apart are one state again a moment later.

use super::state::{Change, Changed, Context, Phase, Setting, Signal, State};
use super::supposition::{Kept, Supposition};
use super::writing::WriteContext;
use crate::reach::Point;
use trackproof_contract::{Action, Event, SyncOffWaiting, SyncOnLive, SyncWrite, YesNo};

/// More changes on their way than any of this many are a case that the model gives up.
const MAX_CHANGES: usize = 8;

impl State {
    /// Takes an operation that takes effect at one moment of a span; the ways go to `out`.
    pub(super) fn operate(self, ctx: &mut Context<'_>, event: &Event, out: &mut Vec<Self>) {
        match event.action {
            Action::SyncWord(word) => {
                self.change_in_time(ctx, Changed::Word { word, mask: !0 }, event.at_ns, out);
            }
            Action::HardwareSync(on) => {
                self.change_in_time(ctx, Changed::On(on), event.at_ns, out);
            }
            _ => out.push(self),
        }
    }

    /// Takes a change of the setting, with what becomes of one before it.
    fn change_in_time(self, ctx: &mut Context<'_>, what: Changed, at_ns: u64, out: &mut Vec<Self>) {
        if !self.overtakes(ctx, what) {
            return self.change(ctx, what, at_ns, out);
        }
        for state in self.overtaken(what) {
            state.change(ctx, what, at_ns, out);
        }
    }

    /// Splits the state over the moments at which a change of the setting takes effect.
    fn change(self, ctx: &mut Context<'_>, what: Changed, at_ns: u64, out: &mut Vec<Self>) {
        let (first, last) = self.effect_span(ctx, what, at_ns);
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
                let splits = first < last && self.moment_matters(ctx, what, (first, last), at_ns);
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
        for earlier in self.changes.iter_mut() {
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
            || !self.pending(ctx).is_empty();
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
        (self.answered, self.turned_down) = (ctx.made, 0);
        self.abort_write(ctx, at_ns, at_ns);
        self.end_transfer();
        self.done_since_ns = None;
        self.free_to_ns = self.free_to_ns.max(at_ns);
        for due in self.dues.iter_mut() {
            due.owed &= due.signal == Signal::Match;
        }
    }

    /// Reset (2.7): as abort, and everything of the controller but the register as at power-up.
    pub(super) fn reset(&mut self, ctx: &mut Context<'_>, at_ns: u64) {
        ctx.reach.hit(if self.busy() { Point::ResetBusy } else { Point::ResetIdle });
        (self.answered, self.turned_down) = (ctx.made, 0);
        self.abort_write(ctx, at_ns, at_ns);
        self.context = WriteContext::default();
        let fifo = std::mem::take(&mut self.fifo);
        self.end_transfer();
        if ctx.supposed.keeps(Kept::Fifo) {
            self.fifo = fifo;
        }
        self.done_since_ns = None;
        self.free_to_ns = self.free_to_ns.max(at_ns);
        for due in self.dues.iter_mut() {
            due.owed = false;
        }
        self.old_bytes = match ctx.supposed {
            Supposition::ResetKeeps(Kept::Byte | Kept::Counter) => {
                self.bytes(self.pos, ctx.byte_bits)
            }
            _ => [0; 2],
        };
        if !ctx.supposed.keeps(Kept::Byte) {
            self.byte_read = self.pos;
        }
        if ctx.supposed.keeps(Kept::Counter) {
            // Words and bytes end where they would have, the first not before now.
            self.base += (self.pos - self.base) / ctx.word_bits * ctx.word_bits;
        } else {
            self.base = self.pos;
        }
        self.other_phases = 0;
        let before = self.setting;
        self.setting = Setting { on: false, word: ctx.profile.default_sync_word() };
        if ctx.supposed.keeps(Kept::Word) {
            self.setting.word = before.word;
        }
        if ctx.supposed.keeps(Kept::Switch) {
            self.setting.on = before.on;
        }
        self.before = None;
        self.changes.clear();
        self.quiet = 0;
        self.latched = 0;
        self.shown_ahead = 0;
        (self.old_words, self.doubtful_words) = Default::default();
        if !ctx.supposed.keeps(Kept::Error) {
            self.error = false;
            self.error_free_to_ns = 0;
        }
    }
}
