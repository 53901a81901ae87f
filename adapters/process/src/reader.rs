//! A child that is a word reader.

use crate::limits::answer_bytes;
use crate::link::Link;
use crate::message::{Call, Came, ReadMessage};
use crate::rig::check_word;
use crate::session::{PartRig, Session, lock};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard};
use trackproof_contract::{
    Answer, ChannelBits, Item, MAX_TRACK_BITS, PolledByte, Profile, Rig, RigError, SeamError,
    ShownStatus, TransferRequest, WordReader,
};

/// The reader. Clones are the same child, to be given to whoever lends it drives and host.
#[derive(Debug, Clone)]
pub struct ChildReader {
    session: Arc<Mutex<ReaderSession>>,
}

#[derive(Debug)]
struct ReaderSession {
    link: Link,
    profile: Profile,
    calls: Vec<Call>,
    /// Calls of the case so far.
    called: u64,
    came: Option<VecDeque<Came>>,
    /// The first answer that fits nothing.
    wrong: Option<String>,
}

impl ChildReader {
    pub(crate) fn new(link: Link) -> Self {
        let session = ReaderSession {
            profile: link.hello.profile.clone().unwrap_or_else(Profile::sync_dma),
            link,
            calls: Vec::new(),
            called: 0,
            came: None,
            wrong: None,
        };
        Self { session: Arc::new(Mutex::new(session)) }
    }

    /// The rig: `lifted` is one made of clones of this.
    #[must_use]
    pub fn into_rig(self, lifted: Box<dyn Rig>) -> PartRig {
        PartRig::new(self.session, lifted)
    }

    /// The session, if the child has that method.
    fn having(&self, method: &str) -> Result<MutexGuard<'_, ReaderSession>, SeamError> {
        let session = lock(&self.session);
        if session.link.hello.has(method) { Ok(session) } else { Err(SeamError::NotSupported) }
    }
}

impl ReaderSession {
    /// A call: written down, or the next one whose answers are due.
    fn call(&mut self, call: Call) {
        self.called += 1;
        let Some(came) = &self.came else {
            return match (self.calls.last_mut(), call) {
                // A run is no longer than any other string of bits may be.
                (Some(Call::ShiftIn(run)), Call::ShiftIn(bit)) if run.len() < MAX_TRACK_BITS => {
                    run.push(bit.window(0, 1), 1);
                }
                (_, call) => self.calls.push(call),
            };
        };
        if let Some(next) = came.front().filter(|next| next.at + 1 < self.called) {
            let why = format!("{} as an answer to call {}, which gives none", next.item, next.at);
            self.wrong.get_or_insert(why);
        }
    }

    /// The next answer, if it is one of the last call and of this kind.
    fn take<T>(&mut self, kind: impl Fn(Item) -> Option<T>) -> Option<T> {
        let came = self.came.as_mut()?;
        let next = came.front().filter(|next| next.at + 1 == self.called)?;
        let taken = kind(next.item)?;
        came.pop_front();
        Some(taken)
    }

    /// The answer that a call must have.
    fn due<T: Default>(&mut self, name: &str, kind: impl Fn(Item) -> Option<T>) -> T {
        let taken = self.take(kind);
        if taken.is_none() && self.came.is_some() {
            let at = self.called.saturating_sub(1);
            self.wrong.get_or_insert(format!("no {name} as the answer to call {at}"));
        }
        taken.unwrap_or_default()
    }

    fn word(&mut self, of: Option<u32>) -> Option<u64> {
        self.take(|item| match item {
            Item::Word { transfer, value } if of.is_none_or(|of| of == transfer) => Some(value),
            _ => None,
        })
    }
}

