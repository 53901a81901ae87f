//! What writes send: words of their own, or what an earlier read of the program delivered.
//!
//! Everything is made as channel bits first, as if it were a track. Where the controller takes data
//! bytes, the same bits are then told as data and marks.

use super::choices::Choices;
use super::frame::{Backing, Frame};
use super::image::{self, Flaw, Turn};
use super::program::Script;
use super::track;
use std::ops::Range;
use trackproof_contract::{ChannelBits, Medium, SectorLayout, Track, WriteSource, WriteUnit};
use trackproof_model::code::{Before, clock_bit};

impl<C: Choices> Script<'_, C> {
    /// Where so many words of a write come from: mostly they are its own.
    pub(super) fn some_source(&mut self, words: u64) -> WriteSource {
        match self.last_read {
            Some(read) if self.choices.chance(1, 4) => self.copy_of(read, words),
            _ => self.words(words),
        }
    }

    /// So many words: mostly numbered, with sync words among them; sometimes a piece of a track.
    pub(super) fn words(&mut self, words: u64) -> WriteSource {
        let len = words.min(self.frame.max_words) * self.frame.word_bits;
        let mut bits = self.spare.bits();
        let piece = self.choices.chance(1, 5).then(|| self.choices.below(self.tracks.len() as u64));
        match piece.and_then(|number| track_bits(self.tracks, number)) {
            Some(track) => {
                let start = self.choices.below(track.len() as u64) as usize;
                bits.push_cyclic(track, start, len as usize);
            }
            None => track::fill_written(&mut bits, len, self.frame, self.choices),
        }
        self.given(bits)
    }

    /// What a read delivers, or part of it.
    pub(super) fn copy_of(&mut self, transfer: u32, words: u64) -> WriteSource {
        let align = self.choices.chance(1, 3).then_some(self.frame.sync);
        let skip = match self.choices.weighted(&[5, 2, 1]) {
            0 => 0,
            1 => 1,
            _ => self.choices.below(words + 2),
        };
        let count = words.min(self.frame.max_words) as u32;
        WriteSource::Copy { transfer, align, skip: skip as u32, count }
    }

    /// The layout of the drive under the head, if it is backed by an image.
    pub(super) fn layout(&self) -> Option<SectorLayout> {
        match self.frame.backings[usize::from(self.head.drive)] {
            Backing::Sectors(layout) => Some(layout),
            Backing::Bits(_) => None,
        }
    }

    /// Part of a turn of an image's layout with new data, made for the track under the head, in
    /// whole words; and how many.
    pub(super) fn stream(
        &mut self,
        layout: SectorLayout,
        span: Range<usize>,
    ) -> (WriteSource, u64) {
        let (mut sectors, mut turn) = (self.spare.bits(), self.spare.bits());
        image::fill(&mut sectors, layout, self.choices);
        let bits = self.frame.turn_bits[usize::from(self.head.drive)] as usize;
        let (cylinder, side) = (self.head.cylinder(), self.head.side);
        let flaw = Flaw::draw(self.choices);
        Turn { layout, cylinder, side, sectors: &sectors, flaw, bits }.lay_out(&mut turn);
        let words = (span.len() as u64).div_ceil(self.frame.word_bits).min(self.frame.max_words);
        let mut part = self.spare.bits();
        part.push_cyclic(&turn, span.start, (words * self.frame.word_bits) as usize);
        self.spare.reclaim_bits(sectors);
        self.spare.reclaim_bits(turn);
        (self.given(part), words)
    }

    /// Whole words of channel bits as the controller takes them.
    fn given(&mut self, bits: ChannelBits) -> WriteSource {
        if self.frame.write_unit == WriteUnit::ChannelWords {
            return WriteSource::Words(bits);
        }
        let mut told = self.spare.bits();
        tell(&bits, &mut told, self.frame);
        self.spare.reclaim_bits(bits);
        WriteSource::Words(told)
    }
}

/// The channel bits of a recorded track, if it is made of them.
fn track_bits(tracks: &[Track], number: u64) -> Option<&ChannelBits> {
    match &tracks.get(number as usize)?.medium {
        Medium::ChannelBits { track, .. } => Some(track),
        _ => None,
    }
}

/// Tells channel bits as words of data bits in the low half and, in the high half, the clock bits
/// that the rule asks for and that are not there. Clock bits too many are lost.
fn tell(bits: &ChannelBits, told: &mut ChannelBits, frame: &Frame) {
    let width = frame.word_bits as usize;
    let mut before = Before::Zero;
    for word in 0..bits.len() / width {
        let cells = bits.window(word * width, width);
        let (mut data, mut left_out) = (0, 0);
        for pair in (0..width / 2).rev() {
            let (clock, one) = (cells >> (2 * pair + 1) & 1 == 1, cells >> (2 * pair) & 1 == 1);
            let due = clock_bit(frame.recording, before, one);
            data = data << 1 | u64::from(one);
            left_out = left_out << 1 | u64::from(due && !clock);
            before = Before::bit(one);
        }
        told.push(left_out << (width / 2) | data, width);
    }
}

#[cfg(test)]
mod tests {
    use super::tell;
    use crate::generate::choices::SeededChoices;
    use crate::generate::frame::{Frame, Scope};
    use trackproof_contract::{Capabilities, ChannelBits, Profile};

    #[test]
    fn channel_bits_are_told_as_data_and_marks() {
        let profile = Profile::byte_stream();
        let scope = Scope::of(&profile, Capabilities::NONE);
        let frame = Frame::draw(&profile, scope, &mut SeededChoices::new(0));
        let mut bits = ChannelBits::new();
        // A1 with its missing clock bit, 00 behind it, and A1 with all its clock bits.
        bits.push(0x4489_2aaa_44a9, 48);
        let mut told = ChannelBits::new();
        tell(&bits, &mut told, &frame);
        assert_eq!(told.window(0, 48), 0x04a1_0000_00a1);
    }
}
