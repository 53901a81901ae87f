//! The sample `word-reader`: the reading part of a controller in plain Rust, on the seam
//! [`WordReader`](trackproof_contract::WordReader), with every method that the seam has.
//!
//! Written from the texts of the keys and of the seam alone, and from neither the model nor another
//! sample: that they agree is evidence. It takes any profile, and it is correct: it has no faults to
//! choose. Where a profile leaves a span, it takes the earliest moment.
//!
//! Here the parts are put together, in the order of things at one moment. `comparator.rs` holds
//! register and sync word, `counter.rs` the boundaries of words, `transfer.rs` a read and its FIFO.

mod comparator;
mod counter;
#[cfg(test)]
mod tests;
mod transfer;

use comparator::{Comparator, Compared};
use counter::{Counted, Counter};
use trackproof_contract::{
    AlignedMatch, Answer, ByteUnit, ErrorFlag, MatchFlag, MisalignedMatch, Partial, PolledByte,
    Profile, ReadDone, Realign, SeamError, ShownStatus, Start, StartBusy, StartMatch, Status,
    SyncOffWaiting, SyncOnLive, TransferRequest, YesNo, ZeroWords,
};
use transfer::{Served, Stage, Transfer};

/// The reader: registers, counters, at most one transfer, and what the host can see of them.
#[derive(Debug, Clone)]
pub struct WordReader {
    profile: Profile,
    comparator: Comparator,
    counter: Counter,
    /// A request that is heard and not accepted yet, and the bits until it is.
    pending: Option<(TransferRequest, u16)>,
    transfer: Option<Transfer>,
    /// Bits since the last word of the last read, while a read may still join it.
    joins_at: Option<u16>,
    byte: PolledByte,
    match_latch: bool,
    match_signal: bool,
    done: bool,
    done_signal: bool,
    error: bool,
}

impl Default for WordReader {
    fn default() -> Self {
        Self::new(&Profile::sync_dma())
    }
}

impl WordReader {
    /// One that behaves by this profile, at power-up.
    #[must_use]
    pub fn new(profile: &Profile) -> Self {
        Self {
            comparator: Comparator::new(profile),
            counter: Counter::new(profile),
            profile: profile.clone(),
            pending: None,
            transfer: None,
            joins_at: None,
            byte: PolledByte::default(),
            match_latch: false,
            match_signal: false,
            done: false,
            done_signal: false,
            error: false,
        }
    }

    /// The word that the newest bit completes: the last W bits.
    fn word(&self) -> u64 {
        self.comparator.newest(self.profile.word_bits)
    }

    /// The flag sees the register itself: refractory time and transfers are nothing to it (1.9).
    fn note_flag(&mut self, compared: Compared) {
        match self.profile.flag {
            MatchFlag::Level => {}
            MatchFlag::LatchedClearOnRead | MatchFlag::LatchedClearOnStart => {
                self.match_latch |= compared.shown;
            }
            MatchFlag::Event => self.match_signal |= compared.newly,
        }
    }

    /// The newest byte is shown from its last bit on, whether the one before was read or not (1.11).
    fn show_byte(&mut self) {
        let value = match self.profile.byte {
            ByteUnit::Channel8 => self.comparator.newest(8),
            // The second bit of each pair is the data bit; the last one is the lowest.
            ByteUnit::Data8 => {
                let bits = self.comparator.newest(16);
                (0..8).map(|n| (bits >> (2 * n) & 1) << n).sum()
            }
        };
        self.byte = PolledByte { value: value as u8, fresh: true };
    }

    /// Zeroes the counter at the newest bit, a match.
    fn align(&mut self) {
        self.counter.zero();
        self.joins_at = None;
    }

    /// A bit of a running read (1.3).
    fn run_on(&mut self, counted: Counted, matched: bool) {
        let Some(transfer) = &mut self.transfer else { return };
        let matched = matched && !transfer.ignores_matches;
        if let Some(bits) = transfer.finishes_in {
            transfer.finishes_in = (bits > 1).then_some(bits - 1);
            if bits == 1 {
                self.complete(self.word());
            }
        }
        let word_bits = self.profile.word_bits;
        if counted.since_boundary < word_bits {
            if matched && self.realigns() {
                self.realign(counted.since_boundary);
            }
            return;
        }
        let Some(transfer) = &mut self.transfer else { return };
        let no_word = std::mem::take(&mut transfer.no_word);
        let dropped = matched && self.profile.aligned_match == AlignedMatch::Drop;
        if !no_word && !dropped {
            self.complete(self.word());
        }
    }

