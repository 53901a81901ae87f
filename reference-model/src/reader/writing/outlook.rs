//! What a write leaves, and whether the media after the run allow it: a way that they rule out is
//! given up as soon as that shows.

use super::{Laid, Written, cells};
use crate::reader::state::{Context, Outlook, State};
use trackproof_contract::{ChannelKind, Medium};

impl State {
    /// Holds the piece that ends at the position against the medium after the run, so that a way
    /// that did not happen is given up at once.
    pub(super) fn look_ahead(&mut self, ctx: &Context<'_>) {
        if ctx.media.is_empty() || self.outlook != Outlook::Open {
            return;
        }
        let pos = self.pos;
        let Some(writing) = self.writing.as_ref() else { return };
        if writing.cut.is_some() {
            return;
        }
        let Some(piece) = writing.pieces.last() else { return };
        let begin = match piece.what {
            Laid::Words { count, .. } => piece.at + (count as usize - 1) * ctx.word_bits,
            _ => piece.at,
        };
        let (after_on, before_off) = ctx.tape.inner_guards();
        let from = begin.saturating_sub(before_off).max(writing.on + after_on);
        let to = pos.saturating_sub(before_off);
        let Some(pass) = ctx.tape.pass_at(begin).filter(|pass| pass.writable) else { return };
        let Some(track) = pass.track.and_then(|track| ctx.media.get(track)) else { return };
        let Medium::ChannelBits { kind, track } = &track.medium else { return };
        if from >= to || to - from > 64 {
            return;
        }
        let due = self.laid_between(ctx, from, to);
        if due == track.cyclic_window(pass.cell_at(from), to - from) {
            return;
        }
        let again = ctx.tape.len() - writing.on >= pass.turn;
        // What a gate has passed that is open at the end is free.
        let rest = (writing.words - writing.begun + 1) as usize * ctx.word_bits;
        let tail = usize::from(ctx.profile.gate_off_max) + 1;
        let fed = ctx.services_to_come(writing.id, writing.words - writing.fetched);
        let ends = fed && pos + rest + tail < ctx.tape.len();
        let sure = *kind == ChannelKind::Image && ends && !again && !self.written_later(ctx);
        // Of ways that go wrong under an open gate, the one that goes furthest is the best; any that
        // came to its end is better.
        let far = u32::MAX - writing.begun;
        self.outlook = if sure { Outlook::Lost(far) } else { Outlook::Doubtful };
    }

    /// The cells that the write has laid from one position to another, 64 at the most, of its last
    /// two words.
    fn laid_between(&self, ctx: &Context<'_>, from: usize, to: usize) -> u64 {
        let Some(writing) = self.writing.as_ref() else { return 0 };
        let cut = writing.written(ctx, self.context, from);
        cells(ctx, &cut, to).window(from - cut.on, to - from)
    }

    /// Goes on in the world that a write leaves, one of the ways that it may.
    pub(super) fn go_on_in(
        &mut self,
        ctx: &mut Context<'_>,
        (from, written): (usize, Written),
        kept: u32,
    ) {
        let Some(world) = ctx.world_after(from, written, kept) else {
            ctx.overflow = true;
            return;
        };
        self.world = world;
        let next = kept + 1;
        self.other_way = if next < ctx.tape.ways(world) { next } else { 0 };
    }

    /// The same state in the next of the ways that its last write may have left an image.
    pub(in crate::reader) fn other_way(&mut self, ctx: &mut Context<'_>) -> Option<Self> {
        let kept = std::mem::take(&mut self.other_way);
        if kept == 0 {
            return None;
        }
        let last = ctx.tape.world(self.world).from.clone()?;
        let mut other = self.clone();
        other.go_on_in(ctx, last, kept);
        ctx.tape.enter(self.world);
        self.look_at_media(ctx, false);
        if other.other_way == 0 {
            other.look_at_media(ctx, false);
        }
        ctx.tape.enter(self.world);
        Some(other)
    }

    /// Whether another write may come after this one.
    fn written_later(&self, ctx: &Context<'_>) -> bool {
        ctx.written_later() || self.pending(ctx).iter().any(|request| request.writes)
    }

    /// Holds the media as they now are against those after the run.
    pub(super) fn look_at_media(&mut self, ctx: &mut Context<'_>, unfinished: bool) {
        let later = self.written_later(ctx);
        if matches!(self.outlook, Outlook::Lost(_)) {
            return;
        }
        self.outlook = Outlook::Open;
        if !later && !unfinished && !ctx.media.is_empty() {
            let (world, media) = (self.world, ctx.media);
            if let Some(difference) = ctx.tape.difference(world, media) {
                self.outlook = Outlook::Lost(difference.count as u32);
            }
        }
    }
}
