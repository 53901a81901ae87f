//! A walk through a case, counting what it brings about. It judges nothing.
//!
//! One nominal controller of the `sync-dma` profile, a bit at a time, without slack, jitter or
//! latency: enough to tell whether the generator leads anywhere.

use crate::generate::image_turn;
use crate::generate::track::stepped;
use std::collections::{BTreeMap, VecDeque};
use trackproof_contract::{
    Action, Case, ChannelBits, ChannelKind, Event, MAX_DRIVES, Medium, Operation, Start, Track,
    Underrun, WriteSource, words_to_send,
};

/// A cover point: what, and which of several (a phase, a level, …).
pub(super) type Point = (&'static str, u64);

/// How many cases reached each point.
#[derive(Debug, Default)]
pub(super) struct Reached {
    cases: u64,
    /// The number of cases, and the last of them.
    points: BTreeMap<Point, (u64, u64)>,
}

impl Reached {
    /// How many cases reached a point.
    pub(super) fn count(&self, point: Point) -> u64 {
        self.points.get(&point).map_or(0, |(count, _)| *count)
    }

    fn add(&mut self, point: Point) {
        let (count, last) = self.points.entry(point).or_default();
        if *last != self.cases {
            (*count, *last) = (*count + 1, self.cases);
        }
    }
}

const W: u64 = 16;
const D: u64 = 3;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Transfer {
    None,
    Waiting { start: Start, words: u64 },
    Running { start: Start, wanted: u64, stored: u64, words: u64 },
    Writing { start: Start, open: bool },
}

/// A track while the case runs.
struct Recorded {
    place: (u8, u8, u8),
    bits: ChannelBits,
    /// Which of them were written by the case.
    written: ChannelBits,
    image: bool,
    real: bool,
}

impl Recorded {
    fn of(track: &Track, case: &Case) -> Self {
        let turn_bits = case.bench.drives[usize::from(track.drive)].turn_bits as usize;
        let bits = image_turn(track, turn_bits).unwrap_or_else(|| track.medium.track().clone());
        Self {
            place: (track.drive, track.cylinder, track.side),
            written: ChannelBits::zeros(bits.len()),
            bits,
            image: track.medium.layout().is_some(),
            real: matches!(track.medium, Medium::ChannelBits { kind: ChannelKind::Real, .. }),
        }
    }
}

/// A write under way.
#[derive(Default)]
struct Serialiser {
    /// Words that were not fetched yet.
    owed: VecDeque<u64>,
    word: u64,
    bits_left: u64,
    cells: u64,
    /// Whether it copies what came from an image.
    copies_image: bool,
}

/// The walk's state.
pub(super) struct Walk<'a> {
    case: &'a Case,
    reached: &'a mut Reached,
    tracks: Vec<Recorded>,
    cells: u64,
    selected: Option<usize>,
    motors: u8,
    side: u8,
    cylinders: [u8; MAX_DRIVES],
    register: u64,
    valid_bits: u64,
    sync: u64,
    hardware_sync: bool,
    counter: u64,
    byte_counter: u64,
    since_match: u64,
    transfer: Transfer,
    number: Option<u32>,
    /// Words that wait for service, or to be written.
    fifo: VecDeque<u64>,
    lost_in_row: u64,
    /// Words taken, with the read that they are of and whether they came from an image.
    taken: Vec<(u32, u64, bool)>,
    serialiser: Serialiser,
    /// Whether a match was made just now.
    match_now: bool,
    /// Whether the last write came to its end and nothing was done since.
    after_write: bool,
}

