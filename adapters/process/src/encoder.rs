//! A child that is a track encoder.

use crate::limits::answer_bytes;
use crate::link::Link;
use crate::message::{EncodeMessage, Image};
use crate::session::{PartRig, Session, lock};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use trackproof_contract::{ChannelBits, ImageTrack, Rig, RigError, SeamError, TrackEncoder};

/// The encoder. Clones are the same child, to be given to whoever lends it the rest.
#[derive(Debug, Clone)]
pub struct ChildEncoder {
    session: Arc<Mutex<EncoderSession>>,
}

#[derive(Debug)]
struct EncoderSession {
    link: Link,
    images: Vec<Image>,
    /// One turn of each image, as long as it must be.
    blank: Vec<ChannelBits>,
    streams: Option<VecDeque<ChannelBits>>,
}

impl ChildEncoder {
    pub(crate) fn new(link: Link) -> Self {
        let session = EncoderSession { link, images: Vec::new(), blank: Vec::new(), streams: None };
        Self { session: Arc::new(Mutex::new(session)) }
    }

    /// The rig: `lifted` is one made of clones of this.
    #[must_use]
    pub fn into_rig(self, lifted: Box<dyn Rig>) -> PartRig {
        PartRig::new(self.session, lifted)
    }
}

impl TrackEncoder for ChildEncoder {
    fn encode(&mut self, track: &ImageTrack<'_>) -> Result<ChannelBits, SeamError> {
        let mut session = lock(&self.session);
        if let Some(streams) = &mut session.streams {
            return streams.pop_front().ok_or_else(|| SeamError::failed("a stream is missing"));
        }
        let blank = ChannelBits::zeros(track.turn_bits);
        session.images.push(Image::of(track));
        session.blank.push(blank.clone());
        Ok(blank)
    }
}

impl Session for EncoderSession {
    fn record(&mut self) {
        self.images.clear();
        self.blank.clear();
        self.streams = None;
    }

    fn ask(&mut self) -> Result<(), RigError> {
        let limit = answer_bytes(0, self.blank.iter());
        let images = &self.images;
        let answer = self.link.ask(|id| EncodeMessage { id, images }, limit)?;
        let id = answer.id;
        let Some(streams) = answer.streams else {
            return Err(self.link.broke(&format!("its answer to case {id} has no `streams`")));
        };
        if streams.len() != images.len() {
            let why = format!(
                "case {id} has {} images, but {} `streams` came",
                images.len(),
                streams.len()
            );
            return Err(self.link.broke(&why));
        }
        self.streams = Some(streams.into());
        Ok(())
    }

    fn finish(&mut self) -> Result<(), RigError> {
        self.record();
        Ok(())
    }

    fn last_words(&mut self) -> Option<String> {
        self.link.take_last_words()
    }

    fn reset(&mut self) {
        self.link.reset();
    }
}
