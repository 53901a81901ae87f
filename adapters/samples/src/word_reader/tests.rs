//! Pinned examples, worked by hand from the sentences of the keys. 4489 is the mark's channel word
//! (SA810/860 OEM manual, fig. 6-7); the rest is by definition.

use super::WordReader;
use trackproof_contract::{
    AlignedMatch, Answer, ByteUnit, Counter, ErrorFlag, MatchFlag, MisalignedMatch, Overrun,
    Partial, PolledByte, Profile, ReadDone, Realign, Start, StartBusy, StartMatch, Status,
    SyncOffWaiting, SyncOnLive, TransferRequest, WordReader as Seam, YesNo, ZeroWords,
};

/// A host with a reader: it serves after every bit, unless it is told to let words wait.
struct Host {
    reader: WordReader,
    transfer: u32,
    requests: u32,
    served: Vec<u64>,
    stalls: bool,
}

impl Host {
    fn new(profile: Profile) -> Self {
        profile.validate().expect("a profile");
        let reader = WordReader::new(&profile);
        Self { reader, transfer: 0, requests: 0, served: Vec::new(), stalls: false }
    }

    /// With hardware sync on, and a read that waits for a match.
    fn waiting(profile: Profile, words: u32) -> Self {
        let mut host = Self::new(profile);
        host.reader.set_hardware_sync(true).unwrap();
        assert_eq!(host.ask(words, Start::Match), Answer::Heard);
        host
    }

    fn ask(&mut self, words: u32, start: Start) -> Answer {
        let transfer = self.requests;
        self.requests += 1;
        let answer = self.reader.request(TransferRequest { transfer, words, start }).unwrap();
        if answer == Answer::Heard {
            self.transfer = transfer;
        }
        answer
    }

    /// The low `count` bits pass, the first one highest.
    fn pass(&mut self, bits: u64, count: u32) -> &mut Self {
        for n in (0..count).rev() {
            assert_eq!(self.reader.shift_in(bits >> n & 1 == 1), Ok(None));
            if !self.stalls {
                self.serve();
            }
        }
        self
    }

    fn serve(&mut self) {
        self.served.extend(self.reader.service(self.transfer).unwrap());
    }

    /// What was served since this was asked last.
    fn words(&mut self) -> Vec<u64> {
        std::mem::take(&mut self.served)
    }

    fn has(&mut self, bit: Status) -> bool {
        self.reader.poll_status().unwrap().set.has(bit)
    }

    fn done(&mut self) -> bool {
        self.reader.done_signal().unwrap()
    }
}

#[test]
fn a_free_running_words_bits_may_come_from_before_the_request() {
    let mut host = Host::new(Profile::sync_dma());
    host.pass(0xab, 8).ask(2, Start::Now);
    assert_eq!(host.pass(0xcd, 8).words(), [0xabcd]);
    assert!(!host.done());
    assert_eq!(host.pass(0x1234, 16).words(), [0x1234]);
    assert!(host.done() && !host.done());
    assert_eq!(host.pass(0x5678, 16).words(), []);
}

#[test]
fn a_word_that_ends_at_the_request_is_not_the_reads() {
    let mut host = Host::new(Profile::sync_dma());
    host.pass(0xabcd, 16).ask(1, Start::Now);
    assert_eq!(host.pass(0x1234, 16).words(), [0x1234]);
}

#[test]
fn a_counter_zeroed_at_the_start_gives_the_bits_behind_it() {
    let zeroed = Profile { counter: Counter::ZeroedAtStart, ..Profile::sync_dma() };
    let mut host = Host::new(zeroed);
    host.pass(0xab, 8).ask(1, Start::Now);
    assert_eq!(host.pass(0xcdef, 16).words(), [0xcdef]);
}

#[test]
fn of_two_sync_words_the_first_starts_and_the_second_is_the_first_word() {
    let mut host = Host::waiting(Profile::sync_dma(), 2);
    assert_eq!(host.pass(0b101, 3).pass(0x4489, 16).words(), []);
    assert_eq!(host.pass(0x4489_5554, 32).words(), [0x4489, 0x5554]);
}

