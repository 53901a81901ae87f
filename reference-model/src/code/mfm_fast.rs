//! MFM, 64 channel bits at a time: the fast twins of the plain functions in [`code`](super).
//!
//! In a word of channel bits, first bit highest, the data bits stand at the even places and the
//! clock bits at the odd ones. Shifted by one place either way, the data bits stand where their
//! neighbouring clock bits do: a clock bit is 1 where both are 0.

use super::clock::{last_data_bit, mark_clocks};
use super::{Before, ClockError};
use trackproof_contract::ChannelBits;

const DATA: u64 = 0x5555_5555_5555_5555;

/// The same as [`encode`](super::encode) for MFM.
pub fn encode(before: Before, data: &[u8], track: &mut ChannelBits) {
    let (quads, rest) = data.as_chunks::<4>();
    let mut before = before;
    for quad in quads {
        let cells = spread(u32::from_be_bytes(*quad));
        track.push(cells | clocks(cells, before), 64);
        before = Before::bit(cells & 1 == 1);
    }
    for byte in rest {
        let cells = spread(u32::from(*byte) << 24);
        track.push((cells | clocks(cells, before)) >> 48, 16);
        before = Before::bit(byte & 1 == 1);
    }
}

/// Appends the channel bits of `data` with all clock bits 0, for
/// [`regenerate_clocks`] to fill in once what stands before and after is known.
pub fn push_data_bits(data: &[u8], track: &mut ChannelBits) {
    let (quads, rest) = data.as_chunks::<4>();
    for quad in quads {
        track.push(spread(u32::from_be_bytes(*quad)), 64);
    }
    for byte in rest {
        track.push(spread(u32::from(*byte)), 16);
    }
}

/// The same as [`decode`](super::decode).
#[must_use]
pub fn decode(track: &ChannelBits, start: usize, count: usize) -> Vec<u8> {
    let mut data = vec![0; count.next_multiple_of(4)];
    let words = track.words().get(start / 64..).unwrap_or_default();
    let shift = start % 64;
    let following = words.iter().skip(1).chain([&0]);
    for (quad, (high, low)) in
        data.as_chunks_mut::<4>().0.iter_mut().zip(words.iter().zip(following))
    {
        // Two steps, because a word cannot be shifted by 64 at once.
        *quad = gather(high << shift | low >> 1 >> (63 - shift)).to_be_bytes();
    }
    data.truncate(count);
    data
}

/// The same as [`regenerate_clocks`](super::regenerate_clocks) for MFM.
///
/// # Errors
/// As there.
pub fn regenerate_clocks(track: &ChannelBits, marks: &[usize]) -> Result<ChannelBits, ClockError> {
    let kept = mark_clocks(track, marks)?.map(|clock| clock % track.len());
    Ok(with_clocks(last_data_bit(track), track, kept))
}

/// The same as [`regenerate_stream_clocks`](super::regenerate_stream_clocks) for MFM.
///
/// # Errors
/// As there.
pub fn regenerate_stream_clocks(
    before: Before,
    stream: &ChannelBits,
    marks: &[usize],
) -> Result<ChannelBits, ClockError> {
    let kept = mark_clocks(stream, marks)?.filter(|clock| *clock < stream.len());
    Ok(with_clocks(before, stream, kept))
}

fn with_clocks(
    before: Before,
    bits: &ChannelBits,
    kept: impl Iterator<Item = usize>,
) -> ChannelBits {
    let (mut legal, mut before) = (ChannelBits::new(), before);
    for (word, start) in bits.words().iter().zip((0..bits.len()).step_by(64)) {
        let count = (bits.len() - start).min(64);
        let data = word & DATA;
        legal.push((data | clocks(data, before)) >> (64 - count), count);
        before = Before::bit(data & 1 == 1);
    }
    for clock in kept {
        legal.set(clock, bits.get(clock));
    }
    legal
}

/// The clock bits of 32 data bits that stand at the even places of `data`.
const fn clocks(data: u64, before: Before) -> u64 {
    !(data << 1 | data >> 1 | (before as u64) << 63) & !DATA
}

/// 32 data bits, moved to the even places of a word.
const fn spread(data: u32) -> u64 {
    let mut cells = data as u64;
    cells = (cells | cells << 16) & 0x0000_ffff_0000_ffff;
    cells = (cells | cells << 8) & 0x00ff_00ff_00ff_00ff;
    cells = (cells | cells << 4) & 0x0f0f_0f0f_0f0f_0f0f;
    cells = (cells | cells << 2) & 0x3333_3333_3333_3333;
    (cells | cells << 1) & DATA
}

/// The bits at the even places of a word, moved together.
const fn gather(cells: u64) -> u32 {
    let mut data = cells & DATA;
    data = (data | data >> 1) & 0x3333_3333_3333_3333;
    data = (data | data >> 2) & 0x0f0f_0f0f_0f0f_0f0f;
    data = (data | data >> 4) & 0x00ff_00ff_00ff_00ff;
    data = (data | data >> 8) & 0x0000_ffff_0000_ffff;
    (data | data >> 16) as u32
}
