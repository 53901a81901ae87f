//! How a deviation shows itself: what one finding is told from another by, beside its name.

use crate::verdict::Deviation;
use serde::{Deserialize, Serialize};
use trackproof_contract::Status;
use trackproof_model::reader::rejection::Mismatch;

/// How a deviation shows itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Showing {
    /// It stopped, or only its name is known.
    Nothing,
    Words,
    ChannelBits,
    Byte,
    Done,
    Refused,
    MatchSignal,
    Status(u16),
    Media,
}

impl Showing {
    pub(crate) fn of(deviation: &Deviation) -> Self {
        match deviation.rejection.mismatch {
            Mismatch::WordValue
            | Mismatch::WordMissing
            | Mismatch::WordExtra
            | Mismatch::WordAfterEnd => Self::Words,
            Mismatch::ByteValue | Mismatch::ByteFlagSet | Mismatch::ByteFlagClear => Self::Byte,
            Mismatch::DoneMissing | Mismatch::DoneExtra => Self::Done,
            Mismatch::RefusedMissing | Mismatch::RefusedExtra => Self::Refused,
            Mismatch::MatchSignalMissing | Mismatch::MatchSignalExtra => Self::MatchSignal,
            Mismatch::Media(_) => Self::Media,
            Mismatch::StatusBits { bits } => {
                let lines = Status::INDEX
                    .with(Status::TRACK_ZERO, true)
                    .with(Status::PROTECT, true)
                    .with(Status::READY, true)
                    .with(Status::CHANGE, true)
                    .to_bits();
                // The drive's lines are one way of showing, the controller's bits one each.
                let own = bits.0 & !lines;
                Self::Status(if own == 0 { lines } else { 1 << own.trailing_zeros() })
            }
        }
    }
}
