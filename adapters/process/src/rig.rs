//! A child that is a whole controller, as a rig.

use crate::hello::Hello;
use crate::limits::answer_bytes;
use crate::link::Link;
use crate::message::CaseMessage;
use trackproof_contract::{
    Capabilities, Capability, Case, Event, Item, Observation, Profile, Rig, RigError, timeline,
};

/// The rig.
#[derive(Debug)]
pub struct ProcessRig {
    link: Link,
    events: Vec<Event>,
}

impl ProcessRig {
    pub(crate) const fn new(link: Link) -> Self {
        Self { link, events: Vec::new() }
    }

    /// What the child says of itself.
    #[must_use]
    pub const fn hello(&self) -> &Hello {
        &self.link.hello
    }

    /// Holds an observation to the form that the judge relies on.
    fn check(&self, case: &Case, observation: &Observation) -> Result<(), String> {
        let requests = case.program.iter().filter(|operation| operation.is_request()).count();
        for (index, seen) in observation.items.iter().enumerate() {
            match seen.item {
                Item::Word { value, .. } => check_word(value, &case.profile)
                    .map_err(|why| format!("item {index}: {why}"))?,
                Item::Refused { transfer } if transfer as usize >= requests => {
                    return Err(format!(
                        "item {index}: transfer {transfer} refused, but the program has {requests} \
                         requests"
                    ));
                }
                _ => {}
            }
        }
        let shows = self.hello().capabilities.has(Capability::Media);
        if shows && observation.media.is_empty() && !case.tracks.is_empty() {
            return Err("`media` is empty, though it says that it has `media`".into());
        }
        if !shows && !observation.media.is_empty() {
            return Err("`media` has tracks, though it does not say that it has `media`".into());
        }
        observation.check_form(&self.events).map_err(|error| error.to_string())?;
        observation.check_media(&case.tracks).map_err(|error| error.to_string())
    }
}

/// A word has no more bits than the profile says.
pub(crate) fn check_word(value: u64, profile: &Profile) -> Result<(), String> {
    if value >> (profile.word_bits - 1) >> 1 == 0 {
        return Ok(());
    }
    Err(format!("the word {value:x} is wider than the profile's {} bits", profile.word_bits))
}

impl Rig for ProcessRig {
    fn capabilities(&self) -> Capabilities {
        self.hello().capabilities.with(Capability::Fifo)
    }

    fn profile(&self) -> Option<Profile> {
        self.hello().profile.clone()
    }

    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError> {
        timeline(case, &mut self.events);
        let tracks = case.tracks.iter().map(|track| track.medium.track());
        let limit = answer_bytes(self.events.len(), tracks);
        let answer = self.link.ask(|id| CaseMessage { id, case }, limit)?;
        let id = answer.id;
        let Some(came) = answer.observation else {
            return Err(self.link.broke(&format!("its answer to case {id} has no `observation`")));
        };
        *observation = came;
        match self.check(case, observation) {
            Ok(()) => Ok(()),
            Err(why) => Err(self.link.broke(&format!("its observation of case {id}: {why}"))),
        }
    }

    fn last_words(&mut self) -> Option<String> {
        self.link.take_last_words()
    }

    fn reset(&mut self) -> Result<(), RigError> {
        self.link.reset();
        Ok(())
    }
}
