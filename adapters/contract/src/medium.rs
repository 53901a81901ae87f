//! What is recorded: a medium for each drive, cylinder and side that the case speaks of.

use crate::ChannelBits;

/// How a medium of channel bits treats what flux could not hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum ChannelKind {
    /// Keeps any string of channel bits.
    Image,
    /// Keeps what a real medium would: transitions too close to each other, and what follows a
    /// long run without any, read as anything until legal intervals come again.
    Real,
}

/// How the sectors of an image-backed track stand in its stream. All of them are MFM; bytes that
/// no field takes are 4E; sectors are numbered from 1 in soft-sector layouts, from 0 in full-track
/// ones, and carry the track's own cylinder and side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(
    feature = "serde",
    serde(tag = "layout", rename_all = "kebab-case", deny_unknown_fields)
)]
#[non_exhaustive]
pub enum SectorLayout {
    /// Our own layout for controllers that write whole tracks: from the index on, sectors without
    /// gaps, each of its fields split into all even and then all odd bits.
    FullTrack {
        /// Sectors a track.
        sectors: u8,
        /// Data bytes of each.
        sector_bytes: u16,
    },
    /// A soft-sector format of 128 · 2^N data bytes a sector, with 12 zero bytes before each mark.
    SoftSector {
        /// Sectors a track.
        sectors: u8,
        /// N.
        size_code: u8,
        /// Bytes from the index to the index mark's sync; 0: there is no index mark.
        gap_4a_bytes: u16,
        /// Bytes before the first identifier's sync.
        gap_1_bytes: u16,
        /// Bytes between an identifier and its data.
        gap_2_bytes: u16,
        /// Bytes behind each sector's data.
        gap_3_bytes: u16,
    },
}

impl SectorLayout {
    /// Sectors a track.
    #[must_use]
    pub const fn sectors(&self) -> usize {
        match *self {
            Self::FullTrack { sectors, .. } | Self::SoftSector { sectors, .. } => sectors as usize,
        }
    }

    /// Data bytes of a sector.
    #[must_use]
    pub const fn sector_bytes(&self) -> usize {
        match *self {
            Self::FullTrack { sector_bytes, .. } => sector_bytes as usize,
            Self::SoftSector { size_code, .. } => 128 << size_code,
        }
    }

    /// Channel bits from the index to the end of the last sector's field: a turn is at least as
    /// long.
    #[must_use]
    pub const fn used_bits(&self) -> usize {
        let bytes = match *self {
            // Zeros, sync words, header and its check, data and its check.
            Self::FullTrack { sectors, sector_bytes } => {
                sectors as usize * (4 + 3 + 4 + 2 + sector_bytes as usize + 2)
            }
            Self::SoftSector {
                sectors,
                gap_4a_bytes,
                gap_1_bytes,
                gap_2_bytes,
                gap_3_bytes,
                ..
            } => {
                // Sync and mark; for an address also its four bytes and its check.
                let (mark, address) = (12 + 4, 12 + 4 + 4 + 2);
                let index = if gap_4a_bytes > 0 { gap_4a_bytes as usize + mark } else { 0 };
                let sector = address
                    + gap_2_bytes as usize
                    + mark
                    + self.sector_bytes()
                    + 2
                    + gap_3_bytes as usize;
                index + gap_1_bytes as usize + sectors as usize * sector
            }
        };
        bytes * 16
    }
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
    /// The sectors of an image-backed track; the drive makes the stream of channel bits of them.
    Image {
        /// How the sectors stand in the stream.
        layout: SectorLayout,
        /// The data of all sectors in their order, most significant bit of each byte first.
        sectors: ChannelBits,
    },
}

impl Medium {
    /// A track of channel bits that keeps any string.
    #[must_use]
    pub const fn image_bits(track: ChannelBits) -> Self {
        Self::ChannelBits { kind: ChannelKind::Image, track }
    }

    /// A track of channel bits that keeps what a real medium would.
    #[must_use]
    pub const fn real_bits(track: ChannelBits) -> Self {
        Self::ChannelBits { kind: ChannelKind::Real, track }
    }

    /// What is stored: the channel bits of one turn, or the data bits of the image's sectors.
    #[must_use]
    pub const fn track(&self) -> &ChannelBits {
        match self {
            Self::ChannelBits { track, .. } | Self::Image { sectors: track, .. } => track,
        }
    }

    /// What is stored, to change it.
    pub const fn track_mut(&mut self) -> &mut ChannelBits {
        match self {
            Self::ChannelBits { track, .. } | Self::Image { sectors: track, .. } => track,
        }
    }

    /// The image's layout, if it is one.
    #[must_use]
    pub const fn layout(&self) -> Option<SectorLayout> {
        match self {
            Self::ChannelBits { .. } => None,
            Self::Image { layout, .. } => Some(*layout),
        }
    }
}

/// One recorded track and where it is. Tracks that no entry names read as zeros, and what is
/// written on them is not asked for.
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

impl Track {
    /// Makes this track equal to another and keeps its memory where it can.
    pub fn copy_from(&mut self, other: &Self) {
        (self.drive, self.cylinder, self.side) = (other.drive, other.cylinder, other.side);
        match (&mut self.medium, &other.medium) {
            (
                Medium::ChannelBits { kind, track },
                Medium::ChannelBits { kind: other_kind, track: bits },
            ) => {
                *kind = *other_kind;
                track.clone_from(bits);
            }
            (
                Medium::Image { layout, sectors },
                Medium::Image { layout: other_layout, sectors: bits },
            ) => {
                *layout = *other_layout;
                sectors.clone_from(bits);
            }
            (mine, theirs) => *mine = theirs.clone(),
        }
    }
}
