//! A walk through a case, counting what it brings about. It judges nothing.
//!
//! One nominal controller of the `sync-dma` profile, a bit at a time, without slack, jitter or
//! latency: enough to tell whether the generator leads anywhere.

use std::collections::BTreeMap;
use trackproof_contract::{Action, Case, Direction, Event, MAX_CYLINDER, MAX_DRIVES, Start};

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
}

/// The walk's state.
pub(super) struct Walk<'a> {
    case: &'a Case,
    reached: &'a mut Reached,
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
    fifo: u64,
    lost_in_row: u64,
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
            fifo: 0,
            lost_in_row: 0,
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

    fn bit(&mut self) {
        let angle = self.angle();
        if let (Some((_, 0)), Transfer::Waiting { start: start @ Start::Index, words }) =
            (angle, self.transfer)
        {
            self.transfer = Transfer::Running { start, wanted: words, stored: 0, words };
            self.reach("start at index, by counter", self.counter);
        }
        let bit = angle.is_some_and(|(drive, angle)| {
            let track = self.case.track(drive as u8, self.cylinders[drive], self.side);
            track.is_some_and(|track| track.medium.track().get(angle as usize))
        });
        self.register = self.register << 1 | u64::from(bit);
        self.cells += 1;
        self.valid_bits += 1;
        self.counter += 1;
        self.byte_counter += 1;
        self.since_match += 1;
        let matched =
            self.hardware_sync && self.valid_bits >= 16 && self.register & 0xffff == self.sync;
        if matched {
            self.matched(angle.map_or(u64::MAX, |(_, angle)| angle));
        }
        if self.counter == W {
            self.counter = 0;
            self.complete();
        }
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
        if self.fifo == D {
            self.lost_in_row += 1;
            let row = self.lost_in_row.min(5);
            self.reach("words lost so far in a row", row);
            return;
        }
        *wanted -= 1;
        self.fifo += 1;
        if self.lost_in_row > 0 {
            let lost = self.lost_in_row.min(5);
            self.reach("goes on after losing so many", lost);
            self.lost_in_row = 0;
        }
        let level = self.fifo;
        self.reach("fifo filled to", level);
    }

    fn state(&self) -> u64 {
        match self.transfer {
            Transfer::None => 0,
            Transfer::Waiting { .. } => 1,
            Transfer::Running { .. } => 2,
        }
    }

    fn act(&mut self, event: &Event, in_cell_ns: u64) {
        let state = self.state();
        let raw =
            matches!(self.transfer, Transfer::Running { start: Start::Now | Start::Index, .. });
        match event.action {
            Action::Service { transfer } => self.serve(transfer),
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
                if state == 2 {
                    let fifo = self.fifo;
                    self.reach(if abort { "abort at level" } else { "reset at level" }, fifo);
                }
                (self.transfer, self.number, self.fifo) = (Transfer::None, None, 0);
                if !abort {
                    (self.sync, self.hardware_sync, self.counter) = (0x4489, false, 0);
                }
            }
            Action::Select(mask) => {
                let next = (mask != 0).then(|| mask.trailing_zeros() as usize);
                if next != self.selected {
                    self.reach("select changes while", state);
                }
                self.selected = next;
                self.valid_bits = 0;
            }
            Action::Motor(mask) => {
                if mask != self.motors {
                    self.reach("motor changes while", state);
                }
                self.motors = mask;
            }
            Action::Side(side) => {
                if side != self.side {
                    self.reach("side changes while", state);
                }
                (self.side, self.valid_bits) = (side, 0);
            }
            Action::Step(direction) => {
                self.reach("step while", state);
                let Some(drive) = self.selected else { return };
                let cylinder = &mut self.cylinders[drive];
                *cylinder = match direction {
                    Direction::In => (*cylinder + 1).min(MAX_CYLINDER),
                    Direction::Out => cylinder.saturating_sub(1),
                };
                self.valid_bits = 0;
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

    fn serve(&mut self, transfer: u32) {
        if self.number != Some(transfer) || self.fifo == 0 {
            return;
        }
        let Transfer::Running { stored, words, .. } = &mut self.transfer else {
            return;
        };
        self.fifo -= 1;
        *stored += 1;
        if stored == words {
            let turn = u64::from(self.case.bench.drives[0].turn_bits) / W;
            let (many, words) = (*words > turn, *words);
            (self.transfer, self.number) = (Transfer::None, None);
            self.reach("done, longer than a turn", u64::from(many));
            self.reach("done after words", words.min(3));
        }
    }
}
