//! A toy controller with faults to switch on: subjects for the minimiser's own tests.
//!
//! It reads and writes as semantics.md says, roughly; all that matters here is that its faults
//! have the shape of real ones: each needs operations, numbers and a content that go together.
//! What is written on an image stays as it was written: the toy decodes nothing.

use crate::generate::image_turn;
use std::collections::VecDeque;
use trackproof_contract::{
    Action, Case, ChannelBits, Direction, Item, Observed, Start, Status, timeline, words_to_send,
};

/// What is wrong with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fault {
    None,
    /// Matches only where the bit count since power-up is even.
    EvenPhase,
    /// Only a transfer's first misaligned match realigns.
    RealignsOnce,
    /// A transfer but the first begins with the last word from before it.
    StaleWord,
    /// A bit is lost where a raw read passes the index.
    SlipsAtWrap,
    /// A match that lies across the index is not found.
    MissesAtWrap,
    /// An output with bit 0 set turns the track 00 bit of the status over.
    OutputInStatus,
    /// After an overrun words are shifted by half a word.
    OverrunLosesHalf,
    /// While two motors run the status is that of the drive that is not selected.
    OtherDrivesStatus,
    /// Matches realign a raw read while hardware sync is off.
    ComparatorStaysOn,
    /// A new sync word counts a word later.
    SyncWordLate,
    /// Abort leaves the FIFO as it is.
    AbortKeepsWords,
    /// A byte that completes less than 2 channel bits before a poll shows no flag.
    ByteEdge,
    /// A read that waits for a match starts by itself after 300 channel bits.
    StartsItself,
    /// Reset keeps hardware sync on.
    ResetKeepsEnable,
    /// Every read after the second has one word too many.
    ThirdReadLonger,
    /// The first word of a write does not come onto the medium.
    FirstWordLost,
    /// A write ends a word too early.
    LastWordLost,
    /// A write repeats its last word.
    WordTooMany,
    /// The gate stays open for the rest of the word after an abort.
    GateStaysOpen,
    /// What is written on a protected medium stays there.
    ProtectIgnored,
    /// Where no word waits only half a word of zeros is written.
    HalfUnderrun,
    /// A write ends after one turn.
    StopsAfterTurn,
    /// What is written goes to the drive that was selected before.
    WritesToOldDrive,
    /// A change of the side counts for writes only from the next one on.
    SideLate,
    /// An image is streamed without its clock bits.
    NoClockBits,
    /// A read right after a write still has what was there before.
    OldDataOnce,
}

struct Transfer {
    number: u32,
    words: u32,
    taken_in: u32,
    served: u32,
    waits: Option<Start>,
    raw: bool,
    realigned: bool,
    age: u32,
}

struct Writing {
    number: u32,
    owed: VecDeque<u64>,
    waits: Option<Start>,
    open: bool,
    word: u64,
    bits_left: u32,
    cells: u64,
    fresh: bool,
    again: bool,
}

struct Toy<'a> {
    case: &'a Case,
    fault: Fault,
    media: Vec<ChannelBits>,
    /// The media before the last write.
    old_media: Option<Vec<ChannelBits>>,
    writing: Option<Writing>,
    /// Bits that a gate which stays open still writes.
    tail: (u64, u32),
    selected_before: u8,
    write_side: u8,
    matched_now: bool,
    taken: Vec<(u32, u64)>,
    cell: u64,
    register: u64,
    valid: u32,
    counter: u32,
    sync: u64,
    old_sync: u64,
    sync_age: u64,
    enabled: bool,
    selected: u8,
    motors: u8,
    side: u8,
    heads: Vec<u8>,
    output: u8,
    transfer: Option<Transfer>,
    fifo: VecDeque<u64>,
    last_word: u64,
    error: bool,
    done: bool,
    byte: u8,
    fresh: bool,
    byte_cell: u64,
    reads: u32,
    seen: Vec<Observed>,
}

