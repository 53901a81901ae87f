//! Asking: what an observation may hold next, which signals are due when, and what the media may be
//! after the run.
//!
//! The acceptor only says yes or no. Here it is walked through a case with a question: at one event
//! each state notes every answer that it would have allowed, whatever the answer was that it was
//! given. No verdict rests on it; who lists what is allowed holds the list against the acceptor.

use super::acceptor::{Acceptance, Acceptor, Tally};
use super::state::{Context, Due, Signal, State};
use crate::reach::Reach;
use trackproof_contract::{
    Action, Capabilities, Case, ChannelBits, Event, Item, Observation, Observed, Status,
};

/// What may answer an event. Free bits are not compared, and are 0 in the value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Answer {
    /// A service takes no word.
    Nothing,
    /// A service takes this word.
    Word {
        /// The word.
        value: u64,
        /// Its free bits.
        free: u64,
    },
    /// The byte port shows this.
    Byte {
        /// The byte.
        value: u8,
        /// Its free bits.
        free: u8,
        /// Whether it is new.
        fresh: bool,
    },
    /// The status is this.
    Status {
        /// Its bits.
        value: u16,
        /// Its free bits, those that are not driven among them.
        free: u16,
    },
}

/// A signal that may come, in a span of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct DueSignal {
    /// Which.
    pub item: SignalItem,
    /// The first moment, in nanoseconds.
    pub from_ns: u64,
    /// The last moment, in nanoseconds; past the program's end where nothing bounds it.
    pub to_ns: u64,
    /// How many of the same signals may come in spans that overlap this one, itself among them, as
    /// far as one state owes them at once.
    pub together: usize,
}

/// A signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SignalItem {
    /// Completion.
    Done,
    /// The refusal of a transfer.
    Refused(u32),
    /// A match.
    Match,
}

/// How a track may stand after a run: what it stores, and its bits that are free, if any.
pub type Stand = (ChannelBits, Option<ChannelBits>);

/// A walk could not be finished, or the text leaves open what happens: nothing can be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Untold;

/// What is asked for in a walk, and what was heard.
#[derive(Debug, Default)]
pub(super) struct Asked {
    /// The walk ends behind this event, whose answers are noted.
    pub(super) event: Option<usize>,
    /// Whether signals that fall due are noted.
    pub(super) signals: bool,
    /// Whether the worlds at the end are noted, and no media are compared.
    pub(super) media: bool,
    answers: Vec<Answer>,
    dues: Vec<DueSignal>,
    pub(super) ends: Vec<usize>,
}

impl Asked {
    /// Notes the signals that a state owes.
    pub(super) fn hear_dues(&mut self, state: &State) {
        for due in state.dues.iter() {
            let item = match due.signal {
                Signal::Done => SignalItem::Done,
                Signal::Refused(transfer) => SignalItem::Refused(transfer),
                Signal::Match => SignalItem::Match,
            };
            let overlaps = |other: &&Due| {
                other.signal == due.signal
                    && other.from_ns <= due.to_ns
                    && due.from_ns <= other.to_ns
            };
            let together = state.dues.iter().filter(overlaps).count();
            let due = DueSignal { item, from_ns: due.from_ns, to_ns: due.to_ns, together };
            if !self.dues.contains(&due) {
                self.dues.push(due);
            }
        }
    }
}

impl Context<'_> {
    /// Notes an answer that a state allows, if it is asked for.
    pub(super) fn hear(&mut self, answer: impl FnOnce() -> Answer) {
        if self.asked.event == Some(self.event) {
            let answer = answer();
            if !self.asked.answers.contains(&answer) {
                self.asked.answers.push(answer);
            }
        }
    }
}

