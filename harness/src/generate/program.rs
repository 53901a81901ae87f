//! The vocabulary that programs are written in: one operation after the other, with its time.
//!
//! What the host does in which order is `pattern.rs`'s; here is how a wait, a read, a write or any
//! single operation is drawn so that it falls where something happens. What a write sends is
//! `sending.rs`'s.

use super::choices::Choices;
use super::frame::{Frame, Size};
use super::spare::Spare;
use super::track::stepped;
use trackproof_contract::{
    Bench, Direction, MAX_DRIVES, Operation, Start, Track, WriteSource, YesNo,
};

/// The kinds of operation, each with its number in a set of kinds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Wait,
    Select,
    Motor,
    Side,
    Step,
    SyncWord,
    HardwareSync,
    Read,
    Abort,
    PollStatus,
    Output,
    Reset,
    PollByte,
    Write,
}

impl Kind {
    /// All of them.
    pub(super) const ALL: [Self; 14] = [
        Self::Wait,
        Self::Select,
        Self::Motor,
        Self::Side,
        Self::Step,
        Self::SyncWord,
        Self::HardwareSync,
        Self::Read,
        Self::Abort,
        Self::PollStatus,
        Self::Output,
        Self::Reset,
        Self::PollByte,
        Self::Write,
    ];

    /// The set of kinds that programs which only read have, for a controller with or without a
    /// byte port.
    pub(super) const fn allowed(byte_port: YesNo) -> u64 {
        let reading = (1 << Self::Write as u64) - 1;
        match byte_port {
            YesNo::Yes => reading,
            YesNo::No => reading & !(1 << Self::PollByte as u64),
        }
    }
}

/// Which head is where, as far as the program has got.
#[derive(Debug, Clone, Copy)]
pub(super) struct Head {
    /// The drive that was selected last, whether or not it still is.
    pub(super) drive: u8,
    pub(super) side: u8,
    cylinders: [u8; MAX_DRIVES],
}

impl Head {
    /// Where all begin.
    pub(super) fn at_rest(bench: &Bench) -> Self {
        let mut cylinders = [0; MAX_DRIVES];
        for (cylinder, drive) in cylinders.iter_mut().zip(&bench.drives) {
            *cylinder = drive.cylinder;
        }
        Self { drive: 0, side: 0, cylinders }
    }

    /// The cylinder of the drive that was selected last.
    pub(super) const fn cylinder(&self) -> u8 {
        self.cylinders[self.drive as usize]
    }

    fn follow(&mut self, operation: &Operation) {
        match operation {
            Operation::Select { mask } if *mask != 0 => self.drive = mask.trailing_zeros() as u8,
            Operation::Side { side } => self.side = *side,
            Operation::Step { direction } => {
                let cylinder = &mut self.cylinders[usize::from(self.drive)];
                *cylinder = stepped(*cylinder, *direction);
            }
            _ => {}
        }
    }
}

/// Where operations fall about the end of a channel bit, in nanoseconds: on it, about the edges of
/// the usual poll jitter, and where nothing is near.
const ABOUT_EDGE_NS: [i64; 9] = [0, -1, 1, -99, 99, -100, 100, -50, 500];

/// Most words of a write that is served too slowly.
const SLOW_WORDS: u64 = 12;

/// A program while it is written.
pub(super) struct Script<'a, C> {
    pub(super) choices: &'a mut C,
    pub(super) frame: &'a Frame,
    pub(super) bench: &'a Bench,
    pub(super) tracks: &'a [Track],
    pub(super) spare: &'a mut Spare,
    pub(super) program: &'a mut Vec<Operation>,
    /// When the next operation happens.
    pub(super) now_ns: u64,
    pub(super) head: Head,
    /// How many requests there are.
    pub(super) requests: u32,
    /// The number among them of the last read.
    pub(super) last_read: Option<u32>,
}

