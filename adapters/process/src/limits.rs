//! How long a child may take, and how much it may say.

use std::time::Duration;
use trackproof_contract::{ChannelBits, MAX_EXTRA_ITEMS};

/// How long a child may take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// From its start to its hello: an interpreter loads its libraries, a simulator its tables.
    pub start: Duration,
    /// For one case; none where somebody else holds it to a time.
    pub case: Option<Duration>,
    /// From the end of its input to its own end, and once more from the request to end; then it is
    /// killed.
    pub end: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            start: Duration::from_secs(30),
            case: Some(Duration::from_secs(10)),
            end: Duration::from_millis(500),
        }
    }
}

/// Most cases that a child may ask to be sent ahead of its answers: the pipes hold no more.
pub const MAX_IN_FLIGHT: u32 = 64;

/// Longest hello: names, and a profile.
pub(crate) const MAX_HELLO_BYTES: usize = 1 << 20;

/// What is kept of a child's standard error: a traceback's end says what happened.
pub(crate) const MAX_SAID_BYTES: usize = 4 << 10;

/// Longest text of one item with its time, generously: `{"at_ns":600000000000,"item":{"Word":…}}`
/// has under 100 characters, and writers of JSON may put blanks between.
const ITEM_BYTES: usize = 160;

/// Longest text of a signal, likewise.
const SIGNAL_BYTES: usize = 80;

/// Longest answer that has no more than that many items, beside signals, and this in hex.
pub(crate) fn answer_bytes<'a>(items: usize, hex: impl Iterator<Item = &'a ChannelBits>) -> usize {
    let hex: usize = hex.map(|bits| bits.len() / 4 + 512).sum();
    (1 << 20) + ITEM_BYTES * items + SIGNAL_BYTES * MAX_EXTRA_ITEMS + hex
}
