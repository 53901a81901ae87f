//! Why a sample cannot be had.

use std::fmt;
use std::io;
use std::path::PathBuf;
use trackproof_c_abi::LoadError;

/// Why a sample cannot be had.
#[derive(Debug)]
#[non_exhaustive]
pub enum SampleError {
    /// There is no sample of that name.
    Sample {
        /// The name as given.
        name: String,
        /// The samples there are.
        known: Vec<String>,
    },
    /// The sample has no fault of that name.
    Fault {
        /// The sample.
        sample: String,
        /// The name as given.
        name: String,
        /// The faults that it has.
        known: Vec<String>,
    },
    /// The sample is no library that could be opened.
    NoLibrary {
        /// The sample.
        sample: String,
    },
    /// Its library cannot be written to a temporary folder.
    Unpack {
        /// Where.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
    /// Its library cannot be used.
    Load(LoadError),
}

impl fmt::Display for SampleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sample { name, known } => {
                write!(f, "no sample `{name}`; there is {}", known.join(", "))
            }
            Self::Fault { sample, name, known } if known.is_empty() => {
                write!(f, "sample `{sample}` has no fault `{name}`; it is correct and has none")
            }
            Self::Fault { sample, name, known } => {
                write!(f, "sample `{sample}` has no fault `{name}`; it has {}", known.join(", "))
            }
            Self::NoLibrary { sample } => write!(
                f,
                "sample `{sample}` is no library but a part of a controller in Rust; plug it in as \
                 one"
            ),
            Self::Unpack { path, error } => write!(
                f,
                "{}: the sample's library cannot be written there: {error}; make room, or set \
                 TMPDIR to a folder that can be written",
                path.display()
            ),
            Self::Load(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for SampleError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Unpack { error, .. } => Some(error),
            Self::Load(error) => Some(error),
            Self::Sample { .. } | Self::Fault { .. } | Self::NoLibrary { .. } => None,
        }
    }
}

impl From<LoadError> for SampleError {
    fn from(error: LoadError) -> Self {
        Self::Load(error)
    }
}
