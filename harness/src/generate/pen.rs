//! The pen: appends data in the recording's code, and marks as they are, and carries the clock
//! bits' context from one to the next.

use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::{Before, encode, mfm_fast};

/// A track that is written from its first bit on.
pub(super) struct Pen<'a> {
    pub(super) track: &'a mut ChannelBits,
    recording: Recording,
    before: Before,
}

impl<'a> Pen<'a> {
    /// A pen at the end of `track`, as if a 0 stood before.
    pub(super) const fn new(track: &'a mut ChannelBits, recording: Recording) -> Self {
        Self { track, recording, before: Before::Zero }
    }

    /// Appends data bytes, sixteen channel bits each.
    pub(super) fn data(&mut self, data: &[u8]) {
        match self.recording {
            Recording::Mfm => mfm_fast::encode(self.before, data, self.track),
            Recording::Fm => encode(Recording::Fm, self.before, data, self.track),
        }
        self.before = self.before.after(data);
    }

    /// Appends the low `width` bits of `word` as they are.
    pub(super) fn mark(&mut self, word: u64, width: u64) {
        self.track.push(word, width as usize);
        self.before = Before::bit(word & 1 == 1);
    }

    /// Appends data to `len` channel bits, or up to a byte more, in blocks that `fill` makes.
    pub(super) fn data_up_to(&mut self, len: usize, mut fill: impl FnMut(&mut [u8])) {
        let mut block = [0; 256];
        while self.track.len() < len {
            let bytes = (len - self.track.len()).div_ceil(16).min(block.len());
            fill(&mut block[..bytes]);
            self.data(&block[..bytes]);
        }
    }
}
