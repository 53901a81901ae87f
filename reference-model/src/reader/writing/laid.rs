//! What a serialiser has laid: pieces of words, and the cells that they make (semantics 3).

use super::Writing;
use crate::code::{Before, clock_bit};
use crate::reader::state::Context;
use trackproof_contract::{ChannelBits, FirstContext, WriteUnit, YesNo};

/// A stretch that the serialiser has laid in one manner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::reader) struct Piece {
    /// Its first cell.
    pub(super) at: usize,
    pub(super) what: Laid,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::reader) enum Laid {
    /// That many words in a row, from this one on.
    Words { first: u32, count: u32 },
    /// A word without data.
    Zeros,
    /// A cell without a pulse while no word waits: the clock bit behind such cells takes them for a
    /// data bit of 0, or knows nothing of them.
    Held { counts: bool },
    /// A pulse behind the last word.
    Pulse,
}

/// A write that is over: all that matters of it afterwards.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Its number among all requests.
    pub transfer: u32,
    /// Where the gate opened.
    pub on: usize,
    /// The bits within which it closed.
    pub off: (usize, usize),
    /// The bits within which the drive stopped taking what was written.
    pub kept_to: (usize, usize),
    /// Whether the case ended before it did.
    pub unfinished: bool,
    /// Whether it was cut short: by an abort, a reset, another request, a drive line.
    pub cut_short: bool,
    /// Whether it ended because no word waited.
    pub starved: bool,
    /// The words that it had begun to lay.
    pub begun: u32,
    pub(in crate::reader) pieces: Vec<Piece>,
    pub(in crate::reader) before: Before,
}

impl Written {
    /// The cell, counted from the gate's opening, of the first word that no word waited for, if
    /// there was one.
    #[must_use]
    pub fn first_underrun(&self) -> Option<usize> {
        // A word that is laid once more begins no later than the one before ends.
        let mut next = 0;
        self.pieces.iter().find_map(|piece| {
            let repeated = match piece.what {
                Laid::Words { first, count } => {
                    let again = first < next;
                    next = first + count;
                    again
                }
                Laid::Zeros | Laid::Held { .. } => true,
                Laid::Pulse => false,
            };
            repeated.then_some(piece.at - self.on)
        })
    }
}

impl Writing {
    /// What it has laid, as if it were over; only the pieces that reach past a position.
    pub(super) fn written(&self, ctx: &Context<'_>, context: WriteContext, past: usize) -> Written {
        let mut pieces = Vec::new();
        let mut before = context.before(ctx);
        for &Piece { at, what } in &self.pieces {
            // Whole words that end by then are left out; the clock bit behind them is kept right.
            let over = if pieces.is_empty() { past.saturating_sub(at) / ctx.word_bits } else { 0 };
            match what {
                Laid::Words { first, count } => {
                    let skip = (over as u32).min(count);
                    if skip > 0 {
                        before = Before::bit(ctx.word(self.id, first + skip - 1) & 1 == 1);
                    }
                    if skip < count {
                        let what = Laid::Words { first: first + skip, count: count - skip };
                        pieces.push(Piece { at: at + skip as usize * ctx.word_bits, what });
                    }
                }
                Laid::Held { counts: false } if over > 0 => {}
                _ if over > 0 => before = Before::Zero,
                _ => pieces.push(Piece { at, what }),
            }
        }
        // Before the first piece there is only the lead.
        let on = match pieces.first() {
            Some(piece) if past > 0 => piece.at.min(past).max(self.on),
            _ => self.on,
        };
        Written {
            transfer: self.id,
            on,
            off: (0, 0),
            kept_to: (0, 0),
            unfinished: false,
            cut_short: false,
            starved: false,
            begun: self.begun,
            pieces,
            before,
        }
    }

    pub(super) fn lay(&mut self, at: usize, what: Laid, word_bits: usize) {
        if !self.kept {
            return;
        }
        if let (Laid::Words { first, .. }, Some(last)) = (what, self.pieces.last_mut())
            && let Laid::Words { first: run, count } = &mut last.what
            && *run + *count == first
            && last.at + *count as usize * word_bits == at
        {
            *count += 1;
            return;
        }
        self.lay_apart(at, what);
    }

