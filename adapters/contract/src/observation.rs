//! What came back: every item that the host saw, in the order of time.

use crate::{Action, Case, ChannelBits, Event, Flux, MAX_EXTRA_ITEMS, Track};
use std::fmt;

/// The bits of a status read; each is a capability of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Status(u16);

impl Status {
    /// A transfer has completed since the last accepted request, reset or abort.
    pub const DONE: Self = Self(1);
    /// A transfer waits or runs.
    pub const BUSY: Self = Self(1 << 1);
    /// A word was lost; how long it shows is the profile's `error_flag`.
    pub const ERROR: Self = Self(1 << 2);
    /// The match flag, as the profile's `flag` says.
    pub const MATCH: Self = Self(1 << 3);
    /// The index line of the selected drive.
    pub const INDEX: Self = Self(1 << 4);
    /// The track 00 line of the selected drive.
    pub const TRACK_ZERO: Self = Self(1 << 5);
    /// The write protect line of the selected drive.
    pub const PROTECT: Self = Self(1 << 6);
    /// The ready line of the selected drive.
    pub const READY: Self = Self(1 << 7);
    /// The disk change line of the selected drive.
    pub const CHANGE: Self = Self(1 << 8);

    /// Every bit with its name, lowest first.
    pub const NAMES: [(Self, &'static str); 9] = [
        (Self::DONE, "done"),
        (Self::BUSY, "busy"),
        (Self::ERROR, "error"),
        (Self::MATCH, "match"),
        (Self::INDEX, "index"),
        (Self::TRACK_ZERO, "track-00"),
        (Self::PROTECT, "protect"),
        (Self::READY, "ready"),
        (Self::CHANGE, "change"),
    ];

    /// The bits as a number.
    #[must_use]
    pub const fn to_bits(self) -> u16 {
        self.0
    }

    /// A status from a number; bits that have no name are kept, they deviate.
    #[must_use]
    pub const fn from_bits(bits: u16) -> Self {
        Self(bits)
    }

    /// Whether all bits of `other` are set.
    #[must_use]
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// With the bits of `other`, if `on`.
    #[must_use]
    pub const fn with(self, other: Self, on: bool) -> Self {
        if on { Self(self.0 | other.0) } else { self }
    }
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut names: Vec<String> = Self::NAMES
            .iter()
            .filter(|(bit, _)| self.has(*bit))
            .map(|(_, name)| (*name).to_owned())
            .collect();
        let unnamed = self.0 & !((1 << Self::NAMES.len()) - 1);
        if unnamed != 0 {
            names.push(format!("unnamed bits {unnamed:#x}"));
        }
        if names.is_empty() { f.write_str("none") } else { f.write_str(&names.join("+")) }
    }
}

/// One thing that the host saw.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Item {
    /// A word, moved by a service of that transfer.
    Word {
        /// The transfer's number.
        transfer: u32,
        /// Its low W bits, first channel bit highest.
        value: u64,
    },
    /// The answer to [`Action::PollByte`].
    Byte {
        /// The newest byte.
        value: u8,
        /// Whether it had not been read before.
        fresh: bool,
    },
    /// The answer to [`Action::PollStatus`].
    Status(Status),
    /// The completion signal.
    Done,
    /// A request was refused because the controller was busy.
    Refused {
        /// The refused transfer's number.
        transfer: u32,
    },
    /// The match signal of profiles with `flag = event`.
    Match,
}

impl fmt::Display for Item {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Word { transfer, value } => write!(f, "word {value:04x} of transfer {transfer}"),
            Self::Byte { value, fresh } => {
                write!(f, "byte {value:02x} {}", if *fresh { "new" } else { "seen before" })
            }
            Self::Status(status) => write!(f, "status {status}"),
            Self::Done => f.write_str("done"),
            Self::Refused { transfer } => write!(f, "transfer {transfer} refused"),
            Self::Match => f.write_str("match signal"),
        }
    }
}

/// An item and its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Observed {
    /// When, in nanoseconds from the case's begin.
    pub at_ns: u64,
    /// What.
    pub item: Item,
}

