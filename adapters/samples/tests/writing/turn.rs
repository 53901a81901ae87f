//! A turn of channel bits put together field by field, bit by bit, the slow way.

/// One bit cell: its data bit, and its clock bit where that is no matter of the rule.
type Cell = (bool, Option<bool>);

/// A turn under construction.
#[derive(Clone)]
pub(crate) struct Turn {
    cells: Vec<Cell>,
}

impl Turn {
    pub(crate) fn new() -> Self {
        Self { cells: Vec::new() }
    }

    pub(crate) fn bytes(mut self, bytes: &[u8]) -> Self {
        for byte in bytes {
            self.cells.extend((0..8).rev().map(|bit| (byte >> bit & 1 == 1, None)));
        }
        self
    }

    /// Three marks, by their channel word.
    pub(crate) fn marks(mut self, word: u16) -> Self {
        for bit in (0..8).rev().cycle().take(24) {
            let pair = word >> (2 * bit);
            self.cells.push((pair & 1 == 1, Some(pair & 2 == 2)));
        }
        self
    }

    /// All even bits (6, 4, 2, 0) of these bytes, then all odd ones (7, 5, 3, 1).
    pub(crate) fn split(mut self, bytes: &[u8]) -> Self {
        for bits in [[6, 4, 2, 0], [7, 5, 3, 1]] {
            for byte in bytes {
                self.cells.extend(bits.map(|bit| (byte >> bit & 1 == 1, None)));
            }
        }
        self
    }

    /// Fills the turn up with 4E and gives its channel bits: in MFM a clock bit is 1 between two
    /// zeros, and only there (SA810/860 OEM manual, 6.4).
    pub(crate) fn fill(mut self, turn_bits: usize) -> String {
        while self.cells.len() * 2 < turn_bits {
            self = self.bytes(&[0x4e]);
        }
        assert_eq!(self.cells.len() * 2, turn_bits);
        let mut text = String::new();
        for (at, (data, fixed)) in self.cells.iter().enumerate() {
            let before = self.cells[(at + self.cells.len() - 1) % self.cells.len()].0;
            let clock = fixed.unwrap_or(!before && !data);
            text.extend([clock, *data].map(|one| if one { '1' } else { '0' }));
        }
        text
    }
}

/// The check of these bytes behind three bytes A1, by long division.
pub(crate) fn check(bytes: &[u8]) -> [u8; 2] {
    let marked: Vec<u8> = [0xa1; 3].into_iter().chain(bytes.iter().copied()).collect();
    remainder(&marked).to_be_bytes()
}

/// CRC-16/IBM-3740 by long division of the message as one string of bits: its first 16 bits turned
/// over, 16 zeros behind it, divided by 1 0001 0000 0010 0001.
pub(crate) fn remainder(bytes: &[u8]) -> u16 {
    let mut bits: Vec<bool> =
        bytes.iter().flat_map(|byte| (0..8).rev().map(move |bit| byte >> bit & 1 == 1)).collect();
    bits.extend([false; 16]);
    bits[..16].iter_mut().for_each(|bit| *bit = !*bit);
    for at in 0..bits.len() - 16 {
        if bits[at] {
            for place in [0, 4, 11, 16] {
                bits[at + place] = !bits[at + place];
            }
        }
    }
    bits[bits.len() - 16..].iter().fold(0, |value, bit| value << 1 | u16::from(*bit))
}

/// One sector of the full-track layout.
pub(crate) fn full_track_sector(turn: Turn, header: [u8; 4], data: &[u8]) -> Turn {
    turn.bytes(&[0; 4])
        .marks(0x4489)
        .split(&header)
        .split(&check(&header))
        .split(data)
        .split(&check(data))
}

/// The identifier of a soft sector: sync, marks, FE, address, check.
pub(crate) fn identifier(turn: Turn, address: [u8; 4]) -> Turn {
    let field = [&[0xfe], &address[..]].concat();
    turn.bytes(&[0; 12]).marks(0x4489).bytes(&field).bytes(&check(&field))
}

/// The data of a soft sector: sync, marks, FB or F8, data, check.
pub(crate) fn data_field(turn: Turn, mark: u8, data: &[u8]) -> Turn {
    let field = [&[mark], data].concat();
    turn.bytes(&[0; 12]).marks(0x4489).bytes(&field).bytes(&check(&field))
}

/// The catalogue of CRC algorithms gives 29B1 for the nine digits (crate crc-catalog 2.5.0,
/// CRC_16_IBM_3740).
#[test]
fn the_long_division_is_the_catalogues() {
    assert_eq!(remainder(b"123456789"), 0x29b1);
}

/// The clock bytes 0A and 14 of the marks, and the sync before them, are those of the SA810/860
/// OEM manual, figure 6-7.
#[test]
fn the_slow_way_gives_the_published_marks() {
    let turn = Turn::new().bytes(&[0x00]).marks(0x4489).bytes(&[0xfe]);
    let text = turn.fill(16 * 5);
    let word = |at: usize| u16::from_str_radix(&text[16 * at..16 * at + 16], 2).unwrap();
    assert_eq!([word(0), word(1), word(3), word(4)], [0xaaaa, 0x4489, 0x4489, 0x5554]);
}
