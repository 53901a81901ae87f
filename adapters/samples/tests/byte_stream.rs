//! The sample `byte-stream` by itself: worked vectors, each with its source, and its refusals.

use std::path::Path;
use std::process::Command;
use trackproof_contract::*;
use trackproof_samples::find;

/// Channel bits a turn of most tracks here.
const TURN_BITS: u32 = 1_600;

fn service() -> HostService {
    HostService { first_ns: 0, interval_ns: 1_000, stalls: Vec::new() }
}

/// A case on drive 0, which is selected and turns from time 0 on, the index at hand.
fn case(profile: Profile, medium: Medium, turn_bits: u32, program: Vec<Operation>) -> Case {
    let drive = DriveBench {
        turn_bits,
        start_bit: 0,
        cylinder: 0,
        write_protected: false,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    let mut all = vec![Operation::Select { mask: 1 }, Operation::Motor { mask: 1 }];
    all.extend(program);
    Case {
        profile,
        bench: Bench { access_ns: 0, drives: vec![drive] },
        tracks: vec![Track { drive: 0, cylinder: 0, side: 0, medium }],
        program: all,
        flux: None,
    }
}

fn run(case: &Case) -> Observation {
    case.validate().expect("a valid case");
    let sample = find("byte-stream").expect("a sample").open(&[]).expect("it opens");
    let mut observation = Observation::new();
    sample.rig().expect("a rig").run(case, &mut observation).expect("a run");
    observation
}

/// What stands behind the index once these words have been written from there, on a blank track.
fn written(profile: Profile, words: &[u64]) -> Vec<u64> {
    let mut bits = ChannelBits::new();
    words.iter().for_each(|word| bits.push(*word, 16));
    let write = Operation::Write {
        source: WriteSource::Words(bits),
        start: Start::Now,
        service: service(),
    };
    let wait = Operation::Wait { ns: 32_000 * (words.len() as u64 + 1) };
    let blank = Medium::image_bits(ChannelBits::zeros(TURN_BITS as usize));
    let seen = run(&case(profile, blank, TURN_BITS, vec![write, wait]));
    let track = seen.media[0].medium.track();
    (0..words.len()).map(|word| track.window(word * 16, 16)).collect()
}

/// The words of a read that starts as asked for.
fn read(medium: Medium, turn_bits: u32, start: Start, words: u32) -> Vec<u64> {
    let request = Operation::Read { words, start, service: service() };
    let wait = Operation::Wait { ns: 2_000 * u64::from(turn_bits + 16 * words) };
    let on = Operation::HardwareSync { on: true };
    let program = vec![on, request, wait];
    run(&case(Profile::byte_stream(), medium, turn_bits, program))
        .delivered(0, usize::MAX)
        .collect()
}

/// The data bits of a word of 16 channel bits.
fn data(word: u64) -> u8 {
    (0..8).fold(0, |byte, bit| byte | ((word >> (2 * bit) & 1) as u8) << bit)
}

#[test]
fn the_c_sources_compile_without_a_warning() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    let compiler = std::env::var_os("CC").unwrap_or_else(|| "cc".into());
    let sources = std::fs::read_dir(folder.join("byte_stream")).expect("the sample's folder");
    let mut compiled = 0;
    for source in sources.map(|entry| entry.expect("an entry").path()) {
        if source.extension().is_none_or(|extension| extension != "c") {
            continue;
        }
        let output = Command::new(&compiler)
            .args(["-std=c11", "-O2", "-Wall", "-Wextra", "-pedantic", "-Werror", "-fsyntax-only"])
            .arg("-I")
            .arg(folder.join("../c-abi/include"))
            .arg(&source)
            .output()
            .expect("a C compiler: the samples are built with one");
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{}:\n{said}", source.display());
        compiled += 1;
    }
    assert!(compiled >= 10, "only {compiled} C files found");
}