    /// Lays a piece that belongs to none before it.
    pub(super) fn lay_apart(&mut self, at: usize, what: Laid) {
        if self.kept {
            self.pieces.push(Piece { at, what });
        }
    }
}

/// What a write's first clock bit supposes before it (3.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WriteContext {
    /// The last data bit that was serialised.
    pub(in crate::reader) last: bool,
    /// Whether the next write may join the one before.
    pub(in crate::reader) joins: bool,
}

impl WriteContext {
    pub(super) fn before(self, ctx: &Context<'_>) -> Before {
        let last = Before::bit(self.last);
        if ctx.profile.write_join == YesNo::Yes && self.joins {
            return last;
        }
        match ctx.profile.first_context {
            FirstContext::Zero => Before::Zero,
            FirstContext::One => Before::One,
            FirstContext::Last => last,
        }
    }
}

/// The cells that a write has laid from its gate's opening on, up to `to`.
pub(in crate::reader) fn cells(ctx: &Context<'_>, written: &Written, to: usize) -> ChannelBits {
    let mut bits = ChannelBits::new();
    let mut before = written.before;
    for piece in &written.pieces {
        while written.on + bits.len() < piece.at {
            let gap = piece.at - written.on - bits.len();
            bits.push(0, gap.min(64));
        }
        match piece.what {
            Laid::Words { first, count } => {
                for word in first..first + count {
                    push_word(ctx, ctx.word(written.transfer, word), &mut before, &mut bits);
                }
            }
            Laid::Zeros => push_word(ctx, 0, &mut before, &mut bits),
            Laid::Held { counts } => {
                bits.push(0, 1);
                if counts {
                    before = Before::Zero;
                }
            }
            Laid::Pulse => {
                bits.truncate(piece.at - written.on);
                bits.push(1, 1);
            }
        }
    }
    let length = to.saturating_sub(written.on);
    while bits.len() < length {
        bits.push(0, (length - bits.len()).min(64));
    }
    bits.truncate(length);
    bits
}

/// One word as the serialiser lays it: as it is, or its data with clock bits and marks.
fn push_word(ctx: &Context<'_>, word: u64, before: &mut Before, bits: &mut ChannelBits) {
    let width = ctx.word_bits;
    if ctx.profile.write_unit == WriteUnit::ChannelWords {
        bits.push(word, width);
        return;
    }
    let data_bits = width / 2;
    for at in (0..data_bits).rev() {
        let (one, no_clock) = (word >> at & 1 == 1, word >> (at + data_bits) & 1 == 1);
        let clock = clock_bit(ctx.profile.recording, *before, one);
        bits.push(u64::from(clock && !no_clock) << 1 | u64::from(one), 2);
        *before = Before::bit(one);
    }
}

/// The last data bit of a write, for the clock bit of the next one's first.
pub(super) fn last_data(ctx: &Context<'_>, written: &Written) -> bool {
    let counts = |what: &Laid| !matches!(what, Laid::Held { counts: false });
    match written.pieces.iter().rev().map(|piece| piece.what).find(counts) {
        Some(Laid::Words { first, count }) => {
            ctx.word(written.transfer, first + count - 1) & 1 == 1
        }
        _ => false,
    }
}

/// Where the last 1 of a write's words stands, of those that it does not lose.
pub(super) fn last_pulse(
    ctx: &Context<'_>,
    writing: &Writing,
    context: WriteContext,
) -> Option<usize> {
    let written = writing.written(ctx, context, 0);
    let last = writing.pieces.last()?;
    let length = match last.what {
        Laid::Words { count, .. } => count as usize * ctx.word_bits,
        _ => ctx.word_bits,
    };
    let bits = cells(ctx, &written, last.at + length - usize::from(ctx.profile.lost_tail));
    (0..bits.len()).rev().find(|at| bits.get(*at)).map(|at| writing.on + at)
}
