//! The seams: what an implementer writes, and what trackproof runs.

use crate::{
    Action, Bench, Capabilities, Capability, Case, Event, Observation, ObservationError, Profile,
    Stop, Track, timeline, words_to_send,
};
use std::fmt;

/// Why a run gave no observation: the adapter's fault and no verdict on the controller, but for
/// [`Stopped`](Self::Stopped).
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum RigError {
    /// The implementation said no, in its own words.
    Implementation {
        /// What it was asked to do.
        call: &'static str,
        /// What it said.
        why: String,
    },
    /// What came back has not the form of an observation.
    Form(ObservationError),
    /// The adapter broke its protocol.
    Protocol {
        /// What it did, the value and the limit.
        why: String,
    },
    /// A worker says that a run cannot be trusted, in the words of one of the others.
    Worker {
        /// What it says.
        why: String,
    },
    /// The implementation stopped. This is a verdict: it did not answer. A rig that says so has
    /// been made anew, and can run the next case.
    Stopped(Stop),
}

impl fmt::Display for RigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Implementation { call, why } => {
                write!(f, "the implementation refused `{call}`: {why}")
            }
            Self::Form(error) => write!(f, "the observation is malformed: {error}"),
            Self::Protocol { why } => write!(f, "the adapter broke its protocol: {why}"),
            Self::Worker { why } => f.write_str(why),
            Self::Stopped(stop) => write!(f, "the implementation stopped: {stop}"),
        }
    }
}

impl std::error::Error for RigError {}

/// An implementation made ready to run whole cases. Generator, judge and minimiser know this alone.
pub trait Rig {
    /// What it can do. It never changes.
    fn capabilities(&self) -> Capabilities;

    /// Those of [`capabilities`](Self::capabilities) that are lent: needed to run whole cases, and
    /// ours and not the implementation's. A rule that needs one of them says nothing about the
    /// implementation, and neither does a case that needs no others. It never changes.
    fn lent(&self) -> Capabilities {
        Capabilities::NONE
    }

    /// The profile that the implementation declares, if it declares one.
    fn profile(&self) -> Option<Profile>;

    /// Runs one case from power-up to the program's end and fills `observation`.
    ///
    /// # Errors
    /// When the run cannot be trusted; a wrong observation is no error.
    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError>;

    /// What the implementation said on standard error before the last case stopped it, where it runs
    /// in a process of its own and that can be told: bounded text, for people.
    fn last_words(&mut self) -> Option<String> {
        None
    }

    /// Forgets everything, as if just made: used between cases that must not know of each other.
    ///
    /// # Errors
    /// When the implementation cannot be made anew.
    fn reset(&mut self) -> Result<(), RigError>;
}

/// What a disk subsystem is given when its power comes on.
#[derive(Debug, Clone, Copy)]
pub struct Setup<'a> {
    /// What the controller is to choose. An implementation with choices of its own declares them
    /// by [`DiskSubsystem::profile`] and need not look here.
    pub profile: &'a Profile,
    /// The drives.
    pub bench: &'a Bench,
    /// What is recorded.
    pub tracks: &'a [Track],
}

/// Controller and drives together, as in an emulator.
///
/// The implementation is told what happens when, and says what the host saw when. It owns its
/// idea of time between the events and must not look at a clock.
///
/// ```
/// use trackproof_contract::*;
/// /// A controller that can be polled and never does anything.
/// struct Dead;
/// impl DiskSubsystem for Dead {
///     fn capabilities(&self) -> Capabilities {
///         Capabilities::NONE
///     }
///     fn power_up(&mut self, _: Setup<'_>) -> Result<(), RigError> {
///         Ok(())
///     }
///     fn run(&mut self, events: &[Event], out: &mut Observation) -> Result<(), RigError> {
///         for event in events {
///             if event.action == Action::PollStatus {
///                 let item = Item::Status(Status::default());
///                 out.items.push(Observed { at_ns: event.at_ns, item });
///             }
///         }
///         Ok(())
///     }
/// }
/// ```
pub trait DiskSubsystem {
    /// What it can do. It never changes.
    fn capabilities(&self) -> Capabilities;

    /// Those of its capabilities that are not its own work but lent to it; see [`Rig::lent`]. A
    /// controller that somebody wrote whole has none.
    fn lent(&self) -> Capabilities {
        Capabilities::NONE
    }

