//! Laying a track out: from sectors to channel bits, with every field's place.

use super::field::push;
use super::{
    Address, BYTE_BITS, CHECK_BYTES, DATA_MARK, DELETED_DATA_MARK, Field, FieldKind,
    IDENTIFIER_MARK, INDEX_MARK, Layout, LayoutError, Preamble,
};
use crate::check::check;
use crate::code::Before;
use trackproof_contract::ChannelBits;

/// What a sector holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SectorData<'a> {
    /// Data behind a data mark.
    Kept(&'a [u8]),
    /// Data behind a deleted data mark.
    Deleted(&'a [u8]),
}

impl<'a> SectorData<'a> {
    /// The bytes.
    #[must_use]
    pub const fn bytes(self) -> &'a [u8] {
        match self {
            Self::Kept(bytes) | Self::Deleted(bytes) => bytes,
        }
    }

    /// Whether they stand behind a deleted data mark.
    #[must_use]
    pub const fn is_deleted(self) -> bool {
        matches!(self, Self::Deleted(_))
    }

    const fn mark(self) -> &'static u8 {
        match self {
            Self::Kept(_) => &DATA_MARK,
            Self::Deleted(_) => &DELETED_DATA_MARK,
        }
    }
}

impl<'a> From<&'a [u8]> for SectorData<'a> {
    fn from(bytes: &'a [u8]) -> Self {
        Self::Kept(bytes)
    }
}

/// A track, laid out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EncodedTrack {
    /// One turn from index to index; bit 0 is a clock bit.
    pub bits: ChannelBits,
    /// Its fields, in order and without holes.
    pub fields: Vec<Field>,
}

impl EncodedTrack {
    /// Where the bytes with broken clock bits begin: what
    /// [`regenerate_clocks`](crate::code::regenerate_clocks) has to leave alone.
    #[must_use]
    pub fn special_bytes(&self) -> Vec<usize> {
        use FieldKind::{DataMark, IdentifierMark, IndexMark, SyncWords};
        self.fields
            .iter()
            .filter(|field| matches!(field.kind, IndexMark | IdentifierMark | DataMark | SyncWords))
            .flat_map(|field| {
                // MFM: three special bytes and an ordinary one; FM: one special byte; sync words
                // are three special bytes.
                let special = (field.channel_bits / BYTE_BITS).min(3);
                (0..special).map(|byte| field.start_bit + byte * BYTE_BITS)
            })
            .collect()
    }
}

/// Lays a track out: `sectors` holds the data of sectors 1, 2, … in order.
///
/// Clock bits are right over every junction and over the wrap.
///
/// # Errors
/// [`LayoutError`] when the layout does not fit its turn, or the data does not fit the layout.
///
/// ```
/// use trackproof_model::layout::{FieldKind, Layout, SectorData, encode};
/// let data = [0; 512];
/// let track = encode(&Layout::MFM_9_BY_512, 0, 0, &[SectorData::Kept(&data); 9])?;
/// assert_eq!(track.bits.len(), 100_000);
/// assert_eq!(track.fields[2].kind, FieldKind::IndexMark);
/// assert_eq!(track.bits.window(track.fields[2].start_bit, 16), 0x5224);
/// # Ok::<(), trackproof_model::layout::LayoutError>(())
/// ```
pub fn encode(
    layout: &Layout,
    cylinder: u8,
    side: u8,
    sectors: &[SectorData<'_>],
) -> Result<EncodedTrack, LayoutError> {
    let gap_4b_bytes = layout.gap_4b_bytes()?;
    if sectors.len() != usize::from(layout.sectors) {
        return Err(LayoutError::Sectors { given: sectors.len(), wanted: layout.sectors });
    }
    for (sector, data) in (1..).zip(sectors) {
        let (given, wanted) = (data.bytes().len(), layout.sector_bytes());
        if given != wanted {
            return Err(LayoutError::Data { sector, given, wanted });
        }
    }
    let lay_out = |before| {
        let mut pen = Pen::new(layout, before);
        pen.preamble();
        for (sector, data) in (1..).zip(sectors) {
            let address = Address { cylinder, side, sector, size_code: layout.size_code };
            pen.sector(address, *data);
        }
        pen.sector = None;
        pen.gap(FieldKind::Gap4b, gap_4b_bytes);
        pen
    };
    // The first clock bit follows the last data bit, which is known only at the end.
    let pen = lay_out(Before::Zero);
    let pen = if pen.before.is_one() { lay_out(Before::One) } else { pen };
    Ok(EncodedTrack { bits: pen.track, fields: pen.fields })
}

/// Where the writing stands: the track so far and the data bit last written.
struct Pen<'a> {
    layout: &'a Layout,
    track: ChannelBits,
    fields: Vec<Field>,
    sector: Option<u8>,
    before: Before,
}