impl Acceptor {
    /// What may answer event number `at`: services of reads and polls have answers. `before` holds
    /// the answers of earlier events and is left as it was; it has no signals, and `capabilities`
    /// should have none.
    ///
    /// # Errors
    /// Where the acceptor would be inconclusive up to there.
    pub fn ask(
        &mut self,
        case: &Case,
        events: &[Event],
        before: &mut Observation,
        at: usize,
        capabilities: Capabilities,
    ) -> Result<Vec<Answer>, Untold> {
        let at_ns = events[at].at_ns;
        let (any, may_be_none) = match events[at].action {
            Action::Service { transfer } => (Item::Word { transfer, value: 0 }, true),
            Action::PollByte => (Item::Byte { value: 0, fresh: false }, false),
            Action::PollStatus => (Item::Status(Status::default()), false),
            _ => return Ok(Vec::new()),
        };
        let mut answers = Vec::new();
        let mut asked = Asked { event: Some(at), ..Asked::default() };
        if may_be_none {
            if self.put(case, events, before, capabilities, &mut asked)? {
                answers.push(Answer::Nothing);
            }
            asked.answers.clear();
        }
        asked.event = Some(at);
        before.items.push(Observed { at_ns, item: any });
        let told = self.put(case, events, before, capabilities, &mut asked);
        before.items.pop();
        told?;
        answers.append(&mut asked.answers);
        answers.sort_unstable();
        Ok(answers)
    }

    /// The signals that fall due in a case whose other items are those of `observation`; more may be
    /// told than can come. `capabilities` should have no signals.
    ///
    /// # Errors
    /// Where the acceptor would be inconclusive.
    pub fn ask_signals(
        &mut self,
        case: &Case,
        events: &[Event],
        observation: &Observation,
        capabilities: Capabilities,
    ) -> Result<Vec<DueSignal>, Untold> {
        let mut asked = Asked { signals: true, ..Asked::default() };
        self.put(case, events, observation, capabilities, &mut asked)?;
        asked.dues.sort_unstable();
        Ok(asked.dues)
    }

    /// How the case's tracks may stand after a run in which the host saw `observation`, in every way
    /// that there is; in each the tracks in the case's order. No way if it is not allowed.
    ///
    /// # Errors
    /// Where the acceptor would be inconclusive.
    pub fn ask_media(
        &mut self,
        case: &Case,
        events: &[Event],
        observation: &Observation,
        capabilities: Capabilities,
    ) -> Result<Vec<Vec<Stand>>, Untold> {
        let mut asked = Asked { media: true, ..Asked::default() };
        self.put(case, events, observation, capabilities, &mut asked)?;
        let mut ways: Vec<Vec<Stand>> = Vec::new();
        for world in asked.ends {
            let tracks = &self.worlds.world(world).tracks;
            let way: Vec<Stand> = if tracks.is_empty() {
                // Plain tracks that are only read stay as they are.
                case.tracks.iter().map(|track| (track.medium.track().clone(), None)).collect()
            } else {
                tracks.iter().map(|track| track.stand()).collect()
            };
            if !ways.contains(&way) {
                ways.push(way);
            }
        }
        Ok(ways)
    }

    /// What a case reaches when the host sees `observation`.
    ///
    /// # Errors
    /// Where the acceptor is inconclusive.
    pub fn ask_reach(
        &mut self,
        case: &Case,
        events: &[Event],
        observation: &Observation,
        capabilities: Capabilities,
    ) -> Result<Reach, Untold> {
        let mut tally = Tally::default();
        match self.accept(case, events, observation, capabilities, &mut tally) {
            Acceptance::Accepted | Acceptance::Rejected(_) => Ok(tally.reach),
            Acceptance::TooManyStates | Acceptance::Open(_) => Err(Untold),
        }
    }

    /// One walk with a question: whether some state allows all of it.
    fn put(
        &mut self,
        case: &Case,
        events: &[Event],
        observation: &Observation,
        capabilities: Capabilities,
        asked: &mut Asked,
    ) -> Result<bool, Untold> {
        let mut tally = Tally::default();
        let given = (case, events, observation, capabilities);
        // Nothing is given up where no media are to be seen.
        match self.walk(given, &mut tally, false, asked).0 {
            Acceptance::Accepted => Ok(true),
            Acceptance::Rejected(_) => Ok(false),
            Acceptance::TooManyStates | Acceptance::Open(_) => Err(Untold),
        }
    }
}
