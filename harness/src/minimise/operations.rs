//! Operations: fewer, simpler ones, in canonical order.

use super::order::weight;
use super::reliefs::{after_less_time, roomy, round_values, served, started_otherwise, wordier};
use super::requests::{start, start_mut, words};
use super::slot::{slots, units};
use super::tracks::unrolled;
use super::{Reductions, edited};
use trackproof_contract::{Case, Direction, HostService, Operation, Start};

/// Longest program of which all pairs of operations are taken out and all moves are tried.
const PAIRS_OPERATIONS: usize = 40;

/// The case without operations `from` to `to`, and what the freed time may become.
pub(super) fn without(case: &Case, from: usize, to: usize) -> Vec<Case> {
    let freed_ns = case.program[from..to].iter().map(|op| case.duration_ns(op)).sum();
    let plain = edited(case, |case| {
        case.program.drain(from..to);
    });
    let mut variants = vec![plain];
    if to - from > 1 || !matches!(case.program[from], Operation::Wait { .. }) {
        variants.push(edited(case, |case| {
            case.program.splice(from..to, [Operation::Wait { ns: freed_ns }]);
        }));
    }
    variants.extend(after_less_time(&variants[0].clone(), from, freed_ns));
    variants
}

/// One operation less.
pub(super) fn fewer(case: &Case) -> Reductions<'_> {
    Box::new((0..case.program.len()).rev().flat_map(move |i| without(case, i, i + 1)))
}

/// One operation less, and the reads with plain services or more words.
pub(super) fn fewer_served(case: &Case) -> Reductions<'_> {
    let count = if case.program.len() <= PAIRS_OPERATIONS { case.program.len() } else { 0 };
    Box::new((0..count).rev().flat_map(move |i| {
        let less = edited(case, |case| {
            case.program.remove(i);
        });
        let mut variants = served(&less);
        variants.extend([1, 2].map(|more| wordier(&less, more)));
        variants
    }))
}

/// One operation less, and one thing that counts less to make up for it: a wait of a round length,
/// a value, another start.
pub(super) fn fewer_with_more(case: &Case) -> Reductions<'_> {
    let count = if case.program.len() <= PAIRS_OPERATIONS { case.program.len() } else { 0 };
    Box::new((0..count).rev().flat_map(move |i| {
        let freed_ns = case.duration_ns(&case.program[i]);
        let less = edited(case, |case| {
            case.program.remove(i);
        });
        let mut variants = Vec::new();
        for slot in slots(&less) {
            for value in round_values(&less, slot) {
                variants.push(edited(&less, |case| slot.set(case, value)));
            }
        }
        let (bit_ns, _) = units(case);
        variants.extend(started_otherwise(&less, (freed_ns / bit_ns) as usize));
        if freed_ns > 0 {
            let unrolled = edited(&unrolled(case), |case| {
                case.program.remove(i);
            });
            variants.extend(started_otherwise(&unrolled, (freed_ns / bit_ns) as usize));
        }
        variants
    }))
}

/// Two operations less.
pub(super) fn two_fewer(case: &Case) -> Reductions<'_> {
    let count = if case.program.len() <= PAIRS_OPERATIONS { case.program.len() } else { 0 };
    Box::new((0..count).flat_map(move |i| {
        (i + 1..count).flat_map(move |j| {
            let freed_ns = case.duration_ns(&case.program[i]) + case.duration_ns(&case.program[j]);
            let plain = edited(case, |case| {
                case.program.remove(j);
                case.program.remove(i);
            });
            let mut variants = vec![plain];
            variants.extend(after_less_time(&variants[0].clone(), i, freed_ns));
            variants
        })
    }))
}

/// One operation made a simpler one.
pub(super) fn simpler(case: &Case) -> Reductions<'_> {
    let (_, word_ns) = units(case);
    let service = HostService { first_ns: 0, interval_ns: word_ns, stalls: Vec::new() };
    let mut palette = vec![
        Operation::PollStatus,
        Operation::Output { value: 0 },
        Operation::Motor { mask: 0 },
        Operation::Motor { mask: 1 },
        Operation::Select { mask: 0 },
        Operation::Select { mask: 1 },
        Operation::Step { direction: Direction::Out },
        Operation::HardwareSync { on: false },
        Operation::HardwareSync { on: true },
        Operation::Abort,
        Operation::Reset,
    ];
    palette.extend([Start::Now, Start::Index].map(|start| Operation::Read {
        words: 0,
        start,
        service: service.clone(),
    }));
    Box::new((0..case.program.len()).flat_map(move |i| {
        let here = &case.program[i];
        let wait = Operation::Wait { ns: case.duration_ns(here) };
        let mut instead = vec![wait];
        instead.extend(palette.iter().filter(|other| weight(other) < weight(here)).cloned());
        if let (Some(now), Some(service)) = (start(here), here.service()) {
            let words = words(here, case.profile.word_bits) as u32;
            let others = [Start::Now, Start::Index].into_iter().filter(move |other| *other != now);
            instead.extend(others.map(|start| {
                let mut other = here.clone();
                if let Some(old) = start_mut(&mut other) {
                    *old = start;
                }
                other
            }));
            if matches!(here, Operation::Write { .. }) {
                instead.extend(
                    [Start::Now, Start::Index, Start::Match].map(|start| Operation::Read {
                        words,
                        start,
                        service: service.clone(),
                    }),
                );
            }
        }
        instead.into_iter().flat_map(move |operation| {
            let plain = edited(case, |case| case.program[i] = operation);
            [roomy(&plain), plain]
        })
    }))
}

/// One operation moved to another place, its neighbours first.
pub(super) fn moved(case: &Case) -> Reductions<'_> {
    let count = case.program.len();
    let reach = if count <= PAIRS_OPERATIONS { count } else { 2 };
    Box::new((1..reach).flat_map(move |by| {
        (0..count - by).flat_map(move |i| {
            [(i, i + by), (i + by, i)].into_iter().flat_map(move |(from, to)| {
                let plain = edited(case, |case| {
                    let operation = case.program.remove(from);
                    case.program.insert(to, operation);
                });
                [roomy(&plain), plain]
            })
        })
    }))
}