#[test]
fn a_request_between_two_sync_words_starts_on_the_second() {
    let mut host = Host::new(Profile::sync_dma());
    host.reader.set_hardware_sync(true).unwrap();
    host.pass(0x4489, 16).ask(1, Start::Match);
    assert_eq!(host.pass(0x4489_5554, 32).words(), [0x5554]);
}

#[test]
fn the_word_that_starts_a_read_is_its_first_where_it_is_delivered() {
    let deliver = Profile { start_match: StartMatch::Deliver, ..Profile::sync_dma() };
    let mut host = Host::waiting(deliver, 2);
    assert_eq!(host.pass(0x4489, 16).words(), [0x4489]);
    assert_eq!(host.pass(0x5554, 16).words(), [0x5554]);
}

#[test]
fn a_match_on_a_boundary_can_be_left_out_of_the_count() {
    let drop = Profile { aligned_match: AlignedMatch::Drop, ..Profile::sync_dma() };
    let mut host = Host::waiting(drop, 2);
    assert_eq!(host.pass(0x4489_4489_5554, 48).words(), [0x5554]);
    assert_eq!(host.pass(0x4489_2aaa, 32).words(), [0x2aaa]);
    assert!(host.done());
}

/// What a read of three words gets that 4489 has started, when five bits, 4489 and four words pass.
fn realigned(profile: Profile) -> Vec<u64> {
    let mut host = Host::waiting(profile, 3);
    host.pass(0x4489, 16).pass(0b10110, 5).pass(0x4489, 16);
    host.pass(0x1111_2222_3333_4444, 64).words()
}

#[test]
fn a_match_off_the_boundary_realigns_as_the_profile_says() {
    let with = |misaligned_match, partial| {
        realigned(Profile { misaligned_match, partial, ..Profile::sync_dma() })
    };
    use MisalignedMatch::{Ignore, RealignDeliver, RealignDrop};
    // Sixteen of the 21 bits are a word already when the match comes: 10110 and eleven of the match,
    // 01000100100. Five are left: 01001, padded to 0100 1000 0000 0000.
    let first = 0b10110_01000100100;
    assert_eq!(with(RealignDrop, Partial::Drop), [first, 0x1111, 0x2222]);
    assert_eq!(with(RealignDeliver, Partial::Drop), [first, 0x4489, 0x1111]);
    assert_eq!(with(RealignDrop, Partial::PadLow), [first, 0x4800, 0x1111]);
    assert_eq!(with(RealignDeliver, Partial::PadLow), [first, 0x4800, 0x4489]);
    // Finished with eleven bits of 1111: 00010001000. The rest of it is no word.
    let finished = 0b01001_00010001000;
    assert_eq!(with(RealignDrop, Partial::Finish), [first, finished, 0x2222]);
    assert_eq!(with(RealignDeliver, Partial::Finish), [first, 0x4489, finished]);
    // Eleven bits of each word and five of the one before.
    assert_eq!(with(Ignore, Partial::Drop), [first, finished, 0b10001_00100010001]);
}

#[test]
fn only_the_first_match_off_the_boundaries_realigns_if_the_profile_says_so() {
    let with = |realign| {
        let mut host = Host::waiting(Profile { realign, ..Profile::sync_dma() }, 3);
        host.pass(0x4489, 16).pass(0b1011, 4).pass(0x4489, 16).pass(0b1011, 4).pass(0x4489, 16);
        host.pass(0x1111_2222, 32).words()
    };
    // Words of 1011 and twelve of 4489; behind the first match, the same again.
    let cut = 0b1011_010001001000;
    assert_eq!(with(Realign::Every), [cut, cut, 0x1111]);
    // The second match ends four bits into a word: 1001, then twelve of 1111.
    assert_eq!(with(Realign::First), [cut, cut, 0b1001_000100010001]);
    // So does the first: 1001 1011 and eight of 4489, 01000100.
    assert_eq!(with(Realign::Never), [cut, 0b1001_1011_0100_0100, 0b1000_1001_0001_0001]);
}