impl<'a> Walk<'a> {
    /// Walks through a case and adds what it reaches to `reached`.
    pub(super) fn through(case: &'a Case, events: &[Event], reached: &'a mut Reached) {
        reached.cases += 1;
        let mut cylinders = [0; MAX_DRIVES];
        for (cylinder, drive) in cylinders.iter_mut().zip(&case.bench.drives) {
            *cylinder = drive.cylinder;
        }
        let mut walk = Self {
            case,
            reached,
            tracks: case.tracks.iter().map(|track| Recorded::of(track, case)).collect(),
            cells: 0,
            selected: None,
            motors: 0,
            side: 0,
            cylinders,
            register: 0,
            valid_bits: 16,
            sync: 0x4489,
            hardware_sync: false,
            counter: 0,
            byte_counter: 0,
            since_match: 1_000,
            transfer: Transfer::None,
            number: None,
            fifo: VecDeque::new(),
            lost_in_row: 0,
            taken: Vec::new(),
            serialiser: Serialiser::default(),
            match_now: false,
            after_write: false,
        };
        let cell_ns = u64::from(case.profile.channel_bit_ns);
        for event in events {
            while (walk.cells + 1) * cell_ns <= event.at_ns {
                walk.bit();
            }
            walk.act(event, event.at_ns % cell_ns);
        }
    }

    fn reach(&mut self, what: &'static str, which: u64) {
        self.reached.add((what, which));
    }

    /// The angle of the cell that is under way, where the selected drive has one.
    fn angle(&self) -> Option<(usize, u64)> {
        let drive = self.selected.filter(|drive| self.motors >> drive & 1 == 1)?;
        let bench = &self.case.bench.drives[drive];
        let angle = (self.cells + u64::from(bench.start_bit)) % u64::from(bench.turn_bits);
        Some((drive, angle))
    }

    /// The track that passes now, and where.
    fn passing(&self) -> Option<(usize, usize)> {
        let (drive, angle) = self.angle()?;
        let place = (drive as u8, self.cylinders[drive], self.side);
        let track = self.tracks.iter().position(|track| track.place == place)?;
        Some((track, angle as usize))
    }

    fn bit(&mut self) {
        let angle = self.angle();
        if let (Some((_, 0)), Transfer::Waiting { start: start @ Start::Index, words }) =
            (angle, self.transfer)
        {
            self.transfer = Transfer::Running { start, wanted: words, stored: 0, words };
            self.reach("start at index, by counter", self.counter);
        }
        self.open_gate(angle.is_some_and(|(_, angle)| angle == 0));
        let gate = self.serialise();
        let passing = self.passing();
        let bit = !gate && passing.is_some_and(|(track, at)| self.tracks[track].bits.get(at));
        let running = matches!(self.transfer, Transfer::Running { .. });
        if running && passing.is_some_and(|(track, at)| self.tracks[track].written.get(at)) {
            self.reach("read of what was written", 0);
        }
        self.register = self.register << 1 | u64::from(bit);
        self.cells += 1;
        self.valid_bits = if gate { 0 } else { self.valid_bits + 1 };
        self.counter += 1;
        self.byte_counter += 1;
        self.since_match += 1;
        let matched =
            self.hardware_sync && self.valid_bits >= 16 && self.register & 0xffff == self.sync;
        self.match_now = matched;
        if matched {
            self.matched(angle.map_or(u64::MAX, |(_, angle)| angle));
        }
        if self.counter == W {
            self.counter = 0;
            self.complete();
        }
    }

    /// Opens the gate for the cell that begins, if a write is to start there.
    fn open_gate(&mut self, index: bool) {
        let Transfer::Writing { start, open: false } = self.transfer else { return };
        let due = match start {
            Start::Now => true,
            Start::Match => self.match_now,
            Start::Index => index,
        };
        if due && self.fifo.is_empty() {
            if start != Start::Now {
                self.reach("start of a write missed", start as u64);
            }
        } else if due {
            self.transfer = Transfer::Writing { start, open: true };
            self.reach("gate opens", start as u64);
            let drive = self.selected.map(|drive| &self.case.bench.drives[drive]);
            self.reach("gate opens with protect", drive.map_or(2, |on| on.write_protected.into()));
            let target = self.passing().map(|(track, _)| &self.tracks[track]);
            let (image, real) = target.map_or((false, false), |track| (track.image, track.real));
            if image {
                self.reach("write on an image", 0);
            }
            if self.serialiser.copies_image && real {
                self.reach("image copied to a real medium", 0);
            }
        }
    }

