//! Finding the sectors of a track again, at any phase, and naming what is wrong with them.

use super::field::{FoundMark, ReadField, find_marks, read_address, read_data};
use super::found::Findings;
use super::{DecodedTrack, DefectKind, Field, FieldKind, FoundSector, Layout};
use trackproof_contract::ChannelBits;

/// Finds the sectors of a whole track, which is a circle: any channel bit may come first.
///
/// A sector with a wrong check is found all the same, and the check is a defect. Gaps are not
/// looked at.
///
/// ```
/// use trackproof_model::layout::{Layout, SectorData, decode, encode};
/// let layout = Layout::MFM_9_BY_512;
/// let track = encode(&layout, 5, 1, &[SectorData::Kept(&[0xe5; 512]); 9])?;
/// let found = decode(&track.bits.rotated(33_333), &layout);
/// assert_eq!(found.sectors.len(), 9);
/// assert!(found.defects.is_empty());
/// # Ok::<(), trackproof_model::layout::LayoutError>(())
/// ```
#[must_use]
pub fn decode(track: &ChannelBits, layout: &Layout) -> DecodedTrack {
    decode_within(track, layout, layout.data_mark_reach_bits())
}

/// The same where a data mark may end so many channel bits behind its address's check.
pub(crate) fn decode_within(
    track: &ChannelBits,
    layout: &Layout,
    reach_bits: usize,
) -> DecodedTrack {
    let found = match track.len() {
        0 => Findings::new(0),
        _ => Reading::new(track, layout, reach_bits).findings(),
    };
    found.complete(1..=layout.sectors, FieldKind::IdentifierMark)
}

/// A track, lengthened so far round that each sector stands in it in one piece.
struct Reading<'a> {
    layout: &'a Layout,
    reach_bits: usize,
    turn_bits: usize,
    bits: ChannelBits,
    marks: Vec<FoundMark>,
}

impl<'a> Reading<'a> {
    fn new(track: &ChannelBits, layout: &'a Layout, reach_bits: usize) -> Self {
        let mut bits = track.clone();
        bits.push_cyclic(track, 0, layout.sector_read_bits() + reach_bits);
        let marks = find_marks(&bits, layout);
        Self { layout, reach_bits, turn_bits: track.len(), bits, marks }
    }

    fn findings(&self) -> Findings {
        let mut found = Findings::new(self.turn_bits);
        let mut used = Vec::new();
        for (place, mark) in self.marks.iter().enumerate() {
            if mark.is_identifier() && mark.start_bit < self.turn_bits {
                used.extend(self.sector(mark, self.marks.get(place + 1), &mut found));
            }
        }
        for mark in &self.marks {
            let unused = !mark.is_identifier() && !used.contains(&mark.start_bit);
            if unused && mark.start_bit < self.turn_bits {
                let at_bit = mark.start_bit;
                found.defect(DefectKind::NoIdentifier, FieldKind::DataMark, None, at_bit);
            }
        }
        found
    }

    /// Reads one sector; gives back where in the turn its data mark begins.
    fn sector(
        &self,
        mark: &FoundMark,
        next: Option<&FoundMark>,
        found: &mut Findings,
    ) -> Option<usize> {
        let (address, field) = read_address(mark, &self.bits, self.layout)?;
        let again = field.check_is_right() && !found.identify(address);
        let mut fields = Vec::new();
        let kinds = [FieldKind::IdentifierMark, FieldKind::Address, FieldKind::AddressCheck];
        fields.extend(self.judge(mark, &field, kinds, address.sector, found));
        let mut defect =
            |kind, field, at_bit| found.defect(kind, field, Some(address.sector), at_bit);
        if address.size_code != self.layout.size_code {
            let (recorded, wanted) = (address.size_code, self.layout.size_code);
            defect(DefectKind::SizeCode { recorded, wanted }, FieldKind::Address, mark.end_bit);
        }
        if again {
            defect(DefectKind::Twice, FieldKind::IdentifierMark, mark.start_bit);
        }
        let reach = field.end_bit + self.reach_bits;
        let data_mark = next.filter(|next| !next.is_identifier() && next.end_bit <= reach);
        let Some((data_mark, data)) =
            data_mark.and_then(|mark| Some((mark, read_data(mark, &self.bits, self.layout)?)))
        else {
            defect(DefectKind::NoData, FieldKind::IdentifierMark, mark.start_bit);
            return None;
        };
        let kinds = [FieldKind::DataMark, FieldKind::Data, FieldKind::DataCheck];
        fields.extend(self.judge(data_mark, &data, kinds, address.sector, found));
        found.track.sectors.push(FoundSector {
            address,
            address_check_right: field.check_is_right(),
            deleted: data_mark.is_deleted_data(),
            data_check_right: data.check_is_right(),
            data: data.bytes,
            fields,
        });
        Some(data_mark.start_bit % self.turn_bits)
    }

    /// Says what is wrong with a field and its check; gives back where mark, field and check
    /// stand, whose kinds are `kinds`.
    fn judge(
        &self,
        mark: &FoundMark,
        field: &ReadField,
        kinds: [FieldKind; 3],
        sector: u8,
        found: &mut Findings,
    ) -> [Field; 3] {
        let [mark_kind, kind, check] = kinds;
        let check_bit = field.end_bit - super::CHECK_BYTES * super::BYTE_BITS;
        if !field.check_is_right() {
            let (recorded, computed) = (field.recorded_check, field.computed_check);
            found.defect(DefectKind::Check { recorded, computed }, check, Some(sector), check_bit);
        }
        if let Some(at_bit) = field.first_wrong_clock(mark, &self.bits, self.layout) {
            let in_field = if at_bit < check_bit { kind } else { check };
            found.defect(DefectKind::Clock, in_field, Some(sector), at_bit);
        }
        [
            found.field(mark_kind, sector, mark.start_bit, mark.end_bit),
            found.field(kind, sector, mark.end_bit, check_bit),
            found.field(check, sector, check_bit, field.end_bit),
        ]
    }
}
