//! Mutations: a base pattern with an operation more, less, elsewhere or twice.
//!
//! They make of orderly programs what no pattern's author thought of, and move everything behind
//! them to other places within a channel bit.

use super::choices::Choices;
use super::program::{Kind, Script};
use trackproof_contract::{MAX_OPERATIONS, Operation, WriteSource, YesNo};

impl<C: Choices> Script<'_, C> {
    /// Changes the program in none, one or several places.
    pub(super) fn mutate(&mut self, byte_port: YesNo) {
        let times = match self.choices.weighted(&[8, 4, 2, 2]) {
            3 => self.choices.between(3, 6),
            times => times as u64,
        };
        for _ in 0..times {
            self.mutate_once(byte_port);
        }
        if times > 0 && self.frame.writes {
            self.mend_copies();
        }
    }

    fn mutate_once(&mut self, byte_port: YesNo) {
        if self.program.len() >= MAX_OPERATIONS {
            return;
        }
        let gap = self.choices.below(self.program.len() as u64 + 1) as usize;
        match self.choices.weighted(&[5, 3, 2, 2, 3, 2, 1, 2]) {
            0 => {
                let kind = self.kind();
                self.insert(gap, kind);
            }
            1 => {
                if let Some(operation) = self.take() {
                    self.spare.reclaim_operation(operation);
                }
            }
            2 => {
                if let Some(operation) = self.take() {
                    let place = self.choices.below(self.program.len() as u64 + 1);
                    self.insert_operation(place as usize, operation);
                }
            }
            3 => {
                if let Some(operation) = self.program.get(gap) {
                    let copy = self.spare.copy(operation);
                    self.insert_operation(gap, copy);
                }
            }
            4 => self.insert(gap, Kind::PollStatus),
            5 => self.insert(gap, Kind::Output),
            6 if byte_port == YesNo::Yes => self.insert(gap, Kind::PollByte),
            6 => self.insert(gap, Kind::PollStatus),
            _ => self.nudge(gap),
        }
    }

    /// Inserts an operation of one kind.
    fn insert(&mut self, place: usize, kind: Kind) {
        let operation = self.any(kind);
        self.insert_operation(place, operation);
    }

    /// Inserts an operation; copies go on meaning the reads that they meant.
    fn insert_operation(&mut self, place: usize, operation: Operation) {
        if operation.is_request() {
            let number = self.requests_before(place);
            self.renumber(|transfer| transfer + u32::from(transfer >= number));
        }
        self.program.insert(place, operation);
    }

    /// Takes one operation out of the program.
    fn take(&mut self) -> Option<Operation> {
        let len = self.program.len() as u64;
        if len == 0 {
            return None;
        }
        let place = self.choices.below(len) as usize;
        let operation = self.program.remove(place);
        if operation.is_request() {
            let number = self.requests_before(place);
            self.renumber(|transfer| transfer - u32::from(transfer > number));
        }
        Some(operation)
    }

    fn requests_before(&self, place: usize) -> u32 {
        self.program[..place].iter().filter(|operation| operation.is_request()).count() as u32
    }

    /// Renumbers the reads that writes copy.
    fn renumber(&mut self, map: impl Fn(u32) -> u32) {
        for operation in self.program.iter_mut() {
            if let Operation::Write { source: WriteSource::Copy { transfer, .. }, .. } = operation {
                *transfer = map(*transfer);
            }
        }
    }

    /// Gives a write whose read is gone, or comes only later, the last read before it instead, or
    /// words of its own where there is none.
    fn mend_copies(&mut self) {
        let (mut requests, mut last_read) = (0, None);
        for place in 0..self.program.len() {
            let is_read = |transfer: u32| {
                let mut earlier = self.program[..place].iter().filter(|one| one.is_request());
                matches!(earlier.nth(transfer as usize), Some(Operation::Read { .. }))
            };
            let lost =
                match &self.program[place] {
                    Operation::Write {
                        source: WriteSource::Copy { transfer, count, .. }, ..
                    } if !is_read(*transfer) => Some(u64::from(*count)),
                    _ => None,
                };
            if let Some(words) = lost {
                let mended = match last_read {
                    Some(read) => self.copy_of(read, words),
                    None => self.words(words),
                };
                if let Operation::Write { source, .. } = &mut self.program[place] {
                    *source = mended;
                }
            }
            let operation = &self.program[place];
            if matches!(operation, Operation::Read { .. }) {
                last_read = Some(requests);
            }
            requests += u32::from(operation.is_request());
        }
    }

    /// Makes the next wait from `place` on a little shorter or longer.
    fn nudge(&mut self, place: usize) {
        let cell_ns = self.frame.cell_ns as i64;
        let by_ns = self.choices.pick(&[1, -1, cell_ns, -cell_ns, 100, -100, cell_ns / 2]);
        let wait = self.program[place..].iter_mut().find_map(|operation| match operation {
            Operation::Wait { ns } => Some(ns),
            _ => None,
        });
        if let Some(ns) = wait {
            *ns = ns.saturating_add_signed(by_ns);
        }
    }
}