    /// Writes the cell that begins, if the gate is open; says whether it is.
    fn serialise(&mut self) -> bool {
        let Transfer::Writing { open: true, .. } = self.transfer else { return false };
        let mut hold = false;
        if self.serialiser.bits_left == 0 {
            let underrun = self.case.profile.underrun;
            if let Some(word) = self.fifo.pop_front() {
                (self.serialiser.word, self.serialiser.bits_left) = (word, W);
            } else if self.serialiser.owed.is_empty() {
                self.end_write();
                return false;
            } else {
                self.reach("underrun", underrun as u64);
                match underrun {
                    Underrun::Repeat => self.serialiser.bits_left = W,
                    Underrun::Zeros => {
                        (self.serialiser.word, self.serialiser.bits_left) = (0, W);
                    }
                    Underrun::CloseGate => {
                        (self.transfer, self.number) = (Transfer::None, None);
                        return false;
                    }
                    Underrun::Hold => hold = true,
                }
            }
        }
        let mut bit = false;
        if !hold {
            self.serialiser.bits_left -= 1;
            bit = self.serialiser.word >> self.serialiser.bits_left & 1 == 1;
        }
        self.serialiser.cells += 1;
        let cells = self.serialiser.cells;
        if let Some((drive, angle)) = self.angle() {
            let drive = &self.case.bench.drives[drive];
            let (turn, protected) = (u64::from(drive.turn_bits), drive.write_protected);
            if angle == 0 && cells > 1 {
                self.reach("write over the index", 0);
            }
            if cells == turn + 1 {
                self.reach("write longer than a turn", 0);
            }
            if let (Some((track, at)), false) = (self.passing(), protected) {
                self.tracks[track].bits.set(at, bit);
                self.tracks[track].written.set(at, true);
            }
        }
        true
    }

    fn end_write(&mut self) {
        (self.transfer, self.number) = (Transfer::None, None);
        let words = self.serialiser.cells / W;
        self.reach("write ends after words", words.min(3));
        self.after_write = true;
    }

    fn matched(&mut self, angle: u64) {
        let phase = self.counter % W;
        match self.transfer {
            Transfer::Waiting { start: start @ Start::Match, words } => {
                self.transfer = Transfer::Running { start, wanted: words, stored: 0, words };
                self.reach("start match, by counter", phase);
                self.reach("start match, by angle", angle % W);
                if angle < 15 {
                    self.reach("start match over index", 0);
                }
            }
            Transfer::Running { .. } => {
                self.reach("match in a running read, by partial word", phase);
                if angle < 15 {
                    self.reach("running match over index", 0);
                }
                if self.since_match <= 16 {
                    self.reach("match so many bits after one", self.since_match);
                }
                if phase == 0 {
                    self.since_match = 0;
                    return;
                }
            }
            _ => {}
        }
        self.since_match = 0;
        (self.counter, self.byte_counter) = (0, 0);
    }

    fn complete(&mut self) {
        let Transfer::Running { wanted, .. } = &mut self.transfer else {
            return;
        };
        if *wanted == 0 {
            return;
        }
        if self.fifo.len() as u64 == D {
            self.lost_in_row += 1;
            let row = self.lost_in_row.min(5);
            self.reach("words lost so far in a row", row);
            return;
        }
        *wanted -= 1;
        self.fifo.push_back(self.register & 0xffff);
        if self.lost_in_row > 0 {
            let lost = self.lost_in_row.min(5);
            self.reach("goes on after losing so many", lost);
            self.lost_in_row = 0;
        }
        let level = self.fifo.len() as u64;
        self.reach("fifo filled to", level);
    }

