//! Reading single fields back, out of a stretch of channel bits that has a begin and an end.

use super::{
    ADDRESS_BYTES, Address, BYTE_BITS, CHECK_BYTES, DATA_MARK, DELETED_DATA_MARK, IDENTIFIER_MARK,
    Layout,
};
use crate::check::check;
use crate::code::{Before, Mark, decode, mfm_fast};
use crate::search::{Pattern, next_match};
use trackproof_contract::{ChannelBits, Recording};

/// The bytes that open the fields of a sector.
const FIELD_MARKS: [&u8; 3] = [&IDENTIFIER_MARK, &DATA_MARK, &DELETED_DATA_MARK];

/// A mark, as found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct FoundMark {
    /// Its mark byte.
    pub(crate) byte: &'static u8,
    /// Its first channel bit.
    pub(crate) start_bit: usize,
    /// The first channel bit after it.
    pub(crate) end_bit: usize,
}

impl FoundMark {
    pub(crate) const fn is_identifier(&self) -> bool {
        *self.byte == IDENTIFIER_MARK
    }

    pub(crate) const fn is_deleted_data(&self) -> bool {
        *self.byte == DELETED_DATA_MARK
    }
}

/// The last sixteen channel bits of each mark.
fn mark_words(layout: &Layout) -> [(u64, &'static u8); 3] {
    FIELD_MARKS.map(|byte| {
        let (special, ordinary) = layout.mark(*byte);
        let mut bits = ChannelBits::new();
        for mark in special {
            bits.push(mark.channel_bits().into(), BYTE_BITS);
        }
        let last = special.last().map_or(0, |mark| mark.data);
        push(layout.recording, Before::Zero.after(&[last]), ordinary, &mut bits);
        (bits.window(bits.len() - BYTE_BITS, BYTE_BITS), byte)
    })
}

/// All whole marks, compared at every channel bit: three times A1 and the mark byte in MFM, the
/// mark byte in FM.
pub(crate) fn find_marks(bits: &ChannelBits, layout: &Layout) -> Vec<FoundMark> {
    let words = mark_words(layout);
    // In a first pass only what all marks have in common is compared.
    let common = words.iter().fold(0xffff, |mask, (word, _)| mask & !(word ^ words[0].0));
    let special = u64::from(Mark::MFM_A1.channel_bits()) * 0x0001_0001_0001_0000;
    let pattern = match layout.recording {
        Recording::Mfm => Pattern { word: special | words[0].0, mask: !0xffff | common, width: 64 },
        Recording::Fm => Pattern { word: words[0].0, mask: common, width: BYTE_BITS },
    };
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(end_bit) = next_match(bits, pattern, from, bits.len()) {
        let word = bits.window(end_bit - BYTE_BITS, BYTE_BITS);
        if let Some((_, byte)) = words.iter().find(|(mark, _)| *mark == word) {
            found.push(FoundMark { byte, start_bit: end_bit - pattern.width, end_bit });
        }
        from = end_bit + 1;
    }
    found
}

/// All marks' last sixteen channel bits, looked for at multiples of `word_bits` alone: what a
/// host finds that leaves the alignment to the controller.
pub(crate) fn find_aligned_marks(
    bits: &ChannelBits,
    word_bits: usize,
    layout: &Layout,
) -> Vec<FoundMark> {
    let words = mark_words(layout);
    (0..bits.len())
        .step_by(word_bits)
        .filter_map(|start_bit| {
            let word = bits.window(start_bit, BYTE_BITS);
            let (_, byte) = words.iter().find(|(mark, _)| *mark == word)?;
            Some(FoundMark { byte, start_bit, end_bit: start_bit + BYTE_BITS })
        })
        .collect()
}

/// A field with its check, as read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ReadField {
    pub(crate) bytes: Vec<u8>,
    pub(crate) recorded_check: u16,
    pub(crate) computed_check: u16,
    /// The first channel bit after the check.
    pub(crate) end_bit: usize,
}

impl ReadField {
    pub(crate) const fn check_is_right(&self) -> bool {
        self.recorded_check == self.computed_check
    }

    /// Reads `count` bytes and their check behind a mark; nothing where the stretch ends before.
    fn after(mark: &FoundMark, count: usize, bits: &ChannelBits, layout: &Layout) -> Option<Self> {
        let end_bit = mark.end_bit + (count + CHECK_BYTES) * BYTE_BITS;
        if end_bit > bits.len() {
            return None;
        }
        let mut bytes = match layout.recording {
            Recording::Mfm => mfm_fast::decode(bits, mark.end_bit, count + CHECK_BYTES),
            Recording::Fm => decode(bits, mark.end_bit, count + CHECK_BYTES),
        };
        let recorded_check = bytes[count..].iter().fold(0, |high, low| high << 8 | u16::from(*low));
        bytes.truncate(count);
        let [special, byte] = layout.checked_mark(mark.byte);
        let computed_check = check(&[special, byte, &bytes]);
        Some(Self { bytes, recorded_check, computed_check, end_bit })
    }

    /// The first channel bit that is not what the code makes of the bytes and their check; clock
    /// bits are all that it can be.
    pub(crate) fn first_wrong_clock(
        &self,
        mark: &FoundMark,
        bits: &ChannelBits,
        layout: &Layout,
    ) -> Option<usize> {
        let recorded = [&self.bytes[..], &self.recorded_check.to_be_bytes()].concat();
        let before = Before::Zero.after(&[*mark.byte]);
        first_wrong_clock(layout.recording, before, &recorded, bits, mark.end_bit)
    }
}

/// The first channel bit that is not what the code makes of `data`, which was read from channel
/// bit `start_bit` on; clock bits are all that it can be.
pub(crate) fn first_wrong_clock(
    recording: Recording,
    before: Before,
    data: &[u8],
    bits: &ChannelBits,
    start_bit: usize,
) -> Option<usize> {
    let mut legal = ChannelBits::new();
    push(recording, before, data, &mut legal);
    (0..legal.len()).step_by(64).find_map(|start| {
        let count = (legal.len() - start).min(64);
        let read = bits.window(start_bit + start, count);
        let differing = (read ^ legal.window(start, count)) << (64 - count);
        (differing != 0).then(|| start_bit + start + differing.leading_zeros() as usize)
    })
}

/// Appends data bytes in a code, by its fastest way.
pub(super) fn push(recording: Recording, before: Before, data: &[u8], track: &mut ChannelBits) {
    match recording {
        Recording::Mfm => mfm_fast::encode(before, data, track),
        Recording::Fm => crate::code::encode(Recording::Fm, before, data, track),
    }
}

/// The address field behind an identifier mark.
pub(crate) fn read_address(
    mark: &FoundMark,
    bits: &ChannelBits,
    layout: &Layout,
) -> Option<(Address, ReadField)> {
    let field = ReadField::after(mark, ADDRESS_BYTES, bits, layout)?;
    let [cylinder, side, sector, size_code] = field.bytes[..] else { return None };
    Some((Address { cylinder, side, sector, size_code }, field))
}

/// The data field behind a data mark.
pub(crate) fn read_data(
    mark: &FoundMark,
    bits: &ChannelBits,
    layout: &Layout,
) -> Option<ReadField> {
    ReadField::after(mark, layout.sector_bytes(), bits, layout)
}
