//! Templates: the smallest programs of a controller's everyday life, to try in place of a case.
//!
//! They do not depend on the case but for its profile. Where a case has come to rest far from the
//! simplest way to show its fault, no small change leads on; a fresh start does.

use super::contents::{put, rich};
use super::reliefs::roomy;
use super::slot::units;
use super::{Reductions, edited};
use trackproof_contract::{
    Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Operation, Start,
};

/// Turns of a drive without a track: where the index comes at every bit phase, and now and then.
const BARE_TURNS: [u32; 2] = [17, 20];

/// Every template.
pub(super) fn all(case: &Case) -> Reductions<'_> {
    let contents = rich(&empty(case));
    Box::new(
        programs(case).into_iter().flat_map(move |program| on_tracks(case, program, &contents)),
    )
}

/// A program on no track and, when it turns a drive and reads once, on each of `contents`.
fn on_tracks(case: &Case, program: Vec<Operation>, contents: &[ChannelBits]) -> Vec<Case> {
    let turns = program.iter().any(|operation| matches!(operation, Operation::Motor { .. }));
    let reads = program.iter().filter(|operation| matches!(operation, Operation::Read { .. }));
    let once = reads.count() < 2;
    let at_index =
        |operation: &Operation| matches!(operation, Operation::Read { start: Start::Index, .. });
    // From bit 0 on the index would be at once: no other start than `now`.
    let start_bit = u32::from(program.iter().any(at_index));
    let bare = Case { program, ..empty(case) };
    let mut cases = vec![roomy(&bare), bare.clone()];
    if turns {
        for turn_bits in BARE_TURNS {
            let turning = edited(&bare, |case| {
                let drive = &mut case.bench.drives[0];
                (drive.turn_bits, drive.start_bit) = (turn_bits, start_bit);
            });
            cases.extend([roomy(&turning), turning]);
        }
        cases.extend(contents.iter().filter(|_| once).map(|bits| {
            roomy(&edited(&bare, |case| {
                put(case, 0, bits);
                case.bench.drives[0].start_bit = start_bit;
            }))
        }));
    }
    cases
}

/// What the host does: it prepares, then transfers or looks.
fn programs(case: &Case) -> Vec<Vec<Operation>> {
    let (select, motor) = (Operation::Select { mask: 1 }, Operation::Motor { mask: 1 });
    let on = Operation::HardwareSync { on: true };
    let sync = |word| Operation::SyncWord { word };
    let preparations = [
        vec![],
        vec![select.clone(), motor.clone()],
        vec![select, motor, on.clone()],
        vec![sync(0)],
        vec![on.clone(), sync(0)],
        vec![on.clone(), sync(0), sync(1)],
        vec![on, sync(1), sync(0)],
    ];
    let bodies = bodies(case);
    preparations
        .iter()
        .flat_map(|prepare| bodies.iter().map(move |body| [prepare.as_slice(), body].concat()))
        .collect()
}

/// Reads: one, one with a full FIFO, two, one and a poll; with every start.
fn bodies(case: &Case) -> Vec<Vec<Operation>> {
    let (bit_ns, word_ns) = units(case);
    let deep = u64::from(case.profile.fifo_words) + 1;
    let service = |first_ns, interval_ns| HostService { first_ns, interval_ns, stalls: vec![] };
    let prompt = service(0, bit_ns);
    let after_word = service(word_ns + bit_ns, bit_ns);
    let overflowing = [
        service(deep * word_ns, bit_ns),
        service(deep * word_ns + bit_ns, bit_ns),
        service(deep * word_ns + bit_ns, word_ns),
    ];
    let read = |words, start, service: &HostService| Operation::Read {
        words,
        start,
        service: service.clone(),
    };
    let wait = |words: u64| Operation::Wait { ns: words * word_ns };
    let again = [read(1, Start::Now, &prompt), wait(2)];
    let mut bodies = Vec::new();
    for start in [Start::Now, Start::Index, Start::Match] {
        bodies.push(vec![read(1, start, &prompt), wait(1)]);
        bodies.push(vec![read(2, start, &prompt), wait(2)]);
        for service in &overflowing {
            bodies.push(vec![read(deep as u32, start, service), wait(2)]);
        }
        for words in [0, 1, 2] {
            let first = read(words, start, if words == 1 { &after_word } else { &prompt });
            bodies.push([std::slice::from_ref(&first), &again].concat());
            for between in [None, Some(Operation::Abort), Some(Operation::Reset)] {
                let mut body = vec![first.clone(), wait(1)];
                body.extend(between);
                bodies.push([body.as_slice(), &[wait(1)]].concat());
                bodies.push([body.as_slice(), &again].concat());
            }
        }
        for words in [1, 2] {
            let read = read(words, start, &after_word);
            bodies.push(vec![read.clone(), Operation::PollStatus, wait(1)]);
            bodies.push(vec![read, wait(1), Operation::PollStatus, wait(1)]);
        }
    }
    bodies
}

/// No program, no track, one drive in its plainest state.
pub(super) fn empty(case: &Case) -> Case {
    let drive = DriveBench {
        turn_bits: 1,
        start_bit: 0,
        cylinder: 0,
        write_protected: false,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    Case {
        profile: case.profile.clone(),
        bench: Bench { access_ns: 0, drives: vec![drive] },
        tracks: Vec::new(),
        program: Vec::new(),
        flux: None,
    }
}
