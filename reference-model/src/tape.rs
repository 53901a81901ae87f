//! The tape: every channel bit that the shift register gets in a case, one after the other.
//!
//! Which drive, cylinder and side pass the head when follows from the case alone, so the whole
//! string can be laid out before any choice of the controller is looked at. A position on the tape
//! is the number of bits shifted in so far; bit `p - 1` is the one whose cell ends at
//! [`Tape::end_ns`]`(p)`. The first [`REGISTER`] positions are the zeros that the register holds
//! at power-up (semantics 1.10).
//!
//! Where a change of source takes effect at one moment of a span, the bits of that span are free:
//! no comparison rests on them.

mod passes;

pub use passes::Pass;

use crate::drive::{Drives, LINE_WINDOW_NS, STEP_WINDOW_NS, Source};
use crate::reader::supposition::Blind;
use crate::recorded::Recorded;
use crate::search::{Pattern, next_match};
use trackproof_contract::{Action, Case, ChannelBits, Event, NoDriveRead, Status, Straddle};

/// Zeros before the first bit: the widest register there is.
pub const REGISTER: usize = 64;

/// How sure a match is, where the register's bits alone would make one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chance {
    /// It is made.
    Sure,
    /// It may be made: a free bit is in it, or a change of source is not surely far enough back.
    Maybe,
}

/// A change of source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Switch {
    /// The earliest bit (index on the tape) that may be the new source's first.
    first: usize,
    /// The latest.
    last: usize,
    /// When, in nanoseconds.
    at_ns: u64,
    /// Whether the text leaves open that the register becomes invalid (the motor's changes).
    open: bool,
}

/// A stretch of cells without a gap in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Stretch {
    /// Its first bit's index.
    bit: usize,
    /// The number of the cell that bit is in.
    cell: u64,
}

/// What a status read shows of the drive lines, and which of them an edge close by leaves free.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Lines {
    /// The lines.
    pub value: Status,
    /// Those not to be compared.
    pub free: Status,
}

/// All bits of a case, with their times and what is known of them.
#[derive(Debug, Clone, Default)]
pub struct Tape {
    bits: ChannelBits,
    /// The stretches of free bits, in their order, none of them overlapping another.
    free: Vec<(usize, usize)>,
    switches: Vec<Switch>,
    stretches: Vec<Stretch>,
    index_marks: Vec<(usize, Chance)>,
    wraps: Vec<usize>,
    passes: Vec<Pass>,
    lines: Vec<Lines>,
    lingering: Vec<(Drives, u64)>,
    cleared: usize,
    bit_ns: u64,
    register_bits: usize,
    straddle: bool,
    blind: Option<Blind>,
}

impl Tape {
    /// An empty tape; [`lay`](Self::lay) fills it.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Lays out the tape of a case.
    ///
    /// `events` is the case's timeline, `recorded` the case's tracks as they are recorded, or none
    /// if all of them are plain channel bits. What the tape held is forgotten, its memory kept.
    pub fn lay(&mut self, case: &Case, recorded: &[Recorded], events: &[Event]) {
        self.bits.clear();
        self.bits.push(0, REGISTER);
        self.free.clear();
        self.switches.clear();
        self.stretches.clear();
        self.stretches.push(Stretch { bit: REGISTER, cell: 0 });
        self.index_marks.clear();
        self.wraps.clear();
        self.passes.clear();
        self.lines.clear();
        self.lingering.clear();
        self.cleared = 0;
        self.blind = None;
        self.bit_ns = u64::from(case.profile.channel_bit_ns);
        self.register_bits = usize::from(case.profile.register_bits);
        self.straddle = case.profile.straddle == Straddle::Allowed;
        Layer::new(self, case, recorded).lay(events);
        self.sort_free();
    }

    /// Supposes a comparator that overlooks matches, until the next tape is laid.
    pub const fn suppose_blind(&mut self, blind: Blind) {
        self.blind = Some(blind);
    }

    fn overlooks(&self, position: usize) -> bool {
        match self.blind {
            None => false,
            Some(Blind::Phases { modulus, residue }) => {
                (position - REGISTER) as u32 % modulus != residue
            }
            Some(Blind::Index) => self.wrapped_within(position, self.register_bits),
        }
    }

    /// How many bits are shifted in at or before a moment, those of power-up counted.
    #[must_use]
    pub fn position(&self, at_ns: u64) -> usize {
        let cells = at_ns / self.bit_ns;
        let after = self.stretches.partition_point(|stretch| stretch.cell < cells.max(1));
        let stretch = self.stretches[after.max(1) - 1];
        let end = self.stretches.get(after.max(1)).map_or(self.bits.len(), |next| next.bit);
        (stretch.bit + cells.saturating_sub(stretch.cell) as usize).min(end)
    }

