//! Where the text leaves a choice open that no key of the profile names, the judge allows both ways,
//! and no third.
//!
//! The sample goes one way. What a controller of the other way shows is made of the sample's
//! observation, the difference spelled out.

use std::sync::Arc;
use trackproof::judge::Judge;
use trackproof::verdict::Verdict;
use trackproof_contract::{
    Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Item, Medium, Observation,
    Observed, Operation, Profile, Rig, SectorLayout, Start, Status, Track, WriteSource,
};
use trackproof_samples::WordReader;
use trackproof_tests::profile::{sync_dma_with, with};

const TURN_BITS: u32 = 400;

/// One drive, a track of zeros, and a program behind select and motor.
fn case(profile: &Profile, program: impl IntoIterator<Item = Operation>) -> Case {
    let drive = DriveBench {
        turn_bits: TURN_BITS,
        start_bit: 0,
        cylinder: 0,
        write_protected: false,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    let mut zeros = ChannelBits::new();
    for _ in 0..TURN_BITS {
        zeros.push(0, 1);
    }
    let mut operations = vec![Operation::Select { mask: 1 }, Operation::Motor { mask: 1 }];
    operations.extend(program);
    let case = Case {
        profile: profile.clone(),
        bench: Bench { access_ns: 0, drives: vec![drive] },
        tracks: vec![Track { drive: 0, cylinder: 0, side: 0, medium: Medium::image_bits(zeros) }],
        program: operations,
        flux: None,
    };
    case.validate().expect("a case");
    case
}

fn observe(case: &Case) -> Observation {
    observe_with("sync-dma", case)
}

fn observe_with(sample: &str, case: &Case) -> Observation {
    let sample = trackproof_samples::find(sample).unwrap().open(&[]).unwrap();
    let mut seen = Observation::new();
    sample.rig().unwrap().run(case, &mut seen).unwrap();
    seen
}

fn verdict(case: &Case, seen: &Observation) -> Verdict {
    let sample = trackproof_samples::find("sync-dma").unwrap().open(&[]).unwrap();
    let capabilities = sample.rig().unwrap().capabilities();
    Judge::new().judge(case, seen, capabilities)
}

fn conforms(case: &Case, seen: &Observation) -> bool {
    matches!(verdict(case, seen), Verdict::Conforms)
}

/// A request that comes while a read is under way, which ends before the request is accepted.
#[test]
fn busy_is_looked_at_when_a_request_is_made_or_when_it_is_accepted() {
    let slack = [("slack_min", "20"), ("slack_max", "20"), ("start_busy", "error")];
    let profile = sync_dma_with(&slack);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let at = |bits: u64| HostService {
        first_ns: bits * bit_ns,
        interval_ns: 16 * bit_ns,
        stalls: Vec::new(),
    };
    let read = |words, service| Operation::Read { words, start: Start::Now, service };
    // The only word of the first is taken 10 bits behind the second request.
    let program = [
        read(1, at(60)),
        Operation::Wait { ns: 50 * bit_ns },
        read(2, at(60)),
        Operation::Wait { ns: 200 * bit_ns },
    ];
    let case = case(&profile, program);
    let at_acceptance = observe(&case);
    let words = |seen: &Observation, of: u32| {
        let word =
            |one: &&Observed| matches!(one.item, Item::Word { transfer, .. } if transfer == of);
        seen.items.iter().filter(word).count()
    };
    assert_eq!((words(&at_acceptance, 0), words(&at_acceptance, 1)), (1, 2));
    assert!(conforms(&case, &at_acceptance), "{:?}", verdict(&case, &at_acceptance));

    // Refused as it is made: no word of it, and its refusal at once.
    let made_ns = 50 * bit_ns;
    let mut as_made = at_acceptance.clone();
    let word_ns = |one: &Observed| match one.item {
        Item::Word { transfer: 0, .. } => Some(one.at_ns),
        _ => None,
    };
    let first_over_ns = as_made.items.iter().find_map(word_ns).expect("the first read's word");
    as_made.items.retain(|one| one.at_ns <= first_over_ns);
    let refused = Observed { at_ns: made_ns, item: Item::Refused { transfer: 1 } };
    let place = as_made.items.partition_point(|one| one.at_ns <= made_ns);
    as_made.items.insert(place, refused);
    assert!(conforms(&case, &as_made), "{:?}", verdict(&case, &as_made));

    // Refused, and its words all the same; neither refused nor accepted.
    let mut both = at_acceptance.clone();
    both.items.insert(place, refused);
    assert!(!conforms(&case, &both));
    let mut neither = as_made.clone();
    neither.items.retain(|one| *one != refused);
    assert!(!conforms(&case, &neither));
}

/// A request that comes while another is on its way, which is done as it is accepted.
#[test]
fn a_request_on_its_way_is_a_transfer_under_way_or_not() {
    let profile = sync_dma_with(&[("slack_min", "3"), ("slack_max", "9")]);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let service =
        HostService { first_ns: 40 * bit_ns, interval_ns: 16 * bit_ns, stalls: Vec::new() };
    let read = |words| Operation::Read { words, start: Start::Now, service: service.clone() };
    let case = case(&profile, [read(0), read(1), Operation::Wait { ns: 100 * bit_ns }]);
    let both = observe(&case);
    assert!(conforms(&case, &both), "{:?}", verdict(&case, &both));
    let done = both.items.iter().position(|one| one.item == Item::Done).expect("done");
    let mut first_alone = both.clone();
    first_alone.items.truncate(done + 1);
    assert!(both.items.len() > done + 2, "the second read gives a word and is done");
    assert!(conforms(&case, &first_alone), "{:?}", verdict(&case, &first_alone));
    let mut half = both.clone();
    half.items.truncate(done + 2);
    assert!(!conforms(&case, &half), "a word, and never done");
}

/// A request that replaces one on its way is an abort: the second hand's reading part joins nothing
/// to what was before it, though another way would.
#[test]
fn a_request_that_replaces_one_on_its_way_may_join_nothing() {
    let profile = with(
        Profile::byte_stream(),
        &[("read_join", "yes"), ("start_busy", "replace"), ("slack_min", "3"), ("slack_max", "9")],
    );
    let bit_ns = u64::from(profile.channel_bit_ns);
    let word = u64::from(profile.word_bits);
    let service = HostService { first_ns: bit_ns, interval_ns: bit_ns, stalls: Vec::new() };
    let read = |words| Operation::Read { words, start: Start::Now, service: service.clone() };
    let program = [
        read(1),
        Operation::Wait { ns: (3 + word) * bit_ns },
        read(0),
        read(1),
        Operation::Wait { ns: 2 * word * bit_ns },
    ];
    let case = case(&profile, program);
    let mut rig = trackproof::lift::word_reader::rig(Arc::new(WordReader::default));
    let mut seen = Observation::new();
    rig.run(&case, &mut seen).unwrap();
    let words = seen.items.iter().filter(|one| matches!(one.item, Item::Word { .. })).count();
    assert_eq!(words, 2, "{seen:?}");
    let verdict = Judge::new().judge(&case, &seen, rig.capabilities());
    assert!(matches!(verdict, Verdict::Conforms), "{verdict:?}");
}

/// A controller that counts bits knows no time within one: the bit under way may count.
#[test]
fn the_least_slack_counts_bits_or_time() {
    let profile = sync_dma_with(&[("slack_min", "3"), ("slack_max", "9")]);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let service = HostService { first_ns: bit_ns, interval_ns: bit_ns, stalls: Vec::new() };
    let program = [
        Operation::Wait { ns: 1 },
        Operation::Read { words: 0, start: Start::Now, service },
        Operation::Wait { ns: 20 * bit_ns },
    ];
    let case = case(&profile, program);
    let mut seen = observe(&case);
    let done = seen.items.iter().position(|one| one.item == Item::Done).expect("done");
    for (at_ns, allowed) in [(3 * bit_ns + 1, true), (3 * bit_ns, true), (3 * bit_ns - 1, false)] {
        seen.items[done].at_ns = at_ns;
        assert_eq!(conforms(&case, &seen), allowed, "at {at_ns} ns");
    }
}

/// A request between a gate that closes ahead of the last owed bit and that bit.
#[test]
fn a_write_that_loses_its_tail_is_under_way_to_the_last_bit_or_to_the_gates_end() {
    let profile = sync_dma_with(&[
        ("lost_tail", "5"),
        ("write_done", "last-bit"),
        ("start_busy", "error"),
        ("slack_max", "0"),
        ("gate_off_max", "0"),
    ]);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let service = HostService { first_ns: bit_ns, interval_ns: bit_ns, stalls: Vec::new() };
    let mut word = ChannelBits::new();
    word.push(0xAAAA, 16);
    // Its cells are bits 1 to 16, of which 11 are written.
    let program = [
        Operation::Write {
            source: WriteSource::Words(word),
            start: Start::Now,
            service: service.clone(),
        },
        Operation::Wait { ns: 14 * bit_ns },
        Operation::Read { words: 0, start: Start::Now, service },
        Operation::Wait { ns: 40 * bit_ns },
    ];
    let case = case(&profile, program);
    let refused = observe(&case);
    let refusal = Item::Refused { transfer: 1 };
    let place = refused.items.iter().position(|one| one.item == refusal).expect("a refusal");
    assert!(conforms(&case, &refused), "{:?}", verdict(&case, &refused));
    let mut accepted = refused.clone();
    accepted.items[place].item = Item::Done;
    assert!(conforms(&case, &accepted), "{:?}", verdict(&case, &accepted));
    let mut neither = refused.clone();
    neither.items.remove(place);
    assert!(!conforms(&case, &neither));
}

/// Done of a write that leaves bits of its last word unwritten.
#[test]
fn done_comes_with_the_last_bit_that_is_owed_or_that_is_written() {
    const LOST: u64 = 3;
    let profile = sync_dma_with(&[("lost_tail", "3"), ("write_done", "last-bit")]);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let service = HostService { first_ns: 2 * bit_ns, interval_ns: 8 * bit_ns, stalls: Vec::new() };
    let mut words = ChannelBits::new();
    for word in [0xAAAA, 0x5555, 0x9254] {
        words.push(word, 16);
    }
    let write = Operation::Write { source: WriteSource::Words(words), start: Start::Now, service };
    let case = case(&profile, [write, Operation::Wait { ns: 150 * bit_ns }]);
    let owed = observe(&case);
    assert!(conforms(&case, &owed), "{:?}", verdict(&case, &owed));
    let done = owed.items.iter().position(|one| one.item == Item::Done).expect("done");
    for (bits, allowed) in [(LOST, true), (LOST + 1, false)] {
        let mut earlier = owed.clone();
        earlier.items[done].at_ns -= bits * bit_ns;
        assert_eq!(conforms(&case, &earlier), allowed, "{bits} bits earlier");
    }
}

/// The clock bit behind cells in which no word waited: they are a data bit of 0, or none. The two
/// samples, of different hands, go different ways.
#[test]
fn cells_without_a_word_are_data_for_the_next_clock_bit_or_are_not() {
    let profile = with(Profile::byte_stream(), &[("underrun", "hold")]);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let service = HostService { first_ns: bit_ns, interval_ns: 40 * bit_ns, stalls: Vec::new() };
    let mut words = ChannelBits::new();
    // A last data bit of 1, then a first one of 0.
    for data in [0x01, 0x00] {
        words.push(data, usize::from(profile.word_bits));
    }
    let write = Operation::Write { source: WriteSource::Words(words), start: Start::Now, service };
    let case = case(&profile, [write, Operation::Wait { ns: 120 * bit_ns }]);
    let (one, other) = (observe_with("sync-dma", &case), observe_with("byte-stream", &case));
    assert_ne!(one.media, other.media, "both go one way");
    for seen in [&one, &other] {
        assert!(conforms(&case, seen), "{:?}", verdict(&case, seen));
    }
}

/// What is read of no drive is anything: a match in it may have zeroed the word counter anywhere.
#[test]
fn a_word_counter_that_noise_has_zeroed_may_stand_anywhere() {
    const WORD_BITS: usize = 16;
    let profile = sync_dma_with(&[("no_drive_read", "noise")]);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let service =
        HostService { first_ns: 60 * bit_ns, interval_ns: 20 * bit_ns, stalls: Vec::new() };
    let program = [
        Operation::Select { mask: 0 },
        Operation::HardwareSync { on: true },
        Operation::Wait { ns: 100 * bit_ns },
        Operation::HardwareSync { on: false },
        Operation::Wait { ns: 10 * bit_ns },
        Operation::Select { mask: 1 },
        Operation::Wait { ns: 40 * bit_ns },
        Operation::PollStatus,
        Operation::Read { words: 2, start: Start::Now, service },
        Operation::Wait { ns: 200 * bit_ns },
    ];
    let mut case = case(&profile, program);
    let mut numbers = ChannelBits::new();
    (0..u64::from(TURN_BITS) / 8).for_each(|number| numbers.push(number * 5 + 1, 8));
    case.tracks[0].medium = Medium::image_bits(numbers.clone());
    let seen = observe(&case);
    let words: Vec<usize> = (0..seen.items.len())
        .filter(|at| matches!(seen.items[*at].item, Item::Word { .. }))
        .collect();
    let [first, second] = words[..] else { panic!("{:?}", seen.items) };
    let with_words_from = |cell: usize, wrong: u64| {
        let mut other = seen.clone();
        for (word, at) in [first, second].into_iter().enumerate() {
            let Item::Word { value, .. } = &mut other.items[at].item else { unreachable!() };
            *value = numbers.cyclic_window(cell + word * WORD_BITS, WORD_BITS);
        }
        if let Item::Word { value, .. } = &mut other.items[second].item {
            *value ^= wrong;
        }
        other
    };
    let turn = TURN_BITS as usize;
    let begin = (0..turn).find(|cell| with_words_from(*cell, 0) == seen).expect("they stand there");
    for later in 0..WORD_BITS {
        // The first word that ends behind the request, wherever the words end.
        let cells = [begin + later, begin + later + turn - WORD_BITS];
        let fits = |wrong| cells.iter().any(|cell| conforms(&case, &with_words_from(*cell, wrong)));
        assert!(fits(0), "{later} bits later");
        assert!(!fits(1), "{later} bits later, one wrong");
    }
}

/// Data that stand far behind the address that they follow: how far a controller looks for them is
/// its own affair.
#[test]
fn data_far_behind_an_address_are_its_sectors_or_are_not() {
    const SECTOR_BYTES: usize = 128;
    let profile = sync_dma_with(&[]);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let word_ns = 16 * bit_ns;
    // Twice the layout's own distance is 32 bytes.
    for (gap_bytes, may_be_kept) in [(10, false), (30, true)] {
        let mut words = ChannelBits::new();
        for (count, word) in [(gap_bytes, 0x9254), (12, 0xaaaa), (3, 0x4489), (1, 0x5545)] {
            (0..count).for_each(|_| words.push(word, 16));
        }
        // Zeros, their check, 77be, and a gap for the guard.
        words.push(0x2aaa, 16);
        (1..SECTOR_BYTES).for_each(|_| words.push(0xaaaa, 16));
        [0x9515, 0x4554, 0x9254].into_iter().for_each(|word| words.push(word, 16));
        let service = HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() };
        let end = Operation::Wait { ns: (words.len() / 16 + 4) as u64 * word_ns };
        let write =
            Operation::Write { source: WriteSource::Words(words), start: Start::Now, service };
        // The address and its check end with the 22nd byte.
        let begin = Operation::Wait { ns: 22 * word_ns + 8 * bit_ns };
        let mut case = case(&profile, [begin, write, end]);
        let layout = SectorLayout::SoftSector {
            sectors: 1,
            size_code: 0,
            gap_4a_bytes: 0,
            gap_1_bytes: 0,
            gap_2_bytes: 0,
            gap_3_bytes: 50,
        };
        case.bench.drives[0].turn_bits = 16 * 230;
        let before = ChannelBits::from_bytes(&[0x55; SECTOR_BYTES], 8 * SECTOR_BYTES);
        case.tracks[0].medium = Medium::Image { layout, sectors: before.clone() };
        case.validate().expect("a case");
        let taken = observe(&case);
        let sectors = taken.media[0].medium.track();
        assert_eq!(sectors.count_ones(), 0, "the sample looks as far as it takes");
        assert!(conforms(&case, &taken), "{:?}", verdict(&case, &taken));
        let mut kept = taken.clone();
        *kept.media[0].medium.track_mut() = before;
        assert_eq!(conforms(&case, &kept), may_be_kept, "{:?}", verdict(&case, &kept));
        let mut neither = taken;
        neither.media[0].medium.track_mut().set(1_000, true);
        assert!(!conforms(&case, &neither));
    }
}

