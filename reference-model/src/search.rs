//! Finding the sync word: the comparator, run over a whole stretch of channel bits.
//!
//! [`plain`] is the definition, one comparison a bit. [`next_match`] is its fast twin and is what
//! the model calls: 64 positions a step. Tests hold the two equal.

use trackproof_contract::{ChannelBits, Profile};

/// A sync word under its mask, `width` channel bits wide, first channel bit highest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pattern {
    /// The bits to compare with.
    pub word: u64,
    /// Which of them count.
    pub mask: u64,
    /// How many channel bits it spans, 1 to 64.
    pub width: usize,
}

impl Pattern {
    /// A sync word as the comparator of a profile has it: its register's width, under its mask.
    #[must_use]
    pub fn of(profile: &Profile, word: u64) -> Self {
        Self { word, mask: profile.sync_mask, width: usize::from(profile.register_bits) }
    }

    /// Whether a register equals the word under the mask.
    #[must_use]
    pub const fn equals(&self, register: u64) -> bool {
        (register ^ self.word) & self.mask == 0
    }
}

/// The first end in `from ..= to` where the bits before it equal the pattern.
///
/// An end is the number of channel bits up to and including the pattern's last. By definition.
#[must_use]
pub fn plain(bits: &ChannelBits, pattern: Pattern, from: usize, to: usize) -> Option<usize> {
    (from.max(pattern.width)..=to.min(bits.len()))
        .find(|end| pattern.equals(bits.window(end - pattern.width, pattern.width)))
}

/// The same as [`plain`], 64 ends a step: every bit of the pattern rules out the ends at which
/// the stream disagrees with it.
#[must_use]
pub fn next_match(bits: &ChannelBits, pattern: Pattern, from: usize, to: usize) -> Option<usize> {
    let to = to.min(bits.len());
    let mut end = from.max(pattern.width);
    while end <= to {
        // All 64 windows of this step lie in these 128 bits, each shifted by one.
        let begin = end - pattern.width;
        let stream =
            u128::from(bits.window(begin, 64)) << 64 | u128::from(bits.window(begin + 64, 64));
        // Bit 63 - j stands for the end `end + j`.
        let mut fits = !0_u64;
        let mut left = pattern.mask;
        while left != 0 && fits != 0 {
            let place = left.trailing_zeros() as usize;
            let at_place = (stream << (pattern.width - 1 - place) >> 64) as u64;
            fits &= if pattern.word >> place & 1 == 1 { at_place } else { !at_place };
            left &= left - 1;
        }
        if fits != 0 {
            let found = end + fits.leading_zeros() as usize;
            return (found <= to).then_some(found);
        }
        end += 64;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::{Pattern, next_match, plain};
    use trackproof_contract::ChannelBits;

    fn random_bits(seed: u64, len: usize, sparse: bool) -> ChannelBits {
        let mut x = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
        (0..len)
            .map(|_| {
                x ^= x << 13;
                x ^= x >> 7;
                x ^= x << 17;
                if sparse { x & 7 == 0 } else { x & 1 == 1 }
            })
            .collect()
    }

    #[test]
    fn the_fast_search_finds_what_the_plain_one_finds() {
        for seed in 0..200 {
            let bits = random_bits(seed, 40 + seed as usize * 3, seed % 3 == 0);
            for width in [1, 2, 3, 5, 8, 16, 33, 64] {
                let mask = !0 >> (64 - width);
                for pattern in [
                    Pattern { word: bits.window(7, width), mask, width },
                    Pattern { word: 0, mask, width },
                    Pattern { word: 0x4489 & mask, mask: 0xfff3 & mask, width },
                ] {
                    for from in [0, 1, 17, 63, 64, 65] {
                        for to in [from, from + 1, bits.len() / 2, bits.len(), bits.len() + 9] {
                            assert_eq!(
                                next_match(&bits, pattern, from, to),
                                plain(&bits, pattern, from, to),
                                "seed {seed} {pattern:?} {from} {to}"
                            );
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn every_phase_of_a_planted_word_is_found() {
        let pattern = Pattern { word: 0x4489, mask: 0xffff, width: 16 };
        for phase in 0..130 {
            let mut bits = ChannelBits::zeros(phase);
            bits.push(0x4489, 16);
            bits.push(0, 40);
            assert_eq!(next_match(&bits, pattern, 0, bits.len()), Some(phase + 16));
        }
    }
}