    /// Whether a match off the boundaries changes anything.
    fn realigns(&self) -> bool {
        let first = self.transfer.as_ref().is_some_and(|transfer| !transfer.realigned);
        self.profile.misaligned_match != MisalignedMatch::Ignore
            && match self.profile.realign {
                Realign::Every => true,
                Realign::First => first,
                Realign::Never => false,
            }
    }

    /// A match `bits` after the last boundary becomes one itself.
    fn realign(&mut self, bits: u16) {
        self.align();
        let word_bits = self.profile.word_bits;
        let Some(transfer) = &mut self.transfer else { return };
        transfer.realigned = true;
        match self.profile.partial {
            Partial::Drop => {}
            Partial::PadLow => {
                self.complete(self.comparator.newest(bits) << (word_bits - bits));
            }
            // Only a word can be finished, and the word behind a match is none. The one that is
            // being finished already goes on to its end.
            Partial::Finish => {
                if !std::mem::replace(&mut transfer.no_word, true) {
                    transfer.finishes_in = Some(word_bits - bits);
                }
            }
        }
        if self.profile.misaligned_match == MisalignedMatch::RealignDeliver {
            self.complete(self.word());
        }
    }

    /// A word of the running read completes.
    fn complete(&mut self, word: u64) {
        let Some(transfer) = &mut self.transfer else { return };
        let taken = transfer.take_in(word);
        if taken.lost {
            self.error = self.profile.error_flag != ErrorFlag::None;
        }
        if taken.last {
            self.joins_at = Some(0);
            if self.profile.read_done == ReadDone::LastCompleted {
                self.be_done();
            }
        }
    }

    fn be_done(&mut self) {
        self.done = true;
        self.done_signal = true;
    }

    /// A raw read begins behind the newest bit (1.5).
    fn start_raw(&mut self) {
        if let Some(transfer) = &mut self.transfer {
            transfer.stage = Stage::Runs;
        }
        if self.profile.counter == trackproof_contract::Counter::ZeroedAtStart {
            self.counter.zero();
        }
    }

    /// A request is accepted at this moment (1.5, 2.6).
    fn accept(&mut self, request: TransferRequest) {
        self.done = false;
        if self.profile.error_flag == ErrorFlag::PerTransfer {
            self.error = false;
        }
        if self.profile.flag == MatchFlag::LatchedClearOnStart {
            self.match_latch = false;
        }
        let words = match (request.words, self.profile.zero_words) {
            (0, ZeroWords::None) => return self.be_done(),
            (0, ZeroWords::Maximum) => self.profile.max_words,
            (words, _) => words,
        };
        self.transfer = Some(Transfer::new(request, words, &self.profile));
        let joins = self.joins_at.take().filter(|_| self.profile.read_join == YesNo::Yes);
        match (request.start, joins) {
            (Start::Now, Some(bits)) => self.counter.stand_at(bits),
            (Start::Now, None) => self.start_raw(),
            (Start::Match | Start::Index, _) => {}
        }
    }

    /// What was asked for, accepted or not, is gone; register and counter run on (2.7).
    fn end_all(&mut self) {
        self.pending = None;
        self.transfer = None;
        self.joins_at = None;
        self.done = false;
    }

    /// Time passes for a request that is not accepted yet.
    fn await_acceptance(&mut self) {
        if let Some((request, bits)) = self.pending.take() {
            if bits > 1 {
                self.pending = Some((request, bits - 1));
            } else {
                self.accept(request);
            }
        }
    }
}

