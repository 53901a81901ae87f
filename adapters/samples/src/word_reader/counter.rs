//! The word counter: where words and bytes complete. Semantics 1.2 and 1.11.

use trackproof_contract::Profile;

/// Counts every bit, whatever is selected, pending or running.
#[derive(Debug, Clone)]
pub(super) struct Counter {
    word_bits: u16,
    byte_bits: u16,
    /// Bits since the last word boundary.
    of_word: u16,
    /// Bits since the last boundary of bytes: another number where a byte is longer than a word.
    of_byte: u16,
}

/// Where a bit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Counted {
    /// Bits since the last word boundary, this one included: 1 to W. W is a boundary.
    pub(super) since_boundary: u16,
    /// A byte completes.
    pub(super) byte: bool,
}

impl Counter {
    pub(super) fn new(profile: &Profile) -> Self {
        Self {
            word_bits: profile.word_bits,
            byte_bits: profile.byte_bits(),
            of_word: 0,
            of_byte: 0,
        }
    }

    /// A bit is counted.
    pub(super) fn count(&mut self) -> Counted {
        let since_boundary = self.of_word + 1;
        self.of_word = since_boundary % self.word_bits;
        self.of_byte = (self.of_byte + 1) % self.byte_bits;
        Counted { since_boundary, byte: self.of_byte == 0 }
    }

    /// A word begins with the next bit, and so does a byte.
    pub(super) fn zero(&mut self) {
        self.of_word = 0;
        self.of_byte = 0;
    }

    /// The word under way is to have begun this many bits ago, fewer than W; bytes move only if the
    /// word does.
    pub(super) fn stand_at(&mut self, bits: u16) {
        if self.of_word != bits {
            self.of_word = bits;
            self.of_byte = bits % self.byte_bits;
        }
    }
}
