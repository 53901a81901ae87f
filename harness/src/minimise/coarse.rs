//! Coarse passes: the large steps that bring a generated case near its minimum quickly.
//!
//! Nothing rests on them but the number of executions: where the minimiser ends is settled by the
//! single reductions.

use super::operations::without;
use super::reliefs::later_start;
use super::slot::{Slot, slots, times, units};
use super::times::folded_access;
use super::tracks::{cut, rotated};
use super::{Search, drives, edited, write_templates};
use trackproof_contract::Operation;

/// Most times of which all pairs are lowered together.
const MOST_TIMES: usize = 24;

/// Most pieces of a track that are tried at one size.
const TRACK_PIECES: usize = 64;

pub(super) fn reduce(search: &mut Search<'_, '_>) {
    let writes = |operation: &Operation| matches!(operation, Operation::Write { .. });
    if search.best.program.iter().any(writes) {
        // Many words, each with its bits, take long to come down from.
        search.exhaust(write_templates::all);
    }
    loop {
        let before = search.best.program.len();
        operations(search);
        search.exhaust(drives::fewer);
        search.exhaust(drives::fewer_tracks);
        search.exhaust(folded_access);
        stalls(search);
        numbers(search);
        together(search);
        start(search);
        turns(search);
        ones(search);
        if search.best.program.len() == before {
            return;
        }
    }
}

/// Operations in chunks that halve, the last ones first.
fn operations(search: &mut Search<'_, '_>) {
    let mut size = search.best.program.len() / 2;
    while size > 0 {
        let mut end = search.best.program.len();
        while end > 0 {
            let from = end.saturating_sub(size);
            for candidate in without(&search.best.clone(), from, end) {
                if search.take(candidate) {
                    break;
                }
            }
            // What stands in for the chunk, if anything, is looked at with the next size.
            end = from;
        }
        size /= 2;
    }
}

/// Stalls in chunks that halve.
fn stalls(search: &mut Search<'_, '_>) {
    let count = |search: &Search<'_, '_>, i: usize| {
        search.best.program[i].service().map_or(0, |service| service.stalls.len())
    };
    for i in 0..search.best.program.len() {
        let mut size = count(search, i);
        while size > 0 {
            let mut at = 0;
            while at < count(search, i) {
                let to = (at + size).min(count(search, i));
                let candidate = edited(&search.best, |case| {
                    if let Some(service) = case.program[i].service_mut() {
                        service.stalls.drain(at..to);
                    }
                });
                if !search.take(candidate) {
                    at += size;
                }
            }
            size /= 2;
        }
    }
}

/// Every number by binary search, as if the fault showed from some value on.
fn numbers(search: &mut Search<'_, '_>) {
    let (bit_ns, _) = units(&search.best);
    for slot in slots(&search.best) {
        if slot.is_time() {
            lowest(search, slot, bit_ns);
        } else if matches!(slot, Slot::Words(_)) {
            lowest(search, slot, 1);
        }
    }
    // A wait before anything that counts only turns the platters on.
    for slot in times(&search.best) {
        if let Slot::Wait(_) = slot {
            let ns = slot.get(&search.best);
            let shorter = edited(&search.best, |case| slot.set(case, 0));
            search.take(later_start(&shorter, ns));
        }
    }
}

fn lowest(search: &mut Search<'_, '_>, slot: Slot, unit: u64) {
    let mut low = 0;
    while !search.over {
        let have = slot.get(&search.best) / unit;
        if low >= have {
            return;
        }
        let middle = if low == 0 { 0 } else { low + (have - low) / 2 };
        let candidate = edited(&search.best, |case| slot.set(case, middle * unit));
        if !search.take(candidate) {
            low = middle + 1;
        }
    }
}

/// Two times lowered by the same, as far as it goes: alone each is held up by the other.
fn together(search: &mut Search<'_, '_>) {
    let (bit_ns, _) = units(&search.best);
    let times = times(&search.best);
    for (n, one) in times.iter().enumerate().filter(|_| times.len() <= MOST_TIMES) {
        for two in &times[n + 1..] {
            let mut by = one.get(&search.best).min(two.get(&search.best)) / bit_ns;
            while by > 0 && !search.over {
                let candidate = edited(&search.best, |case| {
                    for slot in [one, two] {
                        slot.set(case, slot.get(case).saturating_sub(by * bit_ns));
                    }
                });
                if !search.take(candidate) {
                    by /= 2;
                }
            }
        }
    }
}

/// The start at bit 0 of each drive.
fn start(search: &mut Search<'_, '_>) {
    for drive in 0..search.best.bench.drives.len() {
        let by = search.best.bench.drives[drive].start_bit as usize;
        search.take(rotated(&search.best, drive, by));
    }
}

/// Shorter turns: from the end by binary search, then pieces anywhere.
fn turns(search: &mut Search<'_, '_>) {
    for drive in 0..search.best.bench.drives.len() {
        let turn = |search: &Search<'_, '_>| search.best.bench.drives[drive].turn_bits as usize;
        let mut low = 1;
        while low < turn(search) && !search.over {
            let middle = low + (turn(search) - low) / 2;
            let candidate = cut(&search.best, drive, middle, turn(search));
            if !search.take(candidate) {
                low = middle + 1;
            }
        }
        let mut size = turn(search) / 2;
        while size > 0 && turn(search) / size <= TRACK_PIECES {
            let mut from = 0;
            while from + size <= turn(search) && turn(search) > size && !search.over {
                let candidate = cut(&search.best, drive, from, from + size);
                if !search.take(candidate) {
                    from += size;
                }
            }
            size /= 2;
        }
    }
}

/// Zeros instead of whole pieces of a track.
fn ones(search: &mut Search<'_, '_>) {
    for t in 0..search.best.tracks.len() {
        let length = search.best.tracks[t].medium.track().len();
        let mut size = length;
        while size > 0 && length / size <= TRACK_PIECES {
            for from in (0..length).step_by(size) {
                let candidate = edited(&search.best, |case| {
                    let track = case.tracks[t].medium.track_mut();
                    for bit in from..(from + size).min(length) {
                        track.set(bit, false);
                    }
                });
                search.take(candidate);
            }
            size /= 2;
        }
    }
}