/// What the controller shows the host, and what is on the media in the end.
fn run(case: &Case, fault: Fault) -> (Vec<Observed>, Vec<ChannelBits>) {
    let media = case.tracks.iter().map(|track| {
        let turn_bits = case.bench.drives[usize::from(track.drive)].turn_bits as usize;
        match image_turn(track, turn_bits) {
            None => track.medium.track().clone(),
            Some(mut bits) => {
                let gone = fault == Fault::NoClockBits;
                (0..turn_bits).step_by(2).filter(|_| gone).for_each(|bit| bits.set(bit, false));
                bits
            }
        }
    });
    let mut events = Vec::new();
    timeline(case, &mut events);
    let mut toy = Toy {
        case,
        fault,
        media: media.collect(),
        old_media: None,
        writing: None,
        tail: (0, 0),
        selected_before: 0,
        write_side: 0,
        matched_now: false,
        taken: Vec::new(),
        cell: 0,
        register: 0,
        valid: 16,
        counter: 0,
        sync: 0x4489,
        old_sync: 0x4489,
        sync_age: 100,
        enabled: false,
        selected: 0,
        motors: 0,
        side: 0,
        heads: case.bench.drives.iter().map(|drive| drive.cylinder).collect(),
        output: 0,
        transfer: None,
        fifo: VecDeque::new(),
        last_word: 0,
        error: false,
        done: false,
        byte: 0,
        fresh: false,
        byte_cell: 0,
        reads: 0,
        seen: Vec::new(),
    };
    let bit_ns = u64::from(case.profile.channel_bit_ns);
    for event in events {
        while (toy.cell + 1) * bit_ns <= event.at_ns {
            toy.cell += 1;
            toy.shift();
        }
        toy.act(event.action, event.at_ns);
    }
    (toy.seen, toy.media)
}

/// The first thing that the faulty controller shows differently: what was due, what came.
pub(super) fn deviation(case: &Case, fault: Fault) -> Option<(&'static str, &'static str)> {
    let name = |seen: Option<&Observed>| match seen.map(|seen| seen.item) {
        None => "nothing",
        Some(Item::Word { .. }) => "word",
        Some(Item::Byte { fresh: true, .. }) => "new byte",
        Some(Item::Byte { .. }) => "byte",
        Some(Item::Status(_)) => "status",
        Some(_) => "signal",
    };
    let ((right, kept), (wrong, spoilt)) = (run(case, Fault::None), run(case, fault));
    match (0..right.len().max(wrong.len())).find(|i| right.get(*i) != wrong.get(*i)) {
        Some(at) => Some((name(right.get(at)), name(wrong.get(at)))),
        // The images are those that the faulty one streams: only what is recorded is compared.
        None if fault == Fault::NoClockBits => None,
        None => (kept != spoilt).then_some(("medium", "medium")),
    }
}

