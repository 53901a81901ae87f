//! Channel bits, packed: the one representation of a track's content.
//!
//! Common practice for bit strings, by definition here: the first channel bit is the most
//! significant bit of the first byte. Everything that walks a track 64 bits at a time rests on
//! [`ChannelBits::window`] and [`ChannelBits::cyclic_window`].

/// A string of channel bits of any length; 1 is a flux transition, 0 is none.
///
/// Shape: `bits` 64-bit words, most significant bit first; bits beyond the length are zero, so
/// that two equal strings are equal as data.
///
/// ```
/// use trackproof_contract::ChannelBits;
/// let bits = ChannelBits::from_bytes(&[0x44, 0x89], 16);
/// assert_eq!(bits.window(0, 16), 0x4489);
/// assert_eq!(bits.cyclic_window(8, 16), 0x8944);
/// ```
#[derive(Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ChannelBits {
    words: Vec<u64>,
    len: usize,
}

impl Clone for ChannelBits {
    fn clone(&self) -> Self {
        Self { words: self.words.clone(), len: self.len }
    }

    /// Keeps its memory, which a derived one would not.
    fn clone_from(&mut self, other: &Self) {
        self.words.clone_from(&other.words);
        self.len = other.len;
    }
}

impl ChannelBits {
    /// An empty string.
    #[must_use]
    pub const fn new() -> Self {
        Self { words: Vec::new(), len: 0 }
    }

    /// `len` zeros.
    #[must_use]
    pub fn zeros(len: usize) -> Self {
        Self { words: vec![0; len.div_ceil(64)], len }
    }

    /// The first `len` bits of `bytes`, most significant bit first.
    ///
    /// # Panics
    /// When `bytes` is shorter than `len` bits.
    #[must_use]
    pub fn from_bytes(bytes: &[u8], len: usize) -> Self {
        let mut bits = Self::new();
        bits.set_bytes(bytes, len);
        bits
    }

    /// Becomes the first `len` bits of `bytes`, as [`from_bytes`](Self::from_bytes), and keeps its
    /// memory.
    ///
    /// # Panics
    /// When `bytes` is shorter than `len` bits.
    pub fn set_bytes(&mut self, bytes: &[u8], len: usize) {
        assert!(bytes.len() * 8 >= len, "{} bytes hold no {len} bits", bytes.len());
        self.clear();
        for chunk in bytes[..len.div_ceil(8)].chunks(8) {
            let mut word = [0; 8];
            word[..chunk.len()].copy_from_slice(chunk);
            let count = (len - self.len).min(chunk.len() * 8);
            self.push(u64::from_be_bytes(word) >> (64 - count), count);
        }
    }

