//! The shift register and the sync comparator on it: which bits are in, whether they equal the sync
//! word, and whether that is a match. Semantics 1.1, 1.4, 1.7, 1.8 and 1.10.

use trackproof_contract::{Profile, Straddle, YesNo};

/// Register, sync word, and the switch of hardware sync.
#[derive(Debug, Clone)]
pub(super) struct Comparator {
    /// The newest 64 bits, the newest one lowest: the register is the low R of them, a word the
    /// low W.
    bits: u64,
    register_bits: u16,
    mask: u64,
    word: u64,
    word_at_power_up: u64,
    on: bool,
    shows_when_off: bool,
    straddles: bool,
    /// Bits that must still come until all R of the register are of one source.
    invalid_for: u16,
    refractory: u16,
    /// Bits that must still come, with hardware sync on, until another match can be made.
    quiet_for: u16,
}

/// What a bit brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Compared {
    /// A match is made: it may start, align, deliver.
    pub(super) matched: bool,
    /// The register equals the sync word where that may show.
    pub(super) shown: bool,
    /// It did not before this bit.
    pub(super) newly: bool,
}

impl Comparator {
    pub(super) fn new(profile: &Profile) -> Self {
        Self {
            bits: 0,
            register_bits: profile.register_bits,
            mask: profile.sync_mask,
            word: profile.default_sync_word(),
            word_at_power_up: profile.default_sync_word(),
            on: false,
            shows_when_off: profile.flag_when_off == YesNo::Yes,
            straddles: profile.straddle == Straddle::Allowed,
            // The zeros of power-up are valid.
            invalid_for: 0,
            refractory: profile.refractory,
            quiet_for: 0,
        }
    }

    /// A bit is shifted in.
    pub(super) fn shift(&mut self, bit: bool) -> Compared {
        let before = self.shown();
        self.bits = self.bits << 1 | u64::from(bit);
        self.invalid_for = self.invalid_for.saturating_sub(1);
        let shown = self.shown();
        let matched = self.on && self.match_made();
        Compared { matched, shown, newly: shown && !before }
    }

    /// Whether a match is made at the newest bit, hardware sync being on. What is suppressed does
    /// not prolong the refractory time.
    fn match_made(&mut self) -> bool {
        if self.quiet_for > 0 {
            self.quiet_for -= 1;
            return false;
        }
        let made = self.equal();
        if made {
            self.quiet_for = self.refractory;
        }
        made
    }

    fn equal(&self) -> bool {
        let valid = self.straddles || self.invalid_for == 0;
        valid && (self.bits ^ self.word) & self.mask == 0
    }

    /// Whether the register equals the sync word now where that may show: the level flag.
    pub(super) fn shown(&self) -> bool {
        self.equal() && (self.on || self.shows_when_off)
    }

    /// The newest `count` bits, 1 to 64, the first one highest.
    pub(super) fn newest(&self, count: u16) -> u64 {
        self.bits & (u64::MAX >> (64 - count))
    }

    pub(super) fn set_word(&mut self, word: u64) {
        self.word = word;
    }

    /// Turns hardware sync on or off; says how it was.
    pub(super) fn switch(&mut self, on: bool) -> bool {
        std::mem::replace(&mut self.on, on)
    }

    /// The next bit comes from elsewhere.
    pub(super) fn source_changed(&mut self) {
        self.invalid_for = self.register_bits;
    }

    /// As at power-up, but for the bits and their validity.
    pub(super) fn reset(&mut self, clear_register: bool) {
        self.word = self.word_at_power_up;
        self.on = false;
        self.quiet_for = 0;
        if clear_register {
            self.bits = 0;
        }
    }
}
