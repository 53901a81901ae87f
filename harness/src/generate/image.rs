//! Images of sectors, and the streams that hosts write onto drives that are backed by them.
//!
//! Layouts and turns are drawn small where the case's tracks are to be short. What a turn of a
//! layout looks like says the contract; it is laid out here once more, because a host that
//! formats or updates has to send just that, right or with one thing wrong.

use super::choices::Choices;
use super::frame::Size;
use super::pen::Pen;
use std::ops::Range;
use trackproof_contract::{ChannelBits, Recording, SectorLayout};
use trackproof_model::check::check;
use trackproof_model::code::Mark;

/// Channel bits of a byte.
const BYTE_BITS: usize = 16;

/// Most data bytes of a generated sector: the most usual size.
const MAX_SECTOR_BYTES: usize = 512;

/// Zero bytes before each mark of a soft-sector layout.
const SYNC_BYTES: usize = 12;

/// Bytes of a full-track sector before its data: zeros, marks, header and its check.
const FULL_TRACK_HEAD_BYTES: usize = 4 + 3 + 4 + 2;

/// Bytes of a soft-sector identifier: zeros, marks, the mark byte, address and check.
const IDENTIFIER_BYTES: usize = SYNC_BYTES + 4 + 4 + 2;

/// A layout of which a turn of that size can hold a track.
pub(super) fn draw_layout(size: Size, choices: &mut impl Choices) -> SectorLayout {
    let full = |sectors, sector_bytes| SectorLayout::FullTrack {
        sectors,
        sector_bytes: sector_bytes as u16,
    };
    match size {
        // 32 bytes at most.
        Size::Short => full(1, 2 * choices.between(1, 8)),
        // 33 to 256 bytes.
        Size::Middle if choices.chance(1, 2) => {
            let sectors = choices.between(1, 5);
            full(sectors as u8, 2 * choices.between(9, (256 / sectors - 15) / 2))
        }
        Size::Middle => SectorLayout::SoftSector {
            sectors: 1,
            size_code: 0,
            gap_4a_bytes: choices.pick(&[0, 1, 8]),
            gap_1_bytes: choices.below(9) as u16,
            gap_2_bytes: choices.between(2, 22) as u16,
            gap_3_bytes: choices.below(17) as u16,
        },
        Size::Whole => match choices.weighted(&[3, 3, 2, 2]) {
            // 6 250 bytes a turn at the standard's gap lengths (SMSC LPC47M102 data sheet, p. 49).
            0 => SectorLayout::SoftSector {
                sectors: 9,
                size_code: 2,
                gap_4a_bytes: 80,
                gap_1_bytes: 50,
                gap_2_bytes: 22,
                gap_3_bytes: 80,
            },
            1 => full(10, 512),
            2 => SectorLayout::SoftSector {
                sectors: choices.between(2, 5) as u8,
                size_code: choices.below(3) as u8,
                gap_4a_bytes: choices.pick(&[0, 80]),
                gap_1_bytes: choices.below(51) as u16,
                gap_2_bytes: choices.between(2, 22) as u16,
                gap_3_bytes: choices.below(81) as u16,
            },
            _ => full(choices.between(2, 10) as u8, choices.pick(&[128, 256, 300])),
        },
    }
}

/// The length of a turn that holds a layout: just that, or a gap more.
pub(super) fn draw_turn(layout: SectorLayout, size: Size, choices: &mut impl Choices) -> u64 {
    let used = (layout.used_bits() / BYTE_BITS) as u64;
    let (least, most) = match size {
        Size::Short => (used, 32),
        Size::Middle => (used.max(33), 256),
        Size::Whole => (used.max(257), used + 218),
    };
    let bytes = match choices.weighted(&[2, 1, 3]) {
        0 => least,
        1 => most,
        _ => choices.between(least, most.min(least + 20)),
    };
    BYTE_BITS as u64 * bytes.min(most)
}