impl<'a> Pen<'a> {
    const fn new(layout: &'a Layout, before: Before) -> Self {
        Self { layout, track: ChannelBits::new(), fields: Vec::new(), sector: None, before }
    }

    fn preamble(&mut self) {
        match self.layout.preamble {
            Preamble::IndexMark { gap_4a_bytes, gap_1_bytes } => {
                self.gap(FieldKind::Gap4a, gap_4a_bytes.into());
                self.mark(FieldKind::IndexMark, INDEX_MARK);
                self.gap(FieldKind::Gap1, gap_1_bytes.into());
            }
            Preamble::GapOnly { gap_1_bytes } => self.gap(FieldKind::Gap1, gap_1_bytes.into()),
        }
    }

    fn sector(&mut self, address: Address, data: SectorData<'_>) {
        self.sector = Some(address.sector);
        let Address { cylinder, side, sector, size_code } = address;
        self.mark(FieldKind::IdentifierMark, IDENTIFIER_MARK);
        self.bytes(FieldKind::Address, &[cylinder, side, sector, size_code]);
        let address_check = self.check(&IDENTIFIER_MARK, &[cylinder, side, sector, size_code]);
        self.bytes(FieldKind::AddressCheck, &address_check);
        self.gap(FieldKind::Gap2, self.layout.gap_2_bytes.into());
        self.mark(FieldKind::DataMark, *data.mark());
        self.bytes(FieldKind::Data, data.bytes());
        let data_check = self.check(data.mark(), data.bytes());
        self.bytes(FieldKind::DataCheck, &data_check);
        self.gap(FieldKind::Gap3, self.layout.gap_3_bytes.into());
    }

    /// A sync and the mark after it.
    fn mark(&mut self, kind: FieldKind, byte: u8) {
        self.bytes(FieldKind::Sync, &vec![0; self.layout.sync_bytes.into()]);
        let start_bit = self.track.len();
        let (special, ordinary) = self.layout.mark(byte);
        for mark in special {
            self.track.push(mark.channel_bits().into(), BYTE_BITS);
            self.before = Before::bit(mark.data & 1 == 1);
        }
        self.write(ordinary);
        self.located(kind, start_bit);
    }

    fn gap(&mut self, kind: FieldKind, count: usize) {
        self.bytes(kind, &vec![self.layout.gap_byte(); count]);
    }

    fn bytes(&mut self, kind: FieldKind, bytes: &[u8]) {
        let start_bit = self.track.len();
        self.write(bytes);
        self.located(kind, start_bit);
    }

    fn write(&mut self, bytes: &[u8]) {
        push(self.layout.recording, self.before, bytes, &mut self.track);
        self.before = self.before.after(bytes);
    }

    fn located(&mut self, kind: FieldKind, start_bit: usize) {
        let channel_bits = self.track.len() - start_bit;
        if channel_bits > 0 {
            self.fields.push(Field { kind, sector: self.sector, start_bit, channel_bits });
        }
    }

    fn check(&self, mark: &'static u8, field: &[u8]) -> [u8; CHECK_BYTES] {
        let [special, byte] = self.layout.checked_mark(mark);
        check(&[special, byte, field]).to_be_bytes()
    }
}
