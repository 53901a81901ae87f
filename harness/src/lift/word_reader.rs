//! The lift of a [`WordReader`]: adds medium, drives, rotation and host. To a reader that keeps no
//! transfers of its own it lends requests and a FIFO too.

use super::bench::LentBench;
use super::host::LentHost;
use super::requests::{Request, Requests};
use super::walk::{Part, Seen, Walk};
use super::{MakePart, called, is_there};
use trackproof_contract::{
    Action, Answer, Capabilities, Capability, DiskSubsystem, Event, Item, Observation, Profile,
    Rig, RigError, Setup, ShownStatus, Start, StartBusy, Status, SubsystemRig, TransferRequest,
    WordReader,
};

/// The methods of a [`WordReader`] with the capabilities that they open, alone or with the others
/// that its documents name.
pub const METHODS: &[(&str, &[Capability])] = &[
    ("shift_in", &[Capability::Read]),
    ("request", &[Capability::Fifo, Capability::RefusedSignal]),
    ("service", &[Capability::Fifo, Capability::RefusedSignal]),
    ("set_hardware_sync", &[Capability::HardwareSync]),
    (
        "source_changed",
        &[Capability::HardwareSync, Capability::Drives, Capability::Sides, Capability::Step],
    ),
    ("set_sync_word", &[Capability::SyncWord]),
    ("index", &[Capability::IndexStart]),
    ("abort", &[Capability::Abort]),
    ("reset", &[Capability::Reset]),
    (
        "poll_status",
        &[
            Capability::StatusDone,
            Capability::StatusBusy,
            Capability::StatusError,
            Capability::StatusMatch,
        ],
    ),
    ("poll_byte", &[Capability::BytePort]),
    ("done_signal", &[Capability::DoneSignal]),
    ("match_signal", &[Capability::MatchSignal]),
];

/// A rig of the word reader that `make` makes: a new one each time that power comes on.
///
/// ```
/// use trackproof::lift::word_reader;
/// use trackproof_contract::{Capability, SeamError, WordReader};
/// struct Framer;
/// impl WordReader for Framer {
///     fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> {
///         Ok(None)
///     }
/// }
/// let rig = word_reader::rig(std::sync::Arc::new(|| Framer));
/// assert!(rig.capabilities().has(Capability::Read));
/// assert!(rig.lent().has(Capability::Fifo));
/// ```
#[must_use]
pub fn rig<R: WordReader + 'static>(make: MakePart<R>) -> Box<dyn Rig> {
    Box::new(SubsystemRig::new(WordReaderLift::new(make)))
}

/// A word reader with drives, media and a host.
pub struct WordReaderLift<R> {
    make: MakePart<R>,
    profile: Option<Profile>,
    capabilities: Capabilities,
    lent: Capabilities,
    part: Reader<R>,
    bench: LentBench,
    walk: Walk,
}

/// Which methods a reader has, of those that are called whatever the case needs.
#[derive(Debug, Clone, Copy, Default)]
struct Methods {
    shift_in: bool,
    index: bool,
    source_changed: bool,
    poll_status: bool,
    done_signal: bool,
    match_signal: bool,
}

/// The reader, and what keeps its transfers where it does not.
struct Reader<R> {
    reader: R,
    has: Methods,
    reads: Option<LentReads>,
    word_bits: u16,
}

/// Requests and a FIFO for a framer.
struct LentReads {
    requests: Requests,
    host: LentHost,
    start_busy: StartBusy,
}

impl LentReads {
    fn new(profile: &Profile) -> Self {
        let mut requests = Requests::default();
        requests.power_up(profile);
        Self { requests, host: LentHost::new(profile), start_busy: profile.start_busy }
    }

    /// Accepts what is due by that time. A framer's counter hears nothing of a start.
    fn accept(&mut self, by_ns: Option<u64>) {
        let Some(by_ns) = by_ns else { return };
        while let Some(Request::Read(request)) = self.requests.accepted_by(by_ns) {
            if self.host.is_busy() {
                if self.start_busy != StartBusy::Replace {
                    continue;
                }
                self.host.end();
            }
            let _ = self.host.accept(request);
        }
    }
}

