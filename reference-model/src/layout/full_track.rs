//! The full-track layout: sectors without gaps, for controllers that write whole tracks.
//!
//! Our own, by definition; no published description of such a layout was found. Per sector: 4 bytes
//! of 00; 3 sync words (A1 with the missing clock); header (cylinder, side, sector, 00) and its
//! check; data and its check. What is left of the turn is filled with 4E. Checks are those of
//! [`check`](crate::check), over three times A1 and the field's bytes before splitting. Header,
//! header check, data and data check are each split by themselves ([`split`]), and MFM clock bits
//! are filled in after assembly, over every junction and the wrap.
//!
//! It is full of traps on purpose: no gaps to resynchronise in, halves that are no bytes, and a
//! junction wherever clock context can be lost. One more follows from the definition: on cylinders
//! whose even bits are 0100 (16, 18, 24, 26, 48, 50, 56 and 58 of 80) the header's first recorded
//! byte begins with a 4, so that the sync word matches once more, 7 channel bits after the last
//! one. A controller that realigns at every match loses all sectors of such a track.

mod decode;
mod encode;

pub use decode::decode;
pub(crate) use decode::{good_sectors, good_sectors_at_words};
pub use encode::encode;

use super::{BYTE_BITS, CHECK_BYTES, LayoutError};
use crate::check::check;
use trackproof_contract::MAX_TRACK_BITS;

/// The byte that the rest of a turn is filled with.
pub const FILLER: u8 = 0x4e;
/// Zero bytes before a sector's sync words.
pub const SYNC_BYTES: usize = 4;
/// Sync words of a sector.
pub const SYNC_WORDS: usize = 3;
/// Bytes of a header without its check.
pub const HEADER_BYTES: usize = 4;

/// A full-track layout, by its numbers. Sectors are numbered from 0, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FullTrack {
    /// Sectors a track.
    pub sectors: u8,
    /// Data bytes of a sector, an even number.
    pub sector_bytes: u16,
    /// Bytes from index to index.
    pub turn_bytes: u32,
}

impl FullTrack {
    /// 10 sectors of 512 bytes, by definition, on 6 250 bytes a turn (RS 237-088 leaflet 9419,
    /// 1.2.1).
    pub const TEN_BY_512: Self = Self { sectors: 10, sector_bytes: 512, turn_bytes: 6_250 };

    /// Channel bits from index to index.
    #[must_use]
    pub const fn turn_bits(&self) -> usize {
        self.turn_bytes as usize * BYTE_BITS
    }

    /// Bytes that each sector takes, from its first zero to its data check.
    #[must_use]
    pub const fn sector_span_bytes(&self) -> usize {
        SYNC_BYTES + SYNC_WORDS + self.body_bytes()
    }

    /// Channel bits from a sector's first sync word to the end of its data check: what a read has
    /// to hold in one piece.
    #[must_use]
    pub const fn sector_read_bits(&self) -> usize {
        (SYNC_WORDS + self.body_bytes()) * BYTE_BITS
    }

    /// Bytes left for the filler.
    ///
    /// # Errors
    /// [`LayoutError::Split`] for sectors that have no halves, [`LayoutError::Turn`] when the turn
    /// passes its limit, [`LayoutError::Full`] when the sectors take more than a turn.
    pub fn filler_bytes(&self) -> Result<usize, LayoutError> {
        if self.sector_bytes == 0 || !self.sector_bytes.is_multiple_of(2) {
            return Err(LayoutError::Split { sector_bytes: self.sector_bytes.into() });
        }
        if self.turn_bits() > MAX_TRACK_BITS {
            return Err(LayoutError::Turn { channel_bits: self.turn_bits() });
        }
        let turn_bytes = self.turn_bytes as usize;
        let sector_span_bytes = self.sector_span_bytes();
        turn_bytes
            .checked_sub(usize::from(self.sectors) * sector_span_bytes)
            .ok_or(LayoutError::Full { sectors: self.sectors, sector_span_bytes, turn_bytes })
    }

    /// Bytes of header, data and their checks.
    const fn body_bytes(&self) -> usize {
        HEADER_BYTES + CHECK_BYTES + self.sector_bytes as usize + CHECK_BYTES
    }
}

/// The check of a header or of data: over three times A1 and the bytes before splitting.
fn field_check(field: &[u8]) -> u16 {
    check(&[&[0xa1; SYNC_WORDS], field])
}

/// A field as it is recorded: first the even bits of all bytes (6, 4, 2 and 0, in this order),
/// packed into bytes, then the odd ones (7, 5, 3 and 1).
///
/// Shape: as many bytes as the field has, an even number; of an odd number the last byte is
/// left out.
///
/// ```
/// use trackproof_model::layout::full_track::{join, split};
/// assert_eq!(split(&[0b0101_0101, 0b1010_1010]), [0xf0, 0x0f]);
/// assert_eq!(join(&[0xf0, 0x0f]), [0b0101_0101, 0b1010_1010]);
/// ```
#[must_use]
pub fn split(field: &[u8]) -> Vec<u8> {
    let pairs = field.as_chunks::<2>().0;
    let half = |shift: u8| {
        pairs
            .iter()
            .map(move |[first, second]| gather(first >> shift) << 4 | gather(second >> shift))
    };
    half(0).chain(half(1)).collect()
}

/// A field put together again from its two halves: what [`split`] undoes.
#[must_use]
pub fn join(recorded: &[u8]) -> Vec<u8> {
    let (even, odd) = recorded.split_at(recorded.len() / 2);
    even.iter()
        .zip(odd)
        .flat_map(|(even, odd)| {
            [spread(even >> 4) | spread(odd >> 4) << 1, spread(*even) | spread(*odd) << 1]
        })
        .collect()
}

/// Bits 6, 4, 2 and 0, moved together.
const fn gather(byte: u8) -> u8 {
    byte >> 3 & 8 | byte >> 2 & 4 | byte >> 1 & 2 | byte & 1
}

/// The low four bits, moved to 6, 4, 2 and 0.
const fn spread(nibble: u8) -> u8 {
    (nibble & 8) << 3 | (nibble & 4) << 2 | (nibble & 2) << 1 | nibble & 1
}
