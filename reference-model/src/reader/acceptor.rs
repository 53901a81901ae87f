//! The acceptor: walks a case's events and its observation together and keeps the set of states
//! that both allow. Where the set becomes empty, the observation deviates.

use super::ask::Asked;
use super::merge::Merger;
use super::rejection::Rejection;
use super::state::{Context, Request, State};
use super::supposition::Supposition;
use super::walk::{Stop, Walk};
use super::worlds::{Laid, Worlds};
use super::writing::Written;
use crate::drive::Drives;
use crate::reach::Reach;
use crate::recorded::Recorded;
use crate::tape::Tape;
use trackproof_contract::{Action, Capabilities, Capability, Case, Event, Observation, Status};

/// What one case told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tally {
    /// Words judged.
    pub words: u64,
    /// Those judged in a unique state: every state that was left expected the same word.
    pub unique_words: u64,
    /// For each slack in channel bits, how many transfers must have had it; the last counts all
    /// from there on.
    pub slack: [u32; 64],
    /// What the case reached.
    pub reach: Reach,
}

impl Default for Tally {
    fn default() -> Self {
        Self { words: 0, unique_words: 0, slack: [0; 64], reach: Reach::default() }
    }
}

/// What the model says of an observation.
#[derive(Debug, Clone)]
pub enum Acceptance {
    /// Some state allows all of it.
    Accepted,
    /// No state allows it.
    Rejected(Box<Rejection>),
    /// The set of states passed its bound.
    TooManyStates,
    /// The text leaves open what happens in this case, for this reason.
    Open(&'static str),
}

/// A case, its timeline, what came back, and what the implementation can do.
pub(super) type Given<'a> = (&'a Case, &'a [Event], &'a Observation, Capabilities);

/// The acceptor; keep one and use it for every case, so that its memory is reused.
#[derive(Debug, Default)]
pub struct Acceptor {
    pub(super) worlds: Worlds,
    pub(super) requests: Vec<Request>,
    pub(super) sent: Vec<(u32, Vec<u64>)>,
    pub(super) others: Vec<State>,
    states: Vec<State>,
    next: Vec<State>,
    merger: Merger,
    supposition: Supposition,
}

impl Acceptor {
    /// A new acceptor.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Supposes a departure in all that is judged from now on.
    pub const fn suppose(&mut self, supposition: Supposition) {
        self.supposition = supposition;
    }

    /// What is supposed.
    #[must_use]
    pub const fn supposition(&self) -> Supposition {
        self.supposition
    }

    /// The tape of the case judged last: where it was rejected, the closest state's.
    #[must_use]
    pub fn tape(&self) -> &Tape {
        &self.worlds
    }

    /// The tape as it would be if nothing had been written.
    #[must_use]
    pub fn unwritten_tape(&self) -> &Tape {
        &self.worlds.world(0).tape
    }

    /// The tracks of the case judged last as the model has them after the run, in the world of the
    /// closest state; none where the case writes nothing and all tracks are plain channel bits.
    #[must_use]
    pub fn tracks(&self) -> &[Recorded] {
        &self.worlds.world(self.worlds.current()).tracks
    }

    /// The writes that made those tracks and what they laid, the first one first.
    #[must_use]
    pub fn writes(&self) -> Vec<(&Written, &Laid)> {
        let mut writes = Vec::new();
        let mut world = self.worlds.world(self.worlds.current());
        while let Some((from, written)) = &world.from {
            writes.push((written, &world.laid));
            world = self.worlds.world(*from);
        }
        writes.reverse();
        writes
    }

    /// Judges an observation of a case.
    ///
    /// `events` is the case's timeline, the observation has passed
    /// [`Observation::check_form`]; status bits and signals that are not among `capabilities` are
    /// not compared.
    pub fn accept(
        &mut self,
        case: &Case,
        events: &[Event],
        observation: &Observation,
        capabilities: Capabilities,
        tally: &mut Tally,
    ) -> Acceptance {
        let mut none = Asked::default();
        let given = (case, events, observation, capabilities);
        let (first, gave_up) = self.walk(given, tally, false, &mut none);
        // One of the ways that were given up may be the right one.
        if gave_up && matches!(first, Acceptance::Rejected(_)) {
            return self.walk(given, tally, true, &mut none).0;
        }
        first
    }

