//! A correct word reader for the profile sync-dma alone, and the same with one thing spoiled.

use std::collections::VecDeque;
use trackproof_contract::{
    Answer, PolledByte, Profile, SeamError, ShownStatus, Start, Status, TransferRequest, WordReader,
};

/// R and W of the profile.
const WIDTH: u32 = 16;

/// D of the profile.
const FIFO_WORDS: usize = 3;

/// What is wrong with a reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Spoiled {
    Nothing,
    /// The word counter is not zeroed by a match in a running read.
    NeverRealigns,
    /// The comparator sees matches at even bits only.
    EvenPhasesOnly,
    /// A switch of the source leaves the register valid.
    StraddlesSources,
    /// The FIFO loses the oldest word instead of the new one.
    LosesOldest,
    /// Completion comes with the last word's completion.
    DoneEarly,
    /// What waits in the FIFO survives an abort.
    AbortKeepsWords,
    /// Hardware sync survives a reset.
    ResetKeepsSync,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Idle,
    AwaitsMatch,
    AwaitsIndex,
    Runs,
}

pub(crate) struct SmallReader {
    spoiled: Spoiled,
    register: u16,
    invalid_for: u32,
    bits: u64,
    counted: u32,
    byte_counted: u32,
    byte: PolledByte,
    sync_word: u16,
    sync_on: bool,
    phase: Phase,
    transfer: u32,
    words: u32,
    taken_in: u32,
    served: u32,
    fifo: VecDeque<u64>,
    done: bool,
    done_signal: bool,
    error: bool,
}

impl SmallReader {
    pub(crate) fn new(spoiled: Spoiled) -> Self {
        Self {
            spoiled,
            register: 0,
            invalid_for: 0,
            bits: 0,
            counted: 0,
            byte_counted: 0,
            byte: PolledByte::default(),
            sync_word: 0x4489,
            sync_on: false,
            phase: Phase::Idle,
            transfer: 0,
            words: 0,
            taken_in: 0,
            served: 0,
            fifo: VecDeque::new(),
            done: false,
            done_signal: false,
            error: false,
        }
    }

    fn equal(&self) -> bool {
        let seen = self.spoiled != Spoiled::EvenPhasesOnly || self.bits.is_multiple_of(2);
        self.sync_on && self.invalid_for == 0 && self.register == self.sync_word && seen
    }

    fn complete(&mut self) {
        if self.phase != Phase::Runs || self.taken_in == self.words {
            return;
        }
        if self.fifo.len() == FIFO_WORDS {
            self.error = true;
            if self.spoiled != Spoiled::LosesOldest {
                return;
            }
            self.fifo.pop_front();
            self.taken_in -= 1;
        }
        self.fifo.push_back(self.register.into());
        self.taken_in += 1;
        if self.spoiled == Spoiled::DoneEarly && self.taken_in == self.words {
            self.signal_done();
        }
    }

    fn signal_done(&mut self) {
        self.done = true;
        self.done_signal = true;
    }

    fn kill(&mut self) {
        if self.spoiled == Spoiled::AbortKeepsWords && self.phase == Phase::Runs {
            self.done = false;
            return;
        }
        self.phase = Phase::Idle;
        self.fifo.clear();
        self.done = false;
    }
}

impl WordReader for SmallReader {
    fn profile(&self) -> Option<Profile> {
        Some(Profile::sync_dma())
    }

    fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
        self.register = self.register << 1 | u16::from(bit);
        self.bits += 1;
        self.invalid_for = self.invalid_for.saturating_sub(1);
        self.byte_counted += 1;
        if self.byte_counted == 8 {
            self.byte_counted = 0;
            self.byte = PolledByte { value: self.register as u8, fresh: true };
        }
        self.counted += 1;
        let boundary = self.counted == WIDTH;
        if boundary {
            self.counted = 0;
        }
        let matched = self.equal();
        match (matched, self.phase) {
            (true, Phase::AwaitsMatch) => self.phase = Phase::Runs,
            (true, Phase::Runs) if !boundary && self.spoiled == Spoiled::NeverRealigns => {
                return Ok(None);
            }
            _ if boundary => self.complete(),
            _ => {}
        }
        if matched {
            self.counted = 0;
            self.byte_counted = 0;
        }
        Ok(None)
    }

    fn request(&mut self, request: TransferRequest) -> Result<Answer, SeamError> {
        if self.phase != Phase::Idle {
            return Ok(Answer::Heard);
        }
        self.done = false;
        if request.words == 0 {
            self.signal_done();
            return Ok(Answer::Heard);
        }
        self.phase = match request.start {
            Start::Now => Phase::Runs,
            Start::Match => Phase::AwaitsMatch,
            Start::Index => Phase::AwaitsIndex,
        };
        (self.transfer, self.words) = (request.transfer, request.words);
        (self.taken_in, self.served) = (0, 0);
        Ok(Answer::Heard)
    }

    fn service(&mut self, transfer: u32) -> Result<Option<u64>, SeamError> {
        if self.phase != Phase::Runs || transfer != self.transfer {
            return Ok(None);
        }
        let word = self.fifo.pop_front();
        self.served += u32::from(word.is_some());
        if self.served == self.words {
            self.phase = Phase::Idle;
            if self.spoiled != Spoiled::DoneEarly {
                self.signal_done();
            }
        }
        Ok(word)
    }

    fn index(&mut self) -> Result<(), SeamError> {
        if self.phase == Phase::AwaitsIndex {
            self.phase = Phase::Runs;
        }
        Ok(())
    }

    fn set_sync_word(&mut self, word: u64) -> Result<(), SeamError> {
        self.sync_word = word as u16;
        Ok(())
    }

    fn set_hardware_sync(&mut self, on: bool) -> Result<(), SeamError> {
        let switched_off = self.sync_on && !on;
        self.sync_on = on;
        if switched_off && self.phase == Phase::AwaitsMatch {
            self.phase = Phase::Runs;
        }
        Ok(())
    }

    fn source_changed(&mut self) -> Result<(), SeamError> {
        if self.spoiled != Spoiled::StraddlesSources {
            self.invalid_for = WIDTH;
        }
        Ok(())
    }

    fn abort(&mut self) -> Result<(), SeamError> {
        self.kill();
        Ok(())
    }

    fn reset(&mut self) -> Result<(), SeamError> {
        self.kill();
        self.phase = Phase::Idle;
        self.fifo.clear();
        if self.spoiled != Spoiled::ResetKeepsSync {
            self.sync_on = false;
        }
        self.sync_word = 0x4489;
        (self.counted, self.byte_counted) = (0, 0);
        self.byte = PolledByte::default();
        self.error = false;
        Ok(())
    }

    fn poll_status(&mut self) -> Result<ShownStatus, SeamError> {
        let driven = Status::DONE
            .with(Status::BUSY, true)
            .with(Status::ERROR, true)
            .with(Status::MATCH, true);
        let set = Status::default()
            .with(Status::DONE, self.done)
            .with(Status::BUSY, self.phase != Phase::Idle)
            .with(Status::ERROR, self.error)
            .with(Status::MATCH, self.equal());
        Ok(ShownStatus { driven, set })
    }

    fn poll_byte(&mut self) -> Result<PolledByte, SeamError> {
        let seen = self.byte;
        self.byte.fresh = false;
        Ok(seen)
    }

    fn done_signal(&mut self) -> Result<bool, SeamError> {
        Ok(std::mem::take(&mut self.done_signal))
    }
}
