//! Why a recording cannot be read: which file, where in it, what is there, and what to do.

use std::fmt;

/// The crate's error. All of it is of the class 'usage or configuration': exit code 2.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CaptureError {
    /// A file cannot be read.
    Unreadable {
        /// The file.
        file: String,
        /// Why.
        why: String,
    },
    /// Something in a file's text.
    Text {
        /// The file.
        file: String,
        /// The line, from 1.
        line: u64,
        /// What is there, what may be there, and what to do.
        why: String,
    },
}

impl fmt::Display for CaptureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { file, why } => write!(f, "{file}: {why}"),
            Self::Text { file, line, why } => write!(f, "{file}:{line}: {why}"),
        }
    }
}

impl std::error::Error for CaptureError {}