/// All that came back from one execution. The caller owns it; a rig clears and fills it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Observation {
    /// The items, in the order of time; at one moment in the order in which they happened.
    pub items: Vec<Observed>,
    /// The case's tracks in their order, as they are after the run; none if the implementation
    /// cannot show its media.
    #[cfg_attr(feature = "serde", serde(default))]
    pub media: Vec<Track>,
    /// The channel bits that the case's flux was made into.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "ChannelBits::is_empty"))]
    pub separated: ChannelBits,
}

/// Why an observation is none: the adapter's fault, no verdict on the controller.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ObservationError {
    /// The item's index.
    pub index: usize,
    /// What is wrong with it, and what is allowed.
    pub why: String,
}

impl fmt::Display for ObservationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "item {}: {}", self.index, self.why)
    }
}

impl std::error::Error for ObservationError {}

impl Observation {
    /// An empty observation.
    #[must_use]
    pub const fn new() -> Self {
        Self { items: Vec::new(), media: Vec::new(), separated: ChannelBits::new() }
    }

    /// Empties it; the memory of the items is kept.
    pub fn clear(&mut self) {
        self.items.clear();
        self.media.clear();
        self.separated.clear();
    }

    /// The words that a read had delivered by the time that item number `until` came.
    pub fn delivered(&self, transfer: u32, until: usize) -> impl Iterator<Item = u64> + '_ {
        self.items.iter().take(until).filter_map(move |seen| match seen.item {
            Item::Word { transfer: of, value } if of == transfer => Some(value),
            _ => None,
        })
    }

    /// Checks that the media, if there are any, are the case's tracks in their order and size.
    ///
    /// # Errors
    /// The first that is not; its index is counted behind the items.
    pub fn check_media(&self, tracks: &[Track]) -> Result<(), ObservationError> {
        let fail =
            |at: usize, why: String| Err(ObservationError { index: self.items.len() + at, why });
        if self.media.is_empty() {
            return Ok(());
        }
        if self.media.len() != tracks.len() {
            let (came, due) = (self.media.len(), tracks.len());
            return fail(0, format!("{came} tracks after the run, the case has {due}"));
        }
        for (at, (came, due)) in self.media.iter().zip(tracks).enumerate() {
            let place = |track: &Track| (track.drive, track.cylinder, track.side);
            let (bits, due_bits) = (came.medium.track().len(), due.medium.track().len());
            if place(came) != place(due)
                || came.medium.layout() != due.medium.layout()
                || bits != due_bits
            {
                return fail(
                    at,
                    format!(
                        "track {at} after the run is {:?} with {bits} bits, the case's is {:?} \
                         with {due_bits}",
                        place(came),
                        place(due)
                    ),
                );
            }
        }
        Ok(())
    }

    /// Checks that no more channel bits were made of the case's flux than can be of use, and none of
    /// none.
    ///
    /// # Errors
    /// Says how many came; its index is counted behind the items and the media.
    pub fn check_separated(&self, case: &Case) -> Result<(), ObservationError> {
        let most = case.flux.as_ref().map_or(0, Flux::most_separated);
        let came = self.separated.len();
        if came <= most {
            return Ok(());
        }
        let index = self.items.len() + self.media.len();
        let why = format!("{came} channel bits of the case's flux, the limit is {most}");
        Err(ObservationError { index, why })
    }

    /// Checks the form: times that never go back and stay inside the program; a word only at a
    /// service of its transfer, at most one a service; one status and one byte at each poll, and
    /// none elsewhere; signals at any time, but not without end.
    ///
    /// # Errors
    /// The first item that is malformed, or missing.
    pub fn check_form(&self, events: &[Event]) -> Result<(), ObservationError> {
        let fail = |index: usize, why: String| Err(ObservationError { index, why });
        let end_ns = events.last().map_or(0, |event| event.at_ns);
        let mut last_ns = 0;
        let mut extra = 0;
        let mut next = 0;
        for (index, observed) in self.items.iter().enumerate() {
            if observed.at_ns < last_ns {
                return fail(
                    index,
                    format!(
                        "time goes back from {last_ns} ns to {} ns; items are in the order of time",
                        observed.at_ns
                    ),
                );
            }
            if observed.at_ns > end_ns {
                return fail(
                    index,
                    format!(
                        "its time {} ns is past the program's end at {end_ns} ns",
                        observed.at_ns
                    ),
                );
            }
            last_ns = observed.at_ns;
            let wanted = |action: &Action| match (action, observed.item) {
                (Action::PollStatus, Item::Status(_)) | (Action::PollByte, Item::Byte { .. }) => {
                    true
                }
                (Action::Service { transfer }, Item::Word { transfer: of, .. }) => *transfer == of,
                _ => false,
            };
            match observed.item {
                Item::Done | Item::Refused { .. } | Item::Match => {
                    extra += 1;
                    if extra > MAX_EXTRA_ITEMS {
                        return fail(index, format!("more than {MAX_EXTRA_ITEMS} signals"));
                    }
                }
                Item::Word { .. } | Item::Byte { .. } | Item::Status(_) => loop {
                    let Some(event) = events.get(next) else {
                        return fail(index, format!("{} answers no event", observed.item));
                    };
                    let here = event.at_ns == observed.at_ns && wanted(&event.action);
                    if !here && (event.at_ns > observed.at_ns || owes_answer(&event.action)) {
                        return fail(
                            index,
                            if event.at_ns > observed.at_ns {
                                format!(
                                    "{} at {} ns answers no event of that moment",
                                    observed.item, observed.at_ns
                                )
                            } else {
                                format!(
                                    "{} at {} ns, but the poll at {} ns has no answer",
                                    observed.item, observed.at_ns, event.at_ns
                                )
                            },
                        );
                    }
                    next += 1;
                    if here {
                        break;
                    }
                },
            }
        }
        match events[next..].iter().find(|event| owes_answer(&event.action)) {
            Some(event) => {
                fail(self.items.len(), format!("the poll at {} ns has no answer", event.at_ns))
            }
            None => Ok(()),
        }
    }
}

