//! Worlds: what writes have made of the media, and of every bit that comes after them.
//!
//! Where a write begins is the controller's to choose within its span, so after it states differ
//! in what the head reads. Each way has a world of its own: the tracks as they then stand, and the
//! [`Tape`] of the case with every later bit of them. A write that has ended in the same way gives
//! the same world; states that hold it are told apart by nothing else.

use super::writing::Written;
use crate::recorded::Recorded;
use crate::search::Pattern;
use crate::tape::{Chance, REGISTER, Tape};
use std::ops::{Deref, DerefMut};
use trackproof_contract::{
    Case, ChannelBits, ChannelKind, Event, Medium, Operation, SpliceGuard, Track,
};

/// More worlds than this are given up as inconclusive.
const MAX_WORLDS: usize = 256;

/// Sectors that one write may leave in doubt; a write has two ends.
const MOST_DOUBTS: u32 = 3;

/// So many worlds come before the first look at which are still needed.
const FIRST_LOOK: usize = MAX_WORLDS / 4;

/// Channel bits behind a gate's closing by which no register and no word holds a bit from before.
const SETTLING: usize = 2 * REGISTER;

/// The media and the bits of one way that the writes may have gone.
#[derive(Debug, Default)]
pub(crate) struct World {
    pub(crate) tape: Tape,
    pub(crate) tracks: Vec<Recorded>,
    /// The world before its last write, and that write; none in the first.
    pub(crate) from: Option<(usize, Written)>,
    /// Which of the sectors that write may have left as they were it has: a bit each.
    kept: u32,
    /// How many sectors it may have left as they were.
    doubts: u32,
    /// What that write has laid.
    pub(crate) laid: Laid,
    /// Where its tracks first differ from the observed ones, once that was asked.
    difference: Option<Option<MediumDifference>>,
    /// The last search for a sync word on its tape.
    found: Option<Found>,
    /// Whether nothing is known any more of the tracks that the case does not record.
    forgotten: bool,
    /// The number that worlds of the same tracks share.
    class: usize,
    /// From this position on its tape is that of every world of its class.
    settled: usize,
    /// Whether no state is in it or comes from it any more.
    vacant: bool,
}

/// A search for a sync word: from where, and what was found.
#[derive(Debug, Clone, Copy)]
struct Found {
    word: u64,
    after: usize,
    position: Option<(usize, Chance)>,
}

/// What a write has laid, and where.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Laid {
    /// The track, by its index in the case; none where no drive kept it.
    pub track: Option<usize>,
    /// The track that was under the head, whether its drive kept anything or not.
    pub under_head: Option<usize>,
    /// The cell of the turn that its first bit is in.
    pub cell: usize,
    /// Cells of a turn.
    pub turn: usize,
    /// Its cells, from the gate's opening to where the drive took no more.
    pub bits: ChannelBits,
}

/// Where the media after a run first differ from what they should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct MediumDifference {
    /// How many bits differ, on all tracks.
    pub count: usize,
    /// The first track of the case that has one.
    pub track: usize,
    /// The first bit on it: a channel bit, or a data bit of an image.
    pub bit: usize,
}

/// Every world of a case; it stands for the one that was entered last.
#[derive(Debug)]
pub(crate) struct Worlds {
    all: Vec<World>,
    /// How many of them belong to this case, vacant ones among them; the others are kept for
    /// their memory.
    used: usize,
    current: usize,
    /// Classes of this case.
    classes: usize,
    /// So many more may come before the next look at which are still needed.
    to_come: usize,
    /// Channel bits of the splice guards.
    guards: Guards,
}

/// The splice guards in cells, rounded up.
#[derive(Debug, Clone, Copy, Default)]
struct Guards {
    before_on: usize,
    after_on: usize,
    before_off: usize,
    after_off: usize,
}

impl Guards {
    fn new(guard: SpliceGuard, bit_ns: u64) -> Self {
        let cells = |ns: u16| u64::from(ns).div_ceil(bit_ns) as usize;
        Self {
            before_on: cells(guard.before_on_ns),
            after_on: cells(guard.after_on_ns),
            before_off: cells(guard.before_off_ns),
            after_off: cells(guard.after_off_ns),
        }
    }
}

impl Deref for Worlds {
    type Target = Tape;
    fn deref(&self) -> &Tape {
        &self.all[self.current].tape
    }
}

impl DerefMut for Worlds {
    fn deref_mut(&mut self) -> &mut Tape {
        &mut self.all[self.current].tape
    }
}

impl Default for Worlds {
    fn default() -> Self {
        Self {
            all: vec![World::default()],
            used: 1,
            current: 0,
            classes: 1,
            to_come: FIRST_LOOK,
            guards: Guards::default(),
        }
    }
}

