//! One state that a controller may be in, as far as semantics 1 and 2 tell states apart.
//!
//! Positions count channel bits on the [`Tape`](crate::tape::Tape); "at position p" means after the
//! bit before p was shifted in. A state holds nothing that follows from other fields.

use super::ask::Asked;
use super::short_list::ShortList;
use super::supposition::Supposition;
use super::worlds::Worlds;
use super::writing::{WriteContext, Writing, Written, cells};
use crate::reach::Reach;
use crate::search::Pattern;
use crate::tape::{Chance, REGISTER};
use trackproof_contract::{
    Action, Case, Event, FirstContext, IndexEdge, MatchFlag, Profile, Start, Track, WriteUnit,
    YesNo,
};

/// Hardware sync and its word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Setting {
    /// Whether hardware sync is on.
    pub on: bool,
    /// The sync word.
    pub word: u64,
}

/// A change of the setting that takes effect at a position (1.8).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Change {
    pub(super) at: usize,
    pub(super) what: Changed,
}

/// What changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Changed {
    On(bool),
    /// The bits of `mask` of the sync word.
    Word {
        word: u64,
        mask: u64,
    },
}

impl Default for Changed {
    fn default() -> Self {
        Self::On(false)
    }
}

/// A request of the program (1.5).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Request {
    /// The event that makes it.
    pub(super) event: usize,
    pub(super) transfer: u32,
    /// The words that it asks for; those of a write are what it sends.
    pub(super) words: u32,
    pub(super) start: Start,
    /// Whether it is one to write.
    pub(super) writes: bool,
    /// The span in which it is accepted.
    pub(super) from_ns: u64,
    pub(super) to_ns: u64,
    /// The positions of its moment and of the span's ends.
    pub(super) here: usize,
    pub(super) first: usize,
    pub(super) last: usize,
}

/// How far a transfer is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// It waits for a match.
    WaitMatch,
    /// It waits for an index at a position after this one.
    WaitIndex(usize),
    /// Words that complete are its own.
    Running,
}

/// A word in the FIFO: the bits before a position.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Entry {
    /// The position at which it completed.
    pub end: usize,
    /// How many channel bits it has; less than a word for a padded partial one.
    pub bits: usize,
}

/// Whether it is open that something counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Doubt {
    None,
    Some,
}

/// An accepted transfer. Its words in waiting stand in [`State::fifo`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Transfer {
    /// Its number.
    pub id: u32,
    /// The words it is for.
    pub words: u32,
    /// Words taken in, lost ones not counted.
    pub entered: u32,
    /// Words taken by services.
    pub taken: u32,
    /// How far it is.
    pub phase: Phase,
    /// Whether a match has realigned it.
    pub realigned: bool,
    /// Whether matches touch it no more (`sync_on_live = next-transfer`).
    pub frozen: bool,
    /// Whether an overrun has stopped it.
    pub stopped: bool,
    /// Whether a word of it was lost.
    pub overrun: bool,
}

/// A signal that is owed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Due {
    pub(super) signal: Signal,
    pub(super) from_ns: u64,
    pub(super) to_ns: u64,
    /// Whether it must come; one that was on its way when an abort came need not.
    pub(super) owed: bool,
}

/// The signals there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Signal {
    /// Completion.
    #[default]
    Done,
    /// A refused request.
    Refused(u32),
    /// A match.
    Match,
}

/// Whether a state can still lead to the media that were seen after the run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Outlook {
    /// Nothing speaks against it.
    Open,
    /// What it has written stands on the medium only if something later makes it so.
    Doubtful,
    /// What it has written does not stand on the medium: so many bits of it are wrong, or more.
    Lost(u32),
}