    /// When the bit before a position is shifted in, in nanoseconds; 0 at power-up's.
    #[must_use]
    pub fn end_ns(&self, position: usize) -> u64 {
        if position <= REGISTER {
            return 0;
        }
        let after = self.stretches.partition_point(|stretch| stretch.bit < position);
        let stretch = self.stretches[after.max(1) - 1];
        (stretch.cell + (position - stretch.bit) as u64) * self.bit_ns
    }

    /// The `count` bits that end at a position.
    #[must_use]
    pub fn window(&self, position: usize, count: usize) -> u64 {
        if position < count {
            return self.bits.window(0, position);
        }
        self.bits.window(position - count, count)
    }

    /// Which of the `count` bits that end at a position are free, as a mask.
    #[must_use]
    pub fn free_window(&self, position: usize, count: usize) -> u64 {
        let (begin, end) = (position.saturating_sub(count), position);
        let mut mask = 0;
        let first = self.free.partition_point(|free| free.1 <= begin);
        for &(from, to) in self.free[first..].iter().take_while(|free| free.0 < end) {
            for bit in from.max(begin).max(self.cleared)..to.min(end) {
                mask |= 1 << (end - 1 - bit);
            }
        }
        mask
    }

    /// The first position after `after`, up to `to`, at which the register equals the pattern and
    /// may match, and how sure that is.
    #[must_use]
    pub fn next_match(&self, pattern: Pattern, after: usize, to: usize) -> Option<(usize, Chance)> {
        let mut found = self.next_match_seen_or_not(pattern, after, to);
        while let Some((position, _)) = found
            && self.overlooks(position)
        {
            found = self.next_match_seen_or_not(pattern, position, to);
        }
        found
    }

    fn next_match_seen_or_not(
        &self,
        pattern: Pattern,
        after: usize,
        to: usize,
    ) -> Option<(usize, Chance)> {
        let mut from = after + 1;
        while from <= to {
            // In the zone of a change or a free bit look bit by bit, between them 64 at a time.
            let Some((zone_from, zone_to)) = self.next_zone(from) else {
                return next_match(&self.bits, pattern, from, to).map(|end| (end, Chance::Sure));
            };
            if zone_from > from {
                let clear_to = to.min(zone_from - 1);
                if let Some(end) = next_match(&self.bits, pattern, from, clear_to) {
                    return Some((end, Chance::Sure));
                }
                from = clear_to + 1;
                continue;
            }
            for end in from..=to.min(zone_to - 1) {
                if let Some(chance) = self.matches_seen_or_not(pattern, end) {
                    return Some((end, chance));
                }
            }
            from = zone_to;
        }
        None
    }

    /// Whether the register equals the pattern at a position and may match there.
    #[must_use]
    pub fn matches(&self, pattern: Pattern, position: usize) -> Option<Chance> {
        self.matches_seen_or_not(pattern, position).filter(|_| !self.overlooks(position))
    }

    fn matches_seen_or_not(&self, pattern: Pattern, position: usize) -> Option<Chance> {
        let register = self.window(position, pattern.width);
        let free = self.free_window(position, pattern.width) & pattern.mask;
        if !pattern.equals(register ^ (register ^ pattern.word) & free) {
            return None;
        }
        let mut sure = free == 0;
        for switch in &self.switches {
            if position <= switch.first || position >= switch.last + self.register_bits {
                continue;
            }
            // Not before R bits of the new source: surely invalid, but where the change itself
            // may still lie ahead, or nothing says that it is one.
            let invalid = position < switch.first + self.register_bits && position > switch.last;
            if invalid && !switch.open && !self.straddle {
                return None;
            }
            sure = false;
        }
        Some(if sure { Chance::Sure } else { Chance::Maybe })
    }

    /// The next stretch of positions `from ..` (end not included) that a change or a free bit is
    /// too close to, beginning at or after `from`.
    #[must_use]
    pub fn next_zone(&self, from: usize) -> Option<(usize, usize)> {
        let reach = self.register_bits;
        let of_switches = self.switches.iter().map(|s| (s.first + 1, s.last + reach));
        let first = self.free.partition_point(|f| f.1 + reach <= from);
        let of_free = self.free.get(first).map(|f| (f.0 + 1, f.1 + reach));
        of_switches
            .chain(of_free)
            .filter(|zone| zone.1 > from)
            .map(|zone| (zone.0.max(from), zone.1))
            .min()
    }