impl<C: Choices> Script<'_, C> {
    /// Appends an operation.
    pub(super) fn put(&mut self, operation: Operation) {
        self.now_ns += match operation {
            Operation::Wait { ns } => ns,
            _ => u64::from(self.bench.access_ns),
        };
        self.head.follow(&operation);
        if operation.is_request() {
            if matches!(operation, Operation::Read { .. }) {
                self.last_read = Some(self.requests);
            }
            self.requests += 1;
        }
        self.program.push(operation);
    }

    /// Appends a wait, unless it is for nothing.
    pub(super) fn wait(&mut self, ns: u64) {
        if ns > 0 {
            self.put(Operation::Wait { ns });
        }
    }

    /// Waits so that the next operation happens `ns` after the last one.
    pub(super) fn gap(&mut self, ns: u64) {
        self.wait(ns.saturating_sub(u64::from(self.bench.access_ns)));
    }

    /// Waits up to a moment, if it is not past.
    pub(super) fn wait_until(&mut self, ns: u64) {
        self.wait(ns.saturating_sub(self.now_ns));
    }

    /// Waits up to the end of a channel bit, or close to it; at most two cells.
    pub(super) fn wait_for_edge(&mut self) {
        let edge_ns = self.now_ns.next_multiple_of(self.frame.cell_ns) + self.frame.cell_ns;
        let about_ns = self.choices.pick(&ABOUT_EDGE_NS);
        self.wait_until(edge_ns.saturating_add_signed(about_ns));
    }

    /// Appends an operation of one kind, with values that suit it.
    pub(super) fn put_any(&mut self, kind: Kind) {
        let operation = self.any(kind);
        self.put(operation);
    }

    /// The kind of one of this case's random operations.
    pub(super) fn kind(&mut self) -> Kind {
        Kind::ALL[self.choices.member(self.frame.operations) as usize]
    }

    /// An operation of one kind, with values that suit it.
    pub(super) fn any(&mut self, kind: Kind) -> Operation {
        match kind {
            Kind::Wait => Operation::Wait { ns: self.some_ns() },
            Kind::Select => Operation::Select { mask: self.some_select() },
            Kind::Motor => Operation::Motor { mask: self.some_motor() },
            Kind::Side => Operation::Side { side: self.choices.below(2) as u8 },
            Kind::Step => {
                Operation::Step { direction: self.choices.pick(&[Direction::Out, Direction::In]) }
            }
            Kind::SyncWord => Operation::SyncWord { word: self.some_sync() },
            Kind::HardwareSync => Operation::HardwareSync { on: !self.choices.chance(1, 3) },
            Kind::Read => {
                let start = self.any_start();
                let words = self.few_words();
                self.read(words, start).0
            }
            Kind::Write => {
                let start = self.any_start();
                let words = self.few_words();
                let source = self.some_source(words);
                self.write(source, words, start).0
            }
            Kind::Abort => Operation::Abort,
            Kind::PollStatus => Operation::PollStatus,
            Kind::Output => Operation::Output { value: self.choices.bits(8) as u8 },
            Kind::Reset => Operation::Reset,
            Kind::PollByte => Operation::PollByte,
        }
    }

    /// A time of a size at which something changes: within a bit, bits, words, part of a turn.
    pub(super) fn some_ns(&mut self) -> u64 {
        let (cell_ns, word_ns) = (self.frame.cell_ns, self.frame.word_ns());
        match self.choices.weighted(&[4, 4, 5, 4, 2, 2]) {
            0 => self.choices.between(1, cell_ns),
            1 => cell_ns * self.choices.between(1, 2 * self.frame.word_bits),
            2 => self.choices.between(1, 4 * word_ns),
            3 => word_ns * self.choices.between(1, 8),
            4 => self.choices.between(1, self.frame.span_ns() / 2),
            // What drivers let pass between steps, and what they should not.
            _ => self.choices.pick(&[4_000, 1_000, 3_000_000 / 16]),
        }
    }

    /// One drive mostly, none sometimes.
    fn some_select(&mut self) -> u8 {
        if self.choices.chance(1, 4) { 0 } else { 1 << self.some_drive() }
    }

    /// All motors mostly, or any.
    fn some_motor(&mut self) -> u8 {
        let all = (1 << self.frame.drives) - 1;
        if self.choices.chance(1, 2) { self.choices.below(all + 1) as u8 } else { all as u8 }
    }

    /// The number of a drive.
    pub(super) fn some_drive(&mut self) -> u8 {
        self.choices.below(self.frame.drives as u64) as u8
    }

    /// A sync word: the case's, the other one, that of power-up, or any.
    pub(super) fn some_sync(&mut self) -> u64 {
        match self.choices.weighted(&[5, 5, 2, 2]) {
            0 => self.frame.sync,
            1 => self.frame.other_sync,
            2 => self.frame.default_sync,
            _ => self.choices.bits(self.frame.register_bits as u32),
        }
    }

    /// Any way to start a transfer.
    pub(super) fn any_start(&mut self) -> Start {
        self.choices.pick(&[Start::Now, Start::Match, Start::Index])
    }

    /// A read of `words` and about how long it lasts, in nanoseconds from its request.
    pub(super) fn read(&mut self, words: u64, start: Start) -> (Operation, u64) {
        let words = words.min(self.frame.max_words);
        let lasts_ns = self.lasts_ns(words, start);
        let service = self.service(words, lasts_ns);
        (Operation::Read { words: words as u32, start, service }, lasts_ns)
    }

    /// A write of about so many words, and about how long it lasts.
    pub(super) fn write(
        &mut self,
        source: WriteSource,
        words: u64,
        start: Start,
    ) -> (Operation, u64) {
        let lead_ns = self.frame.lead_bits * self.frame.cell_ns;
        let lasts_ns = lead_ns + self.lasts_ns(words, start);
        let mut service = self.service(words, lasts_ns);
        // Many words that come too late tell no more than a few, and leave very much open.
        let word_ns = self.frame.word_ns();
        if words > SLOW_WORDS && service.interval_ns >= word_ns {
            service.interval_ns = word_ns - self.frame.cell_ns / 2 - 1;
        }
        (Operation::Write { source, start, service }, lasts_ns)
    }

    /// About how long a transfer lasts, in nanoseconds from its request.
    fn lasts_ns(&mut self, words: u64, start: Start) -> u64 {
        let span_ns = self.frame.span_ns();
        let begins_ns = match start {
            Start::Now => self.choices.below(self.frame.word_bits) * self.frame.cell_ns,
            Start::Match => self.choices.below(span_ns),
            Start::Index => self.index_after(self.now_ns) - self.now_ns,
        };
        (begins_ns + words * self.frame.word_ns()).min(2 * span_ns)
    }

    /// Appends a read and returns about how long it lasts.
    pub(super) fn put_read(&mut self, words: u64, start: Start) -> u64 {
        let (operation, lasts_ns) = self.read(words, start);
        self.put(operation);
        lasts_ns
    }

    /// Appends a write and returns about how long it lasts.
    pub(super) fn put_write(&mut self, source: WriteSource, words: u64, start: Start) -> u64 {
        let (operation, lasts_ns) = self.write(source, words, start);
        self.put(operation);
        lasts_ns
    }

    /// Few words: none, one, some.
    pub(super) fn few_words(&mut self) -> u64 {
        match self.choices.weighted(&[2, 3, 11]) {
            0 => 0,
            1 => 1,
            _ => self.choices.between(2, 8),
        }
    }

    /// Words of part of a turn, a turn, a little more, or as many as a request can name.
    pub(super) fn turn_words(&mut self) -> u64 {
        let turn = self.frame.span_bits() / self.frame.word_bits;
        match self.choices.weighted(&[6, 4, 4, 1]) {
            0 => self.choices.between(turn / 4, turn),
            1 => turn,
            2 => turn + self.choices.between(1, 1 + turn / 8),
            _ => self.frame.max_words,
        }
    }

    /// The next index of the drive that was selected last, later than a moment.
    pub(super) fn index_after(&self, ns: u64) -> u64 {
        let drive = &self.bench.drives[usize::from(self.head.drive)];
        let (turn_bits, start_bit) = (u64::from(drive.turn_bits), u64::from(drive.start_bit));
        let turns = (ns / self.frame.cell_ns + start_bit) / turn_bits + 1;
        (turns * turn_bits - start_bit) * self.frame.cell_ns
    }

    /// How often a pattern goes round: less on whole tracks, which last.
    pub(super) fn rounds(&mut self, most: u64) -> u64 {
        let most = if self.frame.size == Size::Whole { most.min(2) } else { most };
        self.choices.between(1, most)
    }
}
