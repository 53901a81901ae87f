//! Memory of earlier cases, used again: a campaign's steady state allocates nothing.

use trackproof_contract::{Case, ChannelBits, HostService, Medium, Operation, Stall};

/// What is left of earlier cases.
#[derive(Debug, Default)]
pub(super) struct Spare {
    tracks: Vec<ChannelBits>,
    stalls: Vec<Vec<Stall>>,
}

impl Spare {
    /// Empties a case and keeps the memory of its parts.
    pub(super) fn reclaim(&mut self, case: &mut Case) {
        for track in case.tracks.drain(..) {
            if let Medium::ChannelBits { track, .. } = track.medium {
                self.tracks.push(track);
            }
        }
        for operation in case.program.drain(..) {
            self.reclaim_operation(operation);
        }
    }

    /// Keeps the memory of an operation that a program no longer has.
    pub(super) fn reclaim_operation(&mut self, operation: Operation) {
        if let Operation::Read { service, .. } = operation
            && service.stalls.capacity() > 0
        {
            self.stalls.push(service.stalls);
        }
    }

    /// An empty track.
    pub(super) fn track(&mut self) -> ChannelBits {
        let mut track = self.tracks.pop().unwrap_or_default();
        track.clear();
        track
    }

    /// An empty list of stalls.
    pub(super) fn stalls(&mut self) -> Vec<Stall> {
        let mut stalls = self.stalls.pop().unwrap_or_default();
        stalls.clear();
        stalls
    }

    /// The same operation once more.
    pub(super) fn copy(&mut self, operation: &Operation) -> Operation {
        match operation {
            Operation::Read { words, start, service } if !service.stalls.is_empty() => {
                let mut stalls = self.stalls();
                stalls.extend_from_slice(&service.stalls);
                let service = HostService { stalls, ..*service };
                Operation::Read { words: *words, start: *start, service }
            }
            other => other.clone(),
        }
    }
}

#[cfg(test)]
impl Spare {
    /// How many parts are kept.
    pub(super) fn parts(&self) -> usize {
        self.tracks.len() + self.stalls.len()
    }
}
