//! A toy controller with faults to switch on: subjects for the minimiser's own tests.
//!
//! It reads as semantics.md says, roughly; all that matters here is that its faults have the
//! shape of real ones: each needs operations, numbers and a content that go together.

use std::collections::VecDeque;
use trackproof_contract::{Action, Case, Direction, Item, Observed, Start, Status, timeline};

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

struct Toy<'a> {
    case: &'a Case,
    fault: Fault,
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

/// What the controller shows the host.
pub(super) fn run(case: &Case, fault: Fault) -> Vec<Observed> {
    let mut events = Vec::new();
    timeline(case, &mut events);
    let mut toy = Toy {
        case,
        fault,
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
    toy.seen
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
    let (right, wrong) = (run(case, Fault::None), run(case, fault));
    let at = (0..right.len().max(wrong.len())).find(|i| right.get(*i) != wrong.get(*i))?;
    Some((name(right.get(at)), name(wrong.get(at))))
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

    fn shift(&mut self) {
        let spinning = self.drive().filter(|drive| self.motors >> drive & 1 == 1);
        let mut bit = 0;
        let mut wrapped = false;
        if let Some(drive) = spinning {
            let turn = u64::from(self.case.bench.drives[drive].turn_bits);
            let at = (self.position(drive) + turn - 1) % turn;
            wrapped = at == 0;
            let track = self.case.track(drive as u8, self.heads[drive], self.side);
            bit = track.map_or(0, |track| u64::from(track.medium.track().get(at as usize)));
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
                self.selected = mask;
                self.valid = 0;
            }
            Action::Motor(mask) => self.motors = mask,
            Action::Side(side) => {
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
                if self.transfer.is_some() {
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
            Action::Service { transfer } => {
                let Some(running) = self.transfer.as_mut().filter(|t| t.number == transfer) else {
                    return;
                };
                let Some(value) = self.fifo.pop_front() else { return };
                running.served += 1;
                see(Item::Word { transfer, value });
                let extra = u32::from(self.fault == Fault::ThirdReadLonger && self.reads > 2);
                if running.served == running.words + extra {
                    see(Item::Done);
                    self.done = true;
                    self.transfer = None;
                    self.last_word = value;
                }
            }
            Action::Abort | Action::Reset => {
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
                    .with(Status::BUSY, self.transfer.is_some())
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
