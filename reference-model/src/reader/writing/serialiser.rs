//! The serialiser: a word after the other, and what it does without (semantics 2.2).

use super::WritePhase;
use super::laid::{Laid, Piece, last_pulse};
use crate::reach::Point;
use crate::reader::state::{Context, State};
use trackproof_contract::{Underrun, WriteDone, WriteUnit, YesNo};

impl State {
    /// A word's begin: the serialiser takes the oldest, or does what it does without (2.2).
    pub(super) fn serialise(&mut self, ctx: &mut Context<'_>) -> Option<Self> {
        let pos = self.pos;
        self.look_ahead(ctx);
        let writing = self.writing.as_mut()?;
        let full = writing.waiting() >= u32::from(ctx.profile.fifo_words);
        let follows = writing.fetched < writing.words
            && !writing.served_ahead
            && ctx.service_follows(ctx.tape.end_ns(pos), writing.id);
        let mut other = None;
        if writing.waiting() == 0 {
            if follows {
                // The service may have come first: then there is a word.
                let mut served = self.clone();
                served.take_word(ctx, pos, ctx.tape.end_ns(pos));
                if let Some(writing) = served.writing.as_mut() {
                    writing.served_ahead = true;
                }
                served.next_word(ctx);
                other = Some(served);
            }
            self.underrun(ctx);
            return other;
        }
        if writing.waiting() == 1
            && writing.begun > 0
            && writing.fetched_ns + ctx.bit_ns >= ctx.tape.end_ns(pos)
        {
            // The one word may have come too late.
            let mut late = self.clone();
            late.underrun(ctx);
            other = Some(late);
        } else if full && follows {
            // The service may have come first, and found no room.
            let mut lost = self.clone();
            if let Some(writing) = lost.writing.as_mut() {
                writing.served_ahead = true;
            }
            lost.next_word(ctx);
            other = Some(lost);
        }
        self.next_word(ctx);
        other
    }

    /// The serialiser takes a word that waits.
    fn next_word(&mut self, ctx: &mut Context<'_>) {
        let pos = self.pos;
        let Some(writing) = self.writing.as_mut() else { return };
        writing.lay(pos, Laid::Words { first: writing.begun, count: 1 }, ctx.word_bits);
        writing.begun += 1;
        let end = pos + ctx.word_bits;
        if writing.begun < writing.words {
            writing.phase = WritePhase::Open(end);
            return;
        }
        let mut closes = end - usize::from(ctx.profile.lost_tail);
        if ctx.profile.tail_pulse == YesNo::Yes
            && let Some(pulse) = last_pulse(ctx, writing, self.context)
            && pulse + 2 >= closes
        {
            writing.lay(pulse + 2, Laid::Pulse, ctx.word_bits);
            closes = pulse + 3;
        }
        let min = closes + usize::from(ctx.profile.gate_off_min);
        let max = closes + usize::from(ctx.profile.gate_off_max);
        writing.phase = WritePhase::Ending(end, min, max);
        let lost_tail = usize::from(ctx.profile.lost_tail);
        if lost_tail > 0 && ctx.profile.write_done == WriteDone::LastBit {
            // Whether the last bit is the last one owed or the last one written is left open.
            let written = self.with_phase(WritePhase::Ending(end - lost_tail, min, max));
            ctx.others.push(written);
        }
    }

    /// No word waits though some are owed.
    fn underrun(&mut self, ctx: &mut Context<'_>) {
        let pos = self.pos;
        ctx.reach.hit(Point::Underrun);
        // The text does not say whether that shows as an error.
        self.error_free_to_ns = u64::MAX;
        let Some(writing) = self.writing.as_mut() else { return };
        match ctx.profile.underrun {
            Underrun::CloseGate => {
                self.end_starved(ctx, (pos, pos));
                return;
            }
            Underrun::Repeat if writing.begun > 0 => {
                let first = writing.begun - 1;
                writing.lay_apart(pos, Laid::Words { first, count: 1 });
            }
            Underrun::Hold => {
                let before = match writing.pieces.last() {
                    Some(Piece { what: Laid::Held { counts }, .. }) => Some(*counts),
                    _ => None,
                };
                writing.phase = WritePhase::Open(pos + 1);
                let kept = writing.kept;
                if before.is_none() && kept && ctx.profile.write_unit == WriteUnit::DataBytes {
                    let mut other = self.clone();
                    if let Some(writing) = other.writing.as_mut() {
                        writing.lay_apart(pos, Laid::Held { counts: false });
                    }
                    ctx.others.push(other);
                }
                if let Some(writing) = self.writing.as_mut() {
                    writing.lay_apart(pos, Laid::Held { counts: before.unwrap_or(true) });
                }
                return;
            }
            Underrun::Repeat | Underrun::Zeros => {
                writing.lay_apart(pos, Laid::Zeros);
            }
        }
        writing.phase = WritePhase::Open(pos + ctx.word_bits);
    }
}
