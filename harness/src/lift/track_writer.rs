//! The lift of a [`TrackWriter`]: adds drives and media that keep what it writes, a host that
//! gives words, and a raw reader that reads them back.

use super::bench::LentBench;
use super::raw_reader::RawReader;
use super::requests::{Request, Requests};
use super::walk::{Part, Seen, Walk};
use super::{MakePart, called, is_there};
use std::collections::BTreeMap;
use trackproof_contract::{
    Action, Capabilities, Capability, DiskSubsystem, Event, Item, Observation, Profile, Rig,
    RigError, Setup, Start, StartBusy, Status, SubsystemRig, Track, TrackWriter, TransferRequest,
};

/// What the rest of a controller needs, none of which is the writer's.
const LENT: [Capability; 5] =
    [Capability::Read, Capability::Fifo, Capability::Drives, Capability::Sides, Capability::Step];

/// The methods of a [`TrackWriter`] with the capabilities that they open, the first four together.
pub const METHODS: &[(&str, &[Capability])] = &[
    ("write", &[Capability::Write, Capability::Media]),
    ("offer", &[Capability::Write, Capability::Media]),
    ("begin_cell", &[Capability::Write, Capability::Media]),
    ("is_busy", &[Capability::Write, Capability::Media]),
    ("index", &[Capability::IndexStart]),
    ("abort", &[Capability::Abort]),
    ("reset", &[Capability::Reset]),
    ("done_signal", &[Capability::DoneSignal]),
];

/// A rig of the writer that `make` makes: a new one each time that power comes on.
///
/// ```
/// use trackproof::lift::track_writer;
/// use trackproof_contract::{Capability, SeamError, TrackWriter, TransferRequest};
/// struct Idle;
/// impl TrackWriter for Idle {
///     fn write(&mut self, _: TransferRequest, _: bool) -> Result<(), SeamError> {
///         Ok(())
///     }
///     fn offer(&mut self, _: u32, _: u64) -> Result<bool, SeamError> {
///         Ok(false)
///     }
///     fn begin_cell(&mut self) -> Result<Option<bool>, SeamError> {
///         Ok(None)
///     }
///     fn is_busy(&mut self) -> Result<bool, SeamError> {
///         Ok(false)
///     }
/// }
/// let rig = track_writer::rig(std::sync::Arc::new(|| Idle));
/// assert!(rig.capabilities().has(Capability::Write) && rig.lent().has(Capability::Read));
/// ```
#[must_use]
pub fn rig<W: TrackWriter + 'static>(make: MakePart<W>) -> Box<dyn Rig> {
    Box::new(SubsystemRig::new(TrackWriterLift::new(make)))
}

/// A writer with drives, media, a host and a raw reader.
pub struct TrackWriterLift<W> {
    make: MakePart<W>,
    profile: Option<Profile>,
    capabilities: Capabilities,
    part: Writing<W>,
    bench: LentBench,
    walk: Walk,
}

/// Which methods a writer has, of those that are called whatever the case needs.
#[derive(Debug, Clone, Copy)]
struct Methods {
    all_required: bool,
    index: bool,
    abort: bool,
    done_signal: bool,
}

/// The writer and what shares its controller.
struct Writing<W> {
    writer: W,
    has: Methods,
    requests: Requests,
    reader: RawReader,
    start_busy: StartBusy,
    /// The words of each write that are not taken yet, the next one last.
    words: BTreeMap<u32, Vec<u64>>,
    gate_open: bool,
}

impl<W: TrackWriter> TrackWriterLift<W> {
    /// The lift of the writer that `make` makes. Every method is tried once, on a writer made for
    /// that alone.
    #[must_use]
    pub fn new(make: MakePart<W>) -> Self {
        let writer = make();
        let profile = writer.profile();
        let given = profile.clone().unwrap_or_else(Profile::sync_dma);
        let fresh = || {
            let mut writer = make();
            // That it fails is for a run to tell.
            let _ = writer.power_up(&given);
            writer
        };
        let request = TransferRequest { transfer: 0, words: 1, start: Start::Now };
        let has = Methods {
            all_required: is_there(fresh().write(request, false))
                && is_there(fresh().offer(0, 0))
                && is_there(fresh().begin_cell())
                && is_there(fresh().is_busy()),
            index: is_there(fresh().index()),
            abort: is_there(fresh().abort()),
            done_signal: is_there(fresh().done_signal()),
        };
        let mut capabilities = Capabilities::NONE;
        if has.all_required {
            capabilities = Capabilities::of(&LENT)
                .union(Capabilities::of(&[Capability::Write, Capability::Media]));
            for (there, one) in [
                (has.index, Capability::IndexStart),
                (has.abort, Capability::Abort),
                (is_there(fresh().reset()), Capability::Reset),
                (has.done_signal, Capability::DoneSignal),
            ] {
                if there {
                    capabilities = capabilities.with(one);
                }
            }
        }
        let part = Writing {
            writer,
            has,
            requests: Requests::default(),
            reader: RawReader::new(&given),
            start_busy: given.start_busy,
            words: BTreeMap::new(),
            gate_open: false,
        };
        let (bench, walk) = (LentBench::default(), Walk::default());
        Self { make, profile, capabilities, part, bench, walk }
    }
}

impl<W: TrackWriter> DiskSubsystem for TrackWriterLift<W> {
    fn capabilities(&self) -> Capabilities {
        self.capabilities
    }

    fn lent(&self) -> Capabilities {
        Capabilities::of(&LENT)
    }

    fn profile(&self) -> Option<Profile> {
        self.profile.clone()
    }

