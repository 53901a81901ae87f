//! How an implementation stopped instead of answering.

use std::fmt;

/// How an implementation stopped instead of answering. Only trackproof makes one: it sees the end
/// of the process that a case ran in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Stop {
    /// A signal for a broken access or instruction ended its process.
    Crashed {
        /// The signal's name.
        signal: &'static str,
    },
    /// It gave up and ended its process by `abort`.
    Aborted,
    /// It ended its process.
    Exited {
        /// The exit code.
        code: i32,
    },
    /// It had not come back when the time was over that one case may take.
    Endless {
        /// That time, in milliseconds.
        limit_ms: u64,
    },
    /// It panicked.
    Panicked,
    /// Its process was ended by a signal that nothing in it need have caused.
    Killed {
        /// The signal's name.
        signal: &'static str,
    },
    /// Its process answered something that makes no sense.
    Garbled,
}

impl Stop {
    /// What happened, in a word: a finding's kind.
    #[must_use]
    pub const fn kind(self) -> &'static str {
        match self {
            Self::Crashed { .. } => "crashed",
            Self::Aborted => "aborted",
            Self::Exited { .. } => "exited",
            Self::Endless { .. } => "endless",
            Self::Panicked => "panicked",
            Self::Killed { .. } => "killed",
            Self::Garbled => "garbled",
        }
    }
}

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Crashed { signal } => write!(f, "it crashed: {signal} ended its process"),
            Self::Aborted => f.write_str("it aborted: SIGABRT ended its process"),
            Self::Exited { code } => write!(f, "it ended its process with exit code {code}"),
            Self::Endless { limit_ms } => {
                write!(f, "it had not come back after {} s", *limit_ms as f64 / 1_000.0)
            }
            Self::Panicked => f.write_str("it panicked"),
            Self::Killed { signal } => write!(f, "its process was ended from outside by {signal}"),
            Self::Garbled => f.write_str("its process answered what makes no sense"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Stop;

    #[test]
    fn a_stop_says_what_happened_in_a_word_and_in_a_sentence() {
        let endless = Stop::Endless { limit_ms: 2_500 };
        assert_eq!(endless.kind(), "endless");
        assert_eq!(endless.to_string(), "it had not come back after 2.5 s");
        let crashed = Stop::Crashed { signal: "SIGSEGV" };
        assert_eq!(crashed.to_string(), "it crashed: SIGSEGV ended its process");
    }
}