    /// Whether the source has just changed: no bit of the new one has come before this position.
    #[must_use]
    pub fn just_switched(&self, position: usize, at_ns: u64) -> bool {
        self.switches.iter().any(|switch| {
            switch.first <= position && position <= switch.last && switch.at_ns <= at_ns
        })
    }

    /// Whether a change of source lies in the `count` bits before a position, or right behind it.
    #[must_use]
    pub fn switched_within(&self, position: usize, count: usize) -> bool {
        self.switches
            .iter()
            .any(|switch| switch.first <= position && switch.last + count >= position)
    }

    /// Whether the index passes within the `count` bits before a position, on a track.
    #[must_use]
    pub fn wrapped_within(&self, position: usize, count: usize) -> bool {
        let after = self.wraps.partition_point(|wrap| *wrap < position);
        after > 0 && self.wraps[after - 1] + count > position
    }

    /// The first position after `after`, up to `to`, at which the selected drive's index begins.
    #[must_use]
    pub fn next_index(&self, after: usize, to: usize) -> Option<(usize, Chance)> {
        let at = self.index_marks.partition_point(|mark| mark.0 <= after);
        self.index_marks.get(at).copied().filter(|mark| mark.0 <= to)
    }

    /// The drive lines at the case's status reads, in their order.
    #[must_use]
    pub fn lines(&self, poll: usize) -> Lines {
        self.lines.get(poll).copied().unwrap_or_default()
    }

    /// Fills the register with zeros at a position, as a reset may; its validity stays.
    pub fn clear_register(&mut self, position: usize) {
        for bit in position.saturating_sub(REGISTER)..position {
            self.bits.set(bit, false);
        }
        self.cleared = position;
    }

    /// How many bits there are, those of power-up counted.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.bits.len()
    }

    /// Whether nothing was laid.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.bits.is_empty()
    }
}

/// Lays a tape: walks the events, keeps the drives, fills cells from the source of the moment.
struct Layer<'a> {
    tape: &'a mut Tape,
    case: &'a Case,
    recorded: &'a [Recorded],
    drives: Drives,
    /// The source that bits come from, as laid.
    source: Source,
    /// Since when, in nanoseconds.
    since_ns: u64,
    /// The first cell that is not laid yet.
    cell: u64,
}

impl<'a> Layer<'a> {
    fn new(tape: &'a mut Tape, case: &'a Case, recorded: &'a [Recorded]) -> Self {
        let drives = Drives::new(&case.bench);
        let source = drives.source();
        Self { tape, case, recorded, drives, source, since_ns: 0, cell: 0 }
    }

    fn lay(mut self, events: &[Event]) {
        for event in events {
            let before = self.drives;
            match event.action {
                Action::Select(mask) => self.drives.select(mask, &self.case.bench),
                Action::Motor(mask) => self.drives.motor(mask, event.at_ns),
                Action::Side(side) => self.drives.set_side(side),
                Action::Step(direction) => self.drives.step(direction, &self.case.bench),
                Action::PollStatus => {
                    let lines = self.lines_at(event.at_ns);
                    self.tape.lines.push(lines);
                    continue;
                }
                Action::End => {
                    self.fill_to(event.at_ns);
                    continue;
                }
                _ => continue,
            }
            self.changed(before, event);
        }
    }

    /// A drive line changed: from here on bits may come from elsewhere.
    fn changed(&mut self, before: Drives, event: &Event) {
        let step = matches!(event.action, Action::Step(_)) && self.drives.selected().is_some();
        if before == self.drives && !step {
            return;
        }
        let window_ns = if step { STEP_WINDOW_NS } else { LINE_WINDOW_NS };
        self.tape.lingering.push((before, event.at_ns + window_ns));

        self.fill_to(event.at_ns);
        let bit_ns = self.tape.bit_ns;
        let ambiguous = (event.at_ns + window_ns) / bit_ns - event.at_ns / bit_ns;
        let first = self.tape.bits.len();
        let last = first + ambiguous as usize;
        // A change of the drive, the side or the cylinder makes the register invalid. Of a motor's
        // start or stop, of a step that moves nothing and of changes while nothing is read the
        // text does not speak: either is right.
        let source = self.drives.source();
        let open = matches!(event.action, Action::Motor(_)) || source == self.source;
        self.tape.switches.push(Switch { first, last, at_ns: event.at_ns, open });
        if source != self.source {
            if last > first {
                self.tape.free.push((first, last));
            }
            self.source = source;
            self.since_ns = event.at_ns;
        }
    }