/// One state.
#[derive(Debug, Clone)]
pub struct State {
    /// The position: bits shifted in.
    pub pos: usize,
    /// How many of the program's requests are over for it: accepted, refused, or aborted before.
    pub(super) answered: usize,
    /// Those behind the next one that were turned down as they were made: bit n for number n,
    /// counted round.
    pub(super) turned_down: u64,
    /// The position before which the next of them was surely not accepted.
    pub(super) not_before: usize,
    /// Changes of the setting on their way.
    pub(super) changes: ShortList<Change, 2>,
    /// The position at which the word counter was last zeroed.
    pub base: usize,
    /// Where else in a word the counter may be while nothing can tell: a bit n for n channel bits
    /// later than `base` has it, counted round.
    pub(super) other_phases: u32,
    /// Where a word that a match did not stop still completes (`partial = finish`); 0 for none.
    pub(super) finish: usize,
    /// No word completes at a boundary up to here (`partial = finish`).
    pub(super) void_to: usize,
    /// Hardware sync and its word.
    pub setting: Setting,
    /// The setting before, until the end of the bit time that it was changed in.
    pub(super) before: Option<(Setting, usize)>,
    /// While on: no match is made up to here. While off: the bits that are left.
    pub(super) quiet: usize,
    /// Where the latched flag was set; 0 for clear.
    pub(super) latched: usize,
    /// A match whose flag a poll has already shown, ahead of it.
    pub(super) shown_ahead: usize,
    /// The newest byte before `base` and the one before that; 0 for none.
    pub(super) old_bytes: [usize; 2],
    /// Bytes up to here have been read.
    pub(super) byte_read: usize,
    /// The newest words before `base`, newest first; 0 for none.
    pub(super) old_words: [Entry; 4],
    /// Which of them, a bit each, may count as completed words or not.
    pub(super) doubtful_words: u8,
    /// The accepted transfer.
    pub transfer: Option<Transfer>,
    /// The words that wait for service, oldest first.
    pub fifo: ShortList<Entry, 4>,
    /// Where the last completed read's last word ended, if a read may join it; 0 for no.
    pub(super) join: usize,
    /// The done bit: when its event was, or none.
    pub(super) done_since_ns: Option<u64>,
    /// The error bit, and until when a poll may see it either way.
    pub(super) error: bool,
    pub(super) error_free_to_ns: u64,
    /// Until when a poll may see busy and done either way.
    pub(super) free_to_ns: u64,
    pub(super) dues: ShortList<Due, 2>,
    /// Which slacks, in channel bits, the acceptance of the transfer may have had: a bit each.
    pub(super) slacks: u64,
    /// The accepted write.
    pub writing: Option<Box<Writing>>,
    /// What the next write's first clock bit supposes.
    pub(super) context: WriteContext,
    /// What earlier writes have made of the media.
    pub(super) world: usize,
    /// How what it writes agrees with the media after the run.
    pub(super) outlook: Outlook,
    /// The last write may also have left these of an image's sectors as they were, and so on up to
    /// all of them; 0 for none.
    pub(super) other_way: u32,
}

impl State {
    /// Power-up: the register holds zeros and is valid (1.10), everything else is at rest.
    pub(super) fn power_up(profile: &Profile) -> Self {
        Self {
            pos: REGISTER,
            base: REGISTER,
            other_phases: 0,
            finish: 0,
            void_to: 0,
            setting: Setting { on: false, word: profile.default_sync_word() },
            before: None,
            changes: ShortList::new(),
            quiet: 0,
            latched: 0,
            shown_ahead: 0,
            old_bytes: [0; 2],
            byte_read: REGISTER,
            old_words: [Entry::default(); 4],
            doubtful_words: 0,
            answered: 0,
            turned_down: 0,
            not_before: 0,
            transfer: None,
            fifo: ShortList::new(),
            join: 0,
            done_since_ns: None,
            error: false,
            error_free_to_ns: 0,
            free_to_ns: 0,
            dues: ShortList::new(),
            slacks: 0,
            writing: None,
            context: WriteContext::default(),
            world: 0,
            outlook: Outlook::Open,
            other_way: 0,
        }
    }

    /// Bits since the last word boundary.
    #[must_use]
    pub fn phase(&self, word_bits: usize) -> usize {
        (self.pos - self.base) % word_bits
    }

    /// Whether a transfer waits or runs.
    #[must_use]
    pub const fn busy(&self) -> bool {
        self.transfer.is_some() || self.writing.is_some()
    }

    /// The requests that it has not accepted yet.
    pub(super) fn pending<'a>(&self, ctx: &'a Context<'_>) -> &'a [Request] {
        &ctx.requests[self.answered..ctx.made]
    }

    /// Whether a read runs: words that complete are its own.
    #[must_use]
    pub fn running(&self) -> bool {
        self.transfer.is_some_and(|transfer| transfer.phase == Phase::Running)
    }

