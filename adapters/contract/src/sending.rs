//! What a write sends: its own words, or what an earlier read of the program has delivered.
//!
//! Whoever runs a case and whoever judges it asks here, so that both mean the same words.

use crate::{Case, ChannelBits, Operation, WriteSource};

/// Works out the words of the write that is request number `transfer` of a case, into `words`.
///
/// `delivered` gives, for the number of a read, the words that it had delivered when the write was
/// requested, in their order. `words` is emptied first and keeps its memory. A request that is no
/// write sends nothing.
pub fn words_to_send<'a, D: Iterator<Item = u64> + 'a>(
    case: &Case,
    transfer: u32,
    delivered: impl FnOnce(u32) -> D,
    words: &mut Vec<u64>,
) {
    words.clear();
    let mut requests = case.program.iter().filter(|operation| operation.is_request());
    let Some(Operation::Write { source, .. }) = requests.nth(transfer as usize) else { return };
    let word_bits = usize::from(case.profile.word_bits);
    match source {
        WriteSource::Words(bits) => words.extend(whole_words(bits, 0, word_bits)),
        WriteSource::Copy { transfer: of, align, skip, count } => {
            let (skip, count) = (*skip as usize, *count as usize);
            let delivered = delivered(*of);
            let Some(sync) = align else {
                words.extend(delivered.skip(skip).take(count));
                return;
            };
            let mut bits = ChannelBits::new();
            delivered.for_each(|word| bits.push(word, word_bits));
            if let Some(from) = search(&bits, *sync, case) {
                words.extend(whole_words(&bits, from, word_bits).skip(skip).take(count));
            }
        }
    }
}

/// The whole words of `bits` from `from` on.
fn whole_words(bits: &ChannelBits, from: usize, width: usize) -> impl Iterator<Item = u64> + '_ {
    let count = (bits.len() - from) / width;
    (0..count).map(move |word| bits.window(from + word * width, width))
}

/// Where a sync word of R bits first stands, under the profile's mask.
fn search(bits: &ChannelBits, sync: u64, case: &Case) -> Option<usize> {
    let width = usize::from(case.profile.register_bits);
    let last = bits.len().checked_sub(width)?;
    (0..=last).find(|from| (bits.window(*from, width) ^ sync) & case.profile.sync_mask == 0)
}

#[cfg(test)]
mod tests {
    use super::words_to_send;
    use crate::{Bench, Case, ChannelBits, HostService, Operation, Profile, Start, WriteSource};

    fn sent(source: WriteSource, delivered: &[u64]) -> Vec<u64> {
        let service = HostService { first_ns: 0, interval_ns: 1, stalls: Vec::new() };
        let read = Operation::Read { words: 3, start: Start::Now, service: service.clone() };
        let write = Operation::Write { source, start: Start::Now, service };
        let case = Case {
            profile: Profile::sync_dma(),
            bench: Bench { access_ns: 0, drives: Vec::new() },
            tracks: Vec::new(),
            program: vec![read, Operation::Abort, write],
            flux: None,
        };
        let mut words = vec![1, 2, 3];
        let of = |transfer| {
            assert_eq!(transfer, 0);
            delivered.iter().copied()
        };
        words_to_send(&case, 1, of, &mut words);
        words
    }

    #[test]
    fn given_words_are_cut_out_of_their_bits() {
        let mut bits = ChannelBits::new();
        bits.push(0x4489_5554, 32);
        assert_eq!(sent(WriteSource::Words(bits), &[]), [0x4489, 0x5554]);
        assert_eq!(sent(WriteSource::Words(ChannelBits::new()), &[7]), []);
    }

    #[test]
    fn a_copy_sends_what_came_less_what_it_skips() {
        let copy = |skip, count| WriteSource::Copy { transfer: 0, align: None, skip, count };
        assert_eq!(sent(copy(1, 5), &[1, 2, 3]), [2, 3]);
        assert_eq!(sent(copy(0, 2), &[1, 2, 3]), [1, 2]);
        assert_eq!(sent(copy(4, 2), &[1, 2, 3]), []);
    }

    #[test]
    fn an_aligned_copy_begins_with_the_first_sync_at_any_bit() {
        let copy = |align, skip| WriteSource::Copy { transfer: 0, align, skip, count: 9 };
        // 4489 5554 2aaa, three bits late.
        let late =
            [0x4489 >> 3 | 0xe000, 0x4489 << 13 & 0xffff | 0x5554 >> 3, 0x5554 << 13 & 0xffff];
        assert_eq!(sent(copy(Some(0x4489), 0), &late), [0x4489, 0x5554]);
        assert_eq!(sent(copy(Some(0x4489), 1), &late), [0x5554]);
        assert_eq!(sent(copy(Some(0x5224), 0), &late), []);
        assert_eq!(sent(copy(Some(0x4489), 0), &[]), []);
    }
}
