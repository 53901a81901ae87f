//! Why a case file cannot be read or written, in one clear error.

use super::{FORMAT, MAX_CASE_FILE_BYTES};
use serde_json::error::Category;
use std::fmt;
use std::path::{Path, PathBuf};

/// Longest text of the file that an error repeats.
const MAX_SHOWN_CHARS: usize = 400;

/// Why a case file cannot be read or written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CaseFileError {
    /// The file system refused.
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What was tried: `read`, `create`, …
        doing: &'static str,
        /// The system's reason.
        why: String,
    },
    /// The file is too large.
    TooLarge {
        /// The file.
        path: PathBuf,
    },
    /// The file has a format that this version does not know.
    Newer {
        /// The file.
        path: PathBuf,
        /// The format as it stands there.
        format: String,
    },
    /// The text is no case file.
    Text {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// The column, from 1; the end of the object that the error is in.
        column: usize,
        /// What is there, what may be there, and what to do.
        why: String,
    },
    /// The case breaks a limit.
    Invalid {
        /// The file.
        path: PathBuf,
        /// Where in it: `case.program[3]`, `rule`, …
        place: String,
        /// What is there, and the limit.
        why: String,
    },
}

impl fmt::Display for CaseFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io { path, doing, why } => {
                write!(f, "{}: cannot {doing}: {why}", path.display())
            }
            Self::TooLarge { path } => write!(
                f,
                "{}: larger than {MAX_CASE_FILE_BYTES} bytes, the limit of a case file",
                path.display()
            ),
            Self::Newer { path, format } => write!(
                f,
                "{}: \"format\" is {format}, but this version knows 1 to {FORMAT}: written by a \
                 newer trackproof, so read it with that one",
                path.display()
            ),
            Self::Text { path, line, column, why } => {
                write!(f, "{}:{line}:{column}: {why}", path.display())
            }
            Self::Invalid { path, place, why } => {
                write!(f, "{}: {place}: {why}", path.display())
            }
        }
    }
}

impl std::error::Error for CaseFileError {}

pub(super) fn io_error(path: &Path, doing: &'static str, error: &std::io::Error) -> CaseFileError {
    CaseFileError::Io { path: path.to_owned(), doing, why: error.to_string() }
}

pub(super) fn invalid(path: &Path, place: &str, why: String) -> CaseFileError {
    CaseFileError::Invalid { path: path.to_owned(), place: place.to_owned(), why }
}

pub(super) fn text_error(path: &Path, error: &serde_json::Error) -> CaseFileError {
    let mut why = error.to_string();
    let place = format!(" at line {} column {}", error.line(), error.column());
    if let Some(before) = why.strip_suffix(&place) {
        why.truncate(before.len());
    }
    let advice = match error.classify() {
        Category::Eof => "the file is cut short: fetch it again",
        Category::Data => {
            "changed by hand or written by a newer trackproof: read it with the version that wrote \
             it, or correct it there"
        }
        Category::Syntax | Category::Io => "this is not JSON",
    };
    CaseFileError::Text {
        path: path.to_owned(),
        line: error.line(),
        // At the begin of a line the parser has taken no column yet.
        column: error.column().max(1),
        why: format!("{}; {advice}", shown(&why)),
    }
}

/// Foreign text for a terminal: control characters escaped, not without end.
pub(super) fn shown(text: &str) -> String {
    let mut shown: String = text
        .chars()
        .take(MAX_SHOWN_CHARS)
        .flat_map(|c| {
            let escaped = c.is_control().then(|| c.escape_default());
            escaped.into_iter().flatten().chain((!c.is_control()).then_some(c))
        })
        .collect();
    if text.chars().nth(MAX_SHOWN_CHARS).is_some() {
        shown.push('…');
    }
    shown
}