#[test]
fn a_sync_word_that_overlaps_itself_matches_twice_unless_it_is_refractory() {
    // The low seven bits behind 4489 make another 4489 of the register.
    let words = |refractory| {
        let mut host = Host::waiting(Profile { refractory, ..Profile::sync_dma() }, 1);
        host.pass(0x4489, 16).pass(0x09, 7).pass(0x1111_2222, 32).words()
    };
    assert_eq!(words(0), [0x1111]);
    assert_eq!(words(6), [0x1111]);
    // Seven bits, 0001001, and nine of 1111.
    assert_eq!(words(7), [0b0001001_000100010]);
}

#[test]
fn no_match_is_made_of_bits_of_two_sources() {
    let mut host = Host::waiting(Profile::sync_dma(), 1);
    host.pass(0x44, 8).reader.source_changed().unwrap();
    assert_eq!(host.pass(0x89_1111, 24).words(), []);
    // Sixteen bits have come since then: the sixteenth may match.
    host.reader.source_changed().unwrap();
    assert_eq!(host.pass(0x4489_5554, 32).words(), [0x5554]);
}

#[test]
fn without_hardware_sync_nothing_matches_and_the_flag_shows_by_its_key() {
    for (flag_when_off, shows) in [(YesNo::No, false), (YesNo::Yes, true)] {
        let mut host = Host::new(Profile { flag_when_off, ..Profile::sync_dma() });
        host.pass(0b111, 3).ask(2, Start::Now);
        // Words of the counter's own phase: 111 and thirteen of 4489, then its last three.
        host.pass(0x4489, 16);
        assert_eq!(host.has(Status::MATCH), shows);
        assert_eq!(host.pass(0x1111, 16).words(), [0b111_0100010010001, 0b001_0001000100010]);
    }
}

#[test]
fn a_level_flag_lasts_a_bit_and_a_latched_one_until_it_is_cleared() {
    let with = |flag| {
        let mut host = Host::new(Profile { flag, ..Profile::sync_dma() });
        host.reader.set_hardware_sync(true).unwrap();
        host.pass(0x4489, 16);
        let at_once = host.reader.match_signal().unwrap();
        host.pass(0, 1);
        let polls = [host.has(Status::MATCH), host.has(Status::MATCH)];
        host.ask(1, Start::Now);
        (at_once, polls, host.has(Status::MATCH))
    };
    assert_eq!(with(MatchFlag::Level), (false, [false, false], false));
    assert_eq!(with(MatchFlag::LatchedClearOnRead), (false, [true, false], false));
    assert_eq!(with(MatchFlag::LatchedClearOnStart), (false, [true, true], false));
    assert_eq!(with(MatchFlag::Event), (true, [false, false], false));
}

#[test]
fn hardware_sync_switched_off_starts_a_waiting_read_or_lets_it_wait() {
    let with = |sync_off_waiting| {
        let profile = Profile { sync_off_waiting, ..Profile::sync_dma() };
        let mut host = Host::waiting(profile, 1);
        host.pass(0xab, 8).reader.set_hardware_sync(false).unwrap();
        host.pass(0xcd, 8).words()
    };
    assert_eq!(with(SyncOffWaiting::Start), [0xabcd]);
    assert_eq!(with(SyncOffWaiting::Wait), []);
}

#[test]
fn hardware_sync_switched_on_in_a_raw_read_is_heeded_now_or_by_the_next_one() {
    let with = |sync_on_live| {
        let mut host = Host::new(Profile { sync_on_live, ..Profile::sync_dma() });
        host.ask(2, Start::Now);
        host.pass(0b111, 3).reader.set_hardware_sync(true).unwrap();
        host.pass(0x4489_1111, 32).words()
    };
    assert_eq!(with(SyncOnLive::Realign), [0b111_0100010010001, 0x1111]);
    assert_eq!(with(SyncOnLive::NextTransfer), [0b111_0100010010001, 0b001_0001000100010]);
}

#[test]
fn the_index_starts_a_read_that_waits_for_it() {
    let mut host = Host::new(Profile::sync_dma());
    host.ask(1, Start::Index);
    assert_eq!(host.pass(0x00aa_aaab, 24).words(), []);
    host.reader.index().unwrap();
    assert_eq!(host.pass(0xcd, 8).words(), [0xabcd]);
}

