//! Laying a full track out: data first, clock bits last.

use super::{FILLER, FullTrack, HEADER_BYTES, SYNC_BYTES, SYNC_WORDS, field_check, split};
use crate::code::{Mark, mfm_fast};
use crate::layout::{BYTE_BITS, EncodedTrack, Field, FieldKind, LayoutError, SectorData};
use trackproof_contract::ChannelBits;

/// Lays a track out: `sectors` holds the data of sectors 1, 2, … in order.
///
/// # Errors
/// [`LayoutError`] when the layout does not fit its turn, or the data does not fit the layout.
///
/// ```
/// use trackproof_model::layout::full_track::{FullTrack, encode};
/// use trackproof_model::layout::SectorData;
/// let track = encode(&FullTrack::TEN_BY_512, 0, 0, &[SectorData::Kept(&[0; 512]); 10])?;
/// assert_eq!(track.bits.len(), 100_000);
/// assert_eq!(track.bits.window(4 * 16, 48), 0x4489_4489_4489);
/// # Ok::<(), trackproof_model::layout::LayoutError>(())
/// ```
pub fn encode(
    layout: &FullTrack,
    cylinder: u8,
    side: u8,
    sectors: &[SectorData<'_>],
) -> Result<EncodedTrack, LayoutError> {
    let filler_bytes = layout.filler_bytes()?;
    if sectors.len() != usize::from(layout.sectors) {
        return Err(LayoutError::Sectors { given: sectors.len(), wanted: layout.sectors });
    }
    let mut assembly = Assembly { track: ChannelBits::new(), fields: Vec::new(), sector: None };
    for (number, data) in (0..).zip(sectors) {
        let (given, wanted) = (data.bytes().len(), layout.sector_bytes.into());
        if given != wanted {
            return Err(LayoutError::Data { sector: number.into(), given, wanted });
        }
        if data.is_deleted() {
            return Err(LayoutError::NoDeleted { sector: number.into() });
        }
        assembly.sector([cylinder, side, number, 0], data.bytes());
    }
    assembly.sector = None;
    assembly.data(FieldKind::Filler, &vec![FILLER; filler_bytes]);
    Ok(assembly.complete())
}

/// The track so far: data bits and sync words; all other clock bits are still 0.
struct Assembly {
    track: ChannelBits,
    fields: Vec<Field>,
    sector: Option<u8>,
}

impl Assembly {
    fn sector(&mut self, header: [u8; HEADER_BYTES], data: &[u8]) {
        let [_, _, number, _] = header;
        self.sector = Some(number);
        self.data(FieldKind::Sync, &[0; SYNC_BYTES]);
        self.located(FieldKind::SyncWords, |track| {
            for _ in 0..SYNC_WORDS {
                track.push(Mark::MFM_A1.channel_bits().into(), BYTE_BITS);
            }
        });
        self.halves(FieldKind::Address, &header);
        self.halves(FieldKind::AddressCheck, &field_check(&header).to_be_bytes());
        self.halves(FieldKind::Data, data);
        self.halves(FieldKind::DataCheck, &field_check(data).to_be_bytes());
    }

    fn halves(&mut self, kind: FieldKind, field: &[u8]) {
        self.data(kind, &split(field));
    }

    fn data(&mut self, kind: FieldKind, data: &[u8]) {
        self.located(kind, |track| mfm_fast::push_data_bits(data, track));
    }

    fn located(&mut self, kind: FieldKind, put: impl FnOnce(&mut ChannelBits)) {
        let start_bit = self.track.len();
        put(&mut self.track);
        let channel_bits = self.track.len() - start_bit;
        if channel_bits > 0 {
            self.fields.push(Field { kind, sector: self.sector, start_bit, channel_bits });
        }
    }

    fn complete(self) -> EncodedTrack {
        let track = EncodedTrack { bits: self.track, fields: self.fields };
        let bits = mfm_fast::regenerate_clocks(&track.bits, &track.special_bytes())
            .expect("an assembly is whole bytes, sync words included");
        EncodedTrack { bits, ..track }
    }
}