/// A request whose only moment of acceptance is the one in which a write ends.
#[test]
fn a_request_accepted_as_a_write_ends_finds_it_under_way_or_over() {
    let slack = [("slack_min", "3"), ("slack_max", "3"), ("gate_lead", "3")];
    let profile = sync_dma_with(&slack);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let service = || HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() };
    // Accepted behind 3 bits, led in by 3, a word of 16: it ends with bit 22.
    let mut word = ChannelBits::new();
    word.push(0, 16);
    let write = Operation::Write {
        source: WriteSource::Words(word),
        start: Start::Now,
        service: service(),
    };
    let none = Operation::Read { words: 0, start: Start::Now, service: service() };
    let wait = |bits: u64| Operation::Wait { ns: bits * bit_ns };
    let case = case(&profile, [write, wait(19), none, wait(40)]);
    let done = |seen: &Observation| seen.items.iter().filter(|one| one.item == Item::Done).count();
    let over = observe(&case);
    assert_eq!(done(&over), 2);
    assert!(conforms(&case, &over));
    let last = |seen: &Observation| seen.items.iter().rposition(|one| one.item == Item::Done);
    let mut under_way = over.clone();
    under_way.items.remove(last(&over).unwrap());
    assert!(conforms(&case, &under_way));
    let mut neither = under_way.clone();
    neither.items.remove(last(&under_way).unwrap());
    assert!(!conforms(&case, &neither));
    let mut thrice = over.clone();
    thrice.items.push(over.items[last(&over).unwrap()]);
    assert!(!conforms(&case, &thrice));
}

