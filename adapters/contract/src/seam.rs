//! What the small seams share: a method that is not there, and one that failed.
//!
//! A small seam ([`WordReader`](crate::WordReader), [`TrackWriter`](crate::TrackWriter),
//! [`TrackEncoder`](crate::TrackEncoder)) is a part of a controller. Most of its
//! methods have a body already, which says [`SeamError::NotSupported`]: what you leave out is a
//! capability that is missing, cases that need it are skipped and counted, and nothing is held
//! against you. Which methods you have is found out by calling each of them once on a part that is
//! made for that alone.

use crate::{Start, Status};
use std::fmt;

/// Why a method of a small seam did not do what it was asked to.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum SeamError {
    /// The implementation has no such thing: a missing capability and no fault. A method that is
    /// not there once must not be there ever.
    NotSupported,
    /// It has, and it went wrong: the run cannot be trusted, and nothing is said about the
    /// controller (exit code 7).
    Failed {
        /// What went wrong, the value and the limit.
        why: String,
    },
    /// What stands between trackproof and a part in another language got something back that cannot
    /// be: the run cannot be trusted. A part has no need of it.
    Protocol {
        /// What came, and what may come.
        why: String,
    },
}

impl SeamError {
    /// It went wrong, and why.
    #[must_use]
    pub fn failed(why: impl Into<String>) -> Self {
        Self::Failed { why: why.into() }
    }
}

impl fmt::Display for SeamError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotSupported => f.write_str("not supported"),
            Self::Failed { why } | Self::Protocol { why } => f.write_str(why),
        }
    }
}

impl std::error::Error for SeamError {}

/// The host asks for a transfer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TransferRequest {
    /// The transfer's number: that of the request among all requests of the program, from 0. Its
    /// services carry the same number.
    pub transfer: u32,
    /// How many words, 0 to the profile's `max_words`; what 0 means is the profile's `zero_words`.
    pub words: u32,
    /// When it begins.
    pub start: Start,
}

/// What became of a request at the moment at which it was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// It was accepted, or will be, or is silently ignored since a transfer is under way: all that
    /// the host does not hear of.
    Heard,
    /// It is refused and reported: `start_busy = error`, and a transfer is under way.
    Refused,
}

/// A status read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ShownStatus {
    /// The bits that it drives, always the same ones: of [`Status::DONE`], [`Status::BUSY`],
    /// [`Status::ERROR`] and [`Status::MATCH`] those that there are. Each is a capability.
    pub driven: Status,
    /// Those of them that are set now.
    pub set: Status,
}

/// A read of the byte port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PolledByte {
    /// The newest byte.
    pub value: u8,
    /// Whether it had not been read before.
    pub fresh: bool,
}
