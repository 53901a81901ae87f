//! Writing: starts, fetching, the gate's opening (semantics 2.2 to 2.8, 3).
//!
//! On media without flux a write lays whole cells: its gate opens and closes at the begin of one.
//! Positions are the tape's; the cell that begins at position p is bit p. What happens at a
//! position in its turn, a gate's opening, a word's begin, a gate's closing, comes after the
//! services and operations of that moment; what a controller may choose splits the state.

mod ending;
mod laid;
mod outlook;
mod serialiser;

use laid::Laid;
pub(super) use laid::{Piece, cells};
pub use laid::{WriteContext, Written};

use super::state::{Context, State};
use crate::reach::Point;
use trackproof_contract::{Start, WriteDone, YesNo};

/// An accepted write.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Writing {
    /// Its number among all requests.
    pub id: u32,
    /// How it was to start.
    pub start: Start,
    /// The words that it owes.
    pub words: u32,
    /// Those fetched by services.
    pub fetched: u32,
    /// Those the serialiser has taken.
    pub begun: u32,
    /// When the last word was fetched.
    pub(super) fetched_ns: u64,
    /// How far it is.
    pub phase: WritePhase,
    /// Where the gate opened; 0 while it is closed.
    pub on: usize,
    /// What the serialiser has laid.
    pub(super) pieces: Vec<Piece>,
    /// The next service has already had its effect: it came before a bit that it came after.
    pub(super) served_ahead: bool,
    /// Whether it matters what is laid: a drive keeps it, or how it ends depends on it.
    pub(super) kept: bool,
    /// Where the drive stopped taking what is written, if it did: the bits within which.
    pub(super) cut: Option<(usize, usize)>,
}

/// How far a write is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WritePhase {
    /// It waits for its first word.
    WaitWord,
    /// It waits for a match.
    WaitMatch,
    /// It waits for an index edge at a position after this one.
    WaitIndex(usize),
    /// The gate opens at a position from the first to the last of these.
    Due(usize, usize),
    /// The serialiser takes its next word at this position.
    Open(usize),
    /// The last owed bit ends at the first position; the gate closes at one from the second to the
    /// third.
    Ending(usize, usize, usize),
    /// The gate has closed ahead of the last owed bit, which ends at this position; until then the
    /// transfer may be taken for being under way.
    Owed(usize),
    /// It was cut short: the gate closes at a position from the second to the third, and the
    /// transfer is over at one from the first to the third.
    Cut(usize, usize, usize),
}

impl Writing {
    /// Tells it as numbers, as [`State`]s are told that are to be one if they are equal.
    ///
    /// It is told at position `pos`; a word that was fetched before `late_ns` waits for sure.
    pub(super) fn tell(&self, pos: usize, late_ns: u64, numbers: &mut Vec<u64>) {
        let Self {
            id,
            // As the program has them.
            start: _,
            words: _,
            fetched,
            begun,
            fetched_ns,
            phase,
            on,
            pieces,
            served_ahead,
            kept,
            cut,
        } = self;
        numbers.extend([*id, *fetched, *begun].map(u64::from));
        numbers.push(if *fetched_ns >= late_ns { *fetched_ns } else { 0 });
        numbers.extend(match *phase {
            WritePhase::WaitWord => [0; 4],
            WritePhase::WaitMatch => [1, 0, 0, 0],
            // An index behind the position is one that it waits for.
            WritePhase::WaitIndex(after) if after < pos => [2, 0, 0, 0],
            WritePhase::WaitIndex(after) => [2, after as u64, 0, 0],
            WritePhase::Due(at, last) => [3, at as u64, last as u64, 0],
            WritePhase::Open(at) => [4, at as u64, 0, 0],
            WritePhase::Ending(end, first, last) => [5, end as u64, first as u64, last as u64],
            WritePhase::Cut(at, first, last) => [6, at as u64, first as u64, last as u64],
            WritePhase::Owed(end) => [7, end as u64, 0, 0],
        });
        numbers.extend([*on as u64, u64::from(*served_ahead), u64::from(*kept)]);
        let (first, last) = cut.map_or((0, 0), |(first, last)| (1 + first as u64, last as u64));
        numbers.extend([first, last, pieces.len() as u64]);
        for &Piece { at, what } in pieces {
            let (kind, first, count) = match what {
                Laid::Words { first, count } => (0, first, count),
                Laid::Zeros => (1, 0, 0),
                Laid::Held { counts } => (2, u32::from(counts), 0),
                Laid::Pulse => (3, 0, 0),
            };
            numbers.extend([at as u64, kind, u64::from(first), u64::from(count)]);
        }
    }