/// The data of a track's sectors: numbers that differ, mostly.
pub(super) fn fill(sectors: &mut ChannelBits, layout: SectorLayout, choices: &mut impl Choices) {
    let len = layout.sectors() * layout.sector_bytes() * 8;
    let (first, step) = (choices.bits(16) as u16, choices.bits(16) as u16 | 1);
    let content = choices.weighted(&[8, 2, 2, 1]);
    let mut number = first;
    while sectors.len() < len {
        let word = match content {
            0 if len <= 256 * 8 => (0..8_u32).fold(0, |word, _| {
                number = number.wrapping_add(step);
                word << 8 | u64::from(number as u8)
            }),
            0 => (0..4_u32).fold(0, |word, _| {
                number = number.wrapping_add(step);
                word << 16 | u64::from(number)
            }),
            1 => 0,
            2 => choices.bits(64),
            _ => !0,
        };
        sectors.push(word, 64);
    }
    sectors.truncate(len);
}

/// What is wrong with a stream that a host writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Flaw {
    None,
    /// Headers name another cylinder.
    Cylinder,
    /// Headers name the other side.
    Side,
    /// Headers name sectors that the layout has not.
    Number,
    /// Data are marked as deleted; in a full-track layout the header's last byte is off.
    Mark,
    /// Checks of data are wrong in a bit.
    Check,
}

impl Flaw {
    /// None, mostly.
    pub(super) fn draw(choices: &mut impl Choices) -> Self {
        if !choices.chance(1, 5) {
            return Self::None;
        }
        choices.pick(&[Self::Check, Self::Cylinder, Self::Side, Self::Number, Self::Mark])
    }
}

/// A turn of an image's stream.
#[derive(Debug, Clone, Copy)]
pub(super) struct Turn<'a> {
    pub(super) layout: SectorLayout,
    pub(super) cylinder: u8,
    pub(super) side: u8,
    /// The data of all sectors.
    pub(super) sectors: &'a ChannelBits,
    pub(super) flaw: Flaw,
    /// Its length.
    pub(super) bits: usize,
}

impl Turn<'_> {
    /// Appends the turn to an empty track.
    pub(super) fn lay_out(&self, track: &mut ChannelBits) {
        let mut pen = Pen::new(track, Recording::Mfm);
        match self.layout {
            SectorLayout::FullTrack { sectors, .. } => {
                (0..sectors).for_each(|number| self.full_track_sector(&mut pen, number));
            }
            SectorLayout::SoftSector {
                sectors,
                gap_4a_bytes,
                gap_1_bytes,
                gap_2_bytes,
                gap_3_bytes,
                ..
            } => {
                if gap_4a_bytes > 0 {
                    gap(&mut pen, gap_4a_bytes);
                    soft_mark(&mut pen, Mark::MFM_C2, 0xfc);
                }
                gap(&mut pen, gap_1_bytes);
                for number in 0..sectors {
                    self.soft_sector(&mut pen, number, gap_2_bytes);
                    gap(&mut pen, gap_3_bytes);
                }
            }
            _ => {}
        }
        pen.data_up_to(self.bits, |block| block.fill(0x4e));
        track.truncate(self.bits);
        super::track::close_seam(track, Recording::Mfm);
    }

    fn full_track_sector(&self, pen: &mut Pen<'_>, number: u8) {
        pen.data(&[0; 4]);
        marks(pen, Mark::MFM_A1);
        let last = u8::from(self.flaw == Flaw::Mark);
        let [cylinder, side, sector, _] = self.address(number, 0);
        split(pen, &[cylinder, side, sector, last]);
        split(pen, &check(&[&[0xa1; 3], &[cylinder, side, sector, last]]).to_be_bytes());
        let mut block = [0; MAX_SECTOR_BYTES];
        let data = self.data(number, &mut block);
        split(pen, data);
        split(pen, &self.data_check(&[&[0xa1; 3], data]));
    }

    fn soft_sector(&self, pen: &mut Pen<'_>, number: u8, gap_2_bytes: u16) {
        soft_mark(pen, Mark::MFM_A1, 0xfe);
        let address = self.address(number, 1);
        pen.data(&address);
        pen.data(&check(&[&[0xa1, 0xa1, 0xa1, 0xfe], &address]).to_be_bytes());
        gap(pen, gap_2_bytes);
        let mark = if self.flaw == Flaw::Mark { 0xf8 } else { 0xfb };
        soft_mark(pen, Mark::MFM_A1, mark);
        let mut block = [0; MAX_SECTOR_BYTES];
        let data = self.data(number, &mut block);
        pen.data(data);
        pen.data(&self.data_check(&[&[0xa1, 0xa1, 0xa1, mark], data]));
    }

    /// Cylinder, side, number and size code of a sector; numbers begin with `first`.
    fn address(&self, number: u8, first: u8) -> [u8; 4] {
        let cylinder = self.cylinder ^ u8::from(self.flaw == Flaw::Cylinder);
        let side = self.side ^ u8::from(self.flaw == Flaw::Side);
        let beyond = if self.flaw == Flaw::Number { self.layout.sectors() as u8 } else { 0 };
        let size_code = match self.layout {
            SectorLayout::SoftSector { size_code, .. } => size_code,
            _ => 0,
        };
        [cylinder, side, number + first + beyond, size_code]
    }

    fn data<'a>(&self, number: u8, block: &'a mut [u8; MAX_SECTOR_BYTES]) -> &'a [u8] {
        let data = &mut block[..self.layout.sector_bytes()];
        let first = usize::from(number) * data.len();
        for (place, byte) in data.iter_mut().enumerate() {
            *byte = self.sectors.window((first + place) * 8, 8) as u8;
        }
        data
    }

    fn data_check(&self, stretches: &[&[u8]]) -> [u8; 2] {
        (check(stretches) ^ u16::from(self.flaw == Flaw::Check)).to_be_bytes()
    }
}