const fn owes_answer(action: &Action) -> bool {
    matches!(action, Action::PollStatus | Action::PollByte)
}

#[cfg(test)]
mod tests {
    use super::{Item, Observation, Observed, Status};
    use crate::{Action, Event};

    fn events(list: &[(u64, Action)]) -> Vec<Event> {
        list.iter().map(|&(at_ns, action)| Event { at_ns, action, operation: 0 }).collect()
    }

    fn check(events: &[Event], items: &[(u64, Item)]) -> Result<(), String> {
        let items = items.iter().map(|&(at_ns, item)| Observed { at_ns, item }).collect();
        Observation { items, ..Observation::new() }
            .check_form(events)
            .map_err(|error| error.to_string())
    }

    const WORD: Item = Item::Word { transfer: 0, value: 1 };
    const NONE: Item = Item::Status(Status::from_bits(0));

    #[test]
    fn words_come_at_services_and_answers_at_polls() {
        let service = Action::Service { transfer: 0 };
        let events =
            events(&[(5, service), (5, Action::PollStatus), (9, service), (20, Action::End)]);
        assert_eq!(check(&events, &[(5, WORD), (5, NONE), (9, WORD), (15, Item::Done)]), Ok(()));
        assert_eq!(check(&events, &[(5, NONE)]), Ok(()));
        assert!(
            check(&events, &[(5, NONE), (5, WORD)]).is_err(),
            "the service came before the poll"
        );
        assert!(check(&events, &[(5, WORD), (5, WORD), (5, NONE)]).is_err(), "one word a service");
        assert!(check(&events, &[(6, NONE)]).is_err(), "no poll at 6");
        assert!(check(&events, &[]).is_err(), "the poll is owed an answer");
        assert!(check(&events, &[(5, NONE), (21, Item::Done)]).is_err(), "after the end");
        assert!(
            check(&events, &[(5, NONE), (9, WORD), (8, Item::Done)]).is_err(),
            "time goes back"
        );
        let other = Item::Word { transfer: 1, value: 1 };
        assert!(check(&events, &[(5, other), (5, NONE)]).is_err(), "another transfer's word");
    }

    #[test]
    fn a_status_names_its_bits() {
        let status = Status::DONE.with(Status::INDEX, true).with(Status::READY, false);
        assert_eq!(status.to_string(), "done+index");
        assert_eq!(Status::from_bits(1 << 12).to_string(), "unnamed bits 0x1000");
        assert_eq!(Status::default().to_string(), "none");
    }
}
