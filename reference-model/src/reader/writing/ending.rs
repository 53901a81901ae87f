//! How a write ends: complete, cut short, or with the case; its gate closes, and a world begins.

use super::laid::last_data;
use super::{WritePhase, Written};
use crate::reach::Point;
use crate::reader::state::{Context, State};

impl State {
    /// The write ends without done: the gate, if it is open, closes within a span.
    pub(in crate::reader) fn end_write(
        &mut self,
        ctx: &mut Context<'_>,
        off: (usize, usize),
        kept_to: (usize, usize),
    ) {
        if let Some(writing) = self.writing.as_mut() {
            writing.cut.get_or_insert(kept_to);
        }
        self.end_starved(ctx, off);
    }

    /// The write ends because no word waits.
    pub(super) fn end_starved(&mut self, ctx: &mut Context<'_>, off: (usize, usize)) {
        if !self.gate_open() {
            self.writing = None;
            return;
        }
        self.close_gate(ctx, off);
        self.context.joins = false;
    }

    /// An abort or reset, or a request that replaces it, ends a write at a moment of a span.
    pub(in crate::reader) fn abort_write(
        &mut self,
        ctx: &mut Context<'_>,
        from_ns: u64,
        to_ns: u64,
    ) {
        if self.writing.is_some() {
            ctx.reach.hit(if self.gate_open() {
                Point::AbortWriting
            } else {
                Point::AbortWriteWaiting
            });
            let span = ctx.closing_span(from_ns, to_ns);
            self.end_write(ctx, span, span);
        }
    }

    /// A line has changed under an open gate: what is written there ends. Whether the controller
    /// notices, and ends the transfer, is its own matter; if it does, it does at once or while the
    /// gate closes. The ways go to `out`.
    pub(in crate::reader) fn cut_write(
        mut self,
        ctx: &mut Context<'_>,
        at_ns: u64,
        out: &mut Vec<Self>,
    ) {
        if self.gate_open() {
            let span = ctx.closing_span(at_ns, at_ns);
            let mut goes_on = self.clone();
            if let Some(writing) = goes_on.writing.as_mut() {
                writing.cut.get_or_insert(span);
            }
            let (first, last) = span;
            if first < last && ctx.asked_within(first, last) {
                out.push(goes_on.with_phase(WritePhase::Cut(first + 1, first, last)));
            }
            out.push(goes_on);
            self.end_cut(ctx, span);
        }
        out.push(self);
    }

    /// A write that was cut short is over; a poll may see that until its gate has surely closed.
    pub(super) fn end_cut(&mut self, ctx: &mut Context<'_>, span: (usize, usize)) {
        self.end_write(ctx, span, span);
        self.free_to_ns = self.free_to_ns.max(ctx.tape.end_ns(span.1));
    }

    /// The case ends with the gate open.
    pub(in crate::reader) fn leave_unfinished(&mut self, ctx: &mut Context<'_>) {
        if self.gate_open() {
            let end = self.pos;
            self.gate_closed(ctx, (end, end), true);
        }
    }

    pub(super) fn close_gate(&mut self, ctx: &mut Context<'_>, off: (usize, usize)) {
        self.gate_closed(ctx, off, false);
    }

    fn gate_closed(&mut self, ctx: &mut Context<'_>, off: (usize, usize), unfinished: bool) {
        let Some(writing) = self.writing.take() else { return };
        ctx.closing_to = ctx.closing_to.max(off.1);
        if let Some(pass) = ctx.tape.pass_at(writing.on) {
            let length = off.0.saturating_sub(writing.on);
            if pass.cell_at(writing.on) + length > pass.turn {
                ctx.reach.hit(Point::WriteAcrossIndex);
            }
            if length > pass.turn {
                ctx.reach.hit(Point::WriteLong);
            }
        }
        let before = self.context.before(ctx);
        let written = Written {
            transfer: writing.id,
            on: writing.on,
            off: (off.0.max(writing.on), off.1.max(writing.on)),
            kept_to: writing.cut.unwrap_or(off),
            unfinished,
            cut_short: writing.cut.is_some(),
            starved: !unfinished && writing.cut.is_none() && writing.begun < writing.words,
            begun: writing.begun,
            pieces: writing.pieces,
            before,
        };
        self.context.last = last_data(ctx, &written);
        self.context.joins = true;
        let unfinished = written.unfinished;
        self.go_on_in(ctx, (self.world, written), 0);
        if self.other_way == 0 {
            self.look_at_media(ctx, unfinished);
        }
    }
}