    fn state(&self) -> u64 {
        match self.transfer {
            Transfer::None => 0,
            Transfer::Waiting { .. } => 1,
            Transfer::Running { .. } => 2,
            Transfer::Writing { open: false, .. } => 3,
            Transfer::Writing { open: true, .. } => 4,
        }
    }

    /// What a write that is cut off was at: it waited, for what; or wrote, with words waiting or
    /// not, or its last one.
    fn write_phase(&self) -> Option<u64> {
        let Transfer::Writing { start, open } = self.transfer else { return None };
        Some(match (start, open) {
            (_, true) if !self.fifo.is_empty() => 3,
            (_, true) if !self.serialiser.owed.is_empty() => 4,
            (_, true) => 5,
            (start, false) => start as u64,
        })
    }

    /// A line that moves ends a write.
    fn drop_write(&mut self) {
        if let Transfer::Writing { open: true, .. } = self.transfer {
            (self.transfer, self.number) = (Transfer::None, None);
            self.fifo.clear();
        }
    }

    fn act(&mut self, event: &Event, in_cell_ns: u64) {
        let state = self.state();
        let raw =
            matches!(self.transfer, Transfer::Running { start: Start::Now | Start::Index, .. });
        if !matches!(event.action, Action::Service { .. } | Action::End) && self.after_write {
            self.after_write = false;
            self.reach("after a write", kind(event.action));
        }
        match event.action {
            Action::Service { transfer } => self.serve(transfer),
            Action::Write { transfer, start } => {
                self.reach("write requested while", state);
                if state == 0 {
                    self.request_write(transfer, start);
                }
            }
            Action::Read { transfer, words, start } => {
                self.reach("request while", state);
                self.reach("request of words", u64::from(words).min(2));
                if state == 0 {
                    self.request(transfer, u64::from(words), start);
                }
            }
            Action::Abort | Action::Reset => {
                let abort = event.action == Action::Abort;
                self.reach(if abort { "abort while" } else { "reset while" }, state);
                if matches!(self.transfer, Transfer::Waiting { start: Start::Index, .. }) {
                    self.reach("cut off while waiting for the index", u64::from(abort));
                }
                if let Some(phase) = self.write_phase() {
                    self.reach(if abort { "write aborted" } else { "write reset" }, phase);
                }
                if state == 2 {
                    let fifo = self.fifo.len() as u64;
                    self.reach(if abort { "abort at level" } else { "reset at level" }, fifo);
                }
                (self.transfer, self.number) = (Transfer::None, None);
                self.fifo.clear();
                if !abort {
                    (self.sync, self.hardware_sync, self.counter) = (0x4489, false, 0);
                }
            }
            Action::Select(mask) => {
                let next = (mask != 0).then(|| mask.trailing_zeros() as usize);
                if next != self.selected {
                    self.reach("select changes while", state);
                    self.drop_write();
                }
                self.selected = next;
                self.valid_bits = 0;
            }
            Action::Motor(mask) => {
                if mask != self.motors {
                    self.reach("motor changes while", state);
                    self.drop_write();
                }
                self.motors = mask;
            }
            Action::Side(side) => {
                if side != self.side {
                    self.reach("side changes while", state);
                    self.drop_write();
                }
                (self.side, self.valid_bits) = (side, 0);
            }
            Action::Step(direction) => {
                self.reach("step while", state);
                let Some(drive) = self.selected else { return };
                if state != 4 {
                    self.cylinders[drive] = stepped(self.cylinders[drive], direction);
                    self.valid_bits = 0;
                }
            }
            Action::SyncWord(word) => {
                if word != self.sync {
                    self.reach("sync word changes while", state);
                }
                self.sync = word;
            }
            Action::HardwareSync(on) => {
                if on != self.hardware_sync {
                    self.reach(if on { "sync on while" } else { "sync off while" }, state);
                    if raw {
                        self.reach("sync switched in a raw read", u64::from(on));
                    }
                }
                self.hardware_sync = on;
            }
            Action::PollStatus | Action::PollByte => {
                let cell_ns = u64::from(self.case.profile.channel_bit_ns);
                let late = in_cell_ns <= 100;
                if late || cell_ns - in_cell_ns <= 100 {
                    self.reach("poll about a bit's end while", state);
                    let ends = (self.byte_counter + u64::from(!late)).is_multiple_of(8);
                    if ends && event.action == Action::PollByte {
                        self.reach("byte poll about its completion", u64::from(late));
                    }
                }
                self.reach("poll so many bits after a match", self.since_match.min(3));
            }
            _ => {}
        }
    }

