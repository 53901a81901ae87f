//! The seam of an image-backed drive: the data of sectors in, a turn of channel bits out.

use crate::{ChannelBits, SeamError, SectorLayout};

/// A track of an image: what is on it, and how it stands in the stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ImageTrack<'a> {
    /// The cylinder, as it goes into headers and identifiers.
    pub cylinder: u8,
    /// The side, 0 or 1, likewise.
    pub side: u8,
    /// How the sectors stand in the stream.
    pub layout: SectorLayout,
    /// The data of all sectors in their order.
    pub sectors: &'a [u8],
    /// Channel bits of the turn; at least the layout's
    /// [`used_bits`](SectorLayout::used_bits), and a multiple of 16.
    pub turn_bits: usize,
}

/// The code that turns the data of sectors into the stream of a track.
///
/// You write [`encode`](Self::encode); we add the drives, their rotation, and a host that reads the
/// stream as raw words. Reading is lent and not held against you: the words that come are, by the
/// rules `clock.*`, `mark.pattern` and `layout.fields`.
///
/// # The two layouts
///
/// Both must be there. Every byte that no field takes is 4E, up to the end of the turn. All is MFM:
/// a 1 for the clock bit before each data bit only where that and the data bit before it are 0; the
/// rule knows no end of bytes, fields or the turn, so the first clock bit of the turn looks at its
/// last data bit. Marks are the exception: their channel words are A1 = 4489 and C2 = 5224, and the
/// neighbours' clock bits see the mark's data bits. Checks are 16-bit CRCs, polynomial 1021, begun
/// with FFFF, high byte first.
///
/// [`SectorLayout::SoftSector`], from the index on:
/// - unless `gap_4a_bytes` is 0: that many bytes 4E, 12 bytes 00, three marks C2, FC;
/// - `gap_1_bytes` of 4E;
/// - for each sector, numbered from 1: 12 bytes 00, three marks A1, FE, cylinder, side, sector, N
///   (the `size_code`), the check over A1 A1 A1 FE and those four; `gap_2_bytes` of 4E; 12 bytes
///   00, three marks A1, FB, 128 · 2^N data bytes, the check over A1 A1 A1 FB and the data;
///   `gap_3_bytes` of 4E.
///
/// [`SectorLayout::FullTrack`], from the index on, without gaps, for each sector, numbered from 0:
/// - 4 bytes 00, three marks A1;
/// - the header: cylinder, side, sector, 00; then its check, over A1 A1 A1 and the four bytes;
/// - `sector_bytes` of data; then their check, over A1 A1 A1 and the data.
///
/// There header, header's check, data and data's check are each stored split: first all even bits
/// (6, 4, 2, 0) of the field's bytes in their order, packed into bytes, then all odd ones (7, 5,
/// 3, 1).
///
/// Sources: SMSC LPC47M102 data sheet, p. 49, for the fields of soft sectors; SA810/860 OEM
/// manual, fig. 6-7, for the marks' clock bytes; the full-track layout is by definition.
///
/// # Example
///
/// A beginning: the gap alone.
///
/// ```
/// use trackproof_contract::{ChannelBits, ImageTrack, SeamError, SectorLayout, TrackEncoder};
///
/// struct Gap;
///
/// impl TrackEncoder for Gap {
///     fn encode(&mut self, track: &ImageTrack<'_>) -> Result<ChannelBits, SeamError> {
///         let data = (0..track.turn_bits / 2).map(|n| 0x4e >> (7 - n % 8) & 1 == 1);
///         let mut before = false; // 4E ends in a 0, at the end of the turn too
///         Ok(data
///             .flat_map(|bit| {
///                 let clock = !before && !bit;
///                 before = bit;
///                 [clock, bit]
///             })
///             .collect())
///     }
/// }
///
/// let layout = SectorLayout::FullTrack { sectors: 1, sector_bytes: 2 };
/// let turn_bits = layout.used_bits();
/// let track = ImageTrack { cylinder: 0, side: 0, layout, sectors: &[1, 2], turn_bits };
/// let stream = Gap.encode(&track).unwrap();
/// assert_eq!((stream.len(), stream.window(0, 32)), (turn_bits, 0x9254_9254));
/// ```
pub trait TrackEncoder {
    /// Makes the stream of one turn. Called when power comes on, once for each track of the case;
    /// the same track must give the same stream.
    ///
    /// # Shape
    /// `turn_bits` channel bits, the first one at the index.
    ///
    /// # Errors
    /// [`SeamError::NotSupported`]: nothing is there yet, and no case can be judged.
    /// [`SeamError::Failed`] ends the run.
    ///
    /// # Example
    /// See [the trait's own](Self#example).
    fn encode(&mut self, track: &ImageTrack<'_>) -> Result<ChannelBits, SeamError>;
}
