//! The raw reader that is lent to what does not read: words at one phase, into a lent FIFO.

use super::host::{LentHost, Started};
use trackproof_contract::{Counter, Profile, TransferRequest, YesNo};

/// Shift register and word counter in front of a lent host.
#[derive(Debug)]
pub(super) struct RawReader {
    pub(super) host: LentHost,
    word_bits: u16,
    counter: Counter,
    joins: bool,
    register: u64,
    counted: u16,
    /// Bits since the last read's last word completed; none once it cannot be joined any more.
    since_last_word: Option<u16>,
}

impl RawReader {
    pub(super) fn new(profile: &Profile) -> Self {
        Self {
            host: LentHost::new(profile),
            word_bits: profile.word_bits,
            counter: profile.counter,
            joins: profile.read_join == YesNo::Yes,
            register: 0,
            counted: 0,
            since_last_word: None,
        }
    }

    /// A channel bit ends.
    pub(super) fn shift_in(&mut self, bit: bool) {
        self.register = self.register << 1 | u64::from(bit);
        self.counted = (self.counted + 1) % self.word_bits;
        self.since_last_word =
            self.since_last_word.map(|bits| bits + 1).filter(|bits| *bits < self.word_bits);
        let word = self.register & !(!0 << self.word_bits);
        if self.counted == 0 && self.host.complete(word) {
            self.since_last_word = Some(0);
        }
    }

    /// A read is accepted; none is under way.
    pub(super) fn accept(&mut self, request: TransferRequest) {
        let joined = self.since_last_word.filter(|_| self.joins);
        if self.host.accept(request) == Started(true) {
            match joined {
                Some(bits) => self.counted = bits,
                None => self.start(),
            }
        }
        // A read of no words is none that comes between.
        if self.host.is_busy() {
            self.since_last_word = None;
        }
    }

    /// The index passes.
    pub(super) fn index(&mut self) {
        if self.host.index() == Started(true) {
            self.start();
        }
    }

    fn start(&mut self) {
        if self.counter == Counter::ZeroedAtStart {
            self.counted = 0;
        }
    }

    /// Something else has come between: the next read joins none.
    pub(super) const fn forget_join(&mut self) {
        self.since_last_word = None;
    }

    pub(super) fn abort(&mut self) {
        self.host.end();
        self.since_last_word = None;
    }

    pub(super) fn reset(&mut self) {
        self.abort();
        self.counted = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::RawReader;
    use trackproof_contract::{Profile, Start, TransferRequest, YesNo};

    fn request(transfer: u32, words: u32) -> TransferRequest {
        TransferRequest { transfer, words, start: Start::Now }
    }

    /// The word that a read delivers which comes three bits after one that has ended, with `words`
    /// asked for between them.
    fn word_behind(words: Option<u32>) -> Option<u64> {
        let mut reader =
            RawReader::new(&Profile { read_join: YesNo::Yes, ..Profile::byte_stream() });
        let mut bits = (0..64).map(|n| n % 5 == 0);
        let mut shift = |reader: &mut RawReader, count| {
            bits.by_ref().take(count).for_each(|bit| reader.shift_in(bit));
        };
        reader.accept(request(0, 1));
        shift(&mut reader, 16);
        assert_eq!(reader.host.service(0), Some(0x8421));
        shift(&mut reader, 3);
        if let Some(words) = words {
            reader.accept(request(1, words));
            reader.abort();
        }
        reader.accept(request(2, 1));
        shift(&mut reader, 16);
        reader.host.service(2)
    }

    #[test]
    fn a_read_joins_the_one_before_but_not_over_an_abort() {
        assert_eq!(word_behind(None), Some(0x0842));
        assert_eq!(word_behind(Some(1)), Some(0x4210));
    }

    #[test]
    fn a_request_for_no_words_comes_between_no_reads() {
        let mut reader =
            RawReader::new(&Profile { read_join: YesNo::Yes, ..Profile::byte_stream() });
        reader.accept(request(0, 1));
        (0..16).for_each(|n| reader.shift_in(n % 5 == 0));
        reader.host.service(0);
        reader.accept(request(1, 0));
        reader.shift_in(true);
        reader.accept(request(2, 1));
        (0..15).for_each(|_| reader.shift_in(false));
        assert_eq!(reader.host.service(2), Some(0x8000));
    }
}
