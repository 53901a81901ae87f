//! Finding the sectors of a full track again, at any phase, and naming what is wrong with them.

use super::{FullTrack, HEADER_BYTES, SYNC_WORDS, field_check, join};
use crate::code::{Before, Mark, mfm_fast};
use crate::layout::field::first_wrong_clock;
use crate::layout::found::Findings;
use crate::layout::{
    Address, BYTE_BITS, CHECK_BYTES, DecodedTrack, DefectKind, Field, FieldKind, FoundSector,
};
use crate::search::{Pattern, next_match};
use std::collections::BTreeMap;
use trackproof_contract::{ChannelBits, Recording};

const SYNC_BITS: usize = SYNC_WORDS * BYTE_BITS;

/// Finds the sectors of a whole track, which is a circle: any channel bit may come first.
///
/// A sector opens where three sync words stand one after the other. One with a wrong check is
/// found all the same, and the check is a defect. The zeros before it and the filler are not
/// looked at.
///
/// ```
/// use trackproof_model::layout::SectorData;
/// use trackproof_model::layout::full_track::{FullTrack, decode, encode};
/// let layout = FullTrack::TEN_BY_512;
/// let track = encode(&layout, 5, 1, &[SectorData::Kept(&[0xe5; 512]); 10])?;
/// let found = decode(&track.bits.rotated(33_333), &layout);
/// assert_eq!(found.sectors.len(), 10);
/// assert!(found.defects.is_empty());
/// # Ok::<(), trackproof_model::layout::LayoutError>(())
/// ```
#[must_use]
pub fn decode(track: &ChannelBits, layout: &FullTrack) -> DecodedTrack {
    let mut found = Findings::new(track.len());
    if !track.is_empty() {
        // Lengthened so far round that each sector stands in one piece.
        let mut bits = track.clone();
        bits.push_cyclic(track, 0, layout.sector_read_bits());
        for end_bit in sync_ends(&bits) {
            if end_bit - SYNC_BITS < track.len() {
                let sector = sector(&bits, end_bit, layout, &mut found);
                found.track.sectors.extend(sector);
            }
        }
    }
    found.complete(0..layout.sectors, FieldKind::SyncWords)
}

/// The good sectors in raw channel bits: three sync words are searched at every bit offset.
pub(crate) fn good_sectors(bits: &ChannelBits, layout: &FullTrack) -> BTreeMap<Address, Vec<u8>> {
    collect(bits, sync_ends(bits), layout)
}

/// The good sectors whose header begins at a multiple of `word_bits`. Whether sync words were
/// delivered makes no difference: the checks decide.
pub(crate) fn good_sectors_at_words(
    bits: &ChannelBits,
    word_bits: usize,
    layout: &FullTrack,
) -> BTreeMap<Address, Vec<u8>> {
    collect(bits, (0..bits.len()).step_by(word_bits), layout)
}

fn collect(
    bits: &ChannelBits,
    starts: impl Iterator<Item = usize>,
    layout: &FullTrack,
) -> BTreeMap<Address, Vec<u8>> {
    let mut good = BTreeMap::new();
    for start_bit in starts {
        let Some(header) = Part::read(bits, start_bit, HEADER_BYTES) else { continue };
        if !header.check_is_right() || header.bytes.last() != Some(&0) {
            continue;
        }
        if let Some(data) = Part::read(bits, header.end_bit, layout.sector_bytes.into())
            && data.check_is_right()
        {
            good.entry(header.address()).or_insert(data.bytes);
        }
    }
    good
}

/// The first channel bits after three sync words.
fn sync_ends(bits: &ChannelBits) -> impl Iterator<Item = usize> + '_ {
    let word = u64::from(Mark::MFM_A1.channel_bits()) * 0x0001_0001_0001;
    let pattern = Pattern { word, mask: 0xffff_ffff_ffff, width: SYNC_BITS };
    let next = move |from| next_match(bits, pattern, from, bits.len());
    std::iter::successors(next(0), move |end| next(end + 1))
}

