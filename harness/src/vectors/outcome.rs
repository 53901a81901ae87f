//! Outcomes: everything that the host may see of one case, listed.
//!
//! The list is made by going on from each beginning that is allowed with each answer that the model
//! says may come next. Bits that are free are a mask; where states disagree about which bits are
//! free, each value of those bits is an answer of its own, so that what comes later belongs to it.

use super::MAX_OUTCOMES;
use trackproof_contract::{
    Action, Capabilities, Capability, Case, Event, Item, MatchFlag, Observation, Observed, Status,
};
use trackproof_model::reader::acceptor::{Acceptor, compared_bits};
use trackproof_model::reader::ask::{Answer, SignalItem, Stand};

/// Bits of an answer that are given values of their own at the most: each doubles the answers.
const MAX_SPLIT_BITS: u32 = 4;

/// An answer of an outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// When it comes, in nanoseconds: at its service or poll.
    pub at_ns: u64,
    /// The item; bits that are not compared are 0.
    pub item: Item,
    /// The bits of its value that are compared.
    pub compared: u64,
}

/// A signal of an outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// Which signal.
    pub item: Item,
    /// The first moment at which it may come, in nanoseconds.
    pub from_ns: u64,
    /// The last one.
    pub to_ns: u64,
}

/// One observation that is allowed, but for the freedom that it states itself: bits that are not
/// compared, and the moments of signals, each of which is free of the others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Words, bytes and statuses, in the order of time.
    pub items: Vec<Wanted>,
    /// The signals, by their last moments.
    pub signals: Vec<Window>,
    /// How the case's tracks stand after the run, in their order.
    pub media: Vec<Stand>,
}

impl Wanted {
    /// Whether an observed item is this one. Of a status only bits that are driven count.
    fn is(&self, seen: &Observed, driven: Status) -> bool {
        let equal = |mine: u64, theirs: u64| (mine ^ theirs) & self.compared == 0;
        self.at_ns == seen.at_ns
            && match (self.item, seen.item) {
                (Item::Word { transfer, value }, Item::Word { transfer: of, value: theirs }) => {
                    transfer == of && equal(value, theirs)
                }
                (Item::Byte { value, fresh }, Item::Byte { value: theirs, fresh: seen }) => {
                    fresh == seen && equal(value.into(), theirs.into())
                }
                (Item::Status(mine), Item::Status(theirs)) => {
                    let both = u64::from(mine.to_bits() ^ theirs.to_bits());
                    both & self.compared & u64::from(driven.to_bits()) == 0
                }
                _ => false,
            }
    }
}

/// Whether an item is a signal.
pub(super) const fn is_signal(item: Item) -> bool {
    matches!(item, Item::Done | Item::Refused { .. } | Item::Match)
}

/// Whether an implementation of these capabilities gives that signal.
fn gives(item: Item, capabilities: Capabilities) -> bool {
    capabilities.has(match item {
        Item::Refused { .. } => Capability::RefusedSignal,
        Item::Match => Capability::MatchSignal,
        _ => Capability::DoneSignal,
    })
}

impl Outcome {
    /// Whether an observation is this one, as far as capabilities show it.
    #[must_use]
    pub fn allows(&self, observation: &Observation, capabilities: Capabilities) -> bool {
        let driven = compared_bits(capabilities);
        let mut seen = observation.items.iter().filter(|seen| !is_signal(seen.item));
        self.items.iter().all(|wanted| seen.next().is_some_and(|seen| wanted.is(seen, driven)))
            && seen.next().is_none()
            && self.allows_signals(observation, capabilities)
            && self.allows_media(observation)
    }

    fn allows_signals(&self, observation: &Observation, capabilities: Capabilities) -> bool {
        let mut left: Vec<&Window> =
            self.signals.iter().filter(|one| gives(one.item, capabilities)).collect();
        let seen = observation
            .items
            .iter()
            .filter(|seen| is_signal(seen.item) && gives(seen.item, capabilities));
        for seen in seen {
            let fits = |one: &&Window| {
                one.item == seen.item && one.from_ns <= seen.at_ns && seen.at_ns <= one.to_ns
            };
            let Some(at) = left.iter().position(fits) else { return false };
            left.remove(at);
        }
        left.is_empty()
    }

    fn allows_media(&self, observation: &Observation) -> bool {
        observation.media.iter().zip(&self.media).all(|(shown, (bits, free))| {
            let theirs = shown.medium.track();
            (0..bits.len()).all(|at| {
                bits.get(at) == theirs.get(at) || free.as_ref().is_some_and(|free| free.get(at))
            })
        })
    }

