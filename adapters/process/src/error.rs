//! Why a child is no implementation.

use std::fmt;

/// Why a child did not start.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StartError {
    /// The command line is none, or names a program that there is not: ask for another.
    Command {
        /// What is wrong, and what to do.
        why: String,
    },
    /// It was started and is no child as the protocol has it.
    Child {
        /// What it did, the value and the limit; what it said on standard error.
        why: String,
    },
}

impl fmt::Display for StartError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (Self::Command { why } | Self::Child { why }) = self;
        f.write_str(why)
    }
}

impl std::error::Error for StartError {}
