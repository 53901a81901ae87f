//! What a library is: a whole controller, or a part of one.

use crate::file::File;
use crate::{
    DataSeparatorLibrary, Library, LoadError, TrackEncoderLibrary, TrackWriterLibrary,
    WordReaderLibrary, raw,
};
use std::fmt;
use std::path::Path;
use std::str::FromStr;

/// What a library may be, each by an entry of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A controller with its drives.
    Controller,
    /// A part: channel bits in, words out.
    WordReader,
    /// A part: words in, channel bits out.
    TrackWriter,
    /// A part: sectors in, the stream of a track out.
    TrackEncoder,
    /// A part: flux in, channel bits out.
    DataSeparator,
}

impl Kind {
    /// All of them, in the order of the header: of several that a library exports the first counts.
    pub const ALL: [Self; 5] = [
        Self::Controller,
        Self::WordReader,
        Self::TrackWriter,
        Self::TrackEncoder,
        Self::DataSeparator,
    ];

    /// The name, as on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Controller => "controller",
            Self::WordReader => "word-reader",
            Self::TrackWriter => "track-writer",
            Self::TrackEncoder => "track-encoder",
            Self::DataSeparator => "data-separator",
        }
    }

    /// Whether the library exports the entry of that kind.
    fn is_in(self, file: &File) -> bool {
        match self {
            Self::Controller => file.exports::<raw::Adapter>(),
            Self::WordReader => file.exports::<raw::WordReader>(),
            Self::TrackWriter => file.exports::<raw::TrackWriter>(),
            Self::TrackEncoder => file.exports::<raw::TrackEncoder>(),
            Self::DataSeparator => file.exports::<raw::DataSeparator>(),
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Kind {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL.into_iter().find(|kind| kind.name() == text).ok_or_else(|| {
            let names = Self::ALL.map(Self::name).join(", ");
            format!("`{text}` is nothing that a library may be: {names}")
        })
    }
}

/// A library, opened as what it is.
#[derive(Debug)]
pub enum Offer {
    /// A controller with its drives.
    Controller(Library),
    /// A word reader, to be lent the rest.
    WordReader(WordReaderLibrary),
    /// A track writer, likewise.
    TrackWriter(TrackWriterLibrary),
    /// A track encoder, likewise.
    TrackEncoder(TrackEncoderLibrary),
    /// A data separator, likewise.
    DataSeparator(DataSeparatorLibrary),
}

impl Offer {
    /// Opens the library at `path` as that kind, or finds out what it is. This runs its code.
    ///
    /// # Errors
    /// [`LoadError`] says what is not as `trackproof.h` has it.
    pub fn open(path: &Path, kind: Option<Kind>) -> Result<Self, LoadError> {
        let file = File::load(path)?;
        let kind = kind.or_else(|| Kind::ALL.into_iter().find(|kind| kind.is_in(&file)));
        // One that exports nothing hears that it is no controller.
        match kind.unwrap_or(Kind::Controller) {
            Kind::Controller => Library::of(file).map(Self::Controller),
            Kind::WordReader => WordReaderLibrary::of(file).map(Self::WordReader),
            Kind::TrackWriter => TrackWriterLibrary::of(file).map(Self::TrackWriter),
            Kind::TrackEncoder => TrackEncoderLibrary::of(file).map(Self::TrackEncoder),
            Kind::DataSeparator => DataSeparatorLibrary::of(file).map(Self::DataSeparator),
        }
    }
}
