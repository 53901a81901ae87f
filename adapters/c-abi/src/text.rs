//! Text that a library returns: read to its limit and no further.

use std::ffi::c_char;

/// Most bytes of a library's name, as the header says.
pub(crate) const MAX_NAME_BYTES: usize = 200;

/// Most bytes of an error's text, as the header says.
pub(crate) const MAX_ERROR_BYTES: usize = 1_000;

/// Copies the text at `start`, up to its zero byte or to `limit` bytes; `None` when it is null.
/// What is no UTF-8 is replaced, and so is what a terminal would obey; what was cut off says so.
///
/// # Safety
/// `start` is null, or bytes up to a zero or to the limit can be read there.
pub(crate) unsafe fn read(start: *const c_char, limit: usize) -> Option<String> {
    if start.is_null() {
        return None;
    }
    let mut bytes = Vec::new();
    while bytes.len() < limit {
        // SAFETY: no zero byte came before, and the limit is not reached.
        let byte = unsafe { start.add(bytes.len()).read() };
        if byte == 0 {
            return Some(plain(&bytes));
        }
        bytes.push(byte as u8);
    }
    let text = plain(&bytes);
    Some(format!("{text} [read to the limit of {limit} bytes]"))
}

/// Bytes as text for people, on several lines if it has them.
fn plain(bytes: &[u8]) -> String {
    let obeyed = |sign: char| sign.is_control() && sign != '\n';
    String::from_utf8_lossy(bytes).replace(obeyed, "\u{fffd}")
}

#[cfg(test)]
mod tests {
    use super::read;
    use std::ffi::c_char;

    fn text(bytes: &[u8], limit: usize) -> Option<String> {
        assert!(bytes.len() >= limit || bytes.contains(&0));
        // SAFETY: the bytes reach to the limit or hold a zero.
        unsafe { read(bytes.as_ptr().cast::<c_char>(), limit) }
    }

    #[test]
    fn text_ends_at_its_zero_byte_or_at_the_limit() {
        assert_eq!(text(b"abc\0def", 5).as_deref(), Some("abc"));
        assert_eq!(text(b"abc", 3).as_deref(), Some("abc [read to the limit of 3 bytes]"));
        assert_eq!(text(b"a\xffb\0", 4).as_deref(), Some("a\u{fffd}b"));
        assert_eq!(text(b"a\x1b[31m\nb\0", 9).as_deref(), Some("a\u{fffd}[31m\nb"));
        // SAFETY: null is what the function asks for first.
        assert_eq!(unsafe { read(std::ptr::null(), 5) }, None);
    }
}