impl Worlds {
    /// Begins a case: one world, as power-up finds it. `media` are the tracks behind the run.
    pub(crate) fn lay(&mut self, case: &Case, events: &[Event], media: &[Track]) {
        (self.used, self.current, self.classes, self.to_come) = (1, 0, 1, FIRST_LOOK);
        self.guards =
            Guards::new(case.profile.splice_guard, u64::from(case.profile.channel_bit_ns));
        let first = &mut self.all[0];
        first.tracks.clear();
        first.from = None;
        first.difference = None;
        first.found = None;
        (first.forgotten, first.class, first.settled) = (false, 0, 0);
        let plain = |track: &Track| {
            matches!(track.medium, Medium::ChannelBits { kind: ChannelKind::Image, .. })
        };
        let writes = case.program.iter().any(|one| matches!(one, Operation::Write { .. }));
        // Plain tracks that are only read, and came back as they were, need no record: the tape takes
        // the case's own.
        let changed = media.iter().zip(&case.tracks).any(|(now, then)| now.medium != then.medium);
        if writes || changed || !case.tracks.iter().all(plain) {
            first.tracks.extend(case.tracks.iter().map(|track| {
                let turn_bits = case.bench.drives[usize::from(track.drive)].turn_bits;
                Recorded::of(track, turn_bits as usize, case.profile.recording)
            }));
        }
        first.tape.lay(case, &first.tracks, events);
    }

    /// Cells before a gate's closing, and behind its opening, that its guards take.
    pub(crate) const fn inner_guards(&self) -> (usize, usize) {
        (self.guards.after_on, self.guards.before_off)
    }

    /// Stands for that world from now on.
    pub(crate) fn enter(&mut self, world: usize) {
        debug_assert!(world < self.used, "world {world} of {}", self.used);
        self.current = world;
    }

    pub(crate) const fn current(&self) -> usize {
        self.current
    }

    pub(crate) fn world(&self, world: usize) -> &World {
        &self.all[world]
    }

    /// The world after a write in the current one, if it is known already.
    pub(crate) fn known(&self, written: &Written, kept: u32) -> Option<usize> {
        (1..self.used).find(|world| {
            let world = &self.all[*world];
            !world.vacant
                && world.kept == kept
                && world
                    .from
                    .as_ref()
                    .is_some_and(|(from, old)| *from == self.current && old == written)
        })
    }

    /// How many ways there are of what the last write of a world has left on an image.
    pub(crate) fn ways(&self, world: usize) -> u32 {
        1 << self.all[world].doubts.min(MOST_DOUBTS)
    }

    /// Makes the world after a write in the current one; none when there are too many.
    ///
    /// `bits` are the cells that it has laid, from the gate's opening to where the drive took no
    /// more. `stale` has a turn go by before they can be read.
    pub(crate) fn after(
        &mut self,
        written: Written,
        kept: u32,
        bits: ChannelBits,
        stale: bool,
    ) -> Option<usize> {
        let place = self.place()?;
        self.to_come = self.to_come.saturating_sub(1);
        // What is in doubt is counted once: which sectors there are depends on what was kept.
        let counted = self.known(&written, 0).map(|first| self.all[first].doubts);
        let mut new = std::mem::take(&mut self.all[place]);
        let old = &self.all[self.current];
        new.tape.clone_from(&old.tape);
        new.tracks.clone_from(&old.tracks);
        new.difference = None;
        new.found = None;
        new.forgotten = old.forgotten;
        new.kept = kept;
        new.doubts = 0;
        new.vacant = false;
        new.settled = old.settled.max(written.off.1 + SETTLING);
        let read_from = new.write(&written, bits, self.guards, stale);
        new.settled = new.settled.max(read_from + SETTLING);
        new.doubts = counted.unwrap_or(new.doubts);
        new.from = Some((self.current, written));
        let like =
            |old: &World| !old.vacant && old.forgotten == new.forgotten && old.tracks == new.tracks;
        let class = self.all[..self.used].iter().find(|old| like(old)).map(|old| old.class);
        new.class = class.unwrap_or(self.classes);
        self.classes += usize::from(class.is_none());
        self.all[place] = new;
        Some(place)
    }

    /// A place for one world more; vacant until it is filled.
    fn place(&mut self) -> Option<usize> {
        if let Some(place) = (1..self.used).find(|world| self.all[*world].vacant) {
            return Some(place);
        }
        if self.used == MAX_WORLDS {
            return None;
        }
        if self.used == self.all.len() {
            self.all.push(World::default());
        }
        self.all[self.used].vacant = true;
        self.used += 1;
        Some(self.used - 1)
    }

