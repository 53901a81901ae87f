//! The place of a deviation: what is special about the moment and the bits where it shows.

use crate::verdict::Edit;
use trackproof_contract::{Action, Case, Event, Start};
use trackproof_model::reader::acceptor::Acceptor;
use trackproof_model::reader::rejection::{Mismatch, Rejection};
use trackproof_model::search::Pattern;

/// A set of circumstances.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Place(pub(super) u32);

macro_rules! places {
    ($($(#[$doc:meta])* $name:ident = $bit:literal, $text:literal;)+) => {
        impl Place {
            $($(#[$doc])* pub const $name: Self = Self(1 << $bit);)+
            /// Every circumstance with its name.
            pub const NAMES: &'static [(Self, &'static str)] = &[$((Self::$name, $text),)+];
        }
    };
}

places! {
    /// The transfer's first word.
    FIRST = 0, "first word";
    /// The transfer was to start on a match.
    MATCH_START = 1, "started on a match";
    /// Hardware sync is on.
    SYNC_ON = 2, "hardware sync on";
    /// A match realigned, or was to, in the last two words.
    AFTER_MATCH = 3, "after a match";
    /// Two matches, exactly a word apart, lie there.
    DOUBLE = 4, "back-to-back matches";
    /// Two matches, less than a word apart, lie there.
    OVERLAP = 5, "overlapping matches";
    /// The sync word passed while hardware sync was off.
    OFF_MATCH = 6, "sync word passed while off";
    /// The index lies in the last two words.
    WRAP = 7, "across the index";
    /// Service came late and a word was lost.
    OVERRUN = 8, "after an overrun";
    /// An abort came before, and no transfer was completed since.
    ABORT = 9, "after an abort";
    /// A reset came before, and before it something that it had to clear.
    RESET = 10, "after a reset";
    /// The register equals the sync word, but with bits of two sources in it.
    STRADDLE = 11, "bits of two sources equal the sync word";
    /// The sync word or hardware sync was changed after the request.
    CHANGE = 12, "after a change of the setting";
    /// The request came while another transfer waited or ran.
    BUSY = 13, "requested while busy";
    /// The request came right after another transfer's end.
    REARM = 14, "requested right after the last";
    /// The transfer still waits for its start.
    WAITING = 15, "still waiting";
    /// An earlier transfer had been completed.
    LATER = 16, "not the first transfer";
    /// The register's bits had come close to the sync word, but are none.
    NEAR_MATCH = 17, "almost a match";
    /// The transfer reads at the index.
    INDEX_START = 18, "started at the index";
    /// The transfer has been served all of its words.
    COMPLETED = 19, "all words were taken";
    /// A misaligned match has realigned the transfer before.
    REALIGNED = 20, "realigned before";
    /// The missing word comes later.
    LATE = 21, "comes later";
    /// The byte completed less than a byte's time before the poll.
    JUST_COMPLETE = 22, "just complete";
}

impl Place {
    /// Nothing special.
    pub const NONE: Self = Self(0);

    /// This set less another.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Whether all of `other` holds.
    #[must_use]
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// Both sets.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    fn add(&mut self, other: Self, holds: bool) {
        if holds {
            self.0 |= other.0;
        }
    }

    /// The names of what holds.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        Self::NAMES.iter().filter(move |(one, _)| self.has(*one)).map(|(_, name)| *name)
    }
}