impl trackproof_contract::WordReader for WordReader {
    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        *self = Self::new(profile);
        Ok(())
    }

    fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
        let compared = self.comparator.shift(bit);
        let counted = self.counter.count();
        let word_bits = self.profile.word_bits;
        self.joins_at = self.joins_at.map(|bits| bits + 1).filter(|bits| *bits < word_bits);
        self.note_flag(compared);
        if counted.byte {
            self.show_byte();
        }
        match self.transfer.as_ref().map(|transfer| transfer.stage) {
            Some(Stage::Runs) => self.run_on(counted, compared.matched),
            // Outside a running read every match zeroes the counter, and starts what waits for it.
            stage if compared.matched => {
                self.align();
                if stage == Some(Stage::AwaitsMatch) {
                    if let Some(transfer) = &mut self.transfer {
                        transfer.stage = Stage::Runs;
                    }
                    if self.profile.start_match == StartMatch::Deliver {
                        self.complete(self.word());
                    }
                }
            }
            _ => {}
        }
        self.await_acceptance();
        Ok(None)
    }

    fn request(&mut self, request: TransferRequest) -> Result<Answer, SeamError> {
        if self.transfer.is_some() || self.pending.is_some() {
            match self.profile.start_busy {
                StartBusy::Ignore => return Ok(Answer::Heard),
                StartBusy::Error => return Ok(Answer::Refused),
                StartBusy::Replace => self.end_all(),
            }
        }
        match self.profile.slack_min {
            0 => self.accept(request),
            bits => self.pending = Some((request, bits)),
        }
        Ok(Answer::Heard)
    }

    fn service(&mut self, transfer: u32) -> Result<Option<u64>, SeamError> {
        let Some(running) = self.transfer.as_mut().filter(|running| running.number == transfer)
        else {
            return Ok(None);
        };
        let word = match running.serve() {
            Served::Nothing => return Ok(None),
            Served::Word(word) => return Ok(Some(word)),
            Served::Last(word) => {
                if self.profile.read_done == ReadDone::LastStored {
                    self.be_done();
                }
                word
            }
            Served::Stopped(word) => word,
        };
        self.transfer = None;
        Ok(Some(word))
    }

    fn index(&mut self) -> Result<(), SeamError> {
        if self.transfer.as_ref().is_some_and(|waiting| waiting.stage == Stage::AwaitsIndex) {
            self.start_raw();
        }
        Ok(())
    }

    fn set_sync_word(&mut self, word: u64) -> Result<(), SeamError> {
        self.comparator.set_word(word);
        Ok(())
    }

    fn set_hardware_sync(&mut self, on: bool) -> Result<(), SeamError> {
        let was_on = self.comparator.switch(on);
        let Some(transfer) = &mut self.transfer else { return Ok(()) };
        match (transfer.stage, was_on, on) {
            // 1.8: the read has run raw until now.
            (Stage::Runs, false, true) => {
                transfer.ignores_matches |= self.profile.sync_on_live == SyncOnLive::NextTransfer;
            }
            (Stage::AwaitsMatch, true, false)
                if self.profile.sync_off_waiting == SyncOffWaiting::Start =>
            {
                self.start_raw();
            }
            _ => {}
        }
        Ok(())
    }

    fn source_changed(&mut self) -> Result<(), SeamError> {
        self.comparator.source_changed();
        Ok(())
    }

    fn abort(&mut self) -> Result<(), SeamError> {
        self.end_all();
        Ok(())
    }

    fn reset(&mut self) -> Result<(), SeamError> {
        self.end_all();
        self.comparator.reset(self.profile.reset_clears_register == YesNo::Yes);
        self.counter.zero();
        self.byte = PolledByte::default();
        self.match_latch = false;
        self.match_signal = false;
        self.done_signal = false;
        self.error = false;
        Ok(())
    }

    fn poll_status(&mut self) -> Result<ShownStatus, SeamError> {
        let driven = Status::default()
            .with(Status::DONE, true)
            .with(Status::BUSY, true)
            .with(Status::ERROR, true)
            .with(Status::MATCH, true);
        let shows_match = match self.profile.flag {
            MatchFlag::Level => self.comparator.shown(),
            MatchFlag::LatchedClearOnRead => std::mem::take(&mut self.match_latch),
            MatchFlag::LatchedClearOnStart => self.match_latch,
            MatchFlag::Event => false,
        };
        let set = Status::default()
            .with(Status::DONE, self.done)
            .with(Status::BUSY, self.transfer.is_some())
            .with(Status::ERROR, self.error)
            .with(Status::MATCH, shows_match);
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

    fn match_signal(&mut self) -> Result<bool, SeamError> {
        Ok(std::mem::take(&mut self.match_signal))
    }
}