    /// The bits as bytes, most significant bit first, the last byte padded with zeros.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        self.append_bytes_to(&mut bytes);
        bytes
    }

    /// Appends what [`to_bytes`](Self::to_bytes) gives to `bytes`, for callers that keep a buffer.
    pub fn append_bytes_to(&self, bytes: &mut Vec<u8>) {
        let end = bytes.len() + self.len.div_ceil(8);
        bytes.reserve(8 * self.words.len());
        bytes.extend(self.words.iter().flat_map(|word| word.to_be_bytes()));
        bytes.truncate(end);
    }

    /// How many bits.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.len
    }

    /// Whether there is no bit.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Whether bit `index` is 1.
    ///
    /// # Panics
    /// When `index` is past the end.
    #[must_use]
    pub fn get(&self, index: usize) -> bool {
        assert!(index < self.len, "bit {index} of {}", self.len);
        self.words[index / 64] >> (63 - index % 64) & 1 == 1
    }

    /// Makes bit `index` 1 or 0.
    ///
    /// # Panics
    /// When `index` is past the end.
    pub fn set(&mut self, index: usize, one: bool) {
        assert!(index < self.len, "bit {index} of {}", self.len);
        let bit = 1 << (63 - index % 64);
        if one {
            self.words[index / 64] |= bit;
        } else {
            self.words[index / 64] &= !bit;
        }
    }

    /// Appends the low `count` bits of `value`, the highest of them first.
    ///
    /// # Panics
    /// When `count` is over 64.
    pub fn push(&mut self, value: u64, count: usize) {
        assert!(count <= 64, "{count} bits in one word");
        if count == 0 {
            return;
        }
        let value = value << (64 - count);
        let used = self.len % 64;
        if used == 0 {
            self.words.push(value);
        } else {
            let last = self.words.len() - 1;
            self.words[last] |= value >> used;
            if used + count > 64 {
                self.words.push(value << (64 - used));
            }
        }
        self.len += count;
    }

    /// Puts the low `count` bits of `value` in the place of bits `start .. start + count`.
    ///
    /// # Panics
    /// When `count` is over 64 or the place is past the end.
    pub fn put(&mut self, start: usize, value: u64, count: usize) {
        assert!(count <= 64, "{count} bits in one word");
        assert!(start + count <= self.len, "bits {start} to {} of {}", start + count, self.len);
        if count == 0 {
            return;
        }
        let (value, mask) = (value << (64 - count), !0 << (64 - count));
        let (index, shift) = (start / 64, start % 64);
        let high = &mut self.words[index];
        *high = *high & !(mask >> shift) | value >> shift;
        if shift + count > 64 {
            let low = &mut self.words[index + 1];
            *low = *low & !(mask << (64 - shift)) | value << (64 - shift);
        }
    }

    /// Appends `count` bits of `track` from `start` on, going round its end as often as needed.
    ///
    /// # Panics
    /// When `track` is empty and `count` is not 0.
    pub fn push_cyclic(&mut self, track: &Self, start: usize, count: usize) {
        let mut from = start;
        let mut left = count;
        while left > 0 {
            from %= track.len;
            let step = left.min(64).min(track.len - from);
            self.push(track.window(from, step), step);
            from += step;
            left -= step;
        }
    }

    /// Bits `start .. start + count`, the first of them highest; bits past the end read as 0.
    ///
    /// # Panics
    /// When `count` is over 64.
    #[must_use]
    pub fn window(&self, start: usize, count: usize) -> u64 {
        assert!(count <= 64, "{count} bits in one word");
        if count == 0 {
            return 0;
        }
        let word = |index: usize| self.words.get(index).copied().unwrap_or(0);
        let (index, shift) = (start / 64, start % 64);
        let high = word(index) << shift;
        let low = if shift == 0 { 0 } else { word(index + 1) >> (64 - shift) };
        (high | low) >> (64 - count)
    }

    /// Like [`window`](Self::window), but bit `len` is bit 0 again: a track has no end.
    ///
    /// # Panics
    /// When the string is empty or `count` is over 64.
    #[must_use]
    pub fn cyclic_window(&self, start: usize, count: usize) -> u64 {
        assert!(self.len > 0, "an empty track has no bits to read");
        let mut from = start % self.len;
        let mut value = 0;
        let mut left = count;
        while left > 0 {
            let step = left.min(self.len - from);
            let part = self.window(from, step);
            value = if step == 64 { part } else { value << step | part };
            from = (from + step) % self.len;
            left -= step;
        }
        value
    }

    /// The same track turned so that bit `by` becomes bit 0.
    #[must_use]
    pub fn rotated(&self, by: usize) -> Self {
        let mut bits = Self::new();
        if self.len > 0 {
            bits.push_cyclic(self, by, self.len);
        }
        bits
    }

    /// Cuts the string to its first `len` bits; a longer `len` changes nothing.
    pub fn truncate(&mut self, len: usize) {
        if len >= self.len {
            return;
        }
        self.len = len;
        self.words.truncate(len.div_ceil(64));
        if !len.is_multiple_of(64) {
            let last = self.words.len() - 1;
            self.words[last] &= !0 << (64 - len % 64);
        }
    }

    /// Empties the string and keeps its memory.
    pub fn clear(&mut self) {
        self.words.clear();
        self.len = 0;
    }

    /// How many 1s.
    #[must_use]
    pub fn count_ones(&self) -> usize {
        self.words.iter().map(|word| word.count_ones() as usize).sum()
    }

    /// The packed words, for kernels: most significant bit first, zeros beyond the length.
    #[must_use]
    pub fn words(&self) -> &[u64] {
        &self.words
    }
}

impl std::fmt::Debug for ChannelBits {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "ChannelBits({} bits: ", self.len)?;
        for byte in self.to_bytes() {
            write!(f, "{byte:02x}")?;
        }
        write!(f, ")")
    }
}

impl FromIterator<bool> for ChannelBits {
    fn from_iter<I: IntoIterator<Item = bool>>(iter: I) -> Self {
        let mut bits = Self::new();
        for bit in iter {
            bits.push(u64::from(bit), 1);
        }
        bits
    }
}

#[cfg(feature = "serde")]
mod data {
    //! `{"bits": N, "hex": "…"}`: the length, and the bits in whole lower-case hex bytes.