    /// Words that wait for the serialiser.
    #[must_use]
    pub const fn waiting(&self) -> u32 {
        self.fetched - self.begun
    }

    /// Whether the gate is open.
    #[must_use]
    pub const fn gate_open(&self) -> bool {
        self.on > 0
    }

    /// The next position at which it does something by itself.
    pub(super) fn next_stop(&self, ctx: &Context<'_>, pos: usize) -> Option<usize> {
        match self.phase {
            WritePhase::WaitWord | WritePhase::WaitMatch => None,
            WritePhase::WaitIndex(after) => {
                ctx.next_index_edge(after.max(pos), ctx.tape.len()).map(|edge| edge.0)
            }
            WritePhase::Due(at, _)
            | WritePhase::Open(at)
            | WritePhase::Owed(at)
            | WritePhase::Cut(at, ..) => Some(at),
            WritePhase::Ending(end, first, _) => {
                Some(if pos < end { end.min(first) } else { first })
            }
        }
    }

    /// Whether it does something by itself at a position.
    pub(super) fn acts_at(&self, ctx: &Context<'_>, pos: usize) -> bool {
        match self.phase {
            WritePhase::WaitWord | WritePhase::WaitMatch => false,
            WritePhase::WaitIndex(after) => {
                after < pos && ctx.next_index_edge(pos - 1, pos).is_some()
            }
            WritePhase::Due(at, _) | WritePhase::Open(at) => at == pos,
            WritePhase::Ending(end, first, _) => {
                first <= pos || end == pos && ctx.profile.write_done == WriteDone::LastBit
            }
            WritePhase::Owed(at) | WritePhase::Cut(at, ..) => at <= pos,
        }
    }
}

impl State {
    /// Whether the write gate is open.
    #[must_use]
    pub fn gate_open(&self) -> bool {
        self.writing.as_ref().is_some_and(|writing| writing.gate_open())
    }

    /// A write is accepted at the position.
    pub(super) fn begin_write(
        &mut self,
        ctx: &mut Context<'_>,
        (id, words, start): (u32, u32, Start),
        index_counts: bool,
        (from_ns, to_ns): (u64, u64),
    ) {
        if words == 0 {
            self.owe_done(ctx, from_ns, to_ns);
            return;
        }
        if ctx.profile.checks_protect == YesNo::Yes && ctx.protected {
            return;
        }
        let phase = match start {
            Start::Now => WritePhase::WaitWord,
            Start::Match => WritePhase::WaitMatch,
            Start::Index => {
                WritePhase::WaitIndex(if index_counts { self.pos - 1 } else { self.pos })
            }
        };
        self.writing = Some(Box::new(Writing {
            id,
            start,
            words,
            fetched: 0,
            begun: 0,
            fetched_ns: 0,
            phase,
            on: 0,
            pieces: Vec::new(),
            served_ahead: false,
            kept: true,
            cut: None,
        }));
    }

    /// A match made at the position, which a write may wait for.
    pub(super) fn match_for_write(&mut self, ctx: &mut Context<'_>) {
        let Some(writing) = self.writing.as_mut() else { return };
        if writing.phase != WritePhase::WaitMatch {
            return;
        }
        ctx.reach.hit(Point::WriteAtMatch);
        let lead = usize::from(ctx.profile.gate_lead);
        let nominal = usize::from(ctx.profile.match_to_write).max(lead);
        let jitter = usize::from(ctx.profile.match_jitter);
        let gate = |bits: usize| self.pos + bits - lead;
        writing.phase =
            WritePhase::Due(gate(nominal.saturating_sub(jitter).max(lead)), gate(nominal + jitter));
    }

