//! What is recorded: a medium for each drive, cylinder and side that the case speaks of.

use crate::ChannelBits;

/// How a medium of channel bits treats what flux could not hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum ChannelKind {
    /// Keeps any string of channel bits.
    Image,
}

/// The content of one track.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case", deny_unknown_fields))]
#[non_exhaustive]
pub enum Medium {
    /// A turn of channel bits; bit 0 begins at the index.
    ChannelBits {
        /// What the medium does with strings that flux could not hold.
        kind: ChannelKind,
        /// One turn, as long as the drive's `turn_bits`.
        track: ChannelBits,
    },
}

impl Medium {
    /// A track of channel bits that keeps any string.
    #[must_use]
    pub const fn image_bits(track: ChannelBits) -> Self {
        Self::ChannelBits { kind: ChannelKind::Image, track }
    }

    /// The channel bits of one turn.
    #[must_use]
    pub const fn track(&self) -> &ChannelBits {
        match self {
            Self::ChannelBits { track, .. } => track,
        }
    }

    /// The channel bits of one turn, to change them.
    pub const fn track_mut(&mut self) -> &mut ChannelBits {
        match self {
            Self::ChannelBits { track, .. } => track,
        }
    }
}

/// One recorded track and where it is. Tracks that no entry names read as zeros.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Track {
    /// The drive, from 0.
    pub drive: u8,
    /// The cylinder, from 0.
    pub cylinder: u8,
    /// The side, 0 or 1.
    pub side: u8,
    /// What is recorded there.
    pub medium: Medium,
}