    /// The profile that it has, if it is not one that can take any.
    fn profile(&self) -> Option<Profile> {
        None
    }

    /// Power comes on: everything as new, time 0, all lines inactive, the media in.
    ///
    /// # Errors
    /// When it cannot work with this setup.
    fn power_up(&mut self, setup: Setup<'_>) -> Result<(), RigError>;

    /// Lives through `events`, which continue where the last call ended, and appends what the
    /// host saw to `out`: the answer to each poll, a word at most at each service, signals when
    /// they happen.
    ///
    /// # Errors
    /// When it cannot go on.
    fn run(&mut self, events: &[Event], out: &mut Observation) -> Result<(), RigError>;

    /// Hands over the words of the write that is request number `transfer`, before the event of
    /// that request; whoever can write keeps them and fetches the next one at each service that
    /// the write can use. A word's low W bits count, the first channel bit is the highest.
    ///
    /// # Errors
    /// When it cannot write.
    fn give(&mut self, transfer: u32, words: &[u64]) -> Result<(), RigError> {
        let why = format!("cannot write ({} words of transfer {transfer})", words.len());
        Err(RigError::Implementation { call: "give", why })
    }

    /// Shows a track as it is now, after the run. `track` comes as it was at power-up; its bits
    /// are to be replaced, its place, form and length stay.
    ///
    /// # Errors
    /// When it cannot show its media.
    fn show(&mut self, track: &mut Track) -> Result<(), RigError> {
        let why = format!(
            "cannot show drive {} cylinder {} side {}",
            track.drive, track.cylinder, track.side
        );
        Err(RigError::Implementation { call: "show", why })
    }
}

/// Makes a rig of a disk subsystem: works out the timeline and checks the observation's form.
#[derive(Debug)]
pub struct SubsystemRig<S> {
    subsystem: S,
    events: Vec<Event>,
    words: Vec<u64>,
    media: Vec<Track>,
}

impl<S: DiskSubsystem> SubsystemRig<S> {
    /// The rig around `subsystem`.
    pub const fn new(subsystem: S) -> Self {
        Self { subsystem, events: Vec::new(), words: Vec::new(), media: Vec::new() }
    }
}

impl<S: DiskSubsystem> SubsystemRig<S> {
    /// Runs all events. A write may send what a read of the same run delivers, so the events are
    /// given up to each write, then its words, then the rest.
    fn live_through(&mut self, case: &Case, out: &mut Observation) -> Result<(), RigError> {
        let mut from = 0;
        for at in 0..self.events.len() {
            let Action::Write { transfer, .. } = self.events[at].action else { continue };
            if at > from {
                self.subsystem.run(&self.events[from..at], out)?;
            }
            from = at;
            let delivered = |of| out.delivered(of, out.items.len());
            words_to_send(case, transfer, delivered, &mut self.words);
            self.subsystem.give(transfer, &self.words)?;
        }
        self.subsystem.run(&self.events[from..], out)
    }
}

impl<S: DiskSubsystem> Rig for SubsystemRig<S> {
    fn capabilities(&self) -> Capabilities {
        self.subsystem.capabilities().with(Capability::Fifo)
    }

    fn lent(&self) -> Capabilities {
        self.subsystem.lent()
    }

    fn profile(&self) -> Option<Profile> {
        self.subsystem.profile()
    }

    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError> {
        self.media.append(&mut observation.media);
        observation.clear();
        timeline(case, &mut self.events);
        let setup = Setup { profile: &case.profile, bench: &case.bench, tracks: &case.tracks };
        self.subsystem.power_up(setup)?;
        self.live_through(case, observation)?;
        observation.check_form(&self.events).map_err(RigError::Form)?;
        if self.subsystem.capabilities().has(Capability::Media) {
            for track in &case.tracks {
                let mut shown = self.media.pop().unwrap_or_else(|| track.clone());
                shown.copy_from(track);
                self.subsystem.show(&mut shown)?;
                observation.media.push(shown);
            }
        }
        observation.check_media(&case.tracks).map_err(RigError::Form)
    }

    fn reset(&mut self) -> Result<(), RigError> {
        Ok(())
    }
}
