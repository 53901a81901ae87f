//! Items, on their way from the library: each value is held to its limit.

use crate::raw::{
    self, TP_ITEM_BYTE, TP_ITEM_DONE, TP_ITEM_MATCH, TP_ITEM_REFUSED, TP_ITEM_STATUS, TP_ITEM_WORD,
};
use trackproof_contract::{Item, Observed, Status};

/// An item with a kind that does not exist: what the library leaves unwritten is found out.
pub(crate) const UNWRITTEN: raw::Item =
    raw::Item { at_ns: 0, kind: u32::MAX, transfer: 0, flag: 0, reserved: 0, value: 0 };

/// What the values of a case's items are held to.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Limits {
    /// W.
    pub(crate) word_bits: u16,
    /// Requests made so far.
    pub(crate) transfers: u32,
}

impl Limits {
    /// The item, if its values are in their limits.
    ///
    /// # Errors
    /// What it is, the value and the limit.
    pub(crate) fn decode(&self, raw: &raw::Item) -> Result<Observed, String> {
        let item = match raw.kind {
            TP_ITEM_WORD => {
                let transfer = self.transfer(raw, "a word")?;
                if raw.value.checked_shr(self.word_bits.into()).unwrap_or(0) != 0 {
                    return Err(format!(
                        "the word {:x} is wider than the profile's {} bits",
                        raw.value, self.word_bits
                    ));
                }
                Item::Word { transfer, value: raw.value }
            }
            TP_ITEM_BYTE => Item::Byte {
                value: u8::try_from(raw.value)
                    .map_err(|_| format!("a byte is {}, the limit is {}", raw.value, u8::MAX))?,
                fresh: match raw.flag {
                    0 => false,
                    1 => true,
                    other => return Err(format!("a byte's flag is {other}, it must be 0 or 1")),
                },
            },
            TP_ITEM_STATUS => {
                Item::Status(Status::from_bits(u16::try_from(raw.value).map_err(|_| {
                    format!("the status is {:#x}, the limit is {:#x}", raw.value, u16::MAX)
                })?))
            }
            TP_ITEM_DONE => Item::Done,
            TP_ITEM_REFUSED => Item::Refused { transfer: self.transfer(raw, "a refusal")? },
            TP_ITEM_MATCH => Item::Match,
            other => {
                return Err(format!(
                    "its kind is {other}, the kinds are 0 to {TP_ITEM_MATCH} (TP_ITEM_...)"
                ));
            }
        };
        Ok(Observed { at_ns: raw.at_ns, item })
    }

    fn transfer(&self, raw: &raw::Item, what: &str) -> Result<u32, String> {
        if raw.transfer < self.transfers {
            return Ok(raw.transfer);
        }
        Err(format!(
            "{what} is of transfer {}, but {} were asked for so far, numbered from 0",
            raw.transfer, self.transfers
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::{Limits, UNWRITTEN};
    use crate::raw;
    use trackproof_contract::{Item, Observed, Status};

    const LIMITS: Limits = Limits { word_bits: 16, transfers: 2 };

    fn item(kind: u32, transfer: u32, flag: u32, value: u64) -> Result<Item, String> {
        LIMITS
            .decode(&raw::Item { at_ns: 3, kind, transfer, flag, reserved: 0, value })
            .map(|Observed { at_ns, item }| (assert_eq!(at_ns, 3), item).1)
    }

    #[test]
    fn values_at_their_limits_pass() {
        assert_eq!(item(0, 1, 0, 0xffff), Ok(Item::Word { transfer: 1, value: 0xffff }));
        assert_eq!(item(1, 9, 1, 255), Ok(Item::Byte { value: 255, fresh: true }));
        assert_eq!(item(2, 9, 9, 0xffff), Ok(Item::Status(Status::from_bits(0xffff))));
        assert_eq!(item(3, 9, 9, 9), Ok(Item::Done));
        assert_eq!(item(4, 1, 9, 9), Ok(Item::Refused { transfer: 1 }));
        assert_eq!(item(5, 9, 9, 9), Ok(Item::Match));
    }

    #[test]
    fn values_over_their_limits_are_named_with_the_limit() {
        for (result, words) in [
            (item(0, 2, 0, 0), ["transfer 2", "2 were asked for"]),
            (item(0, 0, 0, 0x1_0000), ["10000", "16 bits"]),
            (item(1, 0, 0, 256), ["256", "255"]),
            (item(1, 0, 2, 0), ["flag is 2", "0 or 1"]),
            (item(2, 0, 0, 0x1_0000), ["0x10000", "0xffff"]),
            (item(4, 2, 0, 0), ["a refusal", "transfer 2"]),
            (item(6, 0, 0, 0), ["kind is 6", "0 to 5"]),
            (LIMITS.decode(&UNWRITTEN).map(|seen| seen.item), ["4294967295", "0 to 5"]),
        ] {
            let why = result.unwrap_err();
            assert!(words.iter().all(|word| why.contains(word)), "{why}");
        }
    }
}