    fn power_up(&mut self, setup: Setup<'_>) -> Result<(), RigError> {
        self.bench.power_up(setup);
        self.walk.power_up(setup);
        let part = &mut self.part;
        part.writer = (self.make)();
        part.requests.power_up(setup.profile);
        part.reader = RawReader::new(setup.profile);
        part.start_busy = setup.profile.start_busy;
        part.words.clear();
        part.gate_open = false;
        called("power_up", part.writer.power_up(setup.profile))
    }

    fn run(&mut self, events: &[Event], out: &mut Observation) -> Result<(), RigError> {
        self.walk.run(&mut self.part, &mut self.bench, events, out)
    }

    fn give(&mut self, transfer: u32, words: &[u64]) -> Result<(), RigError> {
        self.part.words.insert(transfer, words.iter().rev().copied().collect());
        Ok(())
    }

    fn show(&mut self, track: &mut Track) -> Result<(), RigError> {
        self.bench.show(track);
        Ok(())
    }
}

impl<W: TrackWriter> Part for Writing<W> {
    fn begin_cell(&mut self, seen: &mut Seen<'_>, index: bool) -> Result<Option<bool>, RigError> {
        if index {
            self.reader.index();
            if self.has.index {
                called("index", self.writer.index())?;
                self.signals(seen)?;
            }
        }
        if !self.has.all_required {
            return Ok(None);
        }
        let laid = called("begin_cell", self.writer.begin_cell())?;
        self.gate_open = laid.is_some();
        self.signals(seen)?;
        Ok(laid)
    }

    fn end_cell(&mut self, seen: &mut Seen<'_>, bit: Option<bool>) -> Result<(), RigError> {
        self.accept(seen, Some(seen.at_ns - 1))?;
        // While the gate is open the reader sees nothing.
        let bit = if self.gate_open { Some(false) } else { bit };
        if let Some(bit) = bit {
            self.reader.shift_in(bit);
        }
        if self.has.all_required {
            called("end_cell", self.writer.end_cell())?;
        }
        self.signals(seen)
    }

    fn event(&mut self, seen: &mut Seen<'_>, event: &Event, _: bool) -> Result<(), RigError> {
        self.accept(seen, seen.accepts_by(event.action))?;
        match event.action {
            Action::Read { transfer, words, start } => {
                let request = Request::Read(TransferRequest { transfer, words, start });
                self.requests.push(seen.at_ns, request);
            }
            Action::Write { transfer, start } => {
                let words = self.words.get(&transfer).map_or(0, |words| words.len() as u32);
                let request = Request::Write(TransferRequest { transfer, words, start });
                self.requests.push(seen.at_ns, request);
            }
            Action::Service { transfer } => self.serve(seen, transfer)?,
            Action::Abort => {
                self.requests.clear();
                self.abort()?;
            }
            Action::Reset => {
                self.requests.clear();
                self.reader.reset();
                called("reset", self.writer.reset())?;
            }
            Action::PollStatus => seen.push(Item::Status(Status::default())),
            _ => {}
        }
        if matches!(event.action, Action::Read { .. } | Action::Write { .. }) {
            self.accept(seen, Some(seen.at_ns))?;
        }
        self.signals(seen)
    }
}

impl<W: TrackWriter> Writing<W> {
    /// Accepts what is due by that time.
    fn accept(&mut self, seen: &mut Seen<'_>, by_ns: Option<u64>) -> Result<(), RigError> {
        let Some(by_ns) = by_ns else { return Ok(()) };
        while let Some(request) = self.requests.accepted_by(by_ns) {
            if self.is_busy()? {
                match (self.start_busy, request) {
                    (StartBusy::Ignore, _) => continue,
                    (StartBusy::Error, Request::Read(one) | Request::Write(one)) => {
                        seen.push(Item::Refused { transfer: one.transfer });
                        continue;
                    }
                    (StartBusy::Replace, _) => self.abort()?,
                }
            }
            match request {
                Request::Read(request) => self.reader.accept(request),
                Request::Write(request) => {
                    called("write", self.writer.write(request, seen.write_protected))?;
                    // One of no words, or that is refused, is none that comes between.
                    if called("is_busy", self.writer.is_busy())? {
                        self.reader.forget_join();
                    }
                }
            }
        }
        Ok(())
    }

    fn is_busy(&mut self) -> Result<bool, RigError> {
        Ok(self.reader.host.is_busy()
            || (self.has.all_required && called("is_busy", self.writer.is_busy())?))
    }

    fn serve(&mut self, seen: &mut Seen<'_>, transfer: u32) -> Result<(), RigError> {
        if let Some(value) = self.reader.host.service(transfer) {
            seen.push(Item::Word { transfer, value });
        }
        let Some(words) = self.words.get_mut(&transfer) else { return Ok(()) };
        let Some(word) = words.last() else { return Ok(()) };
        if called("offer", self.writer.offer(transfer, *word))? {
            words.pop();
        }
        Ok(())
    }

    fn abort(&mut self) -> Result<(), RigError> {
        self.reader.abort();
        if self.has.abort {
            return called("abort", self.writer.abort());
        }
        match called("is_busy", self.writer.is_busy())? {
            true => Err(RigError::Protocol {
                why: "the profile says `start_busy = replace`, which needs `abort`".into(),
            }),
            false => Ok(()),
        }
    }

    fn signals(&mut self, seen: &mut Seen<'_>) -> Result<(), RigError> {
        if self.has.done_signal {
            let written = called("done_signal", self.writer.done_signal())?;
            if self.reader.host.take_done() || written {
                seen.push(Item::Done);
            }
        }
        Ok(())
    }
}
