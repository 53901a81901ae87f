//! A track as it stands while a case runs: its stream of channel bits, and what of it is free.
//!
//! On a medium of kind `real` the free bits are those of semantics 4.6; a write adds its guards
//! (4.3, 4.5). An image-backed track keeps sectors: what is written is decoded when the gate has
//! closed, and the stream is made of the sectors anew (4.7).

use crate::code::free_on_real;
use crate::image;
use trackproof_contract::{ChannelBits, ChannelKind, Medium, Recording, SectorLayout, Track};

/// How far past a write's guards a medium of kind `real` may read otherwise: a transition in a
/// guard may be too close to one that far away.
const REAL_MARGIN_BITS: usize = 3;

/// A track's stream and its free bits.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Recorded {
    /// The channel bits of a turn, as they pass the head.
    pub stream: ChannelBits,
    /// A 1 for each of them that is free; empty while none is.
    pub free: ChannelBits,
    /// The guards of writes: a 1 each; empty while there are none.
    guards: ChannelBits,
    /// What the medium is.
    form: Form,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
enum Form {
    #[default]
    Plain,
    Real(Recording),
    Image(Box<Image>),
}

/// The sectors of an image-backed track.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Image {
    /// How they stand in the stream.
    pub layout: SectorLayout,
    /// The track's cylinder and side, which its headers carry.
    pub place: (u8, u8),
    /// Their data.
    pub sectors: ChannelBits,
}

impl Recorded {
    /// A track of a case, as it is at power-up; `turn_bits` are its drive's.
    #[must_use]
    pub fn of(track: &Track, turn_bits: usize, recording: Recording) -> Self {
        let mut new = Self::default();
        match &track.medium {
            Medium::ChannelBits { kind, track } => {
                new.stream = track.clone();
                if *kind == ChannelKind::Real {
                    new.form = Form::Real(recording);
                    new.find_free();
                }
            }
            Medium::Image { layout, sectors } => {
                let image = Image {
                    layout: *layout,
                    place: (track.cylinder, track.side),
                    sectors: sectors.clone(),
                };
                image::stream(&image, turn_bits, &mut new.stream);
                new.form = Form::Image(Box::new(image));
            }
            // A form that this version of the model does not know reads as zeros.
            _ => new.stream = ChannelBits::zeros(turn_bits),
        }
        new
    }

    /// The image, if it is one.
    #[must_use]
    pub fn image(&self) -> Option<&Image> {
        match &self.form {
            Form::Image(image) => Some(image),
            _ => None,
        }
    }

    /// Which of `count` bits from `start` on are free, round the turn's end.
    #[must_use]
    pub fn free_window(&self, start: usize, count: usize) -> u64 {
        if self.free.is_empty() { 0 } else { self.free.cyclic_window(start, count) }
    }

    /// Lays `count` written bits from cell `start` on, round the turn's end; the last one that is
    /// laid in a cell stays.
    pub fn lay(&mut self, start: usize, count: usize, mut bits: impl FnMut(usize, usize) -> u64) {
        let mut done = 0;
        while done < count {
            let at = (start + done) % self.stream.len();
            let step = (count - done).min(64).min(self.stream.len() - at);
            self.stream.put(at, bits(done, step), step);
            if !self.guards.is_empty() {
                self.guards.put(at, 0, step);
            }
            done += step;
        }
    }

    /// Makes `count` cells from `start` on a guard.
    pub fn guard(&mut self, start: usize, count: usize) {
        if self.guards.is_empty() && count > 0 {
            self.guards = ChannelBits::zeros(self.stream.len());
        }
        for at in 0..count.min(self.stream.len()) {
            self.guards.set((start + at) % self.stream.len(), true);
        }
    }

    /// The gate has closed: what is free now, and what becomes of an image's sectors. Some of them
    /// may have been written or not: bit n of `kept` says of the n-th that it was not. Returns how
    /// many there are.
    pub fn settle(&mut self, kept: u32) -> u32 {
        let Form::Image(image) = &mut self.form else {
            self.find_free();
            return 0;
        };
        let doubts = image::take_in(image, &self.stream, &self.guards, kept);
        self.guards.clear();
        let turn_bits = self.stream.len();
        image::stream(image, turn_bits, &mut self.stream);
        doubts
    }

    /// What the track stores, and its bits that are free, if any.
    #[must_use]
    pub fn stand(&self) -> (ChannelBits, Option<ChannelBits>) {
        match &self.form {
            Form::Image(image) => (image.sectors.clone(), None),
            _ => (self.stream.clone(), Some(self.free.clone()).filter(|free| !free.is_empty())),
        }
    }

    fn find_free(&mut self) {
        let Form::Real(recording) = self.form else {
            self.free.clone_from(&self.guards);
            return;
        };
        self.free = free_on_real(recording, &self.stream);
        if self.free.count_ones() == 0 {
            self.free.clear();
        }
        if self.guards.is_empty() {
            return;
        }
        if self.free.is_empty() {
            self.free = ChannelBits::zeros(self.stream.len());
        }
        let len = self.stream.len();
        for begin in (0..len).step_by(64) {
            // Guards are few and tracks are long.
            let mut left = self.guards.window(begin, 64);
            while left != 0 {
                let bit = left.leading_zeros() as usize;
                left &= !(1 << 63 >> bit);
                let first = begin + bit + len * REAL_MARGIN_BITS - REAL_MARGIN_BITS;
                for near in 0..=2 * REAL_MARGIN_BITS {
                    self.free.set((first + near) % len, true);
                }
            }
        }
    }

    /// Where a track as it was shown differs from this one: the first bit of its own content and
    /// how many there are. Free bits are not compared.
    #[must_use]
    pub fn difference(&self, shown: &Medium) -> Option<(usize, usize)> {
        let (mine, free) = match &self.form {
            Form::Image(image) => (&image.sectors, None),
            _ => (&self.stream, Some(&self.free).filter(|free| !free.is_empty())),
        };
        let theirs = shown.track();
        let (mut first, mut count) = (None, 0);
        for at in (0..mine.len()).step_by(64) {
            let size = (mine.len() - at).min(64);
            let mut wrong = mine.window(at, size) ^ theirs.window(at, size);
            wrong &= !free.map_or(0, |free| free.window(at, size));
            if wrong == 0 {
                continue;
            }
            wrong <<= 64 - size;
            count += wrong.count_ones() as usize;
            if wrong != 0 && first.is_none() {
                first = Some(at + wrong.leading_zeros() as usize);
            }
        }
        first.map(|first| (first, count))
    }
}