/// Reads what follows the sync words that end at `start_bit`; nothing where the stretch ends
/// before.
fn sector(
    bits: &ChannelBits,
    start_bit: usize,
    layout: &FullTrack,
    found: &mut Findings,
) -> Option<FoundSector> {
    let header = Part::read(bits, start_bit, HEADER_BYTES)?;
    let data = Part::read(bits, header.end_bit, layout.sector_bytes.into())?;
    let address = header.address();
    let number = address.sector;
    let sync = found.field(FieldKind::SyncWords, number, start_bit - SYNC_BITS, start_bit);
    let header_fields = header.judge([FieldKind::Address, FieldKind::AddressCheck], number, found);
    if let Some(recorded) = header.bytes.last().copied().filter(|end| *end != 0) {
        let kind = DefectKind::HeaderEnd { recorded };
        found.defect(kind, FieldKind::Address, Some(number), start_bit);
    }
    if header.check_is_right() && !found.identify(address) {
        found.defect(DefectKind::Twice, FieldKind::SyncWords, Some(number), sync.start_bit);
    }
    let data_fields = data.judge([FieldKind::Data, FieldKind::DataCheck], number, found);
    let body = [&header.recorded[..], &data.recorded].concat();
    // A sync word ends in a one.
    if let Some(at_bit) = first_wrong_clock(Recording::Mfm, Before::One, &body, bits, start_bit) {
        let kind = match at_bit {
            bit if bit < header.check_bit => FieldKind::Address,
            bit if bit < header.end_bit => FieldKind::AddressCheck,
            bit if bit < data.check_bit => FieldKind::Data,
            _ => FieldKind::DataCheck,
        };
        found.defect(DefectKind::Clock, kind, Some(number), at_bit);
    }
    Some(FoundSector {
        address,
        address_check_right: header.check_is_right(),
        deleted: false,
        data_check_right: data.check_is_right(),
        data: data.bytes,
        fields: [&[sync][..], &header_fields, &data_fields].concat(),
    })
}

/// The header or the data, with its check.
struct Part {
    start_bit: usize,
    /// The first channel bit of its check.
    check_bit: usize,
    /// The first channel bit after its check.
    end_bit: usize,
    /// The halves of the field and those of its check.
    recorded: Vec<u8>,
    bytes: Vec<u8>,
    recorded_check: u16,
    computed_check: u16,
}

impl Part {
    /// Reads `count` bytes and their check; nothing where the stretch ends before.
    fn read(bits: &ChannelBits, start_bit: usize, count: usize) -> Option<Self> {
        let check_bit = start_bit + count * BYTE_BITS;
        let end_bit = check_bit + CHECK_BYTES * BYTE_BITS;
        if end_bit > bits.len() {
            return None;
        }
        let recorded = mfm_fast::decode(bits, start_bit, count + CHECK_BYTES);
        let bytes = join(&recorded[..count]);
        let recorded_check =
            join(&recorded[count..]).iter().fold(0, |high, low| high << 8 | u16::from(*low));
        let computed_check = field_check(&bytes);
        Some(Self {
            start_bit,
            check_bit,
            end_bit,
            recorded,
            bytes,
            recorded_check,
            computed_check,
        })
    }

    const fn check_is_right(&self) -> bool {
        self.recorded_check == self.computed_check
    }

    /// What a header says.
    fn address(&self) -> Address {
        let byte = |place: usize| self.bytes.get(place).copied().unwrap_or(0);
        Address { cylinder: byte(0), side: byte(1), sector: byte(2), size_code: 0 }
    }

    /// Says whether the check is wrong; gives back where field and check stand, whose kinds are
    /// `kinds`.
    fn judge(&self, kinds: [FieldKind; 2], sector: u8, found: &mut Findings) -> [Field; 2] {
        let [kind, check] = kinds;
        if !self.check_is_right() {
            let (recorded, computed) = (self.recorded_check, self.computed_check);
            let kind = DefectKind::Check { recorded, computed };
            found.defect(kind, check, Some(sector), self.check_bit);
        }
        [
            found.field(kind, sector, self.start_bit, self.check_bit),
            found.field(check, sector, self.check_bit, self.end_bit),
        ]
    }
}
