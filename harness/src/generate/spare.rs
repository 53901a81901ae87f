//! Memory of earlier cases, used again: a campaign's steady state allocates nothing.

use trackproof_contract::{
    Case, ChannelBits, HostService, Medium, Operation, Stall, Track, WriteSource,
};

/// What is left of earlier cases.
#[derive(Debug, Default)]
pub(super) struct Spare {
    bits: Vec<ChannelBits>,
    stalls: Vec<Vec<Stall>>,
}

impl Spare {
    /// Empties a case and keeps the memory of its parts.
    pub(super) fn reclaim(&mut self, case: &mut Case) {
        for Track { medium, .. } in case.tracks.drain(..) {
            if let Medium::ChannelBits { track: bits, .. } | Medium::Image { sectors: bits, .. } =
                medium
            {
                self.bits.push(bits);
            }
        }
        if let Some(flux) = case.flux.take() {
            self.bits.push(flux.bits);
        }
        for operation in case.program.drain(..) {
            self.reclaim_operation(operation);
        }
    }

    /// Keeps the memory of an operation that a program no longer has.
    pub(super) fn reclaim_operation(&mut self, operation: Operation) {
        let service = match operation {
            Operation::Read { service, .. } => service,
            Operation::Write { source, service, .. } => {
                if let WriteSource::Words(bits) = source {
                    self.reclaim_bits(bits);
                }
                service
            }
            _ => return,
        };
        if service.stalls.capacity() > 0 {
            self.stalls.push(service.stalls);
        }
    }

    /// Keeps the memory of bits that are needed no more.
    pub(super) fn reclaim_bits(&mut self, bits: ChannelBits) {
        self.bits.push(bits);
    }

    /// No bits yet.
    pub(super) fn bits(&mut self) -> ChannelBits {
        let mut bits = self.bits.pop().unwrap_or_default();
        bits.clear();
        bits
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
            Operation::Read { words, start, service } => {
                let service = self.copy_service(service);
                Operation::Read { words: *words, start: *start, service }
            }
            Operation::Write { source, start, service } => {
                let source = match source {
                    WriteSource::Words(words) => {
                        let mut bits = self.bits();
                        bits.clone_from(words);
                        WriteSource::Words(bits)
                    }
                    copy @ WriteSource::Copy { .. } => copy.clone(),
                };
                Operation::Write { source, start: *start, service: self.copy_service(service) }
            }
            other => other.clone(),
        }
    }

    fn copy_service(&mut self, service: &HostService) -> HostService {
        let mut stalls = Vec::new();
        if !service.stalls.is_empty() {
            stalls = self.stalls();
            stalls.extend_from_slice(&service.stalls);
        }
        HostService { stalls, ..*service }
    }
}

#[cfg(test)]
impl Spare {
    /// How many parts are kept.
    pub(super) fn parts(&self) -> usize {
        self.bits.len() + self.stalls.len()
    }
}