    /// A service of `transfer`; the ways that it may go are `self` and what is returned.
    pub(super) fn fetch(
        &mut self,
        ctx: &mut Context<'_>,
        transfer: u32,
        at_ns: u64,
    ) -> Option<Self> {
        let here = ctx.tape.position(at_ns);
        let writing = self.writing.as_mut().filter(|writing| writing.id == transfer)?;
        if writing.served_ahead {
            writing.served_ahead = false;
            return None;
        }
        if writing.fetched == writing.words || matches!(writing.phase, WritePhase::Cut(..)) {
            return None;
        }
        if writing.waiting() >= u32::from(ctx.profile.fifo_words) {
            // Full; the serialiser may take one within a bit, and then it counts as having been
            // first.
            let takes_at = match writing.phase {
                WritePhase::Open(at) => Some(at),
                WritePhase::Due(at, _) => Some(at + usize::from(ctx.profile.gate_lead)),
                _ => None,
            };
            if takes_at.is_none_or(|at| ctx.tape.end_ns(at) > at_ns + ctx.bit_ns) {
                return None;
            }
            let mut other = self.clone();
            other.take_word(ctx, here, at_ns);
            return Some(other);
        }
        self.take_word(ctx, here, at_ns);
        None
    }

    /// Fetches the next word.
    fn take_word(&mut self, ctx: &mut Context<'_>, here: usize, at_ns: u64) {
        let Some(writing) = self.writing.as_mut() else { return };
        (writing.fetched, writing.fetched_ns) = (writing.fetched + 1, at_ns);
        if writing.phase == WritePhase::WaitWord {
            // At the first begin of a cell from here on, or as much later as an acceptance may be.
            ctx.reach.hit(Point::WriteAtOnce);
            let next = if ctx.tape.end_ns(here) >= at_ns { here } else { here + 1 };
            let slack = ctx.profile.slack_max - ctx.profile.slack_min;
            writing.phase = WritePhase::Due(next, next + usize::from(slack));
        }
        let last = writing.fetched == writing.words;
        if last && ctx.profile.write_done == WriteDone::LastFetched {
            self.owe_done(ctx, at_ns, at_ns);
        }
    }