#[test]
fn a_full_fifo_loses_what_its_profile_says() {
    let with = |overrun| {
        let profile = Profile { overrun, fifo_words: 2, ..Profile::sync_dma() };
        let mut host = Host::new(profile);
        host.ask(4, Start::Now);
        host.stalls = true;
        host.pass(0x1111_2222, 32);
        assert!(!host.has(Status::ERROR));
        host.pass(0x3333, 16);
        assert!(host.has(Status::ERROR));
        host.stalls = false;
        host.serve();
        host.serve();
        let stopped = !host.has(Status::BUSY);
        host.pass(0x4444_5555, 32);
        (host.words(), host.done(), stopped)
    };
    assert_eq!(with(Overrun::LoseNew), (vec![0x1111, 0x2222, 0x4444, 0x5555], true, false));
    assert_eq!(with(Overrun::LoseOld), (vec![0x2222, 0x3333, 0x4444, 0x5555], true, false));
    assert_eq!(with(Overrun::Stop), (vec![0x1111, 0x2222], false, true));
}

#[test]
fn words_beyond_the_last_are_no_overrun() {
    let mut host = Host::new(Profile { fifo_words: 1, ..Profile::sync_dma() });
    host.ask(1, Start::Now);
    host.stalls = true;
    host.pass(0x1111_2222, 32);
    assert!(!host.has(Status::ERROR) && host.has(Status::BUSY));
    host.serve();
    assert_eq!(host.words(), [0x1111]);
}

#[test]
fn a_lost_word_shows_until_reset_or_the_next_read() {
    for (error_flag, shown) in [
        (ErrorFlag::None, [false, false, false]),
        (ErrorFlag::PerTransfer, [true, false, false]),
        (ErrorFlag::Sticky, [true, true, false]),
    ] {
        let mut host = Host::new(Profile { error_flag, fifo_words: 1, ..Profile::sync_dma() });
        host.ask(2, Start::Now);
        host.stalls = true;
        host.pass(0x1111_2222, 32).reader.abort().unwrap();
        let after_abort = host.has(Status::ERROR);
        host.ask(1, Start::Now);
        let after_request = host.has(Status::ERROR);
        host.reader.reset().unwrap();
        assert_eq!([after_abort, after_request, host.has(Status::ERROR)], shown);
    }
}

#[test]
fn a_read_is_done_at_its_last_word_completed_or_stored_and_busy_until_stored() {
    for (read_done, early) in [(ReadDone::LastStored, false), (ReadDone::LastCompleted, true)] {
        let mut host = Host::new(Profile { read_done, ..Profile::sync_dma() });
        host.ask(1, Start::Now);
        host.stalls = true;
        host.pass(0x1111, 16);
        assert_eq!(
            (host.done(), host.has(Status::DONE), host.has(Status::BUSY)),
            (early, early, true)
        );
        host.serve();
        assert_eq!((host.done(), host.has(Status::DONE)), (!early, true));
        assert!(!host.has(Status::BUSY));
    }
}

#[test]
fn a_request_while_busy_is_ignored_refused_or_replaces() {
    let with = |start_busy| {
        let mut host = Host::new(Profile { start_busy, ..Profile::sync_dma() });
        host.ask(1, Start::Index);
        let answer = host.ask(1, Start::Now);
        host.pass(0x1111, 16);
        (answer, host.words())
    };
    assert_eq!(with(StartBusy::Ignore), (Answer::Heard, vec![]));
    assert_eq!(with(StartBusy::Error), (Answer::Refused, vec![]));
    assert_eq!(with(StartBusy::Replace), (Answer::Heard, vec![0x1111]));
}

#[test]
fn a_read_of_no_words_is_done_at_once_or_the_longest() {
    let mut host = Host::new(Profile::sync_dma());
    host.ask(0, Start::Match);
    assert!(host.done() && !host.has(Status::BUSY));
    let longest = Profile { zero_words: ZeroWords::Maximum, max_words: 2, ..Profile::sync_dma() };
    let mut host = Host::new(longest);
    host.ask(0, Start::Now);
    assert_eq!(host.pass(0x1111_2222_3333, 48).words(), [0x1111, 0x2222]);
    assert!(host.done());
}

