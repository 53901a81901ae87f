//! Templates of writes: the smallest programs in which a controller writes, on empty tracks.
//!
//! As those of `templates.rs` they depend on the profile alone. Every case is tried on them, one
//! that does not write too: whatever a write shows may need fewer operations than a read.

use super::contents::{on_rich, put};
use super::slot::units;
use super::templates::empty;
use super::{Reductions, edited, reliefs, writes};
use trackproof_contract::{
    Case, ChannelBits, HostService, Operation, Start, WriteSource, WriteUnit,
};

/// Every template.
pub(super) fn all(case: &Case) -> Reductions<'_> {
    let word_bits = usize::from(case.profile.word_bits);
    let on = move |case: &Case, program: Vec<Operation>, turn: usize, protected| {
        let at_index = |operation: &Operation| {
            matches!(operation, Operation::Write { start: Start::Index, .. })
        };
        // From bit 0 on the index would be at once: no other start than `now`.
        let start_bit = u32::from(turn > 1 && program.iter().any(at_index));
        edited(&Case { program, ..empty(case) }, |case| {
            put(case, 0, &ChannelBits::zeros(turn));
            let drive = &mut case.bench.drives[0];
            (drive.start_bit, drive.write_protected) = (start_bit, protected);
        })
    };
    // Turns shorter than a word and longer than one.
    let alone = alone(case).into_iter().flat_map(move |program| {
        [(1, false), (word_bits + 1, false), (1, true)]
            .map(|(turn, protected)| on(case, program.clone(), turn, protected))
    });
    let disturbed = disturbed(case).into_iter().flat_map(move |program| {
        [1, word_bits + 1].map(|turn| on(case, program.clone(), turn, false))
    });
    let coded = coded(case).into_iter().flat_map(move |(program, words)| {
        [words * word_bits + 1, 2 * word_bits + 1]
            .map(|turn| on(case, program.clone(), turn, false))
    });
    let bare = left_over(case).into_iter().map(move |program| Case { program, ..empty(case) });
    Box::new(bare.chain(alone).chain(coded).chain(disturbed))
}

/// Each write made a read, with every start and on rich contents, to the program's end and as its
/// last transfer: what a write shows by the way need not have to do with it.
pub(super) fn reads_instead(case: &Case) -> Reductions<'_> {
    let writes =
        (0..case.program.len()).filter(|i| matches!(case.program[*i], Operation::Write { .. }));
    Box::new(writes.flat_map(move |i| {
        [Start::Now, Start::Index, Start::Match].into_iter().flat_map(move |start| {
            let read = edited(case, |case| {
                if let Operation::Write { service, .. } = &case.program[i] {
                    let service = service.clone();
                    case.program[i] = Operation::Read { words: 1, start, service };
                }
            });
            let last = edited(&read, |case| {
                case.program.truncate(i + 1);
                case.program.push(Operation::Wait { ns: 0 });
            });
            let plain = [reliefs::roomy(&read), reliefs::roomy(&last)];
            plain.into_iter().chain(on_rich(&last)).chain(on_rich(&read))
        })
    }))
}

const BEGIN: [Operation; 2] = [Operation::Select { mask: 1 }, Operation::Motor { mask: 1 }];

/// Writes by themselves: one word, and some, at once and at the index, in time and too slowly.
fn alone(case: &Case) -> Vec<Vec<Operation>> {
    let (bit_ns, word_ns) = units(case);
    let kinds = [
        (1, Start::Now, bit_ns),
        (1, Start::Index, bit_ns),
        (2, Start::Now, bit_ns),
        (3, Start::Now, bit_ns),
        (2, Start::Now, word_ns + bit_ns),
    ];
    let mut programs = Vec::new();
    for one in ones(case) {
        for (words, start, interval_ns) in kinds {
            let write = write(case, words, start, interval_ns, one);
            let words = words as u64 * word_ns;
            for ns in [2 * bit_ns, words, words + bit_ns, words + word_ns + bit_ns, 2 * words] {
                let mut program = BEGIN.to_vec();
                program.extend([write.clone(), Operation::Wait { ns }]);
                programs.push(program);
            }
        }
    }
    programs
}