impl<R: WordReader> WordReaderLift<R> {
    /// The lift of the reader that `make` makes. Every method is tried once, on a reader made for
    /// that alone.
    #[must_use]
    pub fn new(make: MakePart<R>) -> Self {
        let reader = make();
        let profile = reader.profile();
        let given = profile.clone().unwrap_or_else(Profile::sync_dma);
        let fresh = || {
            let mut reader = make();
            // That it fails is for a run to tell.
            let _ = reader.power_up(&given);
            reader
        };
        let request = TransferRequest { transfer: 0, words: 1, start: Start::Now };
        let keeps_transfers = is_there(fresh().request(request)) && is_there(fresh().service(0));
        let has = Methods {
            shift_in: is_there(fresh().shift_in(false)),
            index: is_there(fresh().index()),
            source_changed: is_there(fresh().source_changed()),
            poll_status: is_there(fresh().poll_status()),
            done_signal: keeps_transfers && is_there(fresh().done_signal()),
            match_signal: is_there(fresh().match_signal()),
        };
        let driven = fresh().poll_status().map_or(Status::default(), |shown| shown.driven);
        let (mut capabilities, mut lent) = (Capabilities::NONE, Capabilities::NONE);
        let mut can = |there: bool, list: &[Capability]| {
            if there {
                capabilities = capabilities.union(Capabilities::of(list));
            }
        };
        let shifts = has.shift_in;
        can(shifts, &[Capability::Read]);
        if shifts && keeps_transfers {
            let synced = has.source_changed && is_there(fresh().set_hardware_sync(false));
            can(true, &[Capability::RefusedSignal]);
            can(synced, &[Capability::HardwareSync]);
            can(has.index, &[Capability::IndexStart]);
            can(is_there(fresh().abort()), &[Capability::Abort]);
            can(has.done_signal, &[Capability::DoneSignal]);
            can(driven.has(Status::DONE), &[Capability::StatusDone]);
            can(driven.has(Status::BUSY), &[Capability::StatusBusy]);
            can(driven.has(Status::ERROR), &[Capability::StatusError]);
        } else if shifts {
            can(true, &[Capability::IndexStart]);
            lent = Capabilities::of(&[Capability::Fifo, Capability::IndexStart]);
        }
        if shifts {
            // A lent host has no reset.
            can(keeps_transfers && is_there(fresh().reset()), &[Capability::Reset]);
            can(is_there(fresh().set_sync_word(0)), &[Capability::SyncWord]);
            can(is_there(fresh().poll_byte()), &[Capability::BytePort]);
            can(has.match_signal, &[Capability::MatchSignal]);
            can(driven.has(Status::MATCH), &[Capability::StatusMatch]);
            can(has.source_changed, &[Capability::Drives, Capability::Sides, Capability::Step]);
        }
        let reads = (!keeps_transfers).then(|| LentReads::new(&given));
        Self {
            make,
            profile,
            capabilities,
            lent,
            part: Reader { reader, has, reads, word_bits: given.word_bits },
            bench: LentBench::default(),
            walk: Walk::default(),
        }
    }
}

impl<R: WordReader> DiskSubsystem for WordReaderLift<R> {
    fn capabilities(&self) -> Capabilities {
        self.capabilities
    }

    fn lent(&self) -> Capabilities {
        self.lent
    }

    fn profile(&self) -> Option<Profile> {
        self.profile.clone()
    }

    fn power_up(&mut self, setup: Setup<'_>) -> Result<(), RigError> {
        self.bench.power_up(setup);
        self.walk.power_up(setup);
        let part = &mut self.part;
        part.reader = (self.make)();
        part.word_bits = setup.profile.word_bits;
        part.reads = part.reads.is_some().then(|| LentReads::new(setup.profile));
        called("power_up", part.reader.power_up(setup.profile))
    }

    fn run(&mut self, events: &[Event], out: &mut Observation) -> Result<(), RigError> {
        self.walk.run(&mut self.part, &mut self.bench, events, out)
    }
}

