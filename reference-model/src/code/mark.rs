//! Marks: bytes whose clock bits break the rule on purpose, so that data can never look like
//! them.

/// A data byte together with the clock byte that it is recorded with.
///
/// ```
/// use trackproof_model::code::Mark;
/// // Clock bytes 0A and 14: SA810/860 OEM manual, fig. 6-7; the channel words follow from them.
/// assert_eq!(Mark::MFM_A1.channel_bits(), 0x4489);
/// assert_eq!(Mark::MFM_C2.channel_bits(), 0x5224);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Mark {
    /// The data bits.
    pub data: u8,
    /// The clock bits.
    pub clock: u8,
}

impl Mark {
    /// MFM, before identifier and data mark bytes (SA810/860 OEM manual, fig. 6-7).
    pub const MFM_A1: Self = Self { data: 0xa1, clock: 0x0a };
    /// MFM, before the index mark byte (SA810/860 OEM manual, fig. 6-7 and 6-8).
    pub const MFM_C2: Self = Self { data: 0xc2, clock: 0x14 };
    /// FM, index mark (SA810/860 OEM manual, fig. 6-9).
    pub const FM_INDEX: Self = Self { data: 0xfc, clock: 0xd7 };
    /// FM, identifier mark (clock byte from memory).
    pub const FM_IDENTIFIER: Self = Self { data: 0xfe, clock: 0xc7 };
    /// FM, data mark (clock byte from memory).
    pub const FM_DATA: Self = Self { data: 0xfb, clock: 0xc7 };
    /// FM, deleted data mark (clock byte from memory).
    pub const FM_DELETED_DATA: Self = Self { data: 0xf8, clock: 0xc7 };

    /// The sixteen channel bits: clock and data bits in turn, a clock bit first.
    #[must_use]
    pub const fn channel_bits(self) -> u16 {
        let (mut bits, mut place) = (0, 0);
        while place < 8 {
            bits |= ((self.data >> place & 1) as u16) << (2 * place);
            bits |= ((self.clock >> place & 1) as u16) << (2 * place + 1);
            place += 1;
        }
        bits
    }
}
