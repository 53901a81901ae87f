//! A track writer made by a library: calls it and believes nothing that it returns unchecked.

use crate::file::File;
use crate::part::{Part, PartLibrary, PartMaker, Signals, flag};
use crate::{LoadError, Make, event, raw};
use std::fmt;
use std::sync::Arc;
use trackproof_contract::{Profile, SeamError, TrackWriter, TransferRequest};

/// A bit that no call has written.
const UNWRITTEN: u32 = u32::MAX;

/// A shared library that has a track writer, by `tp_track_writer_entry` of `trackproof.h`.
pub struct TrackWriterLibrary(PartLibrary<raw::TrackWriter>);

impl TrackWriterLibrary {
    pub(crate) fn of(file: File) -> Result<Self, LoadError> {
        PartLibrary::of(file).map(Self)
    }

    /// The name that the library gives itself, if it has one.
    #[must_use]
    pub fn name(&self) -> Option<String> {
        self.0.name()
    }

    /// What makes writers, a new one for each case; `options` are words of the library's own.
    ///
    /// # Errors
    /// As [`Library::create`](crate::Library::create): one is made at once.
    pub fn maker(&self, options: Option<&str>) -> Result<Make<CTrackWriter>, LoadError> {
        let maker = Arc::new(self.0.maker(options)?);
        Ok(Arc::new(move || CTrackWriter {
            part: maker.make(),
            maker: Arc::clone(&maker),
            signals: Signals::default(),
        }))
    }
}

impl fmt::Debug for TrackWriterLibrary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("TrackWriterLibrary").field(&self.name()).finish()
    }
}

/// One track writer, as [`TrackWriterLibrary::maker`] makes it; dropping it destroys it.
pub struct CTrackWriter {
    part: Part<raw::TrackWriter>,
    maker: Arc<PartMaker<raw::TrackWriter>>,
    signals: Signals,
}

impl TrackWriter for CTrackWriter {
    fn write(&mut self, request: TransferRequest, write_protected: bool) -> Result<(), SeamError> {
        let (function, part) = self.part.function(|table| table.write)?;
        let TransferRequest { transfer, words, start } = request;
        let start = event::start_number(start);
        // SAFETY: the part is alive.
        let code = unsafe { function(part, transfer, words, start, write_protected.into()) };
        self.part.done("write", code)
    }

    fn offer(&mut self, transfer: u32, word: u64) -> Result<bool, SeamError> {
        let (function, part) = self.part.function(|table| table.offer)?;
        // SAFETY: the part is alive.
        self.part.yes("offer", unsafe { function(part, transfer, word) })
    }

    fn begin_cell(&mut self) -> Result<Option<bool>, SeamError> {
        let (function, part) = self.part.function(|table| table.begin_cell)?;
        let mut bit = UNWRITTEN;
        // SAFETY: the part is alive, and the bit is ours.
        let code = unsafe { function(part, &raw mut bit) };
        match self.part.yes("begin_cell", code)? {
            true => flag("begin_cell", "bit", bit).map(Some),
            false => Ok(None),
        }
    }

    fn is_busy(&mut self) -> Result<bool, SeamError> {
        let (function, part) = self.part.function(|table| table.is_busy)?;
        // SAFETY: the part is alive.
        self.part.yes("is_busy", unsafe { function(part) })
    }

    fn end_cell(&mut self) -> Result<(), SeamError> {
        match self.part.plain("end_cell", |table| table.end_cell) {
            Err(SeamError::NotSupported) => Ok(()),
            other => other,
        }
    }

    fn profile(&self) -> Option<Profile> {
        self.maker.profile().cloned()
    }

    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        self.part.power_up(|table| table.power_up, profile)
    }

    fn index(&mut self) -> Result<(), SeamError> {
        self.part.plain("index", |table| table.index)
    }

    fn abort(&mut self) -> Result<(), SeamError> {
        self.part.plain("abort", |table| table.abort)
    }

    fn reset(&mut self) -> Result<(), SeamError> {
        self.part.plain("reset", |table| table.reset)
    }

    fn done_signal(&mut self) -> Result<bool, SeamError> {
        self.signals.ask(&self.part, "done_signal", |table| table.done_signal)
    }
}

impl fmt::Debug for CTrackWriter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CTrackWriter").finish_non_exhaustive()
    }
}