/// The channel bits of a turn that a host rewrites to give one sector new data: in a full-track
/// layout the whole sector, in a soft-sector one from a byte behind the identifier on.
pub(super) fn update_span(layout: SectorLayout, number: usize) -> Range<usize> {
    let bytes = layout.sector_bytes();
    let span = match layout {
        SectorLayout::SoftSector {
            gap_4a_bytes, gap_1_bytes, gap_2_bytes, gap_3_bytes, ..
        } => {
            let (gap_2, gap_3) = (usize::from(gap_2_bytes), usize::from(gap_3_bytes));
            let index = match usize::from(gap_4a_bytes) {
                0 => 0,
                gap_4a => gap_4a + SYNC_BYTES + 4,
            };
            let data = IDENTIFIER_BYTES + gap_2 + SYNC_BYTES + 4 + bytes + 2;
            let first = index + usize::from(gap_1_bytes) + number * (data + gap_3);
            first + IDENTIFIER_BYTES + gap_2.min(1)..first + data
        }
        _ => {
            let sector = FULL_TRACK_HEAD_BYTES + bytes + 2;
            number * sector..(number + 1) * sector
        }
    };
    span.start * BYTE_BITS..span.end * BYTE_BITS
}

fn gap(pen: &mut Pen<'_>, bytes: u16) {
    let len = pen.track.len() + usize::from(bytes) * BYTE_BITS;
    pen.data_up_to(len, |block| block.fill(0x4e));
}

fn marks(pen: &mut Pen<'_>, mark: Mark) {
    (0..3).for_each(|_| pen.mark(u64::from(mark.channel_bits()), 16));
}

fn soft_mark(pen: &mut Pen<'_>, mark: Mark, byte: u8) {
    pen.data(&[0; SYNC_BYTES]);
    marks(pen, mark);
    pen.data(&[byte]);
}