    /// The next word boundary after the position.
    pub(super) fn next_boundary(&self, word_bits: usize) -> usize {
        self.base + ((self.pos - self.base) / word_bits + 1) * word_bits
    }

    /// The newest byte's end and that of the one before, at a position not before `base`.
    pub(super) fn bytes(&self, at: usize, byte_bits: usize) -> [usize; 2] {
        let whole = (at - self.base) / byte_bits;
        match whole {
            0 => self.old_bytes,
            1 => [self.base + byte_bits, self.old_bytes[0]],
            _ => [self.base + whole * byte_bits, self.base + (whole - 1) * byte_bits],
        }
    }

    /// The newest words that completed, newest first, and which of them may count or not, a bit each.
    pub(super) fn words(&self, word_bits: usize) -> ([Entry; 4], u8) {
        let mut whole = (self.pos - self.base) / word_bits;
        // The bits behind a match that realigned are no word where the running one is finished.
        let first = self.base + word_bits;
        let void = whole > 0 && first <= self.void_to;
        whole -= usize::from(void);
        let last = self.base + (whole + usize::from(void)) * word_bits;
        let mut words = [Entry::default(); 4];
        for (back, word) in words.iter_mut().enumerate() {
            *word = if back < whole {
                Entry { end: last - back * word_bits, bits: word_bits }
            } else {
                self.old_words.get(back - whole).copied().unwrap_or_default()
            };
        }
        let doubtful = if whole < 4 { self.doubtful_words << whole & 0xf } else { 0 };
        (words, doubtful)
    }

    /// A word has completed elsewhere than on a boundary, behind all the others, or one may have.
    pub(super) fn note_word(&mut self, word: Entry, doubt: Doubt) {
        self.old_words.rotate_right(1);
        self.old_words[0] = word;
        self.doubtful_words = self.doubtful_words << 1 & 0xf | u8::from(doubt == Doubt::Some);
    }

    /// Zeroes the counter at the position.
    pub(super) fn zero_counter(&mut self, ctx: &Context<'_>) {
        self.old_bytes = self.bytes(self.pos, ctx.byte_bits);
        (self.old_words, self.doubtful_words) = self.words(ctx.word_bits);
        self.base = self.pos;
        self.other_phases = 0;
    }

    /// Whether nothing that may still come can tell where in a word the counter is, unless a read
    /// is requested first.
    pub(super) fn counter_is_hidden(&self, ctx: &Context<'_>) -> bool {
        self.transfer.is_none()
            && self.pending(ctx).iter().all(|request| request.writes)
            && self.finish <= self.pos
            && self.void_to <= self.pos
            && !self.may_join(ctx)
            && !ctx.polled()
            && ctx.profile.latch_words == 0
            && ctx.supposed == Supposition::None
    }

    /// Whether a read that starts now may continue the words of the one before.
    pub(super) fn may_join(&self, ctx: &Context<'_>) -> bool {
        ctx.profile.read_join == YesNo::Yes && self.pos - self.join < ctx.word_bits
    }

    /// Takes over where in a word the counter of another state may be.
    pub(super) fn add_phases(&mut self, other: &Self, word_bits: usize) {
        let later = (other.base + word_bits - self.base % word_bits) % word_bits;
        let phases = (u64::from(other.other_phases) | 1) << later;
        let turned = (phases | phases >> word_bits) & ((1 << word_bits) - 1);
        self.other_phases |= turned as u32 & !1;
    }

    /// How many it stands for: itself, and those whose counter is elsewhere.
    pub(super) const fn ways(&self) -> usize {
        1 + self.other_phases.count_ones() as usize
    }

    /// The same state with the counter at each of the other places in a word where it may be, now
    /// that something may tell.
    pub(super) fn reveal_counter(&mut self, word_bits: usize) -> impl Iterator<Item = Self> {
        let phases = std::mem::take(&mut self.other_phases);
        let first = self.clone();
        (1..word_bits).filter(move |later| phases >> later & 1 == 1).map(move |later| {
            let base = first.base + later - word_bits;
            Self { base, ..first.clone() }
        })
    }