    /// The observation with each signal at the moment that `when` says.
    pub(super) fn observation(
        &self,
        case: &Case,
        when: impl Fn(usize, &Window) -> u64,
    ) -> Observation {
        let mut items: Vec<Observed> = self
            .items
            .iter()
            .map(|wanted| Observed { at_ns: wanted.at_ns, item: wanted.item })
            .collect();
        for (at, window) in self.signals.iter().enumerate() {
            items.push(Observed { at_ns: when(at, window), item: window.item });
        }
        // Stable: answers of one moment keep their order.
        items.sort_by_key(|seen| seen.at_ns);
        let media = case
            .tracks
            .iter()
            .zip(&self.media)
            .map(|(track, (bits, _))| {
                let mut shown = track.clone();
                shown.medium.track_mut().clone_from(bits);
                shown
            })
            .collect();
        Observation { items, media, ..Observation::new() }
    }
}

/// A beginning of an outcome.
#[derive(Clone, Default)]
pub(super) struct Prefix {
    pub(super) seen: Observation,
    pub(super) items: Vec<Wanted>,
}

/// All sequences of answers that a case allows; none where they are too many, or the model cannot
/// tell.
pub(super) fn answers(
    acceptor: &mut Acceptor,
    case: &Case,
    events: &[Event],
    without_signals: Capabilities,
) -> Option<Vec<Prefix>> {
    let mut prefixes = vec![Prefix::default()];
    let mut writes = Vec::new();
    for (at, event) in events.iter().enumerate() {
        let transfer = match event.action {
            Action::Write { transfer, .. } => {
                writes.push(transfer);
                continue;
            }
            Action::Service { transfer } if writes.contains(&transfer) => continue,
            Action::Service { transfer } => transfer,
            Action::PollByte | Action::PollStatus => 0,
            _ => continue,
        };
        let mut longer = Vec::new();
        for mut prefix in prefixes {
            let told = acceptor.ask(case, events, &mut prefix.seen, at, without_signals).ok()?;
            for wanted in apart(&told, case, transfer, event.at_ns)? {
                let mut next = prefix.clone();
                if let Some(wanted) = wanted {
                    next.seen.items.push(Observed { at_ns: event.at_ns, item: wanted.item });
                    next.items.push(wanted);
                }
                longer.push(next);
                if longer.len() > MAX_OUTCOMES {
                    return None;
                }
            }
        }
        prefixes = longer;
    }
    Some(prefixes)
}

/// Answers that no two overlap of: `None` for a service that takes nothing. No list at all where too
/// many bits are in doubt.
fn apart(told: &[Answer], case: &Case, transfer: u32, at_ns: u64) -> Option<Vec<Option<Wanted>>> {
    let mut list = Vec::new();
    if told.contains(&Answer::Nothing) {
        list.push(None);
    }
    // What is shown of a latched flag clears it: no free bit.
    let shown = if case.profile.flag == MatchFlag::LatchedClearOnRead {
        u64::from(Status::MATCH.to_bits())
    } else {
        0
    };
    let mut add = |values: &[(u64, u64)], width: u64, item: &dyn Fn(u64) -> Item| {
        let all = values.iter().fold(u64::MAX, |all, (_, free)| all & free) & !shown;
        let some = values.iter().fold(0, |some, (_, free)| some | free);
        let doubt = some & !all & width;
        if doubt.count_ones() > MAX_SPLIT_BITS {
            return None;
        }
        let compared = !all & width;
        let mut items = Vec::new();
        for (value, free) in values {
            let mine = doubt & free;
            // Every value of the bits in doubt that are free here.
            let mut bits = 0_u64;
            loop {
                items.push((value & compared) | bits);
                bits = bits.wrapping_sub(mine) & mine;
                if bits == 0 {
                    break;
                }
            }
        }
        items.sort_unstable();
        items.dedup();
        list.extend(
            items.into_iter().map(|value| Some(Wanted { at_ns, item: item(value), compared })),
        );
        Some(())
    };
    let word_bits = u32::from(case.profile.word_bits);
    let width = u64::MAX >> (64 - word_bits);
    let words: Vec<(u64, u64)> = told
        .iter()
        .filter_map(|answer| match *answer {
            Answer::Word { value, free } => Some((value, free)),
            _ => None,
        })
        .collect();
    add(&words, width, &|value| Item::Word { transfer, value })?;
    for is_new in [false, true] {
        let bytes: Vec<(u64, u64)> = told
            .iter()
            .filter_map(|answer| match *answer {
                Answer::Byte { value, free, fresh } if fresh == is_new => {
                    Some((value.into(), free.into()))
                }
                _ => None,
            })
            .collect();
        add(&bytes, 0xff, &|value| Item::Byte { value: value as u8, fresh: is_new })?;
    }
    let statuses: Vec<(u64, u64)> = told
        .iter()
        .filter_map(|answer| match *answer {
            Answer::Status { value, free } => Some((value.into(), free.into())),
            _ => None,
        })
        .collect();
    add(&statuses, 0xffff, &|value| Item::Status(Status::from_bits(value as u16)))?;
    Some(list)
}

/// The item of a signal.
pub(super) const fn item_of(signal: SignalItem) -> Item {
    match signal {
        SignalItem::Done => Item::Done,
        SignalItem::Refused(transfer) => Item::Refused { transfer },
        SignalItem::Match => Item::Match,
    }
}
