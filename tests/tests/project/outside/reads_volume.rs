//! The real volume is read by a controller: all tracks through the sample `sync-dma`, by hardware
//! sync and by software sync, and put together again.
//!
//! Both hosts must find the same good sectors (rule `raw.equal`), which are the bytes that were
//! recorded; the judge must have nothing to say of any of these reads.

use trackproof::examine::Examiner;
use trackproof::verdict::Verdict;
use trackproof_contract::{
    Bench, Case, ChangeClear, ChannelBits, DriveBench, HostService, Item, Medium, Operation,
    Profile, Start, Track,
};
use trackproof_model::software_sync::{GoodSectors, by_hardware, by_software, read_bits};
use trackproof_samples::OpenSample;
use trackproof_tests::volume::{LAYOUT, SECTORS, assemble, check, files, make, tracks};

/// Who finds the sync word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sync {
    Hardware,
    Software,
}

/// How many words a host reads so that every sector comes by in one piece.
fn words(profile: &Profile) -> usize {
    read_bits(LAYOUT.turn_bits(), LAYOUT, profile.word_bits.into())
        .div_ceil(profile.word_bits.into())
}

/// A host that reads the track under the head: one turn and a bit, at any phase.
fn case(sync: Sync, cylinder: u8, side: u8, track: &ChannelBits, start_bit: u32) -> Case {
    let profile = Profile::sync_dma();
    let turn_bits = track.len();
    let cell_ns = u64::from(profile.channel_bit_ns);
    let word_bits = usize::from(profile.word_bits);
    let half_word_ns = word_bits as u64 * cell_ns / 2;
    let words = words(&profile);
    let start = match sync {
        Sync::Hardware => Start::Match,
        Sync::Software => Start::Now,
    };
    let service =
        HostService { first_ns: half_word_ns, interval_ns: half_word_ns, stalls: Vec::new() };
    let mut program =
        vec![Operation::Select { mask: 1 }, Operation::Motor { mask: 1 }, Operation::Side { side }];
    if sync == Sync::Hardware {
        program.push(Operation::HardwareSync { on: true });
    }
    program.push(Operation::Read { words: words as u32, start, service });
    // A turn at most to the first match; what is dropped at matches comes again as later words.
    program.push(Operation::Wait { ns: (2 * turn_bits + words * word_bits) as u64 * cell_ns });
    let drive = DriveBench {
        turn_bits: turn_bits as u32,
        start_bit,
        cylinder,
        write_protected: true,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    let medium = Medium::image_bits(track.clone());
    Case {
        profile,
        bench: Bench { access_ns: 400, drives: vec![drive] },
        tracks: vec![Track { drive: 0, cylinder, side, medium }],
        program,
        flux: None,
    }
}

/// The good sectors of all tracks, as a host of one kind finds them in the words of the sample.
fn read(sample: &OpenSample, sync: Sync, tracks: &[(u8, u8, ChannelBits)]) -> GoodSectors {
    let mut examiner = Examiner::new(Box::new(sample.rig().unwrap()));
    let mut sectors = GoodSectors::new();
    for (place, (cylinder, side, track)) in tracks.iter().enumerate() {
        let start_bit = (place * 631 % track.len()) as u32;
        let case = case(sync, *cylinder, *side, track, start_bit);
        case.validate().unwrap();
        let verdict = examiner.glance(&case).unwrap().verdict;
        let name = format!("{sync:?} sync, cylinder {cylinder} side {side}");
        assert!(matches!(verdict, Verdict::Conforms), "{name}: {verdict:?}");
        let got: Vec<u64> = examiner
            .observation()
            .items
            .iter()
            .filter_map(|seen| match seen.item {
                Item::Word { value, .. } => Some(value),
                _ => None,
            })
            .collect();
        assert_eq!(got.len(), words(&case.profile), "{name}: words");
        let word_bits = usize::from(case.profile.word_bits);
        let found = match sync {
            Sync::Hardware => by_hardware(&got, word_bits, LAYOUT),
            Sync::Software => {
                let mut raw = ChannelBits::new();
                got.iter().for_each(|word| raw.push(*word, word_bits));
                by_software(&raw, LAYOUT)
            }
        };
        assert_eq!(found.len(), usize::from(SECTORS), "{name}: good sectors");
        sectors.extend(found);
    }
    sectors
}

#[test]
fn the_volume_comes_back_byte_for_byte_by_hardware_and_by_software_sync() {
    let volume = make().unwrap();
    let tracks = tracks(&volume.image);
    let sample = trackproof_samples::find("sync-dma").unwrap().open(&[]).unwrap();
    let (hardware, software) = std::thread::scope(|scope| {
        let hardware = scope.spawn(|| read(&sample, Sync::Hardware, &tracks));
        let software = read(&sample, Sync::Software, &tracks);
        (hardware.join().unwrap(), software)
    });
    assert!(hardware == software, "raw.equal");
    let image = assemble(&hardware).unwrap();
    assert!(image == volume.image);
    check(&image).unwrap();
    assert!(files(&image).unwrap() == volume.files);
}