    /// Lays the cells that end at or before a moment from the source so far.
    fn fill_to(&mut self, until_ns: u64) {
        let cell = until_ns / self.tape.bit_ns;
        let count = (cell - self.cell) as usize;
        match self.source {
            Source::Track { drive, cylinder, side } => {
                self.mark_indexes(drive, count, until_ns);
                self.fill_from_track(drive, cylinder, side, count);
            }
            Source::None if count > 0 => self.fill_without_drive(count, cell),
            Source::None => {}
        }
        self.cell = cell;
    }

    /// Notes the indexes of the next `count` cells: the begin of cell 0, at or after the source's
    /// own begin and before its end (operations of a moment come before its index).
    fn mark_indexes(&mut self, drive: u8, count: usize, until_ns: u64) {
        let bench = &self.case.bench.drives[usize::from(drive)];
        let turn = u64::from(bench.turn_bits);
        let mut after = (turn - (u64::from(bench.start_bit) + self.cell) % turn) % turn;
        while after <= count as u64 {
            let (position, at_ns) =
                (self.tape.bits.len() + after as usize, (self.cell + after) * self.tape.bit_ns);
            if at_ns >= self.since_ns && at_ns < until_ns {
                let unsure = |s: &Switch| position >= s.first && position <= s.last && !s.open;
                let close = at_ns < self.since_ns + STEP_WINDOW_NS
                    && self.tape.switches.last().is_some_and(unsure);
                let chance = if close { Chance::Maybe } else { Chance::Sure };
                self.tape.index_marks.push((position, chance));
                self.tape.wraps.push(position);
            }
            after += turn;
        }
    }

    fn fill_from_track(&mut self, drive: u8, cylinder: u8, side: u8, count: usize) {
        let bench = &self.case.bench.drives[usize::from(drive)];
        let turn = bench.turn_bits as usize;
        let cell = ((u64::from(bench.start_bit) + self.cell) % u64::from(bench.turn_bits)) as usize;
        let track =
            self.case.tracks.iter().position(|track| {
                (track.drive, track.cylinder, track.side) == (drive, cylinder, side)
            });
        let from = self.tape.bits.len();
        let to = from + count;
        let writable = !bench.write_protected;
        let pass = Pass { from, to, track, cell, turn, writable };
        self.tape.passes.push(pass);
        match track {
            Some(track) => match self.recorded.get(track) {
                Some(recorded) => {
                    self.tape.bits.push_cyclic(&recorded.stream, cell, count);
                    self.tape.add_free(from, to, |at, count| {
                        recorded.free_window(pass.cell_at(at), count)
                    });
                }
                None => {
                    self.tape.bits.push_cyclic(self.case.tracks[track].medium.track(), cell, count);
                }
            },
            None => push_repeated(&mut self.tape.bits, 0, count),
        }
    }

    fn fill_without_drive(&mut self, count: usize, cell: u64) {
        let bits = &mut self.tape.bits;
        match self.case.profile.no_drive_read {
            NoDriveRead::Zeros => push_repeated(bits, 0, count),
            NoDriveRead::Ones => push_repeated(bits, !0, count),
            NoDriveRead::Noise => {
                self.tape.free.push((bits.len(), bits.len() + count));
                push_repeated(bits, 0, count);
            }
            // No bits: the next one comes in a later cell.
            NoDriveRead::Nothing => {
                self.tape.stretches.push(Stretch { bit: bits.len(), cell });
            }
        }
    }

    /// The lines at a status read: those of the moment, free where the drives of a moment ago, or
    /// an edge in time, would show others.
    fn lines_at(&mut self, at_ns: u64) -> Lines {
        self.tape.lingering.retain(|(_, until_ns)| *until_ns >= at_ns);
        let bit_ns = self.case.profile.channel_bit_ns;
        let jitter_ns = u64::from(self.case.profile.poll_jitter);
        let at = |drives: &Drives| {
            drives.lines(&self.case.bench, bit_ns, at_ns, LINE_WINDOW_NS, jitter_ns)
        };
        let (value, mut free) = at(&self.drives);
        for (drives, _) in &self.tape.lingering {
            let (old, old_free) = at(drives);
            let differ = Status::from_bits(old.to_bits() ^ value.to_bits());
            free = free.with(differ, true).with(old_free, true);
        }
        Lines { value, free }
    }
}

fn push_repeated(bits: &mut ChannelBits, word: u64, count: usize) {
    for begin in (0..count).step_by(64) {
        bits.push(word, (count - begin).min(64));
    }
}