    /// What the write does at the position, after all else of its moment. Returns another state
    /// that is possible as well; `self` may have more to do afterwards.
    pub(super) fn write_here(&mut self, ctx: &mut Context<'_>) -> (bool, Option<Self>) {
        let pos = self.pos;
        let Some(phase) = self.writing.as_ref().map(|writing| writing.phase) else {
            return (false, None);
        };
        match phase {
            WritePhase::WaitWord | WritePhase::WaitMatch => (false, None),
            WritePhase::WaitIndex(after) => {
                if after >= pos {
                    return (false, None);
                }
                let Some((_, sure)) = ctx.next_index_edge(pos - 1, pos) else {
                    return (false, None);
                };
                let missed = (!sure).then(|| self.with_phase(WritePhase::WaitIndex(pos)));
                ctx.reach.hit(Point::WriteAtIndex);
                let (min, max) = (ctx.profile.slack_min, ctx.profile.slack_max);
                let due = pos + ctx.supposed.late_at_index();
                self.set_write_phase(WritePhase::Due(
                    due + usize::from(min),
                    due + usize::from(max),
                ));
                (true, missed)
            }
            WritePhase::Due(at, last) => {
                if at != pos {
                    return (false, None);
                }
                if at < last {
                    let later = self.with_phase(WritePhase::Due(at + 1, last));
                    self.set_write_phase(WritePhase::Due(at, at));
                    return (true, Some(later));
                }
                (true, self.open_gate(ctx))
            }
            WritePhase::Open(at) => {
                if at == pos {
                    (true, self.serialise(ctx))
                } else {
                    (false, None)
                }
            }
            WritePhase::Ending(end, first, last) => {
                if pos == end && ctx.profile.write_done == WriteDone::LastBit {
                    let end_ns = ctx.tape.end_ns(end);
                    self.owe_done(ctx, end_ns, end_ns);
                    // Not a second time.
                    self.set_write_phase(WritePhase::Ending(0, first, last));
                    return (true, None);
                }
                if pos < first {
                    return (false, None);
                }
                if first < last && ctx.asked_within(first, last) {
                    let later = self.with_phase(WritePhase::Ending(end, first + 1, last));
                    self.set_write_phase(WritePhase::Ending(end, first, first));
                    return (true, Some(later));
                }
                let bit_owed = ctx.profile.write_done == WriteDone::LastBit && pos < end;
                let owed = bit_owed.then(|| self.writing.clone()).flatten();
                self.close_gate(ctx, (first, last));
                if let Some(owed) = owed {
                    let phase = WritePhase::Owed(end);
                    let writing = Writing { phase, on: 0, pieces: Vec::new(), ..*owed };
                    ctx.others.push(Self { writing: Some(Box::new(writing)), ..self.clone() });
                }
                let (from_ns, to_ns) = (ctx.tape.end_ns(first), ctx.tape.end_ns(last));
                self.free_to_ns = self.free_to_ns.max(to_ns);
                if ctx.profile.write_done == WriteDone::GateOff {
                    self.owe_done(ctx, from_ns, to_ns);
                } else if bit_owed {
                    let end_ns = ctx.tape.end_ns(end);
                    self.owe_done(ctx, end_ns, end_ns);
                }
                ctx.reach.hit(Point::WriteCompleted);
                (true, None)
            }
            WritePhase::Owed(end) => {
                if pos < end {
                    return (false, None);
                }
                self.writing = None;
                let end_ns = ctx.tape.end_ns(end);
                self.owe_done(ctx, end_ns, end_ns);
                (true, None)
            }
            WritePhase::Cut(at, first, last) => {
                if pos < at {
                    return (false, None);
                }
                let later = WritePhase::Cut(at + 1, first, last);
                let later = (at < last).then(|| self.with_phase(later));
                self.end_cut(ctx, (first, last));
                (true, later)
            }
        }
    }

    fn with_phase(&self, phase: WritePhase) -> Self {
        let mut other = self.clone();
        other.set_write_phase(phase);
        other
    }

    fn set_write_phase(&mut self, phase: WritePhase) {
        if let Some(writing) = self.writing.as_mut() {
            writing.phase = phase;
        }
    }

    /// The gate is due to open at the position: it does if a word waits, else its index or match
    /// is missed (3.2).
    fn open_gate(&mut self, ctx: &mut Context<'_>) -> Option<Self> {
        let pos = self.pos;
        let writing = self.writing.as_mut()?;
        let mut other = None;
        if writing.fetched == 0 {
            if !ctx.service_follows(ctx.tape.end_ns(pos), writing.id) {
                self.miss(ctx);
                return None;
            }
            // A service within a bit may have come first.
            let mut missed = self.clone();
            missed.miss(ctx);
            other = Some(missed);
            let here = pos;
            self.take_word(ctx, here, ctx.tape.end_ns(pos));
            self.writing.as_mut()?.served_ahead = true;
        } else if writing.fetched == 1
            && writing.start != Start::Now
            && writing.fetched_ns + ctx.bit_ns >= ctx.tape.end_ns(pos)
        {
            // The one word may have come too late.
            let mut missed = self.clone();
            missed.miss(ctx);
            other = Some(missed);
        }
        let kept = ctx.last_bits_matter()
            || ctx.tape.pass_at(pos).is_some_and(|pass| pass.writable && pass.track.is_some());
        let writing = self.writing.as_mut()?;
        writing.on = pos;
        writing.kept = kept;
        writing.phase = WritePhase::Open(pos + usize::from(ctx.profile.gate_lead));
        other
    }

    /// The index or match at which the gate was to open is missed.
    fn miss(&mut self, ctx: &mut Context<'_>) {
        ctx.reach.hit(Point::WriteMissed);
        let pos = self.pos;
        if let Some(writing) = self.writing.as_mut() {
            writing.phase = match writing.start {
                Start::Now => WritePhase::WaitWord,
                Start::Match => WritePhase::WaitMatch,
                Start::Index => WritePhase::WaitIndex(pos),
            };
        }
    }
}
