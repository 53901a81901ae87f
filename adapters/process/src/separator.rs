//! A child that is a data separator.

use crate::limits::answer_bytes;
use crate::link::Link;
use crate::message::SeparateMessage;
use crate::session::{PartRig, Session, lock};
use std::sync::{Arc, Mutex};
use trackproof_contract::{ChannelBits, DataSeparator, Profile, Rig, RigError, SeamError};

/// The separator. Clones are the same child, to be given to whoever lends it flux.
#[derive(Debug, Clone)]
pub struct ChildSeparator {
    session: Arc<Mutex<SeparatorSession>>,
}

#[derive(Debug)]
struct SeparatorSession {
    link: Link,
    profile: Profile,
    until_ns: u64,
    transitions_ns: Vec<u64>,
    /// What the child made of them, once it has answered; it is given at once, the first time.
    separated: Option<ChannelBits>,
}

impl ChildSeparator {
    pub(crate) fn new(link: Link) -> Self {
        let session = SeparatorSession {
            link,
            profile: Profile::sync_dma(),
            until_ns: 0,
            transitions_ns: Vec::new(),
            separated: None,
        };
        Self { session: Arc::new(Mutex::new(session)) }
    }

    /// The rig: `lifted` is one made of clones of this.
    #[must_use]
    pub fn into_rig(self, lifted: Box<dyn Rig>) -> PartRig {
        PartRig::new(self.session, lifted)
    }
}

impl DataSeparator for ChildSeparator {
    fn profile(&self) -> Option<Profile> {
        lock(&self.session).link.hello.profile.clone()
    }

    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        lock(&self.session).profile.clone_from(profile);
        Ok(())
    }

    fn advance(
        &mut self,
        until_ns: u64,
        transitions_ns: &[u64],
        bits: &mut ChannelBits,
    ) -> Result<(), SeamError> {
        let mut session = lock(&self.session);
        if let Some(separated) = &mut session.separated {
            std::mem::swap(bits, separated);
            separated.clear();
            return Ok(());
        }
        session.until_ns = until_ns;
        session.transitions_ns.extend_from_slice(transitions_ns);
        Ok(())
    }
}

impl Session for SeparatorSession {
    fn record(&mut self) {
        self.until_ns = 0;
        self.transitions_ns.clear();
        self.separated = None;
    }

    fn ask(&mut self) -> Result<(), RigError> {
        // A case without flux asks nothing.
        if self.until_ns == 0 {
            return Ok(());
        }
        // More than the limit of any case of that length.
        let bits = 4 * self.until_ns / u64::from(self.profile.channel_bit_ns) + 4_096;
        let limit = answer_bytes(0, std::iter::once(&ChannelBits::zeros(bits as usize)));
        let Self { profile, until_ns, transitions_ns, .. } = self;
        let (until_ns, profile, transitions_ns) = (*until_ns, &*profile, &**transitions_ns);
        let answer =
            self.link.ask(|id| SeparateMessage { id, profile, until_ns, transitions_ns }, limit)?;
        let id = answer.id;
        let Some(separated) = answer.separated else {
            return Err(self.link.broke(&format!("its answer to case {id} has no `separated`")));
        };
        self.separated = Some(separated);
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
