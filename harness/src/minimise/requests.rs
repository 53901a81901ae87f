//! Requests: what reads and writes have in common, and which read a write copies.

use trackproof_contract::{Case, ChannelBits, Operation, Start, WriteSource};

/// How many words an operation asks for, or gives, at most.
pub(super) fn words(operation: &Operation, word_bits: u16) -> u64 {
    match operation {
        Operation::Read { words, .. } => u64::from(*words),
        Operation::Write { source: WriteSource::Words(bits), .. } => {
            bits.len() as u64 / u64::from(word_bits.max(1))
        }
        Operation::Write { source: WriteSource::Copy { count, .. }, .. } => u64::from(*count),
        _ => 0,
    }
}

/// Sets that number: given words are cut off at the end, or zeros follow them.
pub(super) fn set_words(operation: &mut Operation, word_bits: u16, to: u32) {
    match operation {
        Operation::Read { words, .. } => *words = to,
        Operation::Write { source: WriteSource::Words(bits), .. } => {
            let len = to as usize * usize::from(word_bits);
            bits.truncate(len);
            bits.push_cyclic(&ChannelBits::zeros(1), 0, len.saturating_sub(bits.len()));
        }
        Operation::Write { source: WriteSource::Copy { count, .. }, .. } => *count = to,
        _ => {}
    }
}

/// When a transfer begins, if the operation requests one.
pub(super) const fn start(operation: &Operation) -> Option<Start> {
    match operation {
        Operation::Read { start, .. } | Operation::Write { start, .. } => Some(*start),
        _ => None,
    }
}

/// The same, to change it.
pub(super) const fn start_mut(operation: &mut Operation) -> Option<&mut Start> {
    match operation {
        Operation::Read { start, .. } | Operation::Write { start, .. } => Some(start),
        _ => None,
    }
}

/// After a change of `before` that gave `after`: each write copies the read that it copied. One
/// whose read is gone gives zeros instead, as many words.
///
/// Which request is which is told by what it is: those before and behind the change are the same.
pub(super) fn keep_copies(before: &Case, after: &mut Case) {
    let copies = |operation: &Operation| {
        matches!(operation, Operation::Write { source: WriteSource::Copy { .. }, .. })
    };
    if !after.program.iter().any(copies) {
        return;
    }
    let requests = |case: &Case| -> Vec<Operation> {
        case.program.iter().filter(|operation| operation.is_request()).cloned().collect()
    };
    let (old, new) = (requests(before), requests(after));
    if old == new {
        return;
    }
    let ahead = old.iter().zip(&new).take_while(|(one, two)| one == two).count();
    let most = old.len().min(new.len()) - ahead;
    let behind = old.iter().rev().zip(new.iter().rev()).take(most);
    let behind = behind.take_while(|(one, two)| one == two).count();
    let word_bits = usize::from(after.profile.word_bits);
    let target = |transfer: usize| {
        if transfer < ahead {
            return Some(transfer);
        }
        if transfer + behind >= old.len() {
            return Some(transfer + new.len() - old.len());
        }
        let middle = ahead..new.len() - behind;
        let same = middle.clone().find(|place| new[*place] == old[transfer]);
        // As many requests as before: this one itself was changed.
        same.or_else(|| (new.len() == old.len()).then_some(transfer))
    };
    for operation in &mut after.program {
        let Operation::Write { source, .. } = operation else { continue };
        if let WriteSource::Copy { transfer, count, .. } = source {
            match target(*transfer as usize) {
                Some(place) => *transfer = place as u32,
                None => {
                    let bits = ChannelBits::zeros(*count as usize * word_bits);
                    *source = WriteSource::Words(bits);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::keep_copies;
    use crate::minimise::edited;
    use trackproof_contract::{
        Bench, Case, ChannelBits, HostService, Operation, Profile, Start, WriteSource,
    };

    fn read(words: u32) -> Operation {
        let service = HostService { first_ns: 0, interval_ns: 1, stalls: Vec::new() };
        Operation::Read { words, start: Start::Now, service }
    }

    fn copy(transfer: u32) -> Operation {
        let service = HostService { first_ns: 0, interval_ns: 1, stalls: Vec::new() };
        let source = WriteSource::Copy { transfer, align: None, skip: 0, count: 2 };
        Operation::Write { source, start: Start::Now, service }
    }

    fn case() -> Case {
        Case {
            profile: Profile::sync_dma(),
            bench: Bench { access_ns: 0, drives: Vec::new() },
            tracks: Vec::new(),
            program: vec![read(1), Operation::Abort, read(2), read(3), copy(1), copy(0)],
            flux: None,
        }
    }

    /// What the writes copy after an edit.
    fn copied(edit: impl FnOnce(&mut Vec<Operation>)) -> Vec<Option<u32>> {
        let case = edited(&case(), |case| edit(&mut case.program));
        let source = |operation: &Operation| match operation {
            Operation::Write { source: WriteSource::Copy { transfer, .. }, .. } => {
                Some(Some(*transfer))
            }
            Operation::Write { .. } => Some(None),
            _ => None,
        };
        case.program.iter().filter_map(source).collect()
    }

    #[test]
    fn copies_follow_their_reads_wherever_those_go() {
        assert_eq!(copied(|program| drop(program.remove(1))), [Some(1), Some(0)]);
        assert_eq!(copied(|program| drop(program.remove(3))), [Some(1), Some(0)]);
        assert_eq!(copied(|program| program.insert(0, read(7))), [Some(2), Some(1)]);
        assert_eq!(copied(|program| program.swap(0, 2)), [Some(0), Some(1)]);
        assert_eq!(copied(|program| program[2] = read(9)), [Some(1), Some(0)]);
        assert_eq!(copied(|program| drop(program.remove(4))), [Some(0)]);
    }

    #[test]
    fn a_copy_of_a_read_that_is_gone_gives_zeros() {
        assert_eq!(copied(|program| drop(program.remove(0))), [Some(0), None]);
        assert_eq!(copied(|program| program[2] = Operation::PollStatus), [None, Some(0)]);
        let mut after = case();
        after.program.drain(..4);
        keep_copies(&case(), &mut after);
        let zeros = WriteSource::Words(ChannelBits::zeros(32));
        for operation in &after.program {
            assert!(matches!(operation, Operation::Write { source, .. } if *source == zeros));
        }
    }
}
