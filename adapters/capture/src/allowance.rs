//! A reader that gives no more than an allowance until it is renewed.
//!
//! The parser reads texts of any length into memory; so a command of a recording gets an allowance,
//! and one that never ends is an error instead of all of the memory.

use std::io::{self, BufRead, Read};

/// The reader with what is left of its allowance.
pub(crate) struct Allowance<R> {
    inner: R,
    left: u64,
}

impl<R> Allowance<R> {
    pub(crate) const fn new(inner: R) -> Self {
        Self { inner, left: 0 }
    }

    /// Allows so many bytes from here on.
    pub(crate) fn renew(&mut self, bytes: u64) {
        self.left = bytes;
    }

    /// Whether the last allowance was used up.
    pub(crate) const fn is_spent(&self) -> bool {
        self.left == 0
    }
}

impl<R: BufRead> Read for Allowance<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.left == 0 {
            return Err(io::Error::other("the allowance is spent"));
        }
        let most = buffer.len().min(usize::try_from(self.left).unwrap_or(usize::MAX));
        let got = self.inner.read(&mut buffer[..most])?;
        self.left -= got as u64;
        Ok(got)
    }
}

impl<R: BufRead> BufRead for Allowance<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        self.inner.fill_buf()
    }

    fn consume(&mut self, amount: usize) {
        self.inner.consume(amount);
        self.left = self.left.saturating_sub(amount as u64);
    }
}
