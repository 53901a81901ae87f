//! A word reader made by a library: calls it and believes nothing that it returns unchecked. How
//! wide a word may be is the lift's to hold it to.

use crate::file::File;
use crate::part::{Part, PartLibrary, PartMaker, Signals, flag, protocol};
use crate::raw::{self, TP_REFUSED};
use crate::{LoadError, Make};
use std::fmt;
use std::sync::{Arc, OnceLock};
use trackproof_contract::{
    Answer, PolledByte, Profile, SeamError, ShownStatus, Status, TransferRequest, WordReader,
};

/// What a call has not written: no word, byte, flag or status is that.
const UNWRITTEN_WORD: u64 = u64::MAX;
const UNWRITTEN: u32 = u32::MAX;

/// A shared library that has a word reader, by `tp_word_reader_entry` of `trackproof.h`.
pub struct WordReaderLibrary(PartLibrary<raw::WordReader>);

impl WordReaderLibrary {
    pub(crate) fn of(file: File) -> Result<Self, LoadError> {
        PartLibrary::of(file).map(Self)
    }

    /// The name that the library gives itself, if it has one.
    #[must_use]
    pub fn name(&self) -> Option<String> {
        self.0.name()
    }

    /// What makes readers, a new one for each case; `options` are words of the library's own.
    ///
    /// # Errors
    /// As [`Library::create`](crate::Library::create): one is made at once.
    pub fn maker(&self, options: Option<&str>) -> Result<Make<CWordReader>, LoadError> {
        let shared = Arc::new(Shared { maker: self.0.maker(options)?, driven: OnceLock::new() });
        Ok(Arc::new(move || CWordReader {
            part: shared.maker.make(),
            shared: Arc::clone(&shared),
            signals: Signals::default(),
        }))
    }
}

impl fmt::Debug for WordReaderLibrary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("WordReaderLibrary").field(&self.name()).finish()
    }
}

/// What all readers of a maker have in common.
struct Shared {
    maker: PartMaker<raw::WordReader>,
    /// The status bits that the first poll said to be driven.
    driven: OnceLock<u32>,
}

/// One word reader, as [`WordReaderLibrary::maker`] makes it; dropping it destroys it.
pub struct CWordReader {
    part: Part<raw::WordReader>,
    shared: Arc<Shared>,
    signals: Signals,
}

impl WordReader for CWordReader {
    fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
        let (function, part) = self.part.function(|table| table.shift_in)?;
        let mut word = UNWRITTEN_WORD;
        // SAFETY: the part is alive, and the word is ours.
        let code = unsafe { function(part, bit.into(), &raw mut word) };
        Ok(self.part.yes("shift_in", code)?.then_some(word))
    }

    fn profile(&self) -> Option<Profile> {
        self.shared.maker.profile().cloned()
    }

    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        self.part.power_up(|table| table.power_up, profile)
    }

    fn request(&mut self, request: TransferRequest) -> Result<Answer, SeamError> {
        let (function, part) = self.part.function(|table| table.request)?;
        let start = crate::event::start_number(request.start);
        // SAFETY: the part is alive.
        let code = unsafe { function(part, request.transfer, request.words, start) };
        Ok(match self.part.answer("request", code, Some((TP_REFUSED, "refused")))? {
            true => Answer::Refused,
            false => Answer::Heard,
        })
    }

    fn service(&mut self, transfer: u32) -> Result<Option<u64>, SeamError> {
        let (function, part) = self.part.function(|table| table.service)?;
        let mut word = UNWRITTEN_WORD;
        // SAFETY: the part is alive, and the word is ours.
        let code = unsafe { function(part, transfer, &raw mut word) };
        Ok(self.part.yes("service", code)?.then_some(word))
    }

    fn index(&mut self) -> Result<(), SeamError> {
        self.part.plain("index", |table| table.index)
    }

    fn set_sync_word(&mut self, word: u64) -> Result<(), SeamError> {
        let (function, part) = self.part.function(|table| table.set_sync_word)?;
        // SAFETY: the part is alive.
        self.part.done("set_sync_word", unsafe { function(part, word) })
    }

    fn set_hardware_sync(&mut self, on: bool) -> Result<(), SeamError> {
        let (function, part) = self.part.function(|table| table.set_hardware_sync)?;
        // SAFETY: the part is alive.
        self.part.done("set_hardware_sync", unsafe { function(part, on.into()) })
    }

    fn source_changed(&mut self) -> Result<(), SeamError> {
        self.part.plain("source_changed", |table| table.source_changed)
    }

    fn abort(&mut self) -> Result<(), SeamError> {
        self.part.plain("abort", |table| table.abort)
    }

    fn reset(&mut self) -> Result<(), SeamError> {
        self.part.plain("reset", |table| table.reset)
    }

    fn poll_status(&mut self) -> Result<ShownStatus, SeamError> {
        let (function, part) = self.part.function(|table| table.poll_status)?;
        let (mut driven, mut set) = (UNWRITTEN, UNWRITTEN);
        // SAFETY: the part is alive, and both numbers are ours.
        let code = unsafe { function(part, &raw mut driven, &raw mut set) };
        self.part.done("poll_status", code)?;
        let may = Status::DONE.to_bits()
            | Status::BUSY.to_bits()
            | Status::ERROR.to_bits()
            | Status::MATCH.to_bits();
        let bits = within("driven", driven, may.into(), "a reader may drive")?;
        let shown = within("set", set, driven, "are driven")?;
        let first = *self.shared.driven.get_or_init(|| driven);
        if driven != first {
            return Err(protocol(format!(
                "`poll_status` set *driven to {driven:#x}, and to {first:#x} the first time; the \
                 bits are driven always or never"
            )));
        }
        Ok(ShownStatus { driven: bits, set: shown })
    }

    fn poll_byte(&mut self) -> Result<PolledByte, SeamError> {
        let (function, part) = self.part.function(|table| table.poll_byte)?;
        let (mut value, mut fresh) = (UNWRITTEN, UNWRITTEN);
        // SAFETY: the part is alive, and both numbers are ours.
        let code = unsafe { function(part, &raw mut value, &raw mut fresh) };
        self.part.done("poll_byte", code)?;
        let value = u8::try_from(value).map_err(|_| {
            protocol(format!("`poll_byte` set *value to {value}, the limit is {}", u8::MAX))
        })?;
        Ok(PolledByte { value, fresh: flag("poll_byte", "fresh", fresh)? })
    }

    fn done_signal(&mut self) -> Result<bool, SeamError> {
        self.signals.ask(&self.part, "done_signal", |table| table.done_signal)
    }

    fn match_signal(&mut self) -> Result<bool, SeamError> {
        self.signals.ask(&self.part, "match_signal", |table| table.match_signal)
    }
}

/// Status bits, if they are among those that may be.
fn within(name: &str, bits: u32, may: u32, which: &str) -> Result<Status, SeamError> {
    match u16::try_from(bits) {
        Ok(known) if bits & !may == 0 => Ok(Status::from_bits(known)),
        _ => Err(protocol(format!(
            "`poll_status` set *{name} to {bits:#x}, but only {may:#x} {which}"
        ))),
    }
}

impl fmt::Debug for CWordReader {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CWordReader").finish_non_exhaustive()
    }
}
