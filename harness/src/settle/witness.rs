//! Cases in which the host sees what a byte, a signal or a status bit only hints at: words that it
//! takes, or a medium that keeps what was written.

use crate::examine::{image_stream, telling};
use trackproof_contract::{Case, ChannelBits, HostService, Medium, Operation, Start, Track};

/// Words that a read takes that was not there.
const WORDS: u32 = 2;

/// Cases close to one that deviates at an operation: every read is served at once, reads for no
/// words are for one, all of them or the last, and where the host looked at a byte or the status
/// it may read words instead.
pub(super) fn with_words(case: &Case, deviating: usize) -> Vec<Case> {
    let is_empty = |operation: &Operation| matches!(operation, Operation::Read { words: 0, .. });
    let upto = &case.program[..case.program.len().min(deviating + 1)];
    let last_empty = upto.iter().rposition(is_empty);
    let mut cases = vec![served(case, deviating, &|_| true)];
    if last_empty.is_some() {
        cases.push(served(case, deviating, &|at| Some(at) == last_empty));
    }
    if matches!(upto.last(), Some(Operation::PollByte | Operation::PollStatus)) {
        let mut instead = cases[0].clone();
        let service = prompt(case);
        instead.program[deviating] = Operation::Read { words: WORDS, start: Start::Now, service };
        cases.push(instead);
    }
    cases.retain(|case| case.validate().is_ok());
    cases
}

/// Cases close to one that deviates at an operation in which what stands on a medium tells more:
/// what the last write before it leaves, what is read behind that, each image's stream by itself.
pub(super) fn with_media(case: &Case, deviating: usize) -> Vec<Case> {
    let upto = &case.program[..case.program.len().min(deviating + 1)];
    let is_write = |operation: &Operation| matches!(operation, Operation::Write { .. });
    let mut cases = Vec::new();
    if let Some(write) = upto.iter().rposition(is_write) {
        cases.extend(with_long_turns(case, write));
        cases.extend(telling(case));
    }
    cases.extend(case.tracks.iter().filter_map(|track| image_stream(case, track)));
    cases.retain(|case| case.validate().is_ok());
    cases
}

/// The case up to a write, in which each drive keeps what is written and turns so slowly that no
/// write comes round: with the media as they are, then with the first drive selected and an empty
/// track under its head.
fn with_long_turns(case: &Case, write: usize) -> Vec<Case> {
    let bit_ns = u64::from(case.profile.channel_bit_ns);
    let mut long = telling(case).unwrap_or_else(|| case.clone());
    let bits = long.bench.drives[0].turn_bits;
    long.program.truncate(write + 1);
    long.program.push(Operation::Wait { ns: u64::from(bits / 2) * bit_ns });
    let mut selected = long.clone();
    let begin = [Operation::Select { mask: 1 }, Operation::Motor { mask: 1 }];
    selected.program.splice(0..0, begin);
    selected.tracks.retain(|track| track.drive > 0);
    let blank = Track {
        drive: 0,
        cylinder: case.bench.drives[0].cylinder,
        side: 0,
        medium: Medium::image_bits(ChannelBits::zeros(bits as usize)),
    };
    selected.tracks.insert(0, blank);
    let drive = &mut selected.bench.drives[0];
    (drive.write_protected, drive.spin_up_ns) = (false, 0);
    vec![long, selected]
}

/// The case in which nothing but time passes behind the last write before an operation, so that
/// nothing covers what the write leaves: for what is wrong only where it comes round.
pub(super) fn with_rest(case: &Case, deviating: usize) -> Option<Case> {
    let upto = &case.program[..case.program.len().min(deviating + 1)];
    let write = upto.iter().rposition(|one| matches!(one, Operation::Write { .. }))?;
    let mut rested = case.clone();
    let later = rested.program.split_off(write + 1);
    rested.program.extend(later.into_iter().filter(|one| matches!(one, Operation::Wait { .. })));
    rested.program.push(Operation::Wait { ns: rest_ns(case) });
    (rested.validate().is_ok()).then_some(rested)
}

/// Two turns, within bounds.
fn rest_ns(case: &Case) -> u64 {
    let bit_ns = u64::from(case.profile.channel_bit_ns);
    let word_ns = u64::from(case.profile.word_bits) * bit_ns;
    let turn_bits = case.bench.drives.iter().map(|drive| drive.turn_bits).max().unwrap_or(0);
    (2 * u64::from(turn_bits) * bit_ns).clamp(8 * word_ns, 64 * word_ns)
}

/// The case up to the deviating operation and a while more, every read served at once; those that
/// `filled` names, by their place in the program, are for a word at least.
fn served(case: &Case, deviating: usize, filled: &dyn Fn(usize) -> bool) -> Case {
    let bit_ns = u64::from(case.profile.channel_bit_ns);
    let word_ns = u64::from(case.profile.word_bits) * bit_ns;
    let prompt = prompt(case);
    let mut served = case.clone();
    served.program.truncate(deviating + 1);
    let mut asked = 0;
    for (at, operation) in served.program.iter_mut().enumerate() {
        if let Operation::Read { words, service, .. } = operation {
            *words = (*words).max(u32::from(filled(at)));
            asked += u64::from(*words);
            service.clone_from(&prompt);
        }
    }
    served.program.push(Operation::Wait { ns: rest_ns(case) + asked.min(64) * word_ns });
    served
}

fn prompt(case: &Case) -> HostService {
    let bit_ns = u64::from(case.profile.channel_bit_ns);
    HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() }
}
