//! An image-backed track: the stream that its sectors make, and what becomes of them when it is
//! written on (semantics 4.7, 5).

use crate::layout::{
    Defect, DefectKind, EncodedTrack, FieldKind, FullTrack, Layout, Preamble, SectorData,
    TrackLayout,
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

/// The number of a layout's first sector.
const fn first_number(layout: SectorLayout) -> u8 {
    match layout {
        SectorLayout::FullTrack { .. } => 0,
        _ => 1,
    }
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

/// Puts the stream of a turn into `stream`.
pub(crate) fn stream(image: &Image, turn_bits: usize, stream: &mut ChannelBits) {
    *stream = match lay_out(image, turn_bits) {
        Some(track) => track.bits,
        None => ChannelBits::zeros(turn_bits),
    };
}

/// Takes over what a write has left on the stream: a sector that decodes with right checks takes
/// its data.
///
/// Where a guard reaches into it, where there are two copies, or where its data stand farther behind
/// its address than any controller must look, it may keep what it had as well: bit n of `kept` says
/// so of the n-th such sector. Returns how many there are.
pub(crate) fn take_in(
    image: &mut Image,
    stream: &ChannelBits,
    guards: &ChannelBits,
    kept: u32,
) -> u32 {
    let Some(layout) = track_layout(image.layout, stream.len()) else { return 0 };
    let bits = image.layout.sector_bytes() * 8;
    let mut taken = vec![false; image.layout.sectors()];
    let mut doubts = 0;
    let decoded = layout.decode_far(stream);
    // A full-track header that does not end in 00 is none, whatever its check says.
    let no_header = |start_bit: usize| {
        let ends = |defect: &Defect| matches!(defect.kind, DefectKind::HeaderEnd { .. });
        decoded.defects.iter().any(|defect| ends(defect) && defect.at_bit == start_bit)
    };
    for found in &decoded.sectors {
        let header = found.fields.iter().find(|field| field.kind == FieldKind::Address);
        if header.is_some_and(|header| no_header(header.start_bit)) {
            continue;
        }
        let address = found.address;
        let number = usize::from(address.sector.wrapping_sub(first_number(image.layout)));
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
        if same {
            continue;
        }
        if guarded || twice || layout.is_far(found, stream.len()) {
            doubts += 1;
            if kept >> (doubts - 1) & 1 == 1 {
                continue;
            }
        }
        for at in (0..bits).step_by(64) {
            let count = (bits - at).min(64);
            image.sectors.put(number * bits + at, data.window(at, count), count);
        }
    }
    doubts
}
