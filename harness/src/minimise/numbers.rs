//! Numbers made smaller: each by itself, and two where the one makes up for the other.

use super::reliefs::roomy;
use super::slot::{Slot, slots, units};
use super::{Reductions, edited};
use trackproof_contract::Case;

/// Whole channel bits and whole words of a time that are tried from the bottom up.
const STEPS_FROM_BOTTOM: u64 = 48;

/// Most pairs of lines that are changed together.
const MOST_PAIRS: usize = 64;

/// Each number by itself made smaller.
pub(super) fn smaller(case: &Case) -> Reductions<'_> {
    Box::new(slots(case).into_iter().flat_map(move |slot| {
        candidates(case, slot).into_iter().flat_map(move |value| {
            let plain = edited(case, |case| slot.set(case, value));
            let more_time = (!slot.is_time()).then(|| roomy(&plain));
            std::iter::once(plain).chain(more_time)
        })
    }))
}

/// The values to try for one number.
pub(super) fn candidates(case: &Case, slot: Slot) -> Vec<u64> {
    let value = slot.get(case);
    if slot.is_time() { times_below(case, value) } else { below(value) }
}

/// Values below `value` that are worth a try, the smallest first.
fn below(value: u64) -> Vec<u64> {
    let powers = (0..64).rev().map(|k| 1_u64 << k);
    let mut values: Vec<u64> = (0..value.min(17)).collect();
    values.extend(powers.filter(|power| *power <= value).map(|power| value - power));
    values
}

/// Times that rank below `ns`: whole channel bits from the bottom, whole words, then steps down.
fn times_below(case: &Case, ns: u64) -> Vec<u64> {
    let (bit_ns, word_ns) = units(case);
    let bits = ns / bit_ns;
    let mut values: Vec<u64> = (0..STEPS_FROM_BOTTOM).map(|k| k * bit_ns).collect();
    values.extend((0..STEPS_FROM_BOTTOM).map(|k| k * word_ns));
    values
        .extend((0..40).map(|k| 1 << k).filter(|step| *step <= bits).map(|k| (bits - k) * bit_ns));
    if ns.is_multiple_of(bit_ns) {
        values.retain(|value| *value < ns);
    } else {
        // Whole channel bits rank lower, above as below.
        values.retain(|value| *value < ns + 2 * word_ns);
        let odd = ns % bit_ns;
        values.extend((0..STEPS_FROM_BOTTOM).map(|k| k * bit_ns + odd));
        values.extend([bits, bits + 1, bits + 2].map(|bits| bits * bit_ns));
        values.extend([ns.div_ceil(word_ns), ns.div_ceil(word_ns) + 1].map(|n| n * word_ns));
        values.extend((0..40).map(|k| 1 << k).filter(|step| *step <= ns).map(|step| ns - step));
    }
    values
}

/// Stalls taken out, one at a time.
pub(super) fn fewer_stalls(case: &Case) -> Reductions<'_> {
    let requests = case.program.iter().enumerate();
    let requests = requests.filter_map(|(i, one)| Some((i, one.service()?.stalls.len())));
    Box::new(requests.flat_map(move |(i, stalls)| {
        (0..stalls).rev().map(move |s| {
            edited(case, |case| {
                if let Some(service) = case.program[i].service_mut() {
                    service.stalls.remove(s);
                }
            })
        })
    }))
}

/// A number lowered to 0 and another one, which counts less, raised.
pub(super) fn moved_values(case: &Case) -> Reductions<'_> {
    let small = |slot: &Slot| !slot.is_time() && !matches!(slot, Slot::Words(_));
    let spin_up = |slot: &Slot| matches!(slot, Slot::SpinUp(_));
    let targets: Vec<Slot> = slots(case).into_iter().filter(small).collect();
    let slots = slots(case).into_iter().filter(move |slot| small(slot) || spin_up(slot));
    Box::new(slots.filter(|slot| slot.get(case) > 0).flat_map(move |from| {
        let lowered = edited(case, |case| from.set(case, 0));
        let others: Vec<Slot> = targets.iter().copied().filter(|to| *to != from).collect();
        others.into_iter().flat_map(move |to| {
            let value = to.get(&lowered);
            let raised = edited(&lowered, |case| to.set(case, value + 1));
            let mut variants = vec![roomy(&raised)];
            if case.bench.drives.len() > 1 && !matches!(from, Slot::Lines(_)) {
                variants.extend(lines(case).into_iter().flat_map(|slot| {
                    let raised = &raised;
                    (1..4).map(move |value| edited(raised, |case| slot.set(case, value)))
                }));
            }
            variants.push(raised);
            variants
        })
    }))
}

/// The slots of lines.
fn lines(case: &Case) -> Vec<Slot> {
    slots(case).into_iter().filter(|slot| matches!(slot, Slot::Lines(_))).collect()
}

/// Two sets of lines changed together.
pub(super) fn other_lines(case: &Case) -> Reductions<'_> {
    let lines = lines(case);
    let pairs: Vec<(Slot, Slot)> = lines
        .iter()
        .enumerate()
        .flat_map(|(n, one)| lines[n + 1..].iter().map(move |two| (*one, *two)))
        .take(MOST_PAIRS)
        .collect();
    Box::new(pairs.into_iter().flat_map(move |(one, two)| {
        (0..16).map(move |value| {
            edited(case, |case| {
                one.set(case, value / 4);
                two.set(case, value % 4);
            })
        })
    }))
}