    /// Whether so many worlds have come that it is time to [`keep`](Self::keep) those needed.
    pub(crate) const fn crowded(&self) -> bool {
        self.to_come == 0
    }

    /// Makes every world vacant but these and those that they come from.
    pub(crate) fn keep(&mut self, needed: impl Iterator<Item = usize>) {
        for world in &mut self.all[1..self.used] {
            world.vacant = true;
        }
        for mut world in needed {
            while world > 0 && std::mem::take(&mut self.all[world].vacant) {
                world = self.all[world].from.as_ref().map_or(0, |(from, _)| *from);
            }
        }
        let needed = self.all[..self.used].iter().filter(|world| !world.vacant).count();
        self.to_come = ((MAX_WORLDS - needed) / 2).max(1);
    }

    /// What tells a world from others at a position: those of one number read the same from there
    /// on, and hold the same media.
    pub(crate) fn likeness(&self, world: usize, position: usize) -> usize {
        let World { class, settled, .. } = self.all[world];
        if position < settled { usize::MAX - world } else { class }
    }

    /// The next position after `after` at which the register equals the pattern and may match.
    ///
    /// States of one world ask one after the other for much the same: the last answer is kept.
    pub(crate) fn next_match_from(
        &mut self,
        pattern: Pattern,
        after: usize,
    ) -> Option<(usize, Chance)> {
        let world = &mut self.all[self.current];
        if let Some(last) = world.found
            && last.word == pattern.word
            && last.after <= after
            && last.position.is_none_or(|(position, _)| position > after)
        {
            return last.position;
        }
        let position = world.tape.next_match(pattern, after, world.tape.len());
        world.found = Some(Found { word: pattern.word, after, position });
        position
    }

    /// Fills the register with zeros at a position, as a reset may; its validity stays.
    pub(crate) fn clear_register(&mut self, position: usize) {
        let world = &mut self.all[self.current];
        world.tape.clear_register(position);
        world.found = None;
    }

    /// Where a world's tracks differ from the observed ones.
    pub(crate) fn difference(&mut self, world: usize, media: &[Track]) -> Option<MediumDifference> {
        let world = &mut self.all[world];
        *world.difference.get_or_insert_with(|| {
            let mut first: Option<MediumDifference> = None;
            for (track, (mine, shown)) in world.tracks.iter().zip(media).enumerate() {
                if let Some((bit, wrong)) = mine.difference(&shown.medium) {
                    let found = first.get_or_insert(MediumDifference { count: 0, track, bit });
                    found.count += wrong;
                }
            }
            first
        })
    }
}

impl World {
    /// Makes the tracks, and all bits from the gate's opening on, what a write leaves. Returns from
    /// where on what it has laid is read.
    fn write(
        &mut self,
        written: &Written,
        bits: ChannelBits,
        guards: Guards,
        stale: bool,
    ) -> usize {
        let Written { on, off, kept_to, .. } = *written;
        self.tape.open_gate(on, off);
        self.laid = Laid { bits, ..Laid::default() };
        let Some(pass) = self.tape.pass_at(on) else { return off.1 };
        self.laid.under_head = pass.track;
        self.laid.cell = pass.cell_at(on);
        self.laid.turn = pass.turn;
        if !pass.writable {
            return off.1;
        }
        self.laid.track = pass.track;
        let (turn, cell) = (pass.turn, |index| pass.cell_at(index));
        let (off_first, off_last) = kept_to;
        let Some(number) = pass.track else {
            self.tape.forget_unrecorded(off.1);
            self.forgotten = true;
            return off.1;
        };
        let track = &mut self.tracks[number];
        if written.unfinished {
            // Nobody says what a gate that is still open has left so far.
            track.guard(cell(on - guards.before_on.min(on)), off_last - on + guards.before_on);
        } else {
            let bits = &self.laid.bits;
            track.lay(cell(on), off_first - on, |at, count| bits.window(at, count));
            let on_from = on - guards.before_on.min(on);
            let off_to = off_last + guards.after_off;
            if off_first - on <= guards.after_on + guards.before_off {
                track.guard(cell(on_from), off_to - on_from);
            } else {
                // What a later turn has written again is no guard any more.
                let span = off_to - on_from;
                let over = span.saturating_sub(turn);
                let on_to = on + guards.after_on;
                if on_to > on_from + over {
                    let from = on_from + over;
                    track.guard(cell(from), on_to - from);
                }
                let off_from = off_first - guards.before_off;
                track.guard(cell(off_from), off_to - off_from);
            }
        }
        self.doubts = track.settle(self.kept);
        let read_from = if stale { off.1 + turn } else { off.1 };
        self.tape.lay_again(number, track, read_from);
        read_from
    }
}
