//! What a child says on standard error: the end of it is kept, for people to read.

use crate::limits::MAX_SAID_BYTES;
use std::collections::VecDeque;

/// The last of a child's standard error.
#[derive(Debug, Default)]
pub(crate) struct Said {
    kept: VecDeque<u8>,
    dropped: u64,
}

impl Said {
    /// Takes what came.
    pub(crate) fn take(&mut self, bytes: &[u8]) {
        let bytes_kept = &bytes[bytes.len().saturating_sub(MAX_SAID_BYTES)..];
        let over = (self.kept.len() + bytes_kept.len()).saturating_sub(MAX_SAID_BYTES);
        self.kept.drain(..over);
        self.kept.extend(bytes_kept);
        self.dropped += (over + bytes.len() - bytes_kept.len()) as u64;
    }

    /// It as lines that begin with a bar, without what a terminal would obey; none if it said
    /// nothing.
    pub(crate) fn text(&self) -> Option<String> {
        if self.kept.is_empty() {
            return None;
        }
        let bytes: Vec<u8> = self.kept.iter().copied().collect();
        let mut text = String::from("on standard error it said");
        if self.dropped > 0 {
            text += &format!(" (the last {} of {} bytes)", bytes.len(), self.all());
        }
        text.push(':');
        for line in String::from_utf8_lossy(&bytes).trim_end().lines() {
            text += "\n  | ";
            text.extend(line.chars().map(harmless));
        }
        Some(text)
    }

    fn all(&self) -> u64 {
        self.dropped + self.kept.len() as u64
    }
}

/// The begin of a text from outside, for an error.
pub(crate) fn shown(bytes: &[u8]) -> String {
    const SHOWN: usize = 80;
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(4 * SHOWN)]);
    let begin: String = text.chars().take(SHOWN).map(harmless).collect();
    let more = if text.chars().count() > SHOWN || bytes.len() > 4 * SHOWN { "…" } else { "" };
    format!("`{begin}{more}`")
}

/// A control character could move a terminal's cursor.
fn harmless(c: char) -> char {
    if c == '\t' || !c.is_control() { c } else { '\u{fffd}' }
}

#[cfg(test)]
mod tests {
    use super::{Said, shown};
    use crate::limits::MAX_SAID_BYTES;

    #[test]
    fn the_end_is_kept_and_what_is_dropped_is_counted() {
        let mut said = Said::default();
        assert_eq!(said.text(), None);
        for _ in 0..100 {
            said.take(&[b'x'; 1_000]);
        }
        said.take(b"\nthe end\n");
        let text = said.text().unwrap();
        assert!(text.contains(&format!("the last {MAX_SAID_BYTES} of 100009 bytes")), "{text}");
        assert!(text.ends_with("\n  | the end"), "{text}");
        said.take(&vec![b'y'; 3 * MAX_SAID_BYTES]);
        assert!(said.text().unwrap().contains(&format!("of {} bytes", 100_009 + 3 * 4_096)));
    }

    #[test]
    fn nothing_that_a_terminal_obeys_comes_through() {
        let mut said = Said::default();
        said.take(b"a\x1b[2Jb\xff\n\tc\n");
        let text = said.text().unwrap();
        assert_eq!(text, "on standard error it said:\n  | a\u{fffd}[2Jb\u{fffd}\n  | \tc");
        assert_eq!(shown(b"{\"id\"\x07"), "`{\"id\"\u{fffd}`");
        assert_eq!(shown(&[b'z'; 500]).chars().count(), 80 + 3);
    }
}
