//! Repeatable random bytes for these tests, by a 64-bit xorshift.

/// `count` bytes that depend on `seed` alone.
pub(crate) fn bytes(seed: u64, count: usize) -> Vec<u8> {
    let mut x = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    (0..count)
        .map(|_| {
            x ^= x << 13;
            x ^= x >> 7;
            x ^= x << 17;
            (x >> 56) as u8
        })
        .collect()
}