    /// Where the byte port's newest whole byte ends on the tape; none before the first.
    #[must_use]
    pub fn newest_byte(&self, byte_bits: usize) -> Option<usize> {
        Some(self.bytes(self.pos, byte_bits)[0]).filter(|end| *end > 0)
    }
}

/// Channel bits after an operation by which a changed sync word or switch is in effect (1.8).
const CHANGE_WINDOW_BITS: u64 = 2;

/// What all states of a case share: the tape, the profile, the events, what was looked up.
pub(super) struct Context<'a> {
    pub(super) tape: &'a mut Worlds,
    pub(super) profile: &'a Profile,
    pub(super) events: &'a [Event],
    /// The program's requests, and how many of them have been made.
    pub(super) requests: &'a [Request],
    pub(super) made: usize,
    /// Whether requests are accepted as early as may be, and no later.
    pub(super) prompt: bool,
    /// Other states that are possible as well, found while one is let go on.
    pub(super) others: &'a mut Vec<State>,
    /// The index of the event that is being taken.
    pub(super) event: usize,
    /// The last event that reads the byte port.
    last_poll: Option<usize>,
    /// The last event that an acceptance comes before or behind.
    pub(super) divide: Option<usize>,
    pub(super) word_bits: usize,
    pub(super) byte_bits: usize,
    pub(super) bit_ns: u64,
    /// Channel bits after an operation by which a changed setting is in effect.
    pub(super) change_window_bits: u64,
    /// A departure from the text.
    pub(super) supposed: Supposition,
    /// The media after the run, the case's tracks in their order; none if they cannot be seen.
    pub(super) media: &'a [Track],
    /// The words of the writes requested so far, each with its transfer's number.
    pub(super) sent: &'a mut Vec<(u32, Vec<u64>)>,
    /// Whether the selected drive's medium is protected.
    pub(super) protected: bool,
    /// The position up to which a gate may have been open, in any state.
    pub(super) closing_to: usize,
    pub(super) reach: &'a mut Reach,
    /// Set when something passed a bound of the model: the case is inconclusive.
    pub(super) overflow: bool,
    /// What is asked beside the verdict, and what has been heard.
    pub(super) asked: Asked,
}

impl<'a> Context<'a> {
    pub(super) fn new(
        tape: &'a mut Worlds,
        case: &'a Case,
        events: &'a [Event],
        requests: &'a [Request],
        sent: &'a mut Vec<(u32, Vec<u64>)>,
        others: &'a mut Vec<State>,
        reach: &'a mut Reach,
    ) -> Self {
        Self {
            tape,
            profile: &case.profile,
            events,
            requests,
            made: 0,
            prompt: false,
            others,
            event: 0,
            last_poll: events.iter().rposition(|event| event.action == Action::PollByte),
            divide: None,
            word_bits: usize::from(case.profile.word_bits),
            byte_bits: usize::from(case.profile.byte_bits()),
            bit_ns: u64::from(case.profile.channel_bit_ns),
            change_window_bits: CHANGE_WINDOW_BITS,
            supposed: Supposition::None,
            media: &[],
            sent,
            protected: false,
            closing_to: 0,
            reach,
            overflow: false,
            asked: Asked::default(),
        }
    }

    /// The comparator's pattern for a sync word.
    pub(super) fn pattern(&self, word: u64) -> Pattern {
        Pattern::of(self.profile, word)
    }

    /// The next position after `after` at which the sync word may match.
    pub(super) fn next_match(&mut self, word: u64, after: usize) -> Option<(usize, Chance)> {
        self.tape.next_match_from(self.pattern(word), after)
    }

    /// Whether a sync word may match at a position of `first ..= last`.
    pub(super) fn may_match(&mut self, word: u64, first: usize, last: usize) -> bool {
        self.tape.next_match(self.pattern(word), first - 1, last).is_some()
    }

    /// Whether matches are made under a setting.
    pub(super) fn compares(&self, setting: Setting) -> bool {
        setting.on || self.supposed == Supposition::AlwaysOn
    }

    /// Whether a match would show in the flag under a setting.
    pub(super) fn flag_shows(&self, setting: Setting) -> bool {
        setting.on || self.profile.flag_when_off == YesNo::Yes
    }

    /// Whether the byte port may still be read.
    pub(super) fn polled(&self) -> bool {
        self.last_poll.is_some_and(|last| last >= self.event)
    }

