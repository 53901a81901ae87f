//! What no allowed state could have shown, and the state that came closest.

use super::state::State;
use super::worlds::MediumDifference;
use trackproof_contract::Status;

/// The observation that no state allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mismatch {
    /// A word came with another value than any state has at that place.
    WordValue,
    /// A service took no word although one was waiting.
    WordMissing,
    /// A service took a word although none was waiting.
    WordExtra,
    /// A service of a transfer that does not run took a word.
    WordAfterEnd,
    /// The byte has another value.
    ByteValue,
    /// The byte's flag says new for a byte that was seen before.
    ByteFlagSet,
    /// The byte's flag says seen for a byte that is new.
    ByteFlagClear,
    /// Status bits are wrong, `bits` of them.
    StatusBits {
        /// The wrong bits.
        bits: StatusOrd,
    },
    /// The completion signal did not come in time.
    DoneMissing,
    /// The completion signal came without its event, too early or twice.
    DoneExtra,
    /// A refused request was not reported.
    RefusedMissing,
    /// A request was reported refused that was not to be.
    RefusedExtra,
    /// A match signal did not come.
    MatchSignalMissing,
    /// A match signal came without a match.
    MatchSignalExtra,
    /// After the run the media are not what they should be.
    Media(MediumDifference),
}

impl Mismatch {
    /// Whether the match flag or its signal is wrong.
    #[must_use]
    pub fn is_match_flag(self) -> bool {
        match self {
            Self::StatusBits { bits } => bits.status().has(Status::MATCH),
            Self::MatchSignalMissing | Self::MatchSignalExtra => true,
            _ => false,
        }
    }
}

/// Status bits, ordered by number, so that the closest state is chosen the same way everywhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct StatusOrd(pub u16);

impl StatusOrd {
    /// The bits.
    #[must_use]
    pub const fn status(self) -> Status {
        Status::from_bits(self.0)
    }
}

/// Where and how an observation left what is allowed.
#[derive(Debug, Clone)]
pub struct Rejection {
    /// What is wrong with it.
    pub mismatch: Mismatch,
    /// The event at which it shows: an index into the timeline.
    pub event: usize,
    /// The item that shows it, or the one before which something is missing.
    pub item: usize,
    /// The moment, in nanoseconds.
    pub at_ns: u64,
    /// The state that came closest, just before.
    pub state: State,
    /// How many states there were.
    pub states: usize,
}
