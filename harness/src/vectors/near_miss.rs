//! Near misses: observations that differ from an outcome in one small thing. The judge must turn
//! down each that is not listed, and names the rule that such a controller breaks.

use super::outcome::Outcome;
use super::{Capabilities, Vector};
use crate::judge::Judge;
use crate::verdict::Verdict;
use std::collections::BTreeSet;
use trackproof_contract::{Action, Case, Event, Item, Observation, Observed, Status};

/// Places of a medium that are tried at the most.
const MEDIUM_PLACES: usize = 8;

/// Near misses of a vector that are tried at the most, evenly taken from all of them.
const MOST: usize = 200;

/// What near misses told.
pub(super) struct Told {
    /// Each rule that one of them breaks, with the way in which it shows.
    pub(super) names: BTreeSet<(&'static str, &'static str)>,
    /// Whether the judge turned down all that is not listed.
    pub(super) all_refused: bool,
}

/// Holds the near misses of all outcomes against list and judge.
pub(super) fn try_all(judge: &mut Judge, vector: &Vector, events: &[Event]) -> Told {
    let mut told = Told { names: BTreeSet::new(), all_refused: true };
    let all = Capabilities::all();
    for outcome in &vector.outcomes {
        let right = outcome.observation(&vector.case, |_, one| one.from_ns);
        let near = near_misses(&right, events, &vector.case, outcome);
        let step = (near.len() * vector.outcomes.len()).div_ceil(MOST).max(1);
        for near in near.into_iter().step_by(step) {
            if near.check_form(events).is_err() || vector.allows(&near, all) {
                continue;
            }
            match judge.judge(&vector.case, &near, all) {
                Verdict::Deviates(deviation) => {
                    told.names.insert((deviation.rule.id, deviation.kind));
                }
                Verdict::Conforms => told.all_refused = false,
                _ => {}
            }
        }
    }
    told
}

fn near_misses(
    right: &Observation,
    events: &[Event],
    case: &Case,
    outcome: &Outcome,
) -> Vec<Observation> {
    let mut near = Vec::new();
    let mut with = |change: &dyn Fn(&mut Observation)| {
        let mut other = right.clone();
        change(&mut other);
        near.push(other);
    };
    let words = usize::from(case.profile.word_bits);
    for (at, seen) in right.items.iter().enumerate() {
        match seen.item {
            Item::Word { transfer, value } => {
                let low = u64::MAX >> (64 - words);
                let put = |value: u64| Item::Word { transfer, value };
                for other in [
                    value ^ 1,
                    value ^ 1 << (words - 1),
                    value << 1 & low,
                    value >> 1,
                    !value & low,
                ] {
                    with(&|of| of.items[at].item = put(other));
                }
                with(&|of| {
                    of.items.remove(at);
                });
                let later = |of: &Observed| matches!(of.item, Item::Word { transfer: to, .. } if to == transfer);
                if let Some(next) = (at + 1..right.items.len()).find(|at| later(&right.items[*at]))
                {
                    with(&|of| {
                        let other = of.items[next].item;
                        of.items[next].item = of.items[at].item;
                        of.items[at].item = other;
                    });
                    // Repeated: all later words come a service late.
                    with(&|of| {
                        let mut before = of.items[at].item;
                        for one in of.items[at + 1..].iter_mut().filter(|one| later(one)) {
                            std::mem::swap(&mut before, &mut one.item);
                        }
                    });
                }
            }
            Item::Byte { value, fresh } => {
                with(&|of| of.items[at].item = Item::Byte { value: value ^ 1, fresh });
                with(&|of| of.items[at].item = Item::Byte { value, fresh: !fresh });
            }
            Item::Status(status) => {
                for (bit, _) in Status::NAMES {
                    let other = Status::from_bits(status.to_bits() ^ bit.to_bits());
                    with(&|of| of.items[at].item = Item::Status(other));
                }
            }
            Item::Done | Item::Refused { .. } | Item::Match => {
                with(&|of| {
                    of.items.remove(at);
                });
                with(&|of| of.items.insert(at, *seen));
            }
            _ => {}
        }
    }
    // A word at a service that takes none, and a signal that nothing asks for.
    for event in events {
        if let Action::Service { transfer } = event.action
            && !right.items.iter().any(|seen| seen.at_ns == event.at_ns)
        {
            let at = right.items.partition_point(|seen| seen.at_ns < event.at_ns);
            let item = Item::Word { transfer, value: 0 };
            with(&|of| of.items.insert(at, Observed { at_ns: event.at_ns, item }));
        }
    }
    if let Some(end) = events.last() {
        with(&|of| of.items.push(Observed { at_ns: end.at_ns, item: Item::Done }));
    }
    let writes = events.iter().any(|event| matches!(event.action, Action::Write { .. }));
    // The judge looks at the media of cases that write.
    for (number, (bits, free)) in outcome.media.iter().enumerate().filter(|_| writes) {
        let step = (bits.len() / MEDIUM_PLACES).max(1);
        for at in (0..bits.len()).step_by(step) {
            if free.as_ref().is_none_or(|free| !free.get(at)) {
                with(&|of| of.media[number].medium.track_mut().set(at, !bits.get(at)));
            }
        }
        with(&|of| of.media[number].clone_from(&case.tracks[number]));
    }
    near
}
