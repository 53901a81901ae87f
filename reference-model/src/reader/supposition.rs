//! Departures from the text that the judge may suppose, to see whether one explains what it saw.
//!
//! Each is one thing that controllers do wrong. What it changes in a state stands here; the places
//! where it happens call it and do nothing where nothing is supposed.

use super::state::{Change, Changed, Context, Entry, State};

/// A departure from the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Supposition {
    /// None: what is right.
    #[default]
    None,
    /// The comparator overlooks some matches.
    Blind(Blind),
    /// The comparator counts while hardware sync is off.
    AlwaysOn,
    /// A changed setting takes effect late.
    LateChange {
        /// Which changes.
        which: Which,
        /// How late.
        delay: Delay,
    },
    /// The word counter slips. The byte port is not compared then: it may slip along, or not.
    Slip {
        /// When.
        at: Occasion,
        /// By so many channel bits to the later; negative to the earlier.
        bits: i16,
    },
    /// A match on a word boundary of a running read is delivered twice.
    MatchTwice,
    /// A reset leaves something of the time before.
    ResetKeeps(Kept),
    /// What a write has laid is read only a turn later; until then what was there before is.
    StaleTurn,
    /// A write at the index begins this many channel bits late.
    LateAtIndex {
        /// So many.
        bits: u32,
    },
    /// A request that is made less than this many channel bits after an abort is lost.
    DeafBehindAbort {
        /// So many.
        bits: u32,
    },
    /// Whatever the host saw is right: only the media after the run are compared.
    MediaAlone,
}

/// What a comparator overlooks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Blind {
    /// All but one bit phase.
    Phases {
        /// Phases are counted from power-up, modulo this.
        modulus: u32,
        /// The one phase that is looked at.
        residue: u32,
    },
    /// Matches across the index.
    Index,
}

/// Changes of the setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Which {
    /// Of the sync word.
    Word,
    /// Of hardware sync.
    Switch,
    /// Of either.
    Both,
}

/// How late a change takes effect.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Delay {
    /// After this many channel bits, or up to [`DELAY_SPAN_BITS`] more.
    Bits(u32),
    /// At the next word boundary.
    NextWord,
    /// When the next request is accepted.
    NextRequest,
}

/// The span of a delay of channel bits, as long as that of a change in time (1.8).
pub const DELAY_SPAN_BITS: u32 = 2;

/// When a word counter slips.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Occasion {
    /// At the match that starts a read.
    Start,
    /// At a match that realigns a running read.
    Realign,
    /// At every match that zeroes the counter.
    Match,
    /// At the index.
    Index,
    /// At an overrun.
    Overrun,
    /// Behind every so many words of a read.
    Words {
        /// So many.
        every: u32,
        /// Only while hardware sync is off.
        raw: bool,
    },
}

/// What a reset leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kept {
    /// The sync word.
    Word,
    /// Hardware sync.
    Switch,
    /// The words in the FIFO.
    Fifo,
    /// The word counter.
    Counter,
    /// The byte of the byte port, with its flag.
    Byte,
    /// The error bit.
    Error,
}

impl Supposition {
    /// Whether what the host saw is compared; else the media are alone.
    pub(super) const fn compares_host(self) -> bool {
        !matches!(self, Self::MediaAlone)
    }

    /// Whether the byte port is compared.
    pub(super) const fn compares_bytes(self) -> bool {
        !matches!(self, Self::Slip { .. })
    }

    /// Whether the index is a moment at which something happens to the word counter.
    pub(super) const fn slips_at_index(self) -> bool {
        matches!(self, Self::Slip { at: Occasion::Index, .. })
    }

    /// Whether a reset keeps something.
    pub(super) fn keeps(self, what: Kept) -> bool {
        self == Self::ResetKeeps(what)
    }

    /// Whether a turn goes by before what was written can be read.
    pub(super) const fn reads_a_stale_turn(self) -> bool {
        matches!(self, Self::StaleTurn)
    }

    /// The channel bits by which a write at the index begins late.
    pub(super) const fn late_at_index(self) -> usize {
        if let Self::LateAtIndex { bits } = self { bits as usize } else { 0 }
    }

    /// The channel bits behind an abort in which a request is lost.
    pub(super) const fn deaf_bits(self) -> u32 {
        if let Self::DeafBehindAbort { bits } = self { bits } else { 0 }
    }

    fn delay(self, what: Changed) -> Option<Delay> {
        let Self::LateChange { which, delay } = self else { return None };
        let concerned = match which {
            Which::Both => true,
            Which::Word => matches!(what, Changed::Word { .. }),
            Which::Switch => matches!(what, Changed::On(_)),
        };
        concerned.then_some(delay)
    }
}

/// The position of a change that waits for the next request.
const NEXT_REQUEST: usize = usize::MAX;