#[test]
fn every_fault_of_the_list_is_one_that_the_library_knows() {
    let sample = find("byte-stream").expect("a sample");
    assert!(sample.faults.len() >= 8);
    for fault in &sample.faults {
        let open = sample.open(&[&fault.name]).expect("it opens");
        assert!(open.rig().is_ok(), "{}", fault.name);
    }
}

#[test]
fn mfm_marks_and_bytes_are_written_with_their_clock() {
    // A1 and C2 with their missing clock: SA810/860 OEM manual, fig. 6-7 (clock bytes 0A and 14).
    // FE, FB and 4E, 00: computed from ISO 8630-3 and ISO 8860-2, clause 4.1 b).
    let words = [0x04a1, 0x04a1, 0x00fe, 0x004e, 0x0000, 0x00a1, 0x00fb, 0x0000, 0x08c2, 0x00fc];
    let bits = [0x4489, 0x4489, 0x5554, 0x9254, 0xaaaa, 0x44a9, 0x5545, 0x2aaa, 0x5224, 0x5552];
    assert_eq!(written(Profile::byte_stream(), &words), bits);
}

#[test]
fn fm_marks_and_bytes_are_written_with_their_clock() {
    // FC with clock D7: SA810/860 OEM manual, fig. 6-9. FE, FB, F8 with clock C7: from memory.
    // 00 and FF: the same manual, 1.4.8: a clock transition at the begin of every cell.
    let words = [0x28fc, 0x38fe, 0x38fb, 0x38f8, 0x0000, 0x00ff];
    let bits = [0xf77a, 0xf57e, 0xf56f, 0xf56a, 0xaaaa, 0xffff];
    let profile = Profile { recording: Recording::Fm, ..Profile::byte_stream() };
    assert_eq!(written(profile, &words), bits);
}

#[test]
fn a_write_joins_the_one_before_it_by_its_last_data_bit() {
    // By definition: `write_join`. 01 ends in 1, so the first clock bit of the 00 behind it is 0.
    for (join, second) in [(YesNo::Yes, 0x2aaa), (YesNo::No, 0xaaaa)] {
        let profile = Profile {
            write_join: join,
            first_context: FirstContext::Zero,
            ..Profile::byte_stream()
        };
        let write = |word| Operation::Write {
            source: WriteSource::Words(ChannelBits::from_bytes(&[0, word], 16)),
            start: Start::Now,
            service: service(),
        };
        let wait = Operation::Wait { ns: 32_000 };
        let blank = Medium::image_bits(ChannelBits::zeros(TURN_BITS as usize));
        let program = vec![write(1), wait.clone(), write(0), wait];
        let seen = run(&case(profile, blank, TURN_BITS, program));
        assert_eq!(seen.media[0].medium.track().window(0, 32), 0xaaa9 << 16 | second);
    }
}

#[test]
fn each_byte_is_polled_once_with_its_flag_from_the_mark_on() {
    // Three A1 marks and FE (SA810/860 OEM manual, fig. 6-7), three channel bits off the index.
    let mut track = ChannelBits::zeros(3);
    [0x4489, 0x4489, 0x4489, 0x5554, 0xaaaa].iter().for_each(|word| track.push(*word, 16));
    let turn_bits = track.len() as u32;
    let poll = Operation::PollByte;
    let byte = Operation::Wait { ns: 32_000 };
    // The first poll comes with the last bit of the second mark; the first one has set the phase.
    let mut program = vec![Operation::HardwareSync { on: true }, Operation::Wait { ns: 70_000 }];
    program.extend([poll.clone(), poll.clone(), byte.clone(), poll.clone(), byte, poll]);
    let seen = run(&case(Profile::byte_stream(), Medium::image_bits(track), turn_bits, program));
    let bytes: Vec<Item> = seen.items.iter().map(|one| one.item).collect();
    let item = |value, fresh| Item::Byte { value, fresh };
    assert_eq!(bytes, [item(0xa1, true), item(0xa1, false), item(0xa1, true), item(0xfe, true)]);
}

