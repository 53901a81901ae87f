//! What a host makes of the words that a controller delivers: the good sectors.
//!
//! [`by_software`] takes raw words and finds the sync itself, [`by_hardware`] trusts the
//! controller's alignment. Rule `raw.equal` holds the two sets equal. By definition; that hosts
//! of both kinds exist is common practice, no source.

use crate::layout::field::{FoundMark, find_aligned_marks, find_marks, read_address, read_data};
use crate::layout::{Address, Layout, TrackLayout, full_track};
use std::collections::BTreeMap;
use trackproof_contract::ChannelBits;

/// The sectors whose address and data have right checks, each once.
pub type GoodSectors = BTreeMap<Address, Vec<u8>>;

/// How many channel bits a host reads raw so that every sector comes by in one piece: one turn
/// at the slowest speed, the longest sector, and two words.
#[must_use]
pub fn read_bits(
    slowest_turn_bits: usize,
    layout: impl Into<TrackLayout>,
    word_bits: usize,
) -> usize {
    slowest_turn_bits + layout.into().sector_read_bits() + 2 * word_bits
}

/// The good sectors in raw channel bits, which begin and end anywhere.
///
/// The sync is searched at every bit offset, for each sector anew (a soft sector's identifier and
/// its data field each); of several copies the first with right checks counts.
///
/// ```
/// use trackproof_contract::ChannelBits;
/// use trackproof_model::layout::{Layout, SectorData, encode};
/// use trackproof_model::software_sync::{by_software, read_bits};
/// let layout = Layout::MFM_9_BY_512;
/// let track = encode(&layout, 5, 1, &[SectorData::Kept(&[0xe5; 512]); 9])?.bits;
/// let mut raw = ChannelBits::new();
/// raw.push_cyclic(&track, 12_345, read_bits(track.len(), layout, 16));
/// assert_eq!(by_software(&raw, layout).len(), 9);
/// # Ok::<(), trackproof_model::layout::LayoutError>(())
/// ```
#[must_use]
pub fn by_software(raw: &ChannelBits, layout: impl Into<TrackLayout>) -> GoodSectors {
    match layout.into() {
        TrackLayout::SoftSector(layout) => collect(raw, &find_marks(raw, &layout), &layout),
        TrackLayout::FullTrack(layout) => full_track::good_sectors(raw, &layout),
    }
}

/// The good sectors in the words of reads with hardware sync on: `words` holds `word_bits`
/// channel bits each, first channel bit highest, in the order of delivery.
///
/// Fields are looked for at word boundaries alone. Whether the special bytes of an MFM mark were
/// delivered makes no difference, so any profile's words will do; a mark byte is enough, the
/// checks decide. In FM the mark itself is the sync word: a sector whose mark the controller
/// keeps to itself is not found. A full track's sectors have no mark byte: of them the right checks
/// are all that is looked at.
///
/// # Panics
/// When `word_bits` is 0 or over 64.
#[must_use]
pub fn by_hardware(words: &[u64], word_bits: usize, layout: impl Into<TrackLayout>) -> GoodSectors {
    let mut bits = ChannelBits::new();
    for word in words {
        bits.push(*word, word_bits);
    }
    match layout.into() {
        TrackLayout::SoftSector(layout) => {
            collect(&bits, &find_aligned_marks(&bits, word_bits, &layout), &layout)
        }
        TrackLayout::FullTrack(layout) => {
            full_track::good_sectors_at_words(&bits, word_bits, &layout)
        }
    }
}

/// Pairs identifiers with the data fields in their reach.
fn collect(bits: &ChannelBits, marks: &[FoundMark], layout: &Layout) -> GoodSectors {
    let mut good = GoodSectors::new();
    for (place, mark) in marks.iter().enumerate().filter(|(_, mark)| mark.is_identifier()) {
        let Some((address, field)) = read_address(mark, bits, layout) else { continue };
        if !field.check_is_right() || good.contains_key(&address) {
            continue;
        }
        let reach = field.end_bit + layout.data_mark_reach_bits();
        let data = marks[place + 1..]
            .iter()
            .take_while(|mark| mark.end_bit <= reach)
            .filter(|mark| !mark.is_identifier() && mark.start_bit >= field.end_bit)
            .filter_map(|mark| read_data(mark, bits, layout))
            .find(|data| data.check_is_right());
        if let Some(data) = data {
            good.insert(address, data.bytes);
        }
    }
    good
}