impl Toy<'_> {
    fn drive(&self) -> Option<usize> {
        let drive = self.selected.trailing_zeros() as usize;
        (drive < self.case.bench.drives.len()).then_some(drive)
    }

    fn position(&self, drive: usize) -> u64 {
        let bench = &self.case.bench.drives[drive];
        (u64::from(bench.start_bit) + self.cell) % u64::from(bench.turn_bits)
    }

    fn track(&self, drive: usize, side: u8) -> Option<usize> {
        let place = (drive as u8, self.heads[drive], side);
        self.case.tracks.iter().position(|track| (track.drive, track.cylinder, track.side) == place)
    }

    /// Writes the cell that has just passed, if the gate is open; says whether it is.
    fn write(&mut self, index: bool) -> bool {
        let matched = std::mem::take(&mut self.matched_now);
        if self.tail.1 > 0 {
            self.tail.1 -= 1;
            self.lay(self.tail.0 >> self.tail.1 & 1 == 1);
            return true;
        }
        let fault = self.fault;
        let turn = self.drive().map_or(0, |d| u64::from(self.case.bench.drives[d].turn_bits));
        let Some(writing) = &mut self.writing else { return false };
        if !writing.open {
            let due = match writing.waits {
                None | Some(Start::Now) => true,
                Some(Start::Index) => index,
                Some(Start::Match) => matched,
            };
            if !due || self.fifo.is_empty() {
                return false;
            }
            writing.open = true;
        }
        if writing.bits_left == 0 {
            if writing.fresh && fault == Fault::FirstWordLost {
                self.fifo.pop_front();
            }
            writing.fresh = false;
            let stops = fault == Fault::StopsAfterTurn && writing.cells >= turn;
            let last = writing.owed.is_empty() && self.fifo.len() == 1;
            if let Some(word) =
                self.fifo.pop_front().filter(|_| !(last && fault == Fault::LastWordLost || stops))
            {
                (writing.word, writing.bits_left) = (word, 16);
            } else if stops || writing.owed.is_empty() {
                if fault == Fault::WordTooMany && !std::mem::replace(&mut writing.again, true) {
                    writing.bits_left = 16;
                } else {
                    self.writing = None;
                    self.fifo.clear();
                    self.done = true;
                    self.old_media = self.old_media.take().filter(|_| fault == Fault::OldDataOnce);
                    return false;
                }
            } else {
                let bits = if fault == Fault::HalfUnderrun { 8 } else { 16 };
                (writing.word, writing.bits_left) = (0, bits);
            }
        }
        writing.bits_left -= 1;
        writing.cells += 1;
        let one = writing.word >> writing.bits_left & 1 == 1;
        self.lay(one);
        true
    }

    /// Lays one bit where the head has just been.
    fn lay(&mut self, one: bool) {
        let mut target = self.drive();
        if self.fault == Fault::WritesToOldDrive && self.selected_before != 0 {
            target = Some(self.selected_before.trailing_zeros() as usize);
        }
        let Some(drive) = target.filter(|drive| self.motors >> drive & 1 == 1) else { return };
        let bench = &self.case.bench.drives[drive];
        if bench.write_protected && self.fault != Fault::ProtectIgnored {
            return;
        }
        let turn = u64::from(bench.turn_bits);
        let at = (self.position(drive) + turn - 1) % turn;
        let side = if self.fault == Fault::SideLate { self.write_side } else { self.side };
        if let Some(track) = self.track(drive, side) {
            self.media[track].set(at as usize, one);
        }
    }

    /// A line that moves closes the gate.
    fn close_gate(&mut self) {
        if self.writing.as_ref().is_some_and(|writing| writing.open) {
            self.writing = None;
            self.fifo.clear();
        }
    }

    fn shift(&mut self) {
        let spinning = self.drive().filter(|drive| self.motors >> drive & 1 == 1);
        let mut bit = 0;
        let mut wrapped = false;
        if let Some(drive) = spinning {
            let turn = u64::from(self.case.bench.drives[drive].turn_bits);
            let at = (self.position(drive) + turn - 1) % turn;
            wrapped = at == 0;
            let media = self.old_media.as_ref().unwrap_or(&self.media);
            let track = self.track(drive, self.side);
            bit = track.map_or(0, |track| u64::from(media[track].get(at as usize)));
            if self.write(wrapped) {
                (bit, self.valid) = (0, 0);
            }
        } else if self.write(false) {
            self.valid = 0;
        }
        if let Some(transfer) = &mut self.transfer {
            if transfer.waits == Some(Start::Index) && wrapped {
                transfer.waits = None;
            }
            if wrapped && transfer.raw && self.fault == Fault::SlipsAtWrap {
                return;
            }
            transfer.age += 1;
            if self.fault == Fault::StartsItself && transfer.age > 300 {
                transfer.waits = None;
            }
        }
        self.register = (self.register << 1 | bit) & 0xffff;
        self.valid += 1;
        self.sync_age += 1;
        self.counter += 1;
        let late = self.fault == Fault::SyncWordLate && self.sync_age <= 16;
        let sync = if late { self.old_sync } else { self.sync };
        let mut hit = self.valid >= 16 && self.register == sync;
        if self.fault == Fault::EvenPhase && self.cell % 2 == 1 {
            hit = false;
        }
        if self.fault == Fault::MissesAtWrap
            && spinning.is_some_and(|drive| (1..16).contains(&self.position(drive)))
        {
            hit = false;
        }
        let live = self.enabled
            || self.fault == Fault::ComparatorStaysOn
                && self.transfer.as_ref().is_some_and(|transfer| transfer.raw);
        if hit && live {
            self.matched_now = true;
            self.matched();
        }
        if self.counter.is_multiple_of(8) && self.counter > 0 {
            self.byte = self.register as u8;
            self.fresh = true;
            self.byte_cell = self.cell;
        }
        if self.counter == 16 {
            self.counter = 0;
            self.word();
        }
    }

    fn matched(&mut self) {
        match &mut self.transfer {
            Some(transfer) if transfer.waits == Some(Start::Match) => {
                transfer.waits = None;
                self.counter = 0;
            }
            Some(transfer) if transfer.waits.is_none() => {
                let again = transfer.realigned && self.fault == Fault::RealignsOnce;
                if self.counter != 16 && !again {
                    transfer.realigned = true;
                    self.counter = 0;
                }
            }
            _ => self.counter = 0,
        }
    }

    fn word(&mut self) {
        let word = self.register;
        let Some(transfer) = &mut self.transfer else {
            self.last_word = word;
            return;
        };
        let extra = u32::from(self.fault == Fault::ThirdReadLonger && self.reads > 2);
        if transfer.waits.is_none() && transfer.taken_in < transfer.words + extra {
            if self.fifo.len() >= usize::from(self.case.profile.fifo_words) {
                self.error = true;
                if self.fault == Fault::OverrunLosesHalf {
                    self.counter = 8;
                }
            } else {
                transfer.taken_in += 1;
                self.fifo.push_back(word);
            }
        }
    }

    fn act(&mut self, action: Action, at_ns: u64) {
        let mut see = |item| self.seen.push(Observed { at_ns, item });
        match action {
            Action::Select(mask) => {
                if mask != self.selected {
                    self.close_gate();
                    self.selected_before = self.selected;
                }
                self.selected = mask;
                self.valid = 0;
            }
            Action::Motor(mask) => {
                if mask != self.motors {
                    self.close_gate();
                }
                self.motors = mask;
            }
            Action::Side(side) => {
                if side != self.side {
                    self.close_gate();
                }
                self.side = side;
                self.valid = 0;
            }
            Action::Step(direction) => {
                if let Some(drive) = self.drive() {
                    let head = self.heads[drive];
                    self.heads[drive] = match direction {
                        Direction::In => (head + 1).min(83),
                        Direction::Out => head.saturating_sub(1),
                    };
                    self.valid = 0;
                }
            }
            Action::SyncWord(word) => {
                self.old_sync = self.sync;
                self.sync = word;
                self.sync_age = 0;
            }
            Action::HardwareSync(on) => self.enabled = on,
            Action::Read { transfer, words, start } => {
                if self.transfer.is_some() || self.writing.is_some() {
                    return;
                }
                self.reads += 1;
                self.done = words == 0;
                if words == 0 {
                    see(Item::Done);
                    return;
                }
                let stale = self.fault == Fault::StaleWord && self.reads > 1;
                if stale {
                    self.fifo.push_back(self.last_word);
                }
                self.transfer = Some(Transfer {
                    number: transfer,
                    words,
                    taken_in: u32::from(stale),
                    served: 0,
                    waits: (start != Start::Now).then_some(start),
                    raw: start == Start::Now,
                    realigned: false,
                    age: 0,
                });
            }
            Action::Write { transfer, start } => {
                if self.transfer.is_some() || self.writing.is_some() {
                    return;
                }
                let taken = &self.taken;
                let of = |read| taken.iter().filter(move |(of, _)| *of == read).map(|(_, w)| *w);
                let mut words = Vec::new();
                words_to_send(self.case, transfer, of, &mut words);
                self.done = words.is_empty();
                if words.is_empty() {
                    see(Item::Done);
                    return;
                }
                if self.fault == Fault::OldDataOnce {
                    self.old_media = Some(self.media.clone());
                }
                self.writing = Some(Writing {
                    number: transfer,
                    owed: words.into(),
                    waits: Some(start),
                    open: false,
                    word: 0,
                    bits_left: 0,
                    cells: 0,
                    fresh: true,
                    again: false,
                });
            }
            Action::Service { transfer } => {
                let deep = usize::from(self.case.profile.fifo_words);
                if let Some(writing) = self.writing.as_mut().filter(|w| w.number == transfer)
                    && self.fifo.len() < deep
                {
                    self.fifo.extend(writing.owed.pop_front());
                    return;
                }
                let Some(running) = self.transfer.as_mut().filter(|t| t.number == transfer) else {
                    return;
                };
                let Some(value) = self.fifo.pop_front() else { return };
                running.served += 1;
                see(Item::Word { transfer, value });
                self.taken.push((transfer, value));
                let extra = u32::from(self.fault == Fault::ThirdReadLonger && self.reads > 2);
                if running.served == running.words + extra {
                    see(Item::Done);
                    self.done = true;
                    self.transfer = None;
                    self.last_word = value;
                }
            }
            Action::Abort | Action::Reset => {
                if let Some(writing) = self.writing.take()
                    && self.fault == Fault::GateStaysOpen
                    && writing.open
                {
                    self.tail = (writing.word, writing.bits_left);
                }
                self.transfer = None;
                self.done = false;
                if self.fault != Fault::AbortKeepsWords {
                    self.fifo.clear();
                }
                if action == Action::Reset {
                    self.sync = 0x4489;
                    self.enabled = self.enabled && self.fault == Fault::ResetKeepsEnable;
                    self.error = false;
                    self.fresh = false;
                }
            }
            Action::PollStatus => {
                let mut shown = self.drive();
                if self.fault == Fault::OtherDrivesStatus && self.motors.count_ones() > 1 {
                    shown = shown.map(|drive| if drive == 0 { 1 } else { 0 });
                }
                let zero = shown.is_some_and(|drive| self.heads[drive] == 0);
                let turned = self.fault == Fault::OutputInStatus && self.output & 1 == 1;
                let index = shown.is_some_and(|drive| {
                    let turn = u64::from(self.case.bench.drives[drive].turn_bits);
                    self.motors >> drive & 1 == 1 && self.position(drive) < turn.div_ceil(100)
                });
                let status = Status::default()
                    .with(Status::DONE, self.done)
                    .with(Status::BUSY, self.transfer.is_some() || self.writing.is_some())
                    .with(Status::ERROR, self.error)
                    .with(Status::INDEX, index)
                    .with(Status::TRACK_ZERO, zero != turned);
                let status = status.with(
                    Status::PROTECT,
                    shown.is_some_and(|drive| self.case.bench.drives[drive].write_protected),
                );
                self.seen.push(Observed { at_ns, item: Item::Status(status) });
            }
            Action::PollByte => {
                let edge = self.fault == Fault::ByteEdge && self.cell < self.byte_cell + 2;
                let item = Item::Byte { value: self.byte, fresh: self.fresh && !edge };
                self.seen.push(Observed { at_ns, item });
                self.fresh = false;
            }
            Action::Output(value) => self.output = value,
            _ => {}
        }
    }
}