    use super::ChannelBits;
    use crate::MAX_TRACK_BITS;
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};

    #[derive(Serialize, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Written {
        bits: usize,
        hex: String,
    }

    impl Serialize for ChannelBits {
        fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
            let hex = self.to_bytes().iter().map(|byte| format!("{byte:02x}")).collect();
            Written { bits: self.len(), hex }.serialize(serializer)
        }
    }

    impl<'de> Deserialize<'de> for ChannelBits {
        fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
            let Written { bits, hex } = Written::deserialize(deserializer)?;
            if bits > MAX_TRACK_BITS {
                return Err(D::Error::custom(format!(
                    "\"bits\" is {bits}, but a track has at most {MAX_TRACK_BITS} channel bits"
                )));
            }
            if hex.len() != 2 * bits.div_ceil(8) {
                return Err(D::Error::custom(format!(
                    "\"bits\" is {bits}, which takes {} hex digits, but \"hex\" has {}",
                    2 * bits.div_ceil(8),
                    hex.len()
                )));
            }
            let digit = |at: usize| {
                let c = hex.as_bytes()[at];
                (c as char).to_digit(16).map(|d| d as u8).ok_or_else(|| {
                    D::Error::custom(format!("\"hex\" has the byte {c:#04x} at {at}, no hex digit"))
                })
            };
            let bytes = (0..hex.len() / 2)
                .map(|i| Ok(digit(2 * i)? << 4 | digit(2 * i + 1)?))
                .collect::<Result<Vec<u8>, D::Error>>()?;
            let value = ChannelBits::from_bytes(&bytes, bits);
            if value.to_bytes() != bytes {
                return Err(D::Error::custom(format!(
                    "\"hex\" has ones beyond its {bits} bits; pad the last byte with zeros"
                )));
            }
            Ok(value)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::ChannelBits;

    fn plain(bits: &[bool], start: usize, count: usize) -> u64 {
        (start..start + count).fold(0, |value, i| value << 1 | u64::from(bits[i % bits.len()]))
    }

    fn sample(len: usize) -> (Vec<bool>, ChannelBits) {
        let mut x = 0x9e37_79b9_7f4a_7c15_u64.wrapping_mul(len as u64 + 1);
        let bits: Vec<bool> = (0..len)
            .map(|_| {
                x ^= x << 13;
                x ^= x >> 7;
                x ^= x << 17;
                x & 1 == 1
            })
            .collect();
        let packed = bits.iter().copied().collect();
        (bits, packed)
    }

    #[test]
    fn cyclic_windows_equal_a_bit_loop_at_every_offset_and_count() {
        for len in [1, 2, 7, 16, 63, 64, 65, 127, 130] {
            let (plain_bits, packed) = sample(len);
            for start in 0..2 * len {
                for count in 0..=64 {
                    let expected = plain(&plain_bits, start, count);
                    assert_eq!(
                        packed.cyclic_window(start, count),
                        expected,
                        "{len} {start} {count}"
                    );
                    if start + count <= len {
                        assert_eq!(packed.window(start, count), expected);
                    }
                }
            }
        }
    }

    #[test]
    fn bytes_go_in_and_come_out_the_same() {
        for len in 0..200 {
            let (_, packed) = sample(len.max(1));
            assert_eq!(ChannelBits::from_bytes(&packed.to_bytes(), packed.len()), packed);
        }
    }

    #[test]
    fn appended_bytes_stand_behind_those_that_were_there() {
        for len in 0..200 {
            let (_, packed) = sample(len.max(1));
            let mut bytes = vec![7];
            packed.append_bytes_to(&mut bytes);
            assert_eq!(bytes[0], 7);
            assert_eq!(bytes[1..], packed.to_bytes());
        }
    }

    #[test]
    fn turning_there_and_back_changes_nothing() {
        for len in [1, 63, 64, 65, 200] {
            let (_, packed) = sample(len);
            for by in 0..len {
                assert_eq!(packed.rotated(by).rotated(len - by), packed);
                assert_eq!(packed.rotated(by).window(0, 1), packed.cyclic_window(by, 1));
            }
        }
    }

    #[test]
    fn bits_put_in_place_change_no_others() {
        for start in [0, 1, 63, 64, 100] {
            for count in [0, 1, 7, 63, 64] {
                let mut bits = ChannelBits::zeros(200);
                (0..200).filter(|at| at % 3 == 0).for_each(|at| bits.set(at, true));
                let before = bits.clone();
                bits.put(start, 0x8421_8421_1248_1249, count);
                for at in 0..200 {
                    let inside = (start..start + count).contains(&at);
                    let value = 0x8421_8421_1248_1249_u64;
                    let one = if inside {
                        value >> (start + count - 1 - at) & 1 == 1
                    } else {
                        before.get(at)
                    };
                    assert_eq!(bits.get(at), one, "start {start} count {count} bit {at}");
                }
            }
        }
    }

    #[test]
    fn a_cut_string_equals_one_that_was_never_longer() {
        let (bits, packed) = sample(150);
        for len in 0..=150 {
            let mut cut = packed.clone();
            cut.truncate(len);
            assert_eq!(cut, bits[..len].iter().copied().collect());
        }
    }

    #[test]
    fn setting_bits_builds_the_same_string() {
        let (bits, packed) = sample(100);
        let mut built = ChannelBits::zeros(100);
        for (i, bit) in bits.iter().enumerate() {
            built.set(i, *bit);
            assert_eq!(built.get(i), *bit);
        }
        assert_eq!(built, packed);
        assert_eq!(built.count_ones(), bits.iter().filter(|bit| **bit).count());
    }
}
