//! Words: fewer asked for, with the time and the track that they took.

use super::contents::on_rich;
use super::numbers::candidates;
use super::reliefs::{roomy, served};
use super::slot::{Slot, times, units};
use super::tracks::{map_drive, rotated};
use super::{Reductions, edited};
use trackproof_contract::{Case, HostService, Operation, Start};

/// Most words to try on rich contents; a fault that needs more is about their number.
const MOST_WORDS: u32 = 4;

/// Fewer words, with the time and the track that they took.
pub(super) fn fewer(case: &Case) -> Reductions<'_> {
    let (_, word_ns) = units(case);
    let word_bits = usize::from(case.profile.word_bits);
    let requests = (0..case.program.len()).filter(|i| Slot::Words(*i).get(case) > 0);
    Box::new(requests.flat_map(move |i| {
        let slot = Slot::Words(i);
        let have = slot.get(case);
        candidates(case, slot).into_iter().flat_map(move |value| {
            let less = edited(case, |case| slot.set(case, value));
            let gone = have - value;
            let mut variants = vec![roomy(&less)];
            if value + 2 > have || value < 2 {
                variants.extend(served(&less));
            }
            for time in times(case) {
                let ns = time.get(case);
                if ns >= gone * word_ns {
                    variants.push(edited(&less, |case| time.set(case, ns - gone * word_ns)));
                }
            }
            for drive in 0..case.bench.drives.len() {
                let bits = gone as usize * word_bits;
                let turned = edited(&less, |case| {
                    map_drive(case, drive, |track| track.rotated(bits % track.len()));
                });
                variants.extend([turned, rotated(&less, drive, bits)]);
            }
            variants
        })
    }))
}

/// Fewer words, on rich contents, with every start, served as they were or late.
pub(super) fn fewer_on_rich(case: &Case) -> Reductions<'_> {
    let (bit_ns, word_ns) = units(case);
    let full_ns = (u64::from(case.profile.fifo_words) + 1) * word_ns;
    let late = HostService { first_ns: full_ns, interval_ns: bit_ns, stalls: Vec::new() };
    let reads = case.program.iter().enumerate().filter_map(|(i, operation)| match operation {
        Operation::Read { words, service, .. } => Some((i, *words, service)),
        _ => None,
    });
    Box::new(reads.flat_map(move |(i, have, service)| {
        let late = late.clone();
        (0..have.min(MOST_WORDS)).flat_map(move |words| {
            let late = late.clone();
            [Start::Now, Start::Index, Start::Match].into_iter().flat_map(move |start| {
                let less = |service: &HostService| {
                    let service = service.clone();
                    edited(case, |case| {
                        case.program[i] = Operation::Read { words, start, service };
                    })
                };
                let mut variants = on_rich(&less(service));
                variants.extend(on_rich(&less(&late)));
                variants
            })
        })
    }))
}
