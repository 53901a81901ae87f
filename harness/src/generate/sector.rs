//! Tracks that look formatted: gaps, sync words, headers, data, small sectors over and over.
//!
//! Not a layout of any standard: field lengths are drawn, checks are any bytes. What a reader has
//! to cope with is here: marks after zeros, several in a row, sectors that all look the same.

use super::choices::Choices;
use super::frame::{Frame, Size};
use super::pen::Pen;
use trackproof_contract::ChannelBits;

/// Most data bytes of a sector: the most usual size.
const MAX_DATA_BYTES: usize = 512;

/// Gaps are shorter than this, so that a short track has room for sectors.
const MAX_GAP_BYTES: usize = 6;

/// The lengths of a sector's fields.
#[derive(Debug, Clone, Copy)]
struct Fields {
    gap_bytes: usize,
    gap: u8,
    zero_bytes: usize,
    marks: u64,
    header_bytes: usize,
    data_bytes: usize,
}

/// Fills a track with sectors and says whether it is legal but for what the marks themselves are.
pub(super) fn fill(
    track: &mut ChannelBits,
    len: usize,
    frame: &Frame,
    choices: &mut impl Choices,
) -> bool {
    let fields = draw_fields(frame, choices);
    let repeats = choices.chance(1, 3);
    let mut pen = Pen::new(track, frame.recording);
    let mut number = 0;
    while pen.track.len() < len {
        sector(&mut pen, fields, frame, number, choices);
        number += 1;
        if repeats {
            repeat(pen.track, len);
        }
    }
    // Where a sector is repeated bit by bit, its first clock bit need not fit the one before.
    !repeats && frame.sync == frame.default_sync
}

fn draw_fields(frame: &Frame, choices: &mut impl Choices) -> Fields {
    let data_bytes = match frame.size {
        Size::Short => choices.between(0, 8),
        Size::Middle => choices.between(2, 40),
        Size::Whole => choices.pick(&[128, 256, 512]),
    };
    Fields {
        gap_bytes: choices.below(MAX_GAP_BYTES as u64) as usize,
        gap: choices.pick(&[0x4e, 0xff, 0x00]),
        zero_bytes: choices.below(MAX_GAP_BYTES as u64) as usize,
        marks: choices.between(1, 3),
        header_bytes: choices.below(7) as usize,
        data_bytes: data_bytes as usize,
    }
}

/// One sector: a header and, unless there is none, data behind marks of its own.
fn sector(
    pen: &mut Pen<'_>,
    fields: Fields,
    frame: &Frame,
    number: usize,
    choices: &mut impl Choices,
) {
    marks(pen, fields, frame);
    // The byte that tells identifiers from data, the sector's number, then whatever.
    let mut header = choices.bits(64).to_be_bytes();
    (header[0], header[1]) = (0xfe, number as u8);
    pen.data(&header[..fields.header_bytes]);
    if fields.data_bytes > 0 {
        marks(pen, fields, frame);
        let (first, step) = (choices.bits(8) as u8, choices.bits(8) as u8);
        let mut data = [0; MAX_DATA_BYTES];
        for (place, byte) in data[..fields.data_bytes].iter_mut().enumerate() {
            *byte = first.wrapping_add(step.wrapping_mul(place as u8)) ^ (place >> 8) as u8;
        }
        pen.data(&data[..fields.data_bytes]);
    }
}

fn marks(pen: &mut Pen<'_>, fields: Fields, frame: &Frame) {
    pen.data(&[fields.gap; MAX_GAP_BYTES][..fields.gap_bytes]);
    pen.data(&[0; MAX_GAP_BYTES][..fields.zero_bytes]);
    for _ in 0..fields.marks {
        pen.mark(frame.sync, frame.register_bits);
    }
}

/// Goes on with what the track holds, again and again, to `len` bits or a little more.
fn repeat(track: &mut ChannelBits, len: usize) {
    let period = track.len();
    while track.len() < len {
        let count = period.min(64);
        let bits = track.window(track.len() - period, count);
        track.push(bits, count);
    }
}

#[cfg(test)]
mod tests {
    use super::repeat;
    use trackproof_contract::ChannelBits;

    #[test]
    fn a_repeated_sector_is_the_same_at_every_period() {
        for period in [1, 7, 63, 64, 65, 200] {
            let mut track: ChannelBits = (0..period).map(|i| i * i % 7 < 3).collect();
            repeat(&mut track, 1_000);
            assert!(track.len() >= 1_000);
            assert!((period..track.len()).all(|i| track.get(i) == track.get(i - period)));
        }
    }
}
