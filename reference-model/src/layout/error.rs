//! Why a layout makes no track: what, the value, the limit, and what to do.

use super::MAX_SIZE_CODE;
use std::fmt;
use trackproof_contract::MAX_TRACK_BITS;

/// Why a layout makes no track.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LayoutError {
    /// A size code past the limit.
    Size {
        /// The layout's size code.
        size_code: u8,
    },
    /// A turn past the limit.
    Turn {
        /// The layout's turn.
        channel_bits: usize,
    },
    /// The fields take more than a turn.
    Fit {
        /// From index to the first sector.
        preamble_bytes: usize,
        /// Sectors a track.
        sectors: u8,
        /// What each sector takes.
        sector_span_bytes: usize,
        /// What there is.
        turn_bytes: usize,
    },
    /// Sectors without gaps take more than a turn.
    Full {
        /// Sectors a track.
        sectors: u8,
        /// What each sector takes.
        sector_span_bytes: usize,
        /// What there is.
        turn_bytes: usize,
    },
    /// A sector that cannot be split into even and odd bits.
    Split {
        /// The layout's data bytes a sector.
        sector_bytes: usize,
    },
    /// The full-track layout has no deleted data mark.
    NoDeleted {
        /// The sector's number.
        sector: usize,
    },
    /// Not as many sectors as the layout has.
    Sectors {
        /// As many were given.
        given: usize,
        /// As many the layout has.
        wanted: u8,
    },
    /// A sector's data of another length.
    Data {
        /// The sector's number.
        sector: usize,
        /// Its length.
        given: usize,
        /// What its size code asks for.
        wanted: usize,
    },
}

impl fmt::Display for LayoutError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Size { size_code } => {
                write!(f, "size code {size_code}: the limit is {MAX_SIZE_CODE}, 16 384 bytes")
            }
            Self::Turn { channel_bits } => write!(
                f,
                "a turn of {channel_bits} channel bits: the limit is {MAX_TRACK_BITS}, take fewer \
                 bytes a turn"
            ),
            Self::Fit { preamble_bytes, sectors, sector_span_bytes, turn_bytes } => {
                let taken = preamble_bytes + usize::from(*sectors) * sector_span_bytes;
                write!(
                    f,
                    "the layout takes {preamble_bytes} + {sectors} x {sector_span_bytes} = {taken} \
                     bytes, a turn has {turn_bytes}, {} fewer: shorten gaps or leave out sectors",
                    taken - turn_bytes
                )
            }
            Self::Full { sectors, sector_span_bytes, turn_bytes } => {
                let taken = usize::from(*sectors) * sector_span_bytes;
                write!(
                    f,
                    "the layout takes {sectors} x {sector_span_bytes} = {taken} bytes, a turn has \
                     {turn_bytes}, {} fewer: leave out sectors",
                    taken - turn_bytes
                )
            }
            Self::Split { sector_bytes } => write!(
                f,
                "a sector of {sector_bytes} bytes has no two halves: give an even number of at \
                 least 2"
            ),
            Self::NoDeleted { sector } => write!(
                f,
                "sector {sector} is to be deleted, but this layout has no data marks: keep it or \
                 take a soft-sector layout"
            ),
            Self::Sectors { given, wanted } => {
                write!(f, "{given} sectors were given for a track of {wanted}: give each its data")
            }
            Self::Data { sector, given, wanted } => write!(
                f,
                "sector {sector} was given {given} bytes, its size code asks for {wanted}: fill or \
                 cut the data"
            ),
        }
    }
}

impl std::error::Error for LayoutError {}
