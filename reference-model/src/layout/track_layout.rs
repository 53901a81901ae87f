//! Either kind of layout, for those who lay out and find sectors whichever it is.

use super::{
    DecodedTrack, EncodedTrack, FieldKind, FoundSector, FullTrack, Layout, LayoutError, SectorData,
    full_track,
};
use trackproof_contract::{ChannelBits, Recording};

/// A soft-sector layout or a full-track one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TrackLayout {
    /// Sectors between gaps, each with an identifier and a data field.
    SoftSector(Layout),
    /// Sectors without gaps.
    FullTrack(FullTrack),
}

impl TrackLayout {
    /// The code.
    #[must_use]
    pub const fn recording(&self) -> Recording {
        match self {
            Self::SoftSector(layout) => layout.recording,
            Self::FullTrack(_) => Recording::Mfm,
        }
    }

    /// Sectors a track.
    #[must_use]
    pub const fn sectors(&self) -> u8 {
        match self {
            Self::SoftSector(layout) => layout.sectors,
            Self::FullTrack(layout) => layout.sectors,
        }
    }

    /// Data bytes of a sector.
    #[must_use]
    pub const fn sector_bytes(&self) -> usize {
        match self {
            Self::SoftSector(layout) => layout.sector_bytes(),
            Self::FullTrack(layout) => layout.sector_bytes as usize,
        }
    }

    /// Channel bits from index to index.
    #[must_use]
    pub const fn turn_bits(&self) -> usize {
        match self {
            Self::SoftSector(layout) => layout.turn_bits(),
            Self::FullTrack(layout) => layout.turn_bits(),
        }
    }

    /// Channel bits that a read has to hold in one piece for a sector.
    #[must_use]
    pub const fn sector_read_bits(&self) -> usize {
        match self {
            Self::SoftSector(layout) => layout.sector_read_bits(),
            Self::FullTrack(layout) => layout.sector_read_bits(),
        }
    }

    /// Bytes that are left before index when all sectors stand on the track.
    ///
    /// # Errors
    /// [`LayoutError`] when a number passes its limit or the fields take more than a turn.
    pub fn bytes_left(&self) -> Result<usize, LayoutError> {
        match self {
            Self::SoftSector(layout) => layout.gap_4b_bytes(),
            Self::FullTrack(layout) => layout.filler_bytes(),
        }
    }

    /// Lays a track out: `sectors` holds the data of all sectors in order.
    ///
    /// # Errors
    /// [`LayoutError`] when the layout does not fit its turn, or the data does not fit the layout.
    pub fn encode(
        &self,
        cylinder: u8,
        side: u8,
        sectors: &[SectorData<'_>],
    ) -> Result<EncodedTrack, LayoutError> {
        match self {
            Self::SoftSector(layout) => super::encode(layout, cylinder, side, sectors),
            Self::FullTrack(layout) => full_track::encode(layout, cylinder, side, sectors),
        }
    }

    /// The same, wherever on the track a sector's data mark stands behind its address.
    pub(crate) fn decode_far(&self, track: &ChannelBits) -> DecodedTrack {
        match self {
            Self::SoftSector(layout) => super::decode::decode_within(track, layout, track.len()),
            Self::FullTrack(layout) => full_track::decode(track, layout),
        }
    }

    /// Whether a sector's data mark stands so far behind its address that [`Self::decode`] does
    /// not find it; `turn_bits` is the track's length.
    pub(crate) fn is_far(&self, sector: &FoundSector, turn_bits: usize) -> bool {
        let Self::SoftSector(layout) = self else { return false };
        let end_of = |kind| {
            let field = sector.fields.iter().find(|field| field.kind == kind);
            field.map_or(0, |field| field.start_bit + field.channel_bits)
        };
        let behind = end_of(FieldKind::DataMark) + turn_bits - end_of(FieldKind::AddressCheck);
        behind % turn_bits > layout.data_mark_reach_bits()
    }

    /// Finds the sectors of a whole track, which is a circle: any channel bit may come first.
    #[must_use]
    pub fn decode(&self, track: &ChannelBits) -> DecodedTrack {
        match self {
            Self::SoftSector(layout) => super::decode(track, layout),
            Self::FullTrack(layout) => full_track::decode(track, layout),
        }
    }
}

impl From<Layout> for TrackLayout {
    fn from(layout: Layout) -> Self {
        Self::SoftSector(layout)
    }
}

impl From<FullTrack> for TrackLayout {
    fn from(layout: FullTrack) -> Self {
        Self::FullTrack(layout)
    }
}