impl WordReader for ChildReader {
    fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
        let mut session = self.having("shift_in")?;
        session.call(Call::ShiftIn(ChannelBits::from_iter([bit])));
        Ok(session.word(None))
    }

    fn profile(&self) -> Option<Profile> {
        lock(&self.session).link.hello.profile.clone()
    }

    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        lock(&self.session).profile = profile.clone();
        Ok(())
    }

    fn request(&mut self, request: TransferRequest) -> Result<Answer, SeamError> {
        let mut session = self.having("request")?;
        let TransferRequest { transfer, words, start } = request;
        session.call(Call::Request { transfer, words, start });
        let refused =
            session.take(|item| (item == Item::Refused { transfer }).then_some(Answer::Refused));
        Ok(refused.unwrap_or(Answer::Heard))
    }

    fn service(&mut self, transfer: u32) -> Result<Option<u64>, SeamError> {
        let mut session = self.having("service")?;
        session.call(Call::Service { transfer });
        Ok(session.word(Some(transfer)))
    }

    fn index(&mut self) -> Result<(), SeamError> {
        self.having("index").map(|mut session| session.call(Call::Index))
    }

    fn set_sync_word(&mut self, word: u64) -> Result<(), SeamError> {
        self.having("set_sync_word").map(|mut session| session.call(Call::SyncWord { word }))
    }

    fn set_hardware_sync(&mut self, on: bool) -> Result<(), SeamError> {
        self.having("set_hardware_sync").map(|mut session| session.call(Call::HardwareSync { on }))
    }

    fn source_changed(&mut self) -> Result<(), SeamError> {
        self.having("source_changed").map(|mut session| session.call(Call::SourceChanged))
    }

    fn abort(&mut self) -> Result<(), SeamError> {
        self.having("abort").map(|mut session| session.call(Call::Abort))
    }

    fn reset(&mut self) -> Result<(), SeamError> {
        self.having("reset").map(|mut session| session.call(Call::Reset))
    }

    fn poll_status(&mut self) -> Result<ShownStatus, SeamError> {
        let mut session = self.having("poll_status")?;
        session.call(Call::PollStatus);
        let set = session.due("status", |item| match item {
            Item::Status(status) => Some(status),
            _ => None,
        });
        Ok(ShownStatus { driven: session.link.hello.status, set })
    }

    fn poll_byte(&mut self) -> Result<PolledByte, SeamError> {
        let mut session = self.having("poll_byte")?;
        session.call(Call::PollByte);
        Ok(session.due("byte", |item| match item {
            Item::Byte { value, fresh } => Some(PolledByte { value, fresh }),
            _ => None,
        }))
    }

    fn done_signal(&mut self) -> Result<bool, SeamError> {
        let mut session = self.having("done_signal")?;
        Ok(session.take(|item| (item == Item::Done).then_some(())).is_some())
    }

    fn match_signal(&mut self) -> Result<bool, SeamError> {
        let mut session = self.having("match_signal")?;
        Ok(session.take(|item| (item == Item::Match).then_some(())).is_some())
    }
}

impl Session for ReaderSession {
    fn record(&mut self) {
        self.calls.clear();
        (self.called, self.came, self.wrong) = (0, None, None);
    }

    fn ask(&mut self) -> Result<(), RigError> {
        // A framer hands out a word every few bits, the others one a service.
        let bits = self.calls.iter().map(|call| match call {
            Call::ShiftIn(bits) => bits.len(),
            _ => 0,
        });
        let items = self.calls.len() + bits.sum::<usize>() / 4;
        let (profile, calls) = (&self.profile, &self.calls);
        let answer = self.link.ask(
            |id| ReadMessage { id, profile, calls },
            answer_bytes(items, std::iter::empty()),
        )?;
        let id = answer.id;
        let Some(came) = answer.came else {
            return Err(self.link.broke(&format!("its answer to case {id} has no `came`")));
        };
        let wrong = came.iter().enumerate().find_map(|(index, one)| match one.item {
            Item::Word { value, .. } => {
                check_word(value, profile).err().map(|why| format!("`came[{index}]`: {why}"))
            }
            Item::Status(status) if !self.link.hello.status.has(status) => Some(format!(
                "`came[{index}]`: status {status}, but its hello names only {}",
                self.link.hello.status
            )),
            _ => None,
        });
        if let Some(why) = wrong {
            return Err(self.link.broke(&format!("its answer to case {id}: {why}")));
        }
        (self.called, self.came) = (0, Some(came.into()));
        Ok(())
    }

    fn finish(&mut self) -> Result<(), RigError> {
        let left = self.came.take().and_then(|mut came| came.pop_front());
        let left = left.map(|left| {
            format!("{} as an answer to call {}, which gives none", left.item, left.at)
        });
        match self.wrong.take().or(left) {
            Some(why) => Err(self.link.broke(&format!("among its answers is {why}"))),
            None => Ok(()),
        }
    }

    fn last_words(&mut self) -> Option<String> {
        self.link.take_last_words()
    }

    fn reset(&mut self) {
        self.link.reset();
    }
}
