//! Layouts: which fields stand on a track, how long, in which order.
//!
//! A [`Layout`] is the numbers of a soft-sector format, so that every standard format is one of
//! its values; a [`FullTrack`] has sectors without gaps; [`TrackLayout`] is either. [`encode`] lays
//! a track out, [`decode`] finds the sectors on it again at any phase. The codes are
//! [`code`](crate::code)'s matter, the checks [`check`](crate::check)'s.
//!
//! Source of fields, order and fill bytes: SMSC LPC47M102 data sheet, p. 49; for MFM also
//! SA810/860 OEM manual, fig. 6-7. What checks cover: from memory.

mod decode;
mod encode;
mod error;
pub(crate) mod field;
mod found;
pub mod full_track;
mod track_layout;

pub use decode::decode;
pub use encode::{EncodedTrack, SectorData, encode};
pub use error::LayoutError;
pub use found::{DecodedTrack, Defect, DefectKind, FoundSector};
pub use full_track::FullTrack;
pub use track_layout::TrackLayout;

use crate::code::Mark;
use std::fmt;
use trackproof_contract::{MAX_TRACK_BITS, Recording};

/// The fourth byte of an identifier mark, and the whole of it in FM.
pub const IDENTIFIER_MARK: u8 = 0xfe;
/// The byte that opens a data field.
pub const DATA_MARK: u8 = 0xfb;
/// The byte that opens a data field whose contents count as deleted.
pub const DELETED_DATA_MARK: u8 = 0xf8;
/// The byte of the index mark.
pub const INDEX_MARK: u8 = 0xfc;
/// Largest size code: 128 bytes, doubled seven times (from memory).
pub const MAX_SIZE_CODE: u8 = 7;

/// Bytes of an address field without its check: cylinder, side, sector, size code.
const ADDRESS_BYTES: usize = 4;
const CHECK_BYTES: usize = 2;
/// Channel bits of a byte: eight clock and eight data bits.
const BYTE_BITS: usize = 16;

/// What stands between index and the first sector's sync.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Preamble {
    /// Gap 4a, sync, index mark, gap 1.
    IndexMark {
        /// Gap 4a, in bytes.
        gap_4a_bytes: u16,
        /// Gap 1, in bytes.
        gap_1_bytes: u16,
    },
    /// Gap 1 alone.
    GapOnly {
        /// Gap 1, in bytes.
        gap_1_bytes: u16,
    },
}

/// A soft-sector format, by its numbers. Sectors are numbered from 1, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Layout {
    /// The code.
    pub recording: Recording,
    /// What comes first.
    pub preamble: Preamble,
    /// Zero bytes before each mark.
    pub sync_bytes: u16,
    /// Between an address's check and the data field's sync.
    pub gap_2_bytes: u16,
    /// Between a data field's check and the next identifier's sync; after the last one too.
    pub gap_3_bytes: u16,
    /// Sectors a track.
    pub sectors: u8,
    /// Size code of every sector: 128 bytes, doubled that many times.
    pub size_code: u8,
    /// Bytes from index to index.
    pub turn_bytes: u32,
}

impl Layout {
    /// MFM, 9 sectors of 512 bytes, 6 250 bytes a turn.
    ///
    /// Source: preamble 80 + 12 + 3 + 1 + 50 bytes, sync 12, gap 2 22 bytes: SMSC LPC47M102 data
    /// sheet, p. 49, and SA810/860 OEM manual, fig. 6-7; gap 3 80 bytes: the former's table of
    /// gap lengths; 6 250 bytes a turn: RS 237-088 leaflet 9419, 1.2.1.
    pub const MFM_9_BY_512: Self = Self {
        recording: Recording::Mfm,
        preamble: Preamble::IndexMark { gap_4a_bytes: 80, gap_1_bytes: 50 },
        sync_bytes: 12,
        gap_2_bytes: 22,
        gap_3_bytes: 80,
        sectors: 9,
        size_code: 2,
        turn_bytes: 6_250,
    };

    /// Data bytes of a sector.
    #[must_use]
    pub const fn sector_bytes(&self) -> usize {
        128 << self.size_code
    }

    /// Channel bits from index to index.
    #[must_use]
    pub const fn turn_bits(&self) -> usize {
        self.turn_bytes as usize * BYTE_BITS
    }

    /// Bytes from index to the first sector's sync.
    #[must_use]
    pub const fn preamble_bytes(&self) -> usize {
        match self.preamble {
            Preamble::IndexMark { gap_4a_bytes, gap_1_bytes } => {
                gap_4a_bytes as usize
                    + self.sync_bytes as usize
                    + self.mark_bytes()
                    + gap_1_bytes as usize
            }
            Preamble::GapOnly { gap_1_bytes } => gap_1_bytes as usize,
        }
    }

    /// Bytes that each sector takes, from its identifier's sync to the end of gap 3.
    #[must_use]
    pub const fn sector_span_bytes(&self) -> usize {
        self.sync_bytes as usize
            + self.mark_bytes()
            + self.data_end_bytes()
            + self.gap_3_bytes as usize
    }

    /// Channel bits from an identifier mark's first to its data check's last: what a read has to
    /// hold in one piece for that sector.
    #[must_use]
    pub const fn sector_read_bits(&self) -> usize {
        (self.mark_bytes() + self.data_end_bytes()) * BYTE_BITS
    }