#[test]
fn an_images_sectors_stream_with_the_checks_of_the_published_polynomial() {
    // Checks of header 00 00 01 02 and of 512 bytes 00 behind FB: CRC-16, polynomial 1021, begun
    // with FFFF, marks included (SA810/860 OEM manual, p. 36); CA6F and DA6E computed from that.
    let layout = SectorLayout::SoftSector {
        sectors: 1,
        size_code: 2,
        gap_4a_bytes: 0,
        gap_1_bytes: 10,
        gap_2_bytes: 22,
        gap_3_bytes: 20,
    };
    let medium = Medium::Image { layout, sectors: ChannelBits::zeros(512 * 8) };
    let turn_bits = layout.used_bits() as u32 + 160;
    let words = read(medium, turn_bits, Start::Match, 22 + 6 + 22 + 512);
    let bytes: Vec<u8> = words.iter().map(|word| data(*word)).collect();
    assert_eq!(words[..4], [0x4489, 0x4489, 0x4489, 0x5554]);
    assert_eq!(bytes[4..10], [0, 0, 1, 2, 0xca, 0x6f]);
    assert_eq!(bytes[10..32], [0x4e; 22]);
    assert_eq!(bytes[32..44], [0; 12]);
    assert_eq!(words[44..48], [0x4489, 0x4489, 0x4489, 0x5545]);
    assert_eq!(bytes[48..560], [0; 512]);
    assert_eq!(bytes[560..562], [0xda, 0x6e]);
}

#[test]
fn a_full_tracks_fields_are_split_and_come_back() {
    // By definition: even bits of a field first, then its odd ones. C3 is even 9, odd 9; 5A is
    // even C, odd 3: data C3 5A streams as 9C, then 93.
    let layout = SectorLayout::FullTrack { sectors: 1, sector_bytes: 2 };
    let sectors = ChannelBits::from_bytes(&[0xc3, 0x5a], 16);
    let medium = Medium::Image { layout, sectors: sectors.clone() };
    let turn_bits = 320;
    let words = read(medium.clone(), turn_bits, Start::Match, 3 + 4 + 2 + 2 + 2);
    let bytes: Vec<u8> = words.iter().map(|word| data(*word)).collect();
    assert_eq!(bytes[..7], [0xa1, 0xa1, 0xa1, 0, 0, 0, 0]);
    assert_eq!(bytes[9..11], [0x9c, 0x93]);

    // What was read, written over another image's sector, is that sector then.
    let mut send = ChannelBits::new();
    let marks = [0x04a1_u64; 3].into_iter().chain(bytes[3..].iter().map(|byte| u64::from(*byte)));
    [0, 0, 0, 0].into_iter().chain(marks).for_each(|word| send.push(word, 16));
    let write = Operation::Write {
        source: WriteSource::Words(send),
        start: Start::Index,
        service: service(),
    };
    let other = Medium::Image { layout, sectors: ChannelBits::zeros(16) };
    let wait = Operation::Wait { ns: 2_000 * u64::from(3 * turn_bits) };
    let seen = run(&case(Profile::byte_stream(), other, turn_bits, vec![write, wait]));
    assert_eq!(seen.media[0].medium.track(), &sectors);
}

#[test]
fn profiles_that_it_cannot_have_are_refused_in_words() {
    let base = Profile::byte_stream;
    let blank = || Medium::image_bits(ChannelBits::zeros(16));
    for (profile, word) in [
        (Profile::sync_dma(), "write_unit"),
        (Profile { partial: Partial::Finish, ..base() }, "partial"),
        (Profile { tail_pulse: YesNo::Yes, ..base() }, "tail_pulse"),
        (Profile { gate_lead: 17, ..base() }, "gate_lead"),
        (Profile { slack_min: 1, ..base() }, "slack_min"),
    ] {
        let case = case(profile, blank(), 16, Vec::new());
        let sample = find("byte-stream").expect("a sample").open(&[]).expect("it opens");
        let error = sample.rig().expect("a rig").run(&case, &mut Observation::new()).unwrap_err();
        assert!(error.to_string().contains(word), "{error}");
    }
}
