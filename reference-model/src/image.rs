//! An image-backed track: the stream that its sectors make, and what becomes of them when it is
//! written on (semantics 4.7, 5).

use crate::layout::{
    EncodedTrack, FieldKind, FullTrack, Layout, Preamble, SectorData, TrackLayout,
};
use crate::recorded::Image;
use trackproof_contract::{ChannelBits, Recording, SectorLayout};

/// Zero bytes before each mark of a soft-sector MFM layout (SMSC LPC47M102 data sheet, p. 49).
const SYNC_BYTES: u16 = 12;

/// The model's layout of a contract's, for a turn of that many channel bits.
#[must_use]
pub fn track_layout(layout: SectorLayout, turn_bits: usize) -> Option<TrackLayout> {
    let turn_bytes = (turn_bits / 16) as u32;
    Some(match layout {
        SectorLayout::FullTrack { sectors, sector_bytes } => {
            FullTrack { sectors, sector_bytes, turn_bytes }.into()
        }
        SectorLayout::SoftSector {
            sectors,
            size_code,
            gap_4a_bytes,
            gap_1_bytes,
            gap_2_bytes,
            gap_3_bytes,
        } => Layout {
            recording: Recording::Mfm,
            preamble: match gap_4a_bytes {
                0 => Preamble::GapOnly { gap_1_bytes },
                _ => Preamble::IndexMark { gap_4a_bytes, gap_1_bytes },
            },
            sync_bytes: SYNC_BYTES,
            gap_2_bytes,
            gap_3_bytes,
            sectors,
            size_code,
            turn_bytes,
        }
        .into(),
        _ => return None,
    })
}

/// The track that an image's sectors make; none where the layout does not fit its turn, which no
/// valid case has.
#[must_use]
pub fn lay_out(image: &Image, turn_bits: usize) -> Option<EncodedTrack> {
    let layout = track_layout(image.layout, turn_bits)?;
    let bytes = image.sectors.to_bytes();
    let sectors: Vec<SectorData<'_>> =
        bytes.chunks(image.layout.sector_bytes()).map(SectorData::Kept).collect();
    layout.encode(image.place.0, image.place.1, &sectors).ok()
}

/// Puts the stream of a turn into `stream`, and a 1 for each of its bits that an open sector
/// leaves free into `free`, which is empty if there are none.
pub(crate) fn stream(
    image: &Image,
    turn_bits: usize,
    stream: &mut ChannelBits,
    free: &mut ChannelBits,
) {
    free.clear();
    let Some(track) = lay_out(image, turn_bits) else {
        *stream = ChannelBits::zeros(turn_bits);
        return;
    };
    for field in &track.fields {
        let open = field.sector.is_some_and(|sector| image.is_open(usize::from(sector) - 1));
        if !open || !matches!(field.kind, FieldKind::Data | FieldKind::DataCheck) {
            continue;
        }
        if free.is_empty() {
            *free = ChannelBits::zeros(turn_bits);
        }
        // The clock bit behind the field too: it depends on the last data bit.
        for at in field.start_bit..=field.start_bit + field.channel_bits {
            free.set(at % turn_bits, true);
        }
    }
    *stream = track.bits;
}

/// Takes over what a write has left on the stream: a sector that decodes with right checks takes
/// its data; one that a guard reaches into is open from then on, if that would change it.
pub(crate) fn take_in(image: &mut Image, stream: &ChannelBits, guards: &ChannelBits) {
    let Some(layout) = track_layout(image.layout, stream.len()) else { return };
    let bits = image.layout.sector_bytes() * 8;
    let mut taken = vec![false; image.layout.sectors()];
    for found in layout.decode(stream).sectors {
        let address = found.address;
        let number = usize::from(address.sector).wrapping_sub(1);
        if !found.is_good()
            || found.deleted
            || (address.cylinder, address.side) != image.place
            || number >= taken.len()
            || found.data.len() * 8 != bits
        {
            continue;
        }
        let data = ChannelBits::from_bytes(&found.data, bits);
        let same = (0..bits).step_by(64).all(|at| {
            let count = (bits - at).min(64);
            data.window(at, count) == image.sectors.window(number * bits + at, count)
        });
        let guarded = !guards.is_empty() && found.touches(guards);
        // Which of two copies counts is nobody's to say.
        let twice = std::mem::replace(&mut taken[number], true);
        if guarded || twice {
            if !same {
                image.set_open(number, true);
            }
            continue;
        }
        for at in (0..bits).step_by(64) {
            let count = (bits - at).min(64);
            image.sectors.put(number * bits + at, data.window(at, count), count);
        }
        image.set_open(number, false);
    }
}