/// A word that a match has completed is the newest one for a transfer that begins with old ones.
#[test]
fn a_delivered_match_may_come_first_in_the_next_read() {
    for (partial, number) in [("drop", 5), ("pad-low", 6)] {
        let keys = [
            ("latch_words", "1"),
            ("misaligned_match", "realign-deliver"),
            ("partial", partial),
            ("counter", "zeroed-at-start"),
            ("slack_max", "0"),
            ("fifo_words", "2"),
        ];
        let profile = sync_dma_with(&keys);
        let bit_ns = u64::from(profile.channel_bit_ns);
        let read = |words| {
            let service = HostService { first_ns: bit_ns, interval_ns: bit_ns, stalls: Vec::new() };
            Operation::Read { words, start: Start::Now, service }
        };
        let program = [
            Operation::HardwareSync { on: true },
            Operation::Wait { ns: 10 * bit_ns },
            read(number),
            Operation::Wait { ns: 80 * bit_ns },
            read(1),
            Operation::Wait { ns: 10 * bit_ns },
        ];
        let mut case = case(&profile, program);
        // The match ends with bit 80, the words before it with bits 26, 42, 58 and 74.
        let mut bits = ChannelBits::new();
        for _ in 0..4 {
            bits.push(0xaaaa, 16);
        }
        bits.push(0x4489, 16);
        while bits.len() < TURN_BITS as usize {
            bits.push(0b10, 2);
        }
        case.tracks[0].medium = Medium::image_bits(bits);
        let seen = observe(&case);
        let words: Vec<u64> = seen
            .items
            .iter()
            .filter_map(|one| match one.item {
                Item::Word { value, .. } => Some(value),
                _ => None,
            })
            .collect();
        assert_eq!(words[number as usize - 1..], [0x4489; 2], "{partial}: {words:x?}");
        assert!(conforms(&case, &seen), "{partial}");
        let mut other = seen.clone();
        let last = other.items.iter_mut().rev().find_map(|one| match &mut one.item {
            Item::Word { value, .. } => Some(value),
            _ => None,
        });
        *last.unwrap() ^= 4;
        assert!(!conforms(&case, &other), "{partial}: no word of before");
    }
}

