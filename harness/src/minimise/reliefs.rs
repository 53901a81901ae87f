//! Reliefs: what may make up for a reduction without counting as much as it.
//!
//! An operation less may need a longer wait, a later start, a service at another time. What is
//! raised here is lowered again by the reductions that follow.

use super::edited;
use super::requests::{start, start_mut, words};
use super::slot::{Slot, units};
use super::tracks::rotated;
use trackproof_contract::{Case, HostService, Operation, Start};

/// What may make up for `freed_ns` that went at operation `at`: the neighbouring waits, the
/// start, more time.
pub(super) fn after_less_time(case: &Case, at: usize, freed_ns: u64) -> Vec<Case> {
    let is_wait = |i: &usize| matches!(case.program[*i], Operation::Wait { .. });
    let before = (0..at.min(case.program.len())).rev().find(is_wait);
    let after = (at..case.program.len()).find(is_wait);
    let longer = |i: usize, by: u64| {
        edited(case, |case| {
            if let Operation::Wait { ns } = &mut case.program[i] {
                *ns = ns.saturating_add(by);
            }
        })
    };
    let mut variants = Vec::new();
    if freed_ns > 0 {
        variants.extend(after.map(|i| longer(i, freed_ns)));
        variants.extend(before.map(|i| longer(i, freed_ns)));
        variants.push(later_start(case, freed_ns));
        let request = (at..case.program.len()).find(|i| case.program[*i].is_request());
        if let (Some(request), Some(after)) = (request, after) {
            variants.push(edited(&longer(after, freed_ns), |case| {
                if let Some(service) = case.program[request].service_mut() {
                    service.first_ns = service.first_ns.saturating_add(freed_ns);
                }
            }));
        }
    }
    variants.push(roomy(case));
    variants
}

/// All drives begin as far round as they would be after `ns`.
pub(super) fn later_start(case: &Case, ns: u64) -> Case {
    let (bit_ns, _) = units(case);
    edited(case, |case| {
        for drive in &mut case.bench.drives {
            let turn = u64::from(drive.turn_bits);
            drive.start_bit = ((u64::from(drive.start_bit) + ns / bit_ns) % turn) as u32;
        }
    })
}

/// Every wait behind a request made long enough for all that the requests before it ask for.
pub(super) fn roomy(case: &Case) -> Case {
    let (bit_ns, word_ns) = units(case);
    let turn_ns = case.bench.drives.iter().map(|drive| u64::from(drive.turn_bits) * bit_ns).max();
    edited(case, |case| {
        let mut wanted_ns = 0_u64;
        let word_bits = case.profile.word_bits;
        for operation in &mut case.program {
            if let Some(service) = operation.service() {
                let each_ns = word_ns.max(service.interval_ns);
                let all_ns = (words(operation, word_bits) + 2).saturating_mul(each_ns);
                wanted_ns = wanted_ns.saturating_add(all_ns.saturating_add(service.first_ns));
            }
            if let Operation::Wait { ns } = operation
                && wanted_ns > 0
            {
                *ns = (*ns).max(wanted_ns.saturating_add(2 * turn_ns.unwrap_or(0)));
                wanted_ns = 0;
            }
        }
    })
}

/// The services that a transfer may have without a rhythm of its own: at once and often, once a word,
/// and late by a few words.
fn plain_services(case: &Case) -> Vec<HostService> {
    let (bit_ns, word_ns) = units(case);
    let deep = u64::from(case.profile.fifo_words);
    let late = [1, 2, deep, deep + 1].map(|words| words * word_ns);
    let mut services = vec![HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() }];
    services.push(HostService { first_ns: 0, interval_ns: word_ns, stalls: Vec::new() });
    services.extend(late.iter().flat_map(|late| {
        let service = HostService { first_ns: *late, interval_ns: bit_ns, stalls: Vec::new() };
        let after = HostService { first_ns: *late + bit_ns, ..service.clone() };
        let slow = HostService { interval_ns: word_ns, ..after.clone() };
        [service, after, slow]
    }));
    // Between the bits' ends: where a service and a bit at one moment are the point.
    services.push(HostService { first_ns: 1, interval_ns: bit_ns, stalls: Vec::new() });
    services
}

/// Each request, and all of them, with each plain service and all the time it takes.
pub(super) fn served(case: &Case) -> Vec<Case> {
    let requests: Vec<usize> =
        (0..case.program.len()).filter(|i| case.program[*i].is_request()).collect();
    let mut sets: Vec<Vec<usize>> = requests.iter().map(|i| vec![*i]).take(3).collect();
    if requests.len() > 1 {
        sets.push(requests);
    }
    let services = plain_services(case);
    sets.iter()
        .flat_map(|set| services.iter().map(move |service| (set, service)))
        .flat_map(|(set, new)| {
            let plain = edited(case, |case| {
                for i in set {
                    if let Some(service) = case.program[*i].service_mut() {
                        service.clone_from(new);
                    }
                }
            });
            [roomy(&plain), plain]
        })
        .collect()
}

/// All reads with more words, and all the time that they take.
pub(super) fn wordier(case: &Case, more: u32) -> Case {
    roomy(&edited(case, |case| {
        for operation in &mut case.program {
            if let Operation::Read { words, .. } = operation {
                *words = words.saturating_add(more);
            }
        }
    }))
}

/// Values that make up for much: round lengths of waits and delays, any lines.
pub(super) fn round_values(case: &Case, slot: Slot) -> Vec<u64> {
    let (bit_ns, word_ns) = units(case);
    match slot {
        Slot::Wait(_) | Slot::First(_) => {
            let words = (1..5).map(|words| words * word_ns);
            words.flat_map(|ns| [ns, ns + bit_ns]).chain([bit_ns]).collect()
        }
        Slot::Lines(_) => (0..4).collect(),
        Slot::Cylinder(_) | Slot::Protected(_) | Slot::StartBit(_) => vec![0, 1],
        _ => Vec::new(),
    }
}

/// Each request with every other start; at index also with the index `bits` after the beginning.
pub(super) fn started_otherwise(case: &Case, bits: usize) -> Vec<Case> {
    let mut variants = Vec::new();
    for i in 0..case.program.len() {
        let Some(now) = start(&case.program[i]) else { continue };
        for other in [Start::Now, Start::Index, Start::Match] {
            if other == now {
                continue;
            }
            let started = edited(case, |case| {
                if let Some(start) = start_mut(&mut case.program[i]) {
                    *start = other;
                }
            });
            let mut turned = vec![started.clone()];
            if other == Start::Index {
                for bits in [bits, 1] {
                    turned.push((0..case.bench.drives.len()).fold(
                        started.clone(),
                        |case, drive| {
                            let start = case.bench.drives[drive].start_bit as usize;
                            rotated(&case, drive, start + bits)
                        },
                    ));
                }
            }
            for case in turned {
                variants.extend([roomy(&case), case]);
            }
        }
    }
    variants
}