impl<R: WordReader> Part for Reader<R> {
    fn begin_cell(&mut self, seen: &mut Seen<'_>, index: bool) -> Result<Option<bool>, RigError> {
        if !index {
            return Ok(None);
        }
        if let Some(reads) = &mut self.reads {
            let _ = reads.host.index();
        }
        if self.has.index {
            called("index", self.reader.index())?;
            self.signals(seen)?;
        }
        Ok(None)
    }

    fn end_cell(&mut self, seen: &mut Seen<'_>, bit: Option<bool>) -> Result<(), RigError> {
        if let Some(reads) = &mut self.reads {
            reads.accept(Some(seen.at_ns - 1));
        }
        let Some(bit) = bit.filter(|_| self.has.shift_in) else { return Ok(()) };
        if let Some(word) = called("shift_in", self.reader.shift_in(bit))? {
            self.check_word("shift_in", word)?;
            let Some(reads) = &mut self.reads else {
                return Err(protocol(format!(
                    "`shift_in` handed out the word {word:04x}, though there is a `request`; words \
                     then leave by `service` alone"
                )));
            };
            reads.host.complete(word);
        }
        self.signals(seen)
    }

    fn event(
        &mut self,
        seen: &mut Seen<'_>,
        event: &Event,
        switched: bool,
    ) -> Result<(), RigError> {
        if let Some(reads) = &mut self.reads {
            reads.accept(seen.accepts_by(event.action));
        }
        if switched && self.has.source_changed {
            called("source_changed", self.reader.source_changed())?;
        }
        self.take(seen, event.action)?;
        self.signals(seen)
    }
}

impl<R: WordReader> Reader<R> {
    /// What the host does to the reader.
    fn take(&mut self, seen: &mut Seen<'_>, action: Action) -> Result<(), RigError> {
        match action {
            Action::Read { transfer, words, start } => {
                let request = TransferRequest { transfer, words, start };
                match &mut self.reads {
                    Some(reads) => {
                        reads.requests.push(seen.at_ns, Request::Read(request));
                        reads.accept(Some(seen.at_ns));
                    }
                    None => match called("request", self.reader.request(request))? {
                        Answer::Heard => {}
                        Answer::Refused => seen.push(Item::Refused { transfer }),
                    },
                }
            }
            Action::Service { transfer } => {
                let word = match &mut self.reads {
                    Some(reads) => reads.host.service(transfer),
                    None => called("service", self.reader.service(transfer))?,
                };
                if let Some(value) = word {
                    self.check_word("service", value)?;
                    seen.push(Item::Word { transfer, value });
                }
            }
            Action::SyncWord(word) => called("set_sync_word", self.reader.set_sync_word(word))?,
            Action::HardwareSync(on) => {
                called("set_hardware_sync", self.reader.set_hardware_sync(on))?;
            }
            Action::Abort => called("abort", self.reader.abort())?,
            Action::Reset => called("reset", self.reader.reset())?,
            Action::PollStatus => {
                let shown = match self.has.poll_status {
                    true => called("poll_status", self.reader.poll_status())?,
                    false => ShownStatus::default(),
                };
                seen.push(Item::Status(shown.set));
            }
            Action::PollByte => {
                let byte = called("poll_byte", self.reader.poll_byte())?;
                seen.push(Item::Byte { value: byte.value, fresh: byte.fresh });
            }
            _ => {}
        }
        Ok(())
    }

    /// Asks for the signals.
    fn signals(&mut self, seen: &mut Seen<'_>) -> Result<(), RigError> {
        if self.has.match_signal && called("match_signal", self.reader.match_signal())? {
            seen.push(Item::Match);
        }
        if self.has.done_signal && called("done_signal", self.reader.done_signal())? {
            seen.push(Item::Done);
        }
        Ok(())
    }

    fn check_word(&self, call: &str, word: u64) -> Result<(), RigError> {
        if word >> (self.word_bits - 1) >> 1 == 0 {
            return Ok(());
        }
        Err(protocol(format!(
            "`{call}` gave the word {word:x}, wider than the profile's {} bits",
            self.word_bits
        )))
    }
}

fn protocol(why: String) -> RigError {
    RigError::Protocol { why }
}