    /// Whether matches are to be noted while hardware sync is off, for a latch or a signal.
    pub(super) fn notes_when_off(&self) -> bool {
        self.profile.flag_when_off == YesNo::Yes && self.profile.flag != MatchFlag::Level
    }

    /// The first index edge that starts writes, at a position after `after`, up to `to`, and
    /// whether it surely comes.
    pub(super) fn next_index_edge(&self, after: usize, to: usize) -> Option<(usize, bool)> {
        match self.profile.index_edge {
            IndexEdge::Trailing => self.tape.next_index_end(after, to),
            IndexEdge::Leading => {
                let (edge, chance) = self.tape.next_index(after, to)?;
                Some((edge, chance == Chance::Sure))
            }
        }
    }

    /// How many words a request asks for.
    pub(super) fn words_of(&self, request: &Request) -> u32 {
        let sent = self.sent.iter().find(|sent| request.writes && sent.0 == request.transfer);
        sent.map_or(request.words, |sent| sent.1.len() as u32)
    }

    /// A word that a write sends.
    pub(super) fn word(&self, transfer: u32, number: u32) -> u64 {
        let words = self.sent.iter().find(|sent| sent.0 == transfer).map(|sent| &sent.1);
        words.and_then(|words| words.get(number as usize)).copied().unwrap_or(0)
    }

    /// The bits within which a gate closes that is told to at a moment of a span (2.7).
    pub(super) fn closing_span(&self, from_ns: u64, to_ns: u64) -> (usize, usize) {
        let (first, last) = (self.tape.position(from_ns), self.tape.position(to_ns));
        let next = last + usize::from(self.tape.end_ns(last) < to_ns);
        let later = self.profile.abort_to_gate + self.profile.gate_off_max;
        (first, next + usize::from(later))
    }

    /// Whether what a write ends with matters though no drive keeps it: to a pulse behind it, or to
    /// the next one's first clock bit.
    pub(super) fn last_bits_matter(&self) -> bool {
        self.profile.tail_pulse == YesNo::Yes
            || self.profile.write_unit == WriteUnit::DataBytes
                && (self.profile.write_join == YesNo::Yes
                    || self.profile.first_context == FirstContext::Last)
    }

    /// Whether a change of a drive line may matter to what is or may be written.
    pub(super) const fn line_matters(&self) -> bool {
        !self.sent.is_empty()
    }

    /// Whether an index that a transfer may start at comes at a position.
    pub(super) fn index_at(&self, at: usize, writes: bool) -> bool {
        self.next_start(at - 1, at, writes).is_some()
    }

    /// The first index that a transfer may start at, at a position after `after`, up to `to`.
    pub(super) fn next_start(&self, after: usize, to: usize, writes: bool) -> Option<usize> {
        if writes {
            self.next_index_edge(after, to).map(|edge| edge.0)
        } else {
            self.tape.next_index(after, to).map(|mark| mark.0)
        }
    }

    /// Whether a request comes while a gate may be closing.
    pub(super) fn asked_within(&self, first: usize, last: usize) -> bool {
        let (from_ns, to_ns) = (self.tape.end_ns(first), self.tape.end_ns(last));
        let slack_ns = u64::from(self.profile.slack_max) * self.bit_ns;
        self.events.iter().any(|event| {
            matches!(event.action, Action::Read { .. } | Action::Write { .. })
                && event.at_ns + slack_ns >= from_ns
                && event.at_ns <= to_ns
        })
    }

    /// Whether another write is requested after the event that is being taken.
    pub(super) fn written_later(&self) -> bool {
        self.events[self.event..].iter().any(|one| matches!(one.action, Action::Write { .. }))
    }

    /// The world that a write leaves that kept some sectors as they were; none when there are too many.
    pub(super) fn world_after(
        &mut self,
        world: usize,
        written: Written,
        kept: u32,
    ) -> Option<usize> {
        self.tape.enter(world);
        let laid = match self.tape.known(&written, kept) {
            Some(known) => {
                self.tape.enter(known);
                return Some(known);
            }
            None => cells(self, &written, written.kept_to.0),
        };
        let next = self.tape.after(written, kept, laid, self.supposed.reads_a_stale_turn())?;
        self.tape.enter(next);
        Some(next)
    }
}