/// Writes of data bytes of which the controller makes clock bits and marks, each with its number of
/// words: a 1 and a 0 on either side of a byte's end, and marks, alone and before another byte.
fn coded(case: &Case) -> Vec<(Vec<Operation>, usize)> {
    if case.profile.write_unit != WriteUnit::DataBytes {
        return Vec::new();
    }
    let (bit_ns, word_ns) = units(case);
    let word_bits = usize::from(case.profile.word_bits);
    let half = word_bits / 2;
    let top = 1 << (half - 1);
    // The bit of the high half that leaves out the clock bit before a data bit of that place.
    let without_clock = |place: usize| 1_u64 << (half + place);
    let marks = [half / 2, half - 2, 0].map(without_clock);
    let bytes = [vec![0], vec![0, 0], vec![1, 0], vec![0, top], vec![1, top], vec![0, 0, 0]];
    let with_mark = marks.into_iter().flat_map(|mark| {
        [
            vec![mark],
            vec![mark, 0],
            vec![0, mark],
            vec![mark | 1, 0],
            vec![mark | 1, top],
            vec![mark, top],
        ]
    });
    let service = HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() };
    let write = |words: Vec<u64>| {
        let mut given = ChannelBits::new();
        for word in &words {
            given.push(*word, word_bits);
        }
        let source = WriteSource::Words(given);
        let write = Operation::Write { source, start: Start::Now, service: service.clone() };
        let ns = (words.len() as u64 + 1) * word_ns + bit_ns;
        let mut program = BEGIN.to_vec();
        program.extend([write, Operation::Wait { ns }]);
        (program, words.len())
    };
    bytes.into_iter().chain(with_mark).map(write).collect()
}

/// A write of one word, and what follows it or comes into it.
fn disturbed(case: &Case) -> Vec<Vec<Operation>> {
    let (bit_ns, word_ns) = units(case);
    let mut programs = Vec::new();
    for one in ones(case) {
        let write = write(case, 1, Start::Now, bit_ns, one);
        for after in afterwards(case) {
            for ns in [0, bit_ns, word_ns + bit_ns] {
                let mut program = BEGIN.to_vec();
                program.push(write.clone());
                program.extend((ns > 0).then_some(Operation::Wait { ns }));
                program.push(after.clone());
                programs.push(program.clone());
                program.push(Operation::Wait { ns: word_ns + bit_ns });
                programs.push(program);
            }
        }
    }
    programs
}

/// A write that is cut off and a read after it, on no drive: what is left over shows there.
fn left_over(case: &Case) -> Vec<Vec<Operation>> {
    let (bit_ns, word_ns) = units(case);
    let service = HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() };
    let read = Operation::Read { words: 1, start: Start::Now, service };
    let mut programs = Vec::new();
    for one in ones(case) {
        for ns in [0, bit_ns, word_ns + bit_ns] {
            for cut in [Operation::Abort, Operation::Reset] {
                let mut program = vec![write(case, 1, Start::Now, bit_ns, one)];
                program.extend((ns > 0).then_some(Operation::Wait { ns }));
                program.extend([cut, read.clone(), Operation::Wait { ns: word_ns }]);
                programs.push(program);
            }
        }
    }
    programs
}

/// Where the one bit of what is written stands in its last word.
fn ones(case: &Case) -> [usize; 3] {
    [0, 1, usize::from(case.profile.word_bits) - 1]
}

fn write(case: &Case, words: usize, start: Start, interval_ns: u64, one: usize) -> Operation {
    let service = HostService { first_ns: 0, interval_ns, stalls: Vec::new() };
    let source = WriteSource::Words(writes::last_one(case, words, one));
    Operation::Write { source, start, service }
}

/// What may follow a write, or come into it.
fn afterwards(case: &Case) -> Vec<Operation> {
    let (bit_ns, _) = units(case);
    let service = HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() };
    vec![
        Operation::Abort,
        Operation::Reset,
        Operation::Select { mask: 0 },
        Operation::Motor { mask: 0 },
        Operation::Side { side: 1 },
        Operation::PollStatus,
        Operation::Read { words: 1, start: Start::Now, service },
    ]
}