    fn request(&mut self, transfer: u32, words: u64, start: Start) {
        self.reach("start", start as u64);
        if words == 0 {
            return;
        }
        self.number = Some(transfer);
        self.lost_in_row = 0;
        self.transfer = match start {
            Start::Now => Transfer::Running { start, wanted: words, stored: 0, words },
            Start::Match | Start::Index => Transfer::Waiting { start, words },
        };
    }

    fn request_write(&mut self, transfer: u32, start: Start) {
        self.reach("write requested", start as u64);
        let mut words = Vec::new();
        let taken = &self.taken;
        let of = |read| taken.iter().filter(move |(of, ..)| *of == read).map(|(_, word, _)| *word);
        words_to_send(self.case, transfer, of, &mut words);
        self.reach("write of words", (words.len() as u64).min(2));
        let mut requests = self.case.program.iter().filter(|operation| operation.is_request());
        let mut copies_image = false;
        if let Some(Operation::Write {
            source: WriteSource::Copy { transfer, align, .. }, ..
        }) = requests.nth(transfer as usize)
        {
            copies_image = self.taken.iter().any(|(of, _, image)| of == transfer && *image);
            let (aligned, found) = (align.is_some(), !words.is_empty());
            self.reach("copy", u64::from(aligned) * 2 + u64::from(found));
        }
        if words.is_empty() {
            return;
        }
        self.number = Some(transfer);
        self.serialiser = Serialiser { owed: words.into(), copies_image, ..Serialiser::default() };
        self.transfer = Transfer::Writing { start, open: false };
    }

    fn serve(&mut self, transfer: u32) {
        if self.number != Some(transfer) {
            return;
        }
        let image = self.passing().is_some_and(|(track, _)| self.tracks[track].image);
        match &mut self.transfer {
            Transfer::Writing { .. } if (self.fifo.len() as u64) < D => {
                self.fifo.extend(self.serialiser.owed.pop_front());
            }
            Transfer::Running { stored, words, .. } => {
                let Some(word) = self.fifo.pop_front() else { return };
                self.taken.push((transfer, word, image));
                *stored += 1;
                if stored == words {
                    let turn = u64::from(self.case.bench.drives[0].turn_bits) / W;
                    let (many, words) = (*words > turn, *words);
                    (self.transfer, self.number) = (Transfer::None, None);
                    self.reach("done, longer than a turn", u64::from(many));
                    self.reach("done after words", words.min(3));
                }
            }
            _ => {}
        }
    }
}

/// The number of an action's kind.
fn kind(action: Action) -> u64 {
    match action {
        Action::Select(_) => 1,
        Action::Motor(_) => 2,
        Action::Side(_) => 3,
        Action::Step(_) => 4,
        Action::SyncWord(_) => 5,
        Action::HardwareSync(_) => 6,
        Action::Read { .. } => 7,
        Action::Abort => 8,
        Action::PollStatus => 9,
        Action::Output(_) => 10,
        Action::Reset => 11,
        Action::PollByte => 12,
        Action::Write { .. } => 13,
        _ => 0,
    }
}
