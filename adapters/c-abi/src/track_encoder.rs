//! A track encoder made by a library.

use crate::file::File;
use crate::part::{Part, PartLibrary};
use crate::setup::sector_form;
use crate::{LoadError, Make, raw};
use std::fmt;
use std::sync::Arc;
use trackproof_contract::{ChannelBits, ImageTrack, SeamError, TrackEncoder};

/// A shared library that has a track encoder, by `tp_track_encoder_entry` of `trackproof.h`.
pub struct TrackEncoderLibrary(PartLibrary<raw::TrackEncoder>);

impl TrackEncoderLibrary {
    pub(crate) fn of(file: File) -> Result<Self, LoadError> {
        PartLibrary::of(file).map(Self)
    }

    /// The name that the library gives itself, if it has one.
    #[must_use]
    pub fn name(&self) -> Option<String> {
        self.0.name()
    }

    /// What makes encoders, a new one for each case; `options` are words of the library's own.
    ///
    /// # Errors
    /// As [`Library::create`](crate::Library::create): one is made at once.
    pub fn maker(&self, options: Option<&str>) -> Result<Make<CTrackEncoder>, LoadError> {
        let maker = self.0.maker(options)?;
        Ok(Arc::new(move || CTrackEncoder { part: maker.make(), stream: Vec::new() }))
    }
}

impl fmt::Debug for TrackEncoderLibrary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("TrackEncoderLibrary").field(&self.name()).finish()
    }
}

/// One track encoder, as [`TrackEncoderLibrary::maker`] makes it; dropping it destroys it.
pub struct CTrackEncoder {
    part: Part<raw::TrackEncoder>,
    stream: Vec<u8>,
}

impl TrackEncoder for CTrackEncoder {
    fn encode(&mut self, track: &ImageTrack<'_>) -> Result<ChannelBits, SeamError> {
        let (function, part) = self.part.function(|table| table.encode)?;
        let image = raw::Track {
            drive: 0,
            cylinder: track.cylinder.into(),
            side: track.side.into(),
            bit_count: 8 * track.sectors.len() as u32,
            bytes: track.sectors.as_ptr(),
        };
        let form = sector_form(&track.layout);
        self.stream.clear();
        self.stream.resize(track.turn_bits.div_ceil(8), 0);
        let stream = self.stream.as_mut_ptr();
        // SAFETY: the part is alive; image and form are good until this returns, and the stream
        // has as many bits as the call says.
        let code = unsafe {
            function(part, &raw const image, &raw const form, stream, track.turn_bits as u32)
        };
        self.part.done("encode", code)?;
        Ok(ChannelBits::from_bytes(&self.stream, track.turn_bits))
    }
}

impl fmt::Debug for CTrackEncoder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CTrackEncoder").finish_non_exhaustive()
    }
}
