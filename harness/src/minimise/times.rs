//! Times: moved from one to another, and made up for by where the platters are.
//!
//! Where two times make up for each other neither can be lowered alone, and different cases of one
//! fault would stop at different places.

use super::contents::on_rich;
use super::numbers::candidates;
use super::reliefs::{later_start, roomy, served};
use super::slot::{Slot, times, units};
use super::tracks::map_drive;
use super::{Reductions, edited};
use trackproof_contract::{Case, Operation};

/// Most times of which all pairs are looked at.
const MOST_TIMES: usize = 24;

/// Most times of which all threes are looked at.
const MOST_SPREAD: usize = 6;

/// Time moved from one time to another.
pub(super) fn moved_time(case: &Case) -> Reductions<'_> {
    let (bit_ns, word_ns) = units(case);
    let times: Vec<Slot> = times(case).into_iter().take(MOST_TIMES).collect();
    let pairs: Vec<(Slot, Slot)> = times
        .iter()
        .flat_map(|from| times.iter().map(move |to| (*from, *to)))
        .filter(|(from, to)| from != to)
        .collect();
    Box::new(pairs.into_iter().flat_map(move |(from, to)| {
        let (have, there) = (from.get(case), to.get(case));
        let odd = have % bit_ns;
        let mut amounts = vec![have, have / bit_ns * bit_ns, word_ns, bit_ns, odd];
        amounts.push(have / 2 / bit_ns * bit_ns);
        amounts.extend([1, 2, 4, 8].map(|words| words * word_ns));
        amounts.sort_unstable_by(|a, b| b.cmp(a));
        amounts.dedup();
        amounts.into_iter().filter(move |by| *by > 0 && *by <= have).flat_map(move |by| {
            let lowered = edited(case, |case| from.set(case, have - by));
            let raised = edited(&lowered, |case| to.set(case, there.saturating_add(by)));
            let both = edited(&lowered, |case| to.set(case, there.saturating_sub(by)));
            [raised, both]
        })
    }))
}

/// Time moved from one time to two others, as when a request comes earlier, its service and the
/// end do not.
pub(super) fn spread_time(case: &Case) -> Reductions<'_> {
    let (bit_ns, word_ns) = units(case);
    let times: Vec<Slot> = times(case)
        .into_iter()
        .filter(|slot| matches!(slot, Slot::Wait(_) | Slot::First(_)))
        .take(MOST_SPREAD)
        .collect();
    let pairs = times.clone();
    Box::new(times.into_iter().flat_map(move |from| {
        let have = from.get(case);
        let pairs = pairs.clone();
        let past_words = have % word_ns;
        let amounts = [have, past_words, past_words.saturating_sub(bit_ns), word_ns, bit_ns];
        amounts.into_iter().filter(move |by| *by > 0 && *by <= have).flat_map(move |by| {
            let lowered = edited(case, |case| from.set(case, have - by));
            let mut variants = Vec::new();
            for (n, one) in pairs.iter().enumerate().filter(|(_, one)| **one != from) {
                for two in pairs[n + 1..].iter().filter(|two| **two != from) {
                    variants.push(edited(&lowered, |case| {
                        one.set(case, one.get(case).saturating_add(by));
                        two.set(case, two.get(case).saturating_add(by));
                    }));
                }
            }
            variants
        })
    }))
}

/// A wait shortened and the platters, or the contents, turned by as much.
pub(super) fn earlier(case: &Case) -> Reductions<'_> {
    let (bit_ns, _) = units(case);
    let waits = times(case).into_iter().filter(|slot| matches!(slot, Slot::Wait(_) | Slot::Access));
    Box::new(waits.flat_map(move |slot| {
        let have = slot.get(case);
        candidates(case, slot).into_iter().filter(move |value| *value < have).flat_map(
            move |value| {
                let shorter = edited(case, |case| slot.set(case, value));
                let started = later_start(&shorter, have - value);
                let bits = ((have - value) / bit_ns) as usize;
                let turned = edited(&shorter, |case| {
                    for drive in 0..case.bench.drives.len() {
                        map_drive(case, drive, |track| track.rotated(bits % track.len()));
                    }
                });
                [started, turned]
            },
        )
    }))
}

/// The access time folded into the waits behind it.
pub(super) fn folded_access(case: &Case) -> Reductions<'_> {
    let access_ns = u64::from(case.bench.access_ns);
    let folded = edited(case, |case| {
        case.bench.access_ns = 0;
        let mut owed_ns = 0;
        for operation in &mut case.program {
            if let Operation::Wait { ns } = operation {
                *ns = ns.saturating_add(std::mem::take(&mut owed_ns));
            } else {
                owed_ns += access_ns;
            }
        }
    });
    let none = edited(case, |case| case.bench.access_ns = 0);
    let mut variants = vec![folded, none];
    for base in variants.clone() {
        variants.extend((0..=case.program.len()).rev().map(|i| {
            edited(&base, |case| case.program.insert(i, Operation::Wait { ns: access_ns }))
        }));
    }
    for base in variants.clone() {
        variants.push(roomy(&base));
        variants.extend(served(&base));
    }
    variants.extend(on_rich(&variants[1].clone()));
    Box::new(variants.into_iter().filter(move |_| access_ns > 0))
}

/// Reads with plain services.
pub(super) fn plain_service(case: &Case) -> Reductions<'_> {
    Box::new(served(case).into_iter())
}