impl State {
    /// Where a change that is made at `at_ns` may take effect: the first and the last position.
    pub(super) fn effect_span(
        &self,
        ctx: &Context<'_>,
        what: Changed,
        at_ns: u64,
    ) -> (usize, usize) {
        let after =
            |bits: u64| ctx.tape.position(at_ns + bits * ctx.bit_ns).max(ctx.tape.position(at_ns));
        match ctx.supposed.delay(what) {
            None => (after(0), after(ctx.change_window_bits)),
            Some(Delay::Bits(bits)) => {
                (after(u64::from(bits)), after(u64::from(bits + DELAY_SPAN_BITS)))
            }
            Some(Delay::NextWord) => {
                let boundary = self.next_boundary(ctx.word_bits);
                (boundary, boundary)
            }
            Some(Delay::NextRequest) => (NEXT_REQUEST, NEXT_REQUEST),
        }
    }

    /// Whether a change is made while a late one of its kind is still on its way.
    pub(super) fn overtakes(&self, ctx: &Context<'_>, what: Changed) -> bool {
        ctx.supposed.delay(what).is_some() && self.changes.iter().any(|one| alike(one, what))
    }

    /// What may have become of that late one: it goes its way, takes effect at once, or is
    /// forgotten.
    pub(super) fn overtaken(self, what: Changed) -> [Self; 3] {
        let mut hurried = self.clone();
        for change in hurried.changes.iter_mut().filter(|one| alike(one, what)) {
            change.at = self.pos;
        }
        let mut forgotten = self.clone();
        forgotten.changes.retain(|one| !alike(one, what));
        [self, hurried, forgotten]
    }

    /// A match has zeroed the counter at the position: a word boundary for changes that wait.
    pub(super) fn hurry_changes_of_the_word(&mut self, ctx: &Context<'_>) {
        for change in self.changes.iter_mut() {
            if ctx.supposed.delay(change.what) == Some(Delay::NextWord) {
                change.at = change.at.min(self.pos);
            }
        }
    }

    /// A request is accepted at the position: the moment of changes that wait for one.
    pub(super) fn hurry_changes_of_the_request(&mut self) {
        for change in self.changes.iter_mut().filter(|change| change.at == NEXT_REQUEST) {
            change.at = self.pos;
        }
    }

    /// The word counter slips, if it is supposed to on this occasion.
    pub(super) fn slip(&mut self, ctx: &Context<'_>, occasion: Occasion) {
        let Supposition::Slip { at, bits } = ctx.supposed else { return };
        let matched = matches!(occasion, Occasion::Start | Occasion::Realign | Occasion::Match);
        if at == occasion || matched && at == Occasion::Match {
            self.move_boundaries(ctx, bits);
        }
    }

    /// The word counter slips behind a word that was taken in, if it is supposed to.
    pub(super) fn slip_behind_word(&mut self, ctx: &Context<'_>, number: u32) {
        if let Supposition::Slip { at: Occasion::Words { every, raw }, bits } = ctx.supposed
            && number.is_multiple_of(every)
            && !(raw && self.setting.on)
        {
            self.move_boundaries(ctx, bits);
        }
    }

    /// The index has passed at the position, which may be a word boundary: of that the counter,
    /// which slips, knows nothing yet.
    pub(super) fn slip_at_index(&mut self, ctx: &Context<'_>) {
        let Supposition::Slip { at: Occasion::Index, bits } = ctx.supposed else { return };
        if self.pos == self.base || ctx.tape.next_index(self.pos - 1, self.pos).is_none() {
            return;
        }
        let counted = (self.pos - self.base - 1) % ctx.word_bits + 1;
        self.set_counter(ctx, counted as isize - isize::from(bits));
    }

    fn move_boundaries(&mut self, ctx: &Context<'_>, bits: i16) {
        let counted = (self.pos - self.base) % ctx.word_bits;
        self.set_counter(ctx, counted as isize - isize::from(bits));
    }

    /// Sets the word counter; below 0 it has so many bits to go until it counts from 0.
    fn set_counter(&mut self, ctx: &Context<'_>, counter: isize) {
        self.zero_counter(ctx);
        let word_bits = ctx.word_bits as isize;
        if counter < 0 {
            self.void_to = self.void_to.max(self.pos + counter.unsigned_abs());
        }
        self.base = self.pos - counter.rem_euclid(word_bits) as usize;
        if counter == word_bits {
            self.base -= ctx.word_bits;
        }
    }

    /// The word that has just completed once more, if a match is supposed to be delivered twice.
    pub(super) fn complete_again(&mut self, ctx: &mut Context<'_>) {
        if ctx.supposed == Supposition::MatchTwice {
            // The FIFO's race with a service is left out: the word before has lost it or not.
            let _ = self.complete(ctx, Entry { end: self.pos, bits: ctx.word_bits });
        }
    }
}

fn alike(change: &Change, what: Changed) -> bool {
    std::mem::discriminant(&change.what) == std::mem::discriminant(&what)
}