    /// One walk through a case: what came of it, and whether doubtful ways were given up. `asked` is
    /// to be noted on the way.
    pub(super) fn walk(
        &mut self,
        (case, events, observation, capabilities): Given<'_>,
        tally: &mut Tally,
        all_ways: bool,
        asked: &mut Asked,
    ) -> (Acceptance, bool) {
        *tally = Tally::default();
        self.worlds.lay(case, events, &observation.media);
        if let Supposition::Blind(blind) = self.supposition {
            self.worlds.suppose_blind(blind);
        }
        self.list_requests(case, events);
        self.sent.clear();
        self.others.clear();
        self.states.clear();
        self.states.push(State::power_up(&case.profile));
        let mut walk = Walk {
            ctx: Context::new(
                &mut self.worlds,
                case,
                events,
                &self.requests,
                &mut self.sent,
                &mut self.others,
                &mut tally.reach,
            ),
            states: &mut self.states,
            next: &mut self.next,
            merger: &mut self.merger,
            items: observation,
            item: 0,
            signals_at: 0,
            compared: compared_bits(capabilities),
            capabilities,
            polls: 0,
            words: 0,
            unique_words: 0,
            slack: [0; 64],
            case,
            drives: Drives::new(&case.bench),
            media_alone: self.supposition == Supposition::MediaAlone,
            all_ways,
            gave_up: false,
            work: 0,
        };
        walk.ctx.media = &observation.media;
        walk.ctx.supposed = self.supposition;
        walk.ctx.asked = std::mem::take(asked);
        let result = walk.all();
        *asked = std::mem::take(&mut walk.ctx.asked);
        let gave_up = walk.gave_up;
        let (words, unique, slack) = (walk.words, walk.unique_words, walk.slack);
        tally.words = words;
        tally.unique_words = unique;
        tally.slack = slack;
        let acceptance = match result {
            Ok(()) | Err(Stop::Asked) => Acceptance::Accepted,
            Err(Stop::Rejected(rejection)) => Acceptance::Rejected(rejection),
            Err(Stop::TooMany) => Acceptance::TooManyStates,
            Err(Stop::Open(why)) => Acceptance::Open(why),
        };
        (acceptance, gave_up)
    }

    /// Lists the program's requests with the spans in which they are accepted (1.5).
    fn list_requests(&mut self, case: &Case, events: &[Event]) {
        let bit_ns = u64::from(case.profile.channel_bit_ns);
        self.requests.clear();
        for (index, event) in events.iter().enumerate() {
            let (transfer, words, start, writes) = match event.action {
                Action::Read { transfer, words, start } => (transfer, words, start, false),
                // How many words it sends is known once it is made.
                Action::Write { transfer, start } => (transfer, 0, start, true),
                _ => continue,
            };
            // A controller that counts bits may have counted the one under way.
            let here = self.worlds.position(event.at_ns);
            let counted = self.worlds.end_ns(here + usize::from(case.profile.slack_min));
            let from_ns = event.at_ns + u64::from(case.profile.slack_min) * bit_ns;
            let from_ns = from_ns.min(counted.max(event.at_ns));
            let to_ns = event.at_ns + u64::from(case.profile.slack_max) * bit_ns;
            self.requests.push(Request {
                event: index,
                transfer,
                words,
                start,
                writes,
                from_ns,
                to_ns,
                here,
                first: self.worlds.position(from_ns),
                last: self.worlds.position(to_ns),
            });
        }
    }
}

/// The status bits that an implementation drives.
#[must_use]
pub fn compared_bits(capabilities: Capabilities) -> Status {
    [
        (Capability::StatusDone, Status::DONE),
        (Capability::StatusBusy, Status::BUSY),
        (Capability::StatusError, Status::ERROR),
        (Capability::StatusMatch, Status::MATCH),
        (Capability::StatusIndex, Status::INDEX),
        (Capability::StatusTrackZero, Status::TRACK_ZERO),
        (Capability::StatusProtect, Status::PROTECT),
        (Capability::StatusReady, Status::READY),
        (Capability::StatusChange, Status::CHANGE),
    ]
    .into_iter()
    .fold(Status::default(), |bits, (capability, bit)| bits.with(bit, capabilities.has(capability)))
}