/// A gate that opens though nothing is ever written is as wrong as one beside a write.
#[test]
fn a_medium_that_changes_in_a_case_without_writes_is_told() {
    // Both ways in cells of ones, which no medium leaves open.
    let cells = |first: u64| {
        let mut bits = ChannelBits::new();
        bits.push(first, 2);
        while bits.len() < TURN_BITS as usize {
            bits.push(0b01, 2);
        }
        bits
    };
    for medium in [Medium::image_bits, Medium::real_bits] {
        let mut case =
            case(&sync_dma_with(&[]), [Operation::Wait { ns: 400_000 }, Operation::PollStatus]);
        case.tracks[0].medium = medium(cells(0b01));
        let seen = observe(&case);
        assert_eq!(seen.media.len(), 1);
        assert!(conforms(&case, &seen));
        let mut changed = seen;
        changed.media[0].medium = medium(cells(0b10));
        let Verdict::Deviates(found) = verdict(&case, &changed) else { panic!("not told") };
        assert_eq!(found.rule.id, "gate.quiet");
    }
}

/// The trailing edge of an index that has begun may come, though the motor goes off before it: a drive
/// line acts within a microsecond.
#[test]
fn an_index_that_has_begun_may_end_behind_the_motor_s_stop() {
    let profile = sync_dma_with(&[("index_edge", "trailing")]);
    let bit_ns = u64::from(profile.channel_bit_ns);
    let service = HostService { first_ns: 0, interval_ns: bit_ns, stalls: Vec::new() };
    let words = WriteSource::Words(ChannelBits::zeros(16));
    let of = |stop_ns| {
        let write = Operation::Write {
            source: words.clone(),
            start: Start::Index,
            service: service.clone(),
        };
        let program = [
            write,
            Operation::Wait { ns: stop_ns },
            Operation::Motor { mask: 0 },
            Operation::Wait { ns: 40 * bit_ns },
            Operation::PollStatus,
        ];
        // Turns of one channel bit, so that its index ends within it.
        let mut case = case(&profile, program);
        case.bench.drives[0].turn_bits = 1;
        case.tracks.clear();
        case.validate().expect("a case");
        case
    };
    let status = |seen: &Observation| {
        let shown = |one: &Observed| matches!(one.item, Item::Status(_));
        seen.items.iter().position(shown).expect("a status")
    };
    let case = of(1);
    let taken = observe(&case);
    assert!(conforms(&case, &taken), "{:?}", verdict(&case, &taken));
    // Not taken: it goes on waiting, and is busy.
    let Item::Status(shown) = taken.items[status(&taken)].item else { unreachable!("a status") };
    assert!(!shown.has(Status::BUSY));
    let mut waiting = taken.clone();
    waiting.items.retain(|one| !matches!(one.item, Item::Done));
    let place = status(&waiting);
    let busy = shown.with(Status::BUSY, true);
    let busy = Status::from_bits(busy.to_bits() & !Status::DONE.to_bits());
    waiting.items[place].item = Item::Status(busy);
    assert!(conforms(&case, &waiting), "{:?}", verdict(&case, &waiting));
    // An index that ended while the motor was on is taken, whatever comes then.
    let case = of(10 * bit_ns);
    let mut missed = observe(&case);
    assert!(conforms(&case, &missed), "{:?}", verdict(&case, &missed));
    let place = status(&missed);
    missed.items[place].item = Item::Status(busy);
    missed.items.retain(|one| !matches!(one.item, Item::Done));
    assert!(!conforms(&case, &missed));
}