    /// Bytes left for gap 4b.
    ///
    /// # Errors
    /// [`LayoutError::Size`] and [`LayoutError::Turn`] when a number passes its limit,
    /// [`LayoutError::Fit`] when the fields take more than a turn.
    pub fn gap_4b_bytes(&self) -> Result<usize, LayoutError> {
        if self.size_code > MAX_SIZE_CODE {
            return Err(LayoutError::Size { size_code: self.size_code });
        }
        if self.turn_bits() > MAX_TRACK_BITS {
            return Err(LayoutError::Turn { channel_bits: self.turn_bits() });
        }
        let taken = self.preamble_bytes() + usize::from(self.sectors) * self.sector_span_bytes();
        let turn = self.turn_bytes as usize;
        turn.checked_sub(taken).ok_or(LayoutError::Fit {
            preamble_bytes: self.preamble_bytes(),
            sectors: self.sectors,
            sector_span_bytes: self.sector_span_bytes(),
            turn_bytes: turn,
        })
    }

    /// The byte that gaps are filled with.
    const fn gap_byte(&self) -> u8 {
        match self.recording {
            Recording::Mfm => 0x4e,
            Recording::Fm => 0xff,
        }
    }

    /// Bytes of a mark: three special ones and the mark byte in MFM, one in FM.
    const fn mark_bytes(&self) -> usize {
        match self.recording {
            Recording::Mfm => 4,
            Recording::Fm => 1,
        }
    }

    /// Bytes from the end of an identifier mark to the end of the data check.
    const fn data_end_bytes(&self) -> usize {
        ADDRESS_BYTES
            + CHECK_BYTES
            + self.gap_2_bytes as usize
            + self.sync_bytes as usize
            + self.mark_bytes()
            + self.sector_bytes()
            + CHECK_BYTES
    }

    /// Channel bits from the end of an address's check within which its data mark has to end, by
    /// definition twice the layout's own distance: no other sector's data mark can.
    pub(crate) const fn data_mark_reach_bits(&self) -> usize {
        2 * (self.gap_2_bytes as usize + self.sync_bytes as usize + self.mark_bytes()) * BYTE_BITS
    }

    /// The special bytes of a mark, with broken clock bits, and the ordinary bytes after them.
    const fn mark(&self, byte: u8) -> (&'static [Mark], &'static [u8]) {
        match (self.recording, byte) {
            (Recording::Mfm, INDEX_MARK) => (&[Mark::MFM_C2; 3], &[INDEX_MARK]),
            (Recording::Mfm, IDENTIFIER_MARK) => (&[Mark::MFM_A1; 3], &[IDENTIFIER_MARK]),
            (Recording::Mfm, DELETED_DATA_MARK) => (&[Mark::MFM_A1; 3], &[DELETED_DATA_MARK]),
            (Recording::Mfm, _) => (&[Mark::MFM_A1; 3], &[DATA_MARK]),
            (Recording::Fm, INDEX_MARK) => (&[Mark::FM_INDEX], &[]),
            (Recording::Fm, IDENTIFIER_MARK) => (&[Mark::FM_IDENTIFIER], &[]),
            (Recording::Fm, DELETED_DATA_MARK) => (&[Mark::FM_DELETED_DATA], &[]),
            (Recording::Fm, _) => (&[Mark::FM_DATA], &[]),
        }
    }

    /// The bytes of a mark that its field's check covers.
    const fn checked_mark(&self, byte: &'static u8) -> [&'static [u8]; 2] {
        match self.recording {
            Recording::Mfm => [&[0xa1; 3], std::slice::from_ref(byte)],
            Recording::Fm => [&[], std::slice::from_ref(byte)],
        }
    }
}

/// What an address field says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Address {
    /// The cylinder.
    pub cylinder: u8,
    /// The side.
    pub side: u8,
    /// The sector's number.
    pub sector: u8,
    /// The size code; 0 in the full-track layout, which has none.
    pub size_code: u8,
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "cylinder {} side {} sector {}", self.cylinder, self.side, self.sector)
    }
}

/// A kind of field.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FieldKind {
    /// From index to the index mark's sync.
    Gap4a,
    /// Zeros before a mark.
    Sync,
    /// The index mark.
    IndexMark,
    /// Before the first sector.
    Gap1,
    /// The identifier mark.
    IdentifierMark,
    /// Cylinder, side, sector, size code.
    Address,
    /// The address's check.
    AddressCheck,
    /// Between identifier and data field.
    Gap2,
    /// The data mark or deleted data mark.
    DataMark,
    /// The sector's data.
    Data,
    /// The data's check.
    DataCheck,
    /// After a data field.
    Gap3,
    /// From the last gap 3 to index.
    Gap4b,
    /// The sync words that open a sector of the full-track layout.
    SyncWords,
    /// From the full-track layout's last sector to index.
    Filler,
}

impl FieldKind {
    /// The field's name, in the words of the standards.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Gap4a => "gap 4a",
            Self::Sync => "sync",
            Self::IndexMark => "index mark",
            Self::Gap1 => "gap 1",
            Self::IdentifierMark => "identifier mark",
            Self::Address => "address",
            Self::AddressCheck => "address check",
            Self::Gap2 => "gap 2",
            Self::DataMark => "data mark",
            Self::Data => "data",
            Self::DataCheck => "data check",
            Self::Gap3 => "gap 3",
            Self::Gap4b => "gap 4b",
            Self::SyncWords => "sync words",
            Self::Filler => "filler",
        }
    }
}

/// A field and its place on the track.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Field {
    /// What it is.
    pub kind: FieldKind,
    /// The number of the sector that it belongs to, if it belongs to one.
    pub sector: Option<u8>,
    /// Its first channel bit.
    pub start_bit: usize,
    /// Its length.
    pub channel_bits: usize,
}
