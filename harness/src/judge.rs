//! The judge: holds an observation against the model and names the rule that it breaks.

mod attribution;
mod departure;
mod edit;
mod flux;
mod hypothesis;
mod place;
mod written;

pub use attribution::{ROWS, Row, Topic};
pub use hypothesis::Hypothesis;
pub(crate) use hypothesis::exchanged;
pub use place::Place;

use crate::rules::Rule;
use crate::verdict::{Deviation, Edit, Inconclusive, Verdict};
use trackproof_contract::{
    Action, Capabilities, Case, Event, Item, Observation, Operation, Status, WriteSource, timeline,
};
use trackproof_model::reader::acceptor::{Acceptance, Acceptor, Tally};
use trackproof_model::reader::rejection::{Mismatch, Rejection};
use trackproof_model::reader::supposition::Supposition;
use trackproof_model::search::Pattern;

/// Words of both sides that a deviation carries.
const WORDS_SHOWN: usize = 8;

/// The judge. Keep one: its memory is reused.
#[derive(Debug, Default)]
pub struct Judge {
    flux: flux::FluxJudge,
    acceptor: Acceptor,
    events: Vec<Event>,
    tally: Tally,
}

impl Judge {
    /// A new judge.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// What the last case told beside its verdict.
    #[must_use]
    pub const fn tally(&self) -> &Tally {
        &self.tally
    }

    /// Channel bits of the last case's flux that had to come out as they were written.
    #[must_use]
    pub fn flux_bits(&self) -> u64 {
        self.flux.judged_bits()
    }

    /// The timeline of the last case.
    #[must_use]
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    /// The acceptor, with the tape of the last case.
    #[must_use]
    pub const fn acceptor(&self) -> &Acceptor {
        &self.acceptor
    }

    /// Judges as if the controller departed from the text in one way.
    pub const fn suppose(&mut self, supposition: Supposition) {
        self.acceptor.suppose(supposition);
    }

    /// Judges an observation that has the right form.
    pub fn judge(
        &mut self,
        case: &Case,
        observation: &Observation,
        capabilities: Capabilities,
    ) -> Verdict {
        if let Some(missing) = capabilities.missing(case.needs()).iter().next() {
            self.tally = Tally::default();
            return Verdict::Skipped(missing);
        }
        timeline(case, &mut self.events);
        if let Some(flux) = &case.flux {
            self.tally = Tally::default();
            return self.flux.judge(case, flux, &observation.separated, &mut self.tally.reach);
        }
        let acceptance =
            self.acceptor.accept(case, &self.events, observation, capabilities, &mut self.tally);
        match acceptance {
            Acceptance::Accepted => Verdict::Conforms,
            Acceptance::TooManyStates => Verdict::Inconclusive(Inconclusive::TooManyStates),
            Acceptance::Open(why) => Verdict::Inconclusive(Inconclusive::Open(why)),
            Acceptance::Rejected(rejection) => {
                let rejection = self.medium_first(case, observation, capabilities, rejection);
                Verdict::Deviates(Box::new(self.explain(case, observation, *rejection)))
            }
        }
    }

    /// A medium that was written wrongly shows in what is read of it, but the write is what is
    /// wrong: where the host saw something wrong once a word was written, the media are looked at
    /// alone. So they are where they are wrong in the way that signals left: another may come closer.
    fn medium_first(
        &mut self,
        case: &Case,
        observation: &Observation,
        capabilities: Capabilities,
        rejection: Box<Rejection>,
    ) -> Box<Rejection> {
        // A write lays nothing before its first word is fetched.
        let lays = |operation: Option<&Operation>| match operation {
            Some(Operation::Write { source: WriteSource::Words(words), .. }) => !words.is_empty(),
            Some(Operation::Write { source: WriteSource::Copy { count, .. }, .. }) => *count > 0,
            _ => false,
        };
        let written = matches!(rejection.mismatch, Mismatch::Media(_))
            || self.events[..=rejection.event].iter().any(|event| {
                matches!(event.action, Action::Service { .. })
                    && lays(case.program.get(event.operation as usize))
            });
        if !written
            || observation.media.is_empty()
            || self.acceptor.supposition() != Supposition::None
        {
            return rejection;
        }
        let mut tally = Tally::default();
        let mut again = |acceptor: &mut Acceptor, supposition| {
            acceptor.suppose(supposition);
            let acceptance =
                acceptor.accept(case, &self.events, observation, capabilities, &mut tally);
            acceptor.suppose(Supposition::None);
            acceptance
        };
        if let Acceptance::Rejected(medium) = again(&mut self.acceptor, Supposition::MediaAlone) {
            return medium;
        }
        // The tape and the media are to be those of the rejection again.
        let _ = again(&mut self.acceptor, Supposition::None);
        rejection
    }