/// Finds the circumstances of a rejection.
pub(super) fn find(
    acceptor: &Acceptor,
    case: &Case,
    events: &[Event],
    rejection: &Rejection,
    edit: Edit,
) -> Place {
    let mut place = Place::default();
    let tape = acceptor.tape();
    let state = &rejection.state;
    let word_bits = usize::from(case.profile.word_bits);
    let width = usize::from(case.profile.register_bits);
    let event = &events[rejection.event];
    let subject = match event.action {
        Action::Service { transfer } => Some(transfer),
        _ => state.transfer.map(|transfer| transfer.id),
    };
    let transfer = state.transfer.filter(|transfer| Some(transfer.id) == subject);

    // Where on the tape the word in question lies.
    let end = state.fifo.first().map_or(state.pos, |entry| entry.end);
    place.add(Place::FIRST, transfer.is_some_and(|transfer| transfer.taken == 0));
    place.add(Place::REALIGNED, transfer.is_some_and(|transfer| transfer.realigned));
    place.add(Place::OVERRUN, transfer.is_some_and(|transfer| transfer.overrun));
    place.add(Place::WAITING, transfer.is_some() && state.waiting());
    place.add(Place::SYNC_ON, state.setting.on);
    place.add(Place::WRAP, tape.wrapped_within(end, word_bits + width));

    let pattern = Pattern::of(&case.profile, state.setting.word);
    let mut last = None;
    let from = end.saturating_sub(2 * word_bits + 1).max(1);
    let mut at = from;
    while let Some((found, _)) = tape.next_match(pattern, at, end + word_bits.min(2)) {
        place.add(Place::AFTER_MATCH, state.setting.on);
        place.add(Place::OFF_MATCH, !state.setting.on);
        if let Some(last) = last {
            place.add(Place::DOUBLE, found - last == word_bits);
            // A stream that matches at every bit tells nothing of overlaps.
            place.add(Place::OVERLAP, found - last < word_bits && found - last > 1);
        }
        last = Some(found);
        at = found;
    }

    let near = from..=end;
    place.add(
        Place::STRADDLE,
        near.clone().any(|at| {
            pattern.equals(tape.window(at, width)) && tape.matches(pattern, at).is_none()
        }),
    );

    let newest = state.newest_byte(usize::from(case.profile.byte_bits()));
    place.add(
        Place::JUST_COMPLETE,
        newest.is_some_and(|byte| {
            state.pos > byte && state.pos - byte < usize::from(case.profile.byte_bits())
        }),
    );

    history(&mut place, events, rejection, subject);
    if !state.setting.on {
        // A comparator that is not off may have moved the boundaries long before.
        let matched = tape.next_match(pattern, 64, end).is_some();
        place.add(
            Place::OFF_MATCH,
            matched
                && matches!(edit, Edit::Slipped(_) | Edit::Foreign | Edit::Missing | Edit::Extra),
        );
    }
    if place.has(Place::WAITING) || place.has(Place::FIRST) {
        let close = near.clone().any(|at| {
            let wrong = (tape.window(at, width) ^ pattern.word) & pattern.mask;
            wrong != 0 && wrong.count_ones() <= 1
        });
        place.add(Place::NEAR_MATCH, close);
    }
    place
}

/// What the program did before.
fn history(place: &mut Place, events: &[Event], rejection: &Rejection, subject: Option<u32>) {
    let before = &events[..=rejection.event];
    let request = before.iter().rposition(
        |event| matches!(event.action, Action::Read { transfer, .. } if Some(transfer) == subject),
    );
    if let Some(request) = request
        && let Action::Read { start, .. } = events[request].action
    {
        place.add(Place::MATCH_START, start == Start::Match);
        place.add(Place::INDEX_START, start == Start::Index);
        place.add(Place::LATER, matches!(subject, Some(1..)));
    }
    place.add(
        Place::CHANGE,
        request.is_some_and(|request| {
            before[request..]
                .iter()
                .any(|event| matches!(event.action, Action::SyncWord(_) | Action::HardwareSync(_)))
        }),
    );
    let leaves_something = |action: &Action| {
        matches!(action, Action::SyncWord(_) | Action::HardwareSync(true) | Action::Read { .. })
    };
    let last = |wanted: fn(&Action) -> bool| before.iter().rposition(|event| wanted(&event.action));
    let abort = last(|action| matches!(action, Action::Abort));
    let reset = last(|action| matches!(action, Action::Reset))
        .filter(|reset| before[..*reset].iter().any(|event| leaves_something(&event.action)));
    let ended_by = |index: Option<usize>| match (index, request) {
        (Some(index), Some(request)) => index > request,
        (Some(_), None) => true,
        _ => false,
    };
    let running = rejection.state.transfer.is_some_and(|transfer| Some(transfer.id) == subject);
    if rejection.mismatch == Mismatch::WordAfterEnd || !running {
        place.add(Place::ABORT, ended_by(abort));
        place.add(Place::RESET, ended_by(reset));
    } else {
        let previous = |index: Option<usize>| {
            index.is_some_and(|index| {
                request.is_some_and(|request| {
                    index < request
                        && !before[index + 1..request]
                            .iter()
                            .any(|event| matches!(event.action, Action::Read { .. }))
                })
            })
        };
        place.add(Place::ABORT, previous(abort));
        place.add(Place::RESET, previous(reset));
    }
    place.add(
        Place::COMPLETED,
        rejection.mismatch == Mismatch::WordAfterEnd
            && !place.has(Place::ABORT)
            && !place.has(Place::RESET),
    );
}