#[test]
fn a_request_is_accepted_no_earlier_than_the_least_slack() {
    let mut host = Host::new(Profile { slack_min: 3, slack_max: 3, ..Profile::sync_dma() });
    host.pass(0, 13).ask(1, Start::Now);
    // The word that ends three bits later ends at the acceptance, and is not after it.
    assert_eq!(host.pass(0b101, 3).words(), []);
    assert_eq!(host.pass(0x1111, 16).words(), [0x1111]);
}

#[test]
fn reads_that_join_go_on_with_the_bit_behind_the_last_word() {
    let with = |read_join, gap| {
        let counter = Counter::ZeroedAtStart;
        let mut host = Host::new(Profile { read_join, counter, ..Profile::sync_dma() });
        host.pass(0b101, 3).ask(1, Start::Now);
        host.pass(0x1111, 16).pass(0xaaaa, gap).ask(1, Start::Now);
        host.pass(0x2222_3333, 32).words()[1]
    };
    assert_eq!(with(YesNo::No, 4), 0x2222);
    assert_eq!(with(YesNo::Yes, 4), 0xa222);
    assert_eq!(with(YesNo::Yes, 16), 0x2222);
}

#[test]
fn bytes_come_by_the_word_counter_each_new_once() {
    let byte = |value, fresh| PolledByte { value, fresh };
    let mut host = Host::new(Profile::sync_dma());
    host.pass(0x1, 7);
    assert_eq!(host.reader.poll_byte(), Ok(byte(0, false)));
    host.pass(1, 1);
    assert_eq!(host.reader.poll_byte(), Ok(byte(0x03, true)));
    assert_eq!(host.reader.poll_byte(), Ok(byte(0x03, false)));
    // A match at the third bit zeroes the counter: the bits of the byte under way are lost.
    host.reader.set_hardware_sync(true).unwrap();
    host.pass(0b101, 3).pass(0x4489, 16);
    assert_eq!(host.reader.poll_byte(), Ok(byte(0b10010001, true)));
    assert_eq!(host.pass(0x11, 7).reader.poll_byte(), Ok(byte(0b10010001, false)));
    assert_eq!(host.pass(0x22, 1).reader.poll_byte(), Ok(byte(0x22, true)));
}

#[test]
fn data_bits_are_the_second_of_each_pair() {
    // 4489 is A1 with a clock bit missing; 5554 is FE (ISO 8630-3, clause 4.1).
    let data = Profile { byte: ByteUnit::Data8, ..Profile::sync_dma() };
    let mut host = Host::new(data);
    host.pass(0x4489, 16);
    assert_eq!(host.reader.poll_byte(), Ok(PolledByte { value: 0xa1, fresh: true }));
    host.pass(0x5554, 16);
    assert_eq!(host.reader.poll_byte(), Ok(PolledByte { value: 0xfe, fresh: true }));
}

#[test]
fn an_abort_leaves_nothing_but_register_and_counter() {
    let mut host = Host::new(Profile::sync_dma());
    host.ask(3, Start::Now);
    host.stalls = true;
    host.pass(0x0011_11ab, 24).reader.abort().unwrap();
    host.serve();
    assert_eq!(host.words(), []);
    assert!(!host.done() && !host.has(Status::BUSY));
    host.stalls = false;
    host.ask(1, Start::Now);
    assert_eq!(host.pass(0xcd, 8).words(), [0xabcd]);
}

#[test]
fn a_reset_brings_back_sync_word_switch_and_counter_and_keeps_the_register_by_its_key() {
    for (reset_clears_register, starts) in [(YesNo::No, true), (YesNo::Yes, false)] {
        let mut host = Host::waiting(Profile { reset_clears_register, ..Profile::sync_dma() }, 1);
        host.reader.set_sync_word(0x5224).unwrap();
        host.pass(0b101, 3).pass(0x44, 8).reader.reset().unwrap();
        // Off: the bits of the mark do not align.
        host.pass(0x89, 8).ask(1, Start::Now);
        assert_eq!(host.pass(0x11, 8).words(), [0x8911]);
        // On again: the mark, half of it from before.
        host.pass(0x44, 8).reader.reset().unwrap();
        host.reader.set_hardware_sync(true).unwrap();
        host.ask(1, Start::Match);
        assert_eq!(!host.pass(0x89_2222, 24).words().is_empty(), starts);
    }
}