    fn explain(
        &mut self,
        case: &Case,
        observation: &Observation,
        rejection: Rejection,
    ) -> Deviation {
        let event = self.events[rejection.event];
        let transfer = match event.action {
            Action::Service { transfer } => Some(transfer),
            _ => rejection.state.transfer.map(|transfer| transfer.id),
        };
        let concerns_words = matches!(
            rejection.mismatch,
            Mismatch::WordValue
                | Mismatch::WordMissing
                | Mismatch::WordExtra
                | Mismatch::WordAfterEnd
        );
        let (mut expected, mut got) = (Vec::new(), Vec::new());
        if let (Some(transfer), true) = (transfer, concerns_words) {
            expected = self.acceptor.predict(case, &self.events, &rejection, transfer, WORDS_SHOWN);
            got = words_of(observation, transfer, rejection.item).take(WORDS_SHOWN).collect();
        }
        let before = transfer
            .and_then(|transfer| words_before(observation, transfer, rejection.item).last());
        let edit = edit::find(self.acceptor.tape(), case, &rejection, &expected, &got, before);
        let place = place::find(&self.acceptor, case, &self.events, &rejection, edit);
        let (mut rule, mut kind, mut nowhere_special) = attribution::name(&rejection, place, edit);
        let by_content = match (rejection.mismatch, expected.first(), got.first()) {
            (Mismatch::Media(difference), ..) => {
                Some(written::name(&self.acceptor, case, observation, difference))
            }
            (Mismatch::WordValue, Some(due), Some(&got)) => {
                let wrong = (due.value ^ got) & !due.free;
                let pad = usize::from(case.profile.word_bits) - due.bits;
                let setting = rejection.state.setting;
                let word = written::WrongWord {
                    end: due.end,
                    bits: due.bits,
                    wrong: wrong >> pad,
                    got: got >> pad,
                    edit,
                    unused_sync: (!setting.on).then(|| Pattern::of(&case.profile, setting.word)),
                };
                word.name(&self.acceptor)
            }
            _ => None,
        };
        if let Some((id, of)) = by_content {
            rule = Rule::find(id).expect("a rule of the catalogue");
            (kind, nowhere_special) = (of, false);
        }
        let by_content = by_content.is_some();
        let medium = match rejection.mismatch {
            Mismatch::Media(difference) => written::sides(&self.acceptor, observation, difference),
            _ => None,
        };
        Deviation {
            rule,
            kind,
            nowhere_special,
            by_content,
            place,
            rejection,
            transfer,
            edit,
            expected,
            got,
            medium,
        }
    }
}

impl Deviation {
    /// Whether it concerns bits, so that the index among them may matter. A read that starts
    /// without a match may count turns, which is another matter.
    #[must_use]
    pub fn may_need_index(&self) -> bool {
        let of_bits = match self.rejection.mismatch {
            Mismatch::WordValue | Mismatch::WordMissing | Mismatch::WordExtra => true,
            Mismatch::ByteValue | Mismatch::ByteFlagSet | Mismatch::ByteFlagClear => true,
            Mismatch::StatusBits { bits } => bits.status().has(Status::MATCH),
            _ => false,
        };
        of_bits && !self.place.has(Place::WAITING)
    }

    /// Whether a first word is missing that may come yet.
    #[must_use]
    pub fn may_be_late(&self) -> bool {
        self.rejection.mismatch == Mismatch::WordMissing && self.place.has(Place::FIRST)
    }

    /// Names the deviation anew, as if its place were this.
    ///
    /// A deviation that is named by its content keeps that name.
    pub fn rename(&mut self, place: Place) {
        if self.by_content {
            return;
        }
        (self.rule, self.kind, self.nowhere_special) =
            attribution::name(&self.rejection, place, self.edit);
    }

    /// Whether what is wrong is the sequence of words.
    #[must_use]
    pub fn concerns_words(&self) -> bool {
        self.edit != Edit::None
    }
}

fn words_of(observation: &Observation, of: u32, from: usize) -> impl Iterator<Item = u64> + '_ {
    observation.items.iter().skip(from).filter_map(move |seen| match seen.item {
        Item::Word { transfer, value } if transfer == of => Some(value),
        _ => None,
    })
}

fn words_before(observation: &Observation, of: u32, to: usize) -> impl Iterator<Item = u64> + '_ {
    observation.items.iter().take(to).filter_map(move |seen| match seen.item {
        Item::Word { transfer, value } if transfer == of => Some(value),
        _ => None,
    })
}