/// Appends a field split: all its even bits, then all its odd ones.
fn split(pen: &mut Pen<'_>, field: &[u8]) {
    let mut bytes = [0; MAX_SECTOR_BYTES];
    let halves = field.iter().flat_map(|byte| [6, 4, 2, 0].map(|place| byte >> place & 1));
    let halves =
        halves.chain(field.iter().flat_map(|byte| [7, 5, 3, 1].map(|place| byte >> place & 1)));
    for (place, bit) in halves.enumerate() {
        bytes[place / 8] |= bit << (7 - place % 8);
    }
    pen.data(&bytes[..field.len()]);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::generate::choices::SeededChoices;
    use trackproof_model::code::data_byte;
    use trackproof_model::layout::{Layout, SectorData, encode};

    fn stream(layout: SectorLayout, bits: usize, sectors: &ChannelBits) -> ChannelBits {
        let mut track = ChannelBits::new();
        let turn = Turn { layout, cylinder: 5, side: 1, sectors, flaw: Flaw::None, bits };
        turn.lay_out(&mut track);
        track
    }

    #[test]
    fn a_soft_sector_stream_is_the_models() {
        let standard = Layout::MFM_9_BY_512;
        let layout = SectorLayout::SoftSector {
            sectors: 9,
            size_code: 2,
            gap_4a_bytes: 80,
            gap_1_bytes: 50,
            gap_2_bytes: 22,
            gap_3_bytes: 80,
        };
        let mut sectors = ChannelBits::new();
        fill(&mut sectors, layout, &mut SeededChoices::new(1));
        let bytes = sectors.to_bytes();
        let data: Vec<SectorData<'_>> = bytes.chunks(512).map(SectorData::Kept).collect();
        let modelled = encode(&standard, 5, 1, &data).unwrap();
        assert_eq!(stream(layout, standard.turn_bits(), &sectors), modelled.bits);
    }

    #[test]
    fn a_full_track_sector_has_its_fields_where_the_contract_says() {
        let layout = SectorLayout::FullTrack { sectors: 2, sector_bytes: 4 };
        let sectors = ChannelBits::from_bytes(&[1, 2, 3, 4, 0xf0, 0xaa, 0x55, 0], 64);
        let track = stream(layout, layout.used_bits() + 16, &sectors);
        let byte = |place: usize| data_byte(track.window(place * 16, 16) as u16);
        assert_eq!(track.window(19 * 16 + 4 * 16, 48), 0x4489_4489_4489);
        // Even bits of 05 01 01 00, then odd ones.
        assert_eq!([byte(26), byte(27), byte(28), byte(29)], [0x31, 0x10, 0, 0]);
        // Even bits 1100, 0000, 1111, 0000, odd bits 1100, 1111, 0000, 0000.
        assert_eq!([byte(32), byte(33), byte(34), byte(35)], [0xc0, 0xf0, 0xcf, 0]);
        let odd = check(&[&[0xa1; 3], &[0xf0, 0xaa, 0x55, 0]]);
        let even_bits = (0..8).fold(0, |bits, place| bits << 1 | odd >> (14 - 2 * place) & 1);
        assert_eq!(u16::from(byte(36)), even_bits);
        assert_eq!(byte(38), 0x4e);
        assert!(track.get(0), "a clock bit between the gap's zero and the first");
    }

    #[test]
    fn an_update_covers_the_data_field_and_no_identifier() {
        let layout = SectorLayout::SoftSector {
            sectors: 2,
            size_code: 0,
            gap_4a_bytes: 1,
            gap_1_bytes: 2,
            gap_2_bytes: 3,
            gap_3_bytes: 4,
        };
        let mut sectors = ChannelBits::zeros(0);
        fill(&mut sectors, layout, &mut SeededChoices::new(3));
        let bits = layout.used_bits();
        let track = stream(layout, bits, &sectors);
        for number in 0..2 {
            let span = update_span(layout, number);
            let at = span.start + (2 + SYNC_BYTES) * BYTE_BITS;
            assert_eq!(track.window(at, 48), 0x4489_4489_4489);
            assert_eq!(data_byte(track.window(at + 48, 16) as u16), 0xfb);
            assert_eq!(span.end - at, (4 + 128 + 2) * BYTE_BITS);
        }
        assert_eq!(update_span(layout, 1).end + 4 * BYTE_BITS, bits);
    }

    #[test]
    fn layouts_fit_their_turns_and_turns_their_size() {
        let mut choices = SeededChoices::new(7);
        for (size, most) in [(Size::Short, 512), (Size::Middle, 4_096), (Size::Whole, 100_016)] {
            let mut kinds = std::collections::BTreeSet::new();
            for _ in 0..2_000 {
                let layout = draw_layout(size, &mut choices);
                let turn = draw_turn(layout, size, &mut choices);
                assert!(layout.used_bits() as u64 <= turn && turn <= most, "{layout:?} {turn}");
                assert!(turn.is_multiple_of(16) && layout.sector_bytes() <= MAX_SECTOR_BYTES);
                kinds.insert(matches!(layout, SectorLayout::FullTrack { .. }));
            }
            assert_eq!(kinds.len(), if size == Size::Short { 1 } else { 2 });
        }
    }
}
