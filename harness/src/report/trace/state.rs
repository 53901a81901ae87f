//! The reader's state at each step of a trace, as the model has it.
//!
//! The model is asked by its own means: a word of a read that nobody asked for is put behind what
//! came up to there. No state allows it, and the rejection carries the closest state.

use super::{answers, is_signal};
use crate::report::phrase::hex;
use crate::report::showing::writing;
use trackproof_contract::{
    Action, Capabilities, Case, Event, Item, MAX_OPERATIONS, Observation, Observed,
};
use trackproof_model::reader::acceptor::{Acceptance, Acceptor, Tally};
use trackproof_model::reader::rejection::Mismatch;
use trackproof_model::reader::state::{Phase, State};

/// States are told for so many events before the difference: each takes a run of the model.
const TOLD: usize = 512;

/// A read that no program asks for.
const NOBODY: u32 = u32::MAX;

const _: () = assert!(MAX_OPERATIONS < NOBODY as usize);

pub(super) struct States<'a> {
    case: &'a Case,
    events: &'a [Event],
    observation: &'a Observation,
    capabilities: Capabilities,
    acceptor: Acceptor,
}

impl<'a> States<'a> {
    pub(super) fn new(
        case: &'a Case,
        events: &'a [Event],
        observation: &'a Observation,
        capabilities: Capabilities,
    ) -> Self {
        Self { case, events, observation, capabilities, acceptor: Acceptor::new() }
    }

    /// The first event whose state is told, where the one at `last` is the last.
    pub(super) const fn first_told(&self, last: usize) -> usize {
        last.saturating_sub(TOLD)
    }

    /// The state before an event in words; empty where none is told.
    pub(super) fn before(&mut self, event: usize, last: usize) -> String {
        if event < self.first_told(last) || event > last {
            return String::new();
        }
        self.ask(event).map_or_else(String::new, |state| self.text(&state))
    }

    fn ask(&mut self, event: usize) -> Option<State> {
        let at_ns = self.events.get(event)?.at_ns;
        let asking = Event { at_ns, action: Action::Service { transfer: NOBODY }, operation: 0 };
        let mut events = self.events.to_vec();
        events.insert(event, asking);
        let mut items = self.items_before(event, at_ns);
        let place = items.len();
        items.push(Observed { at_ns, item: Item::Word { transfer: NOBODY, value: 0 } });
        let observation = Observation { items, ..Observation::new() };
        let mut tally = Tally::default();
        let answer =
            self.acceptor.accept(self.case, &events, &observation, self.capabilities, &mut tally);
        match answer {
            Acceptance::Rejected(rejection)
                if rejection.item == place && rejection.mismatch == Mismatch::WordAfterEnd =>
            {
                Some(rejection.state)
            }
            _ => None,
        }
    }

    /// What came before an event: the answers to the events before it, signals before its moment.
    fn items_before(&self, event: usize, at_ns: u64) -> Vec<Observed> {
        let mut events = self.events[..event].iter();
        let answered = |seen: &Observed| {
            is_signal(seen.item)
                || events.any(|event| event.at_ns == seen.at_ns && answers(event.action, seen.item))
        };
        let mut items: Vec<Observed> =
            self.observation.items.iter().copied().take_while(answered).collect();
        items.retain(|seen| !is_signal(seen.item) || seen.at_ns < at_ns);
        items
    }

    fn text(&self, state: &State) -> String {
        let profile = &self.case.profile;
        let phase = state.phase(usize::from(profile.word_bits));
        let sync = if state.setting.on {
            format!("on {}", hex(state.setting.word, profile.register_bits))
        } else {
            "off".into()
        };
        let transfer = match (state.transfer, &state.writing) {
            (Some(read), _) => {
                let does = match read.phase {
                    Phase::WaitMatch => "waits for a match",
                    Phase::WaitIndex(_) => "waits for the index",
                    Phase::Running => "runs",
                };
                format!("{} {does} {}/{}", read.id + 1, read.taken, read.words)
            }
            (None, Some(write)) => {
                let does = writing(write.phase);
                format!("{} {does} {}/{}", write.id + 1, write.fetched, write.words)
            }
            (None, None) => "none".into(),
        };
        format!("{phase:>2}, {sync}, {transfer}")
    }
}
