//! Tracks laid out and read back: budgets, fields, every phase, every flipped channel bit.

mod random;

use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::run_length::first_outside;
use trackproof_model::code::{clock_byte, data_byte, mfm_fast, regenerate_clocks};
use trackproof_model::layout::{
    Defect, DefectKind, EncodedTrack, FieldKind, Layout, LayoutError, Preamble, SectorData, decode,
    encode,
};

/// 16 sectors of 128 bytes in FM; gap 3 27 bytes: from memory. The rest: SMSC LPC47M102 data
/// sheet, p. 49 (fields), RS 237-088 leaflet 9419, 1.2.1 (3 125 bytes a turn).
const FM_16_BY_128: Layout = Layout {
    recording: Recording::Fm,
    preamble: Preamble::IndexMark { gap_4a_bytes: 40, gap_1_bytes: 26 },
    sync_bytes: 6,
    gap_2_bytes: 11,
    gap_3_bytes: 27,
    sectors: 16,
    size_code: 0,
    turn_bytes: 3_125,
};

fn contents(layout: &Layout, seed: u64) -> Vec<Vec<u8>> {
    (0..u64::from(layout.sectors))
        .map(|sector| random::bytes(seed * 100 + sector, layout.sector_bytes()))
        .collect()
}

fn laid_out(layout: &Layout, seed: u64) -> (Vec<Vec<u8>>, EncodedTrack) {
    let contents = contents(layout, seed);
    let sectors: Vec<_> = contents
        .iter()
        .zip([SectorData::Kept, SectorData::Deleted].iter().cycle())
        .map(|(data, kind)| kind(data.as_slice()))
        .collect();
    let track = encode(layout, 17, 1, &sectors).unwrap();
    (contents, track)
}

#[test]
fn budgets_are_those_of_the_handbooks() {
    let layout = Layout::MFM_9_BY_512;
    // Preamble 146 = 80 + 12 + 3 + 1 + 50: SA810/860 OEM manual, fig. 6-7. The sums are arithmetic
    // over the fields of SMSC LPC47M102 data sheet, p. 49: 12 + 4 + 6 + 22 + 12 + 4 + 514 + 80.
    assert_eq!(layout.preamble_bytes(), 146);
    assert_eq!(layout.sector_span_bytes(), 654);
    assert_eq!(layout.gap_4b_bytes(), Ok(218));
    assert_eq!(layout.turn_bits(), 100_000);
    // SA810/860 OEM manual, fig. 6-7: records, size code, gap 3 with its write-gate-off byte, gap
    // 4b; 10 416 bytes a turn in all three.
    for (sectors, size_code, gap_3_bytes, gap_4b) in
        [(8, 3, 116, 654), (15, 2, 84, 400), (26, 1, 54, 598)]
    {
        let layout = Layout { sectors, size_code, gap_3_bytes, turn_bytes: 10_416, ..layout };
        assert_eq!(layout.gap_4b_bytes(), Ok(gap_4b));
    }
    assert_eq!(FM_16_BY_128.gap_4b_bytes(), Ok(44));
}

#[test]
fn fields_follow_each_other_in_the_standard_order_without_holes() {
    use FieldKind::*;
    let (_, track) = laid_out(&Layout::MFM_9_BY_512, 1);
    let kinds: Vec<_> = track.fields.iter().map(|field| field.kind).collect();
    let sector =
        [Sync, IdentifierMark, Address, AddressCheck, Gap2, Sync, DataMark, Data, DataCheck, Gap3];
    let preamble = [Gap4a, Sync, IndexMark, Gap1];
    assert_eq!(kinds, [&preamble[..], &sector.repeat(9), &[Gap4b]].concat());
    let mut end = 0;
    for field in &track.fields {
        assert_eq!(field.start_bit, end);
        end += field.channel_bits;
    }
    assert_eq!(end, track.bits.len());
    assert_eq!(track.fields[4].sector, Some(1));
    assert_eq!(track.fields.last().unwrap().sector, None);
    // Field lengths in bytes: SMSC LPC47M102 data sheet, p. 49.
    let lengths: Vec<_> = track.fields[..14].iter().map(|f| f.channel_bits / 16).collect();
    assert_eq!(lengths, [80, 12, 4, 50, 12, 4, 4, 2, 22, 12, 4, 512, 2, 80]);
}

#[test]
fn fm_fields_have_their_own_lengths_and_marks() {
    let (_, track) = laid_out(&FM_16_BY_128, 1);
    let lengths: Vec<_> = track.fields[..14].iter().map(|f| f.channel_bits / 16).collect();
    assert_eq!(lengths, [40, 6, 1, 26, 6, 1, 4, 2, 11, 6, 1, 128, 2, 27]);
    let word = |field: usize| track.bits.window(track.fields[field].start_bit, 16) as u16;
    // Clock byte D7: SA810/860 OEM manual, fig. 6-9; C7: from memory.
    assert_eq!((data_byte(word(2)), clock_byte(word(2))), (0xfc, 0xd7));
    assert_eq!((data_byte(word(5)), clock_byte(word(5))), (0xfe, 0xc7));
    assert_eq!((data_byte(word(10)), clock_byte(word(10))), (0xfb, 0xc7));
}

#[test]
fn clock_bits_are_right_over_every_junction_and_the_wrap() {
    let odd_ends = Layout {
        // No gap 4b and no gap 3: the track ends in the last check, and that in any data bit.
        gap_3_bytes: 0,
        turn_bytes: 146 + 9 * 574,
        ..Layout::MFM_9_BY_512
    };
    let bare = Layout { preamble: Preamble::GapOnly { gap_1_bytes: 32 }, ..Layout::MFM_9_BY_512 };
    let mut last_bits = [false; 2];
    for seed in 0..8 {
        for layout in [Layout::MFM_9_BY_512, odd_ends, bare, FM_16_BY_128] {
            let (_, track) = laid_out(&layout, seed);
            let legal =
                regenerate_clocks(layout.recording, &track.bits, &track.special_bytes()).unwrap();
            assert!(legal == track.bits, "{layout:?}");
            if layout.recording == Recording::Mfm {
                let fast = mfm_fast::regenerate_clocks(&track.bits, &track.special_bytes());
                assert!(fast.unwrap() == track.bits);
                last_bits[usize::from(track.bits.get(track.bits.len() - 1))] = true;
            }
            assert_eq!(first_outside(layout.recording, &track.bits), None);
        }
    }
    assert_eq!(last_bits, [true; 2], "both contexts came over the wrap");
}

#[test]
fn random_sectors_come_back_at_every_phase() {
    for (seed, layout) in [(1, Layout::MFM_9_BY_512), (2, FM_16_BY_128)] {
        let (contents, track) = laid_out(&layout, seed);
        let turns = (0..40).chain([63, 64, 65, 1_000, 12_345, 33_333, track.bits.len() - 1]);
        for by in turns.chain((0..track.bits.len()).step_by(2_347)) {
            let found = decode(&track.bits.rotated(by), &layout);
            assert_eq!(found.defects, [], "turned by {by}");
            assert_eq!(found.sectors.len(), contents.len(), "turned by {by}");
            for sector in &found.sectors {
                let number = usize::from(sector.address.sector);
                assert!(sector.data == contents[number - 1], "sector {number} turned by {by}");
                assert_eq!((sector.address.cylinder, sector.address.side), (17, 1));
                assert_eq!(sector.deleted, number % 2 == 0);
                let mark = track
                    .fields
                    .iter()
                    .find(|field| {
                        field.kind == FieldKind::IdentifierMark
                            && field.sector == Some(sector.address.sector)
                    })
                    .unwrap();
                assert_eq!((sector.start_bit() + by) % track.bits.len(), mark.start_bit);
            }
        }
    }
}

#[test]
fn every_flipped_channel_bit_of_a_sectors_fields_is_noticed() {
    use FieldKind::*;
    for (seed, layout) in [
        (3, Layout { sectors: 1, size_code: 1, turn_bytes: 600, ..Layout::MFM_9_BY_512 }),
        (4, Layout { sectors: 1, turn_bytes: 300, ..FM_16_BY_128 }),
    ] {
        let (_, track) = laid_out(&layout, seed);
        let fields = track.fields.iter().filter(|field| {
            [IdentifierMark, Address, AddressCheck, DataMark, Data, DataCheck].contains(&field.kind)
        });
        for field in fields {
            for bit in field.start_bit..field.start_bit + field.channel_bits {
                let mut flipped = track.bits.clone();
                flipped.set(bit, !flipped.get(bit));
                let defects = decode(&flipped, &layout).defects;
                assert!(!defects.is_empty(), "channel bit {bit} in the {}", field.kind.name());
                let named = |defect: &Defect| {
                    if bit % 2 == 1 {
                        matches!(defect.kind, DefectKind::Check { .. })
                    } else {
                        defect.kind == DefectKind::Clock && defect.at_bit == bit
                    }
                };
                if ![IdentifierMark, DataMark].contains(&field.kind) {
                    assert!(defects.iter().any(named), "channel bit {bit}: {defects:?}");
                }
            }
        }
    }
}

#[test]
fn a_defect_says_what_and_where() {
    let layout = Layout::MFM_9_BY_512;
    let (_, track) = laid_out(&layout, 5);
    let data = track.fields.iter().find(|field| field.kind == FieldKind::Data).unwrap();
    let clock = data.start_bit + 16;
    let mut flipped = track.bits.clone();
    flipped.set(clock, !flipped.get(clock));
    let found = decode(&flipped, &layout);
    assert_eq!(
        found.defects[0].to_string(),
        format!(
            "sector 1, data at channel bit {clock}: a clock bit that the code does not ask for"
        )
    );
    assert!(found.sectors[0].data_check_right, "the data bits are as they were");

    let mark = track.fields.iter().find(|field| field.kind == FieldKind::DataMark).unwrap();
    let mut without = track.bits.clone();
    without.set(mark.start_bit + 1, false);
    let found = decode(&without, &layout);
    let identifier = track.fields[5].start_bit;
    assert_eq!(
        found.defects.iter().map(ToString::to_string).collect::<Vec<_>>(),
        [format!(
            "sector 1, identifier mark at channel bit {identifier}: no data mark follows in reach"
        )]
    );
}

#[test]
fn lost_and_doubled_identifiers_are_defects() {
    let layout = Layout::MFM_9_BY_512;
    let (_, track) = laid_out(&layout, 6);
    let identifier = track.fields[5].start_bit;
    let mut lost = track.bits.clone();
    lost.set(identifier + 1, false);
    let kinds: Vec<_> = decode(&lost, &layout).defects.iter().map(|d| (d.kind, d.sector)).collect();
    assert_eq!(kinds, [(DefectKind::NoIdentifier, None), (DefectKind::Missing, Some(1))]);

    let twice = {
        let mut bits = track.bits.clone();
        bits.push_cyclic(&track.bits, 0, track.bits.len());
        decode(&bits, &layout)
    };
    assert_eq!(twice.sectors.len(), 18);
    assert_eq!(twice.defects.len(), 9);
    assert!(twice.defects.iter().all(|defect| defect.kind == DefectKind::Twice));
}

#[test]
fn a_size_code_of_another_layout_is_named() {
    let small = Layout { size_code: 1, ..Layout::MFM_9_BY_512 };
    let (_, track) = laid_out(&small, 7);
    let found = decode(&track.bits, &Layout::MFM_9_BY_512);
    let size = DefectKind::SizeCode { recorded: 1, wanted: 2 };
    assert_eq!(found.defects.iter().filter(|defect| defect.kind == size).count(), 9);
}

#[test]
fn tracks_without_sectors_have_none() {
    let layout = Layout::MFM_9_BY_512;
    for track in [ChannelBits::new(), ChannelBits::zeros(1), ChannelBits::zeros(100_000)] {
        let found = decode(&track, &layout);
        assert_eq!(found.sectors, []);
        assert_eq!(found.defects.len(), 9);
        assert!(found.defects.iter().all(|defect| defect.kind == DefectKind::Missing));
    }
}

#[test]
fn what_does_not_fit_is_refused_with_the_arithmetic() {
    let layout = Layout { turn_bytes: 6_000, ..Layout::MFM_9_BY_512 };
    assert_eq!(
        layout.gap_4b_bytes().unwrap_err().to_string(),
        "the layout takes 146 + 9 x 654 = 6032 bytes, a turn has 6000, 32 fewer: shorten gaps or \
         leave out sectors"
    );
    let empty = SectorData::Kept(&[]);
    assert!(matches!(encode(&layout, 0, 0, &[empty; 9]), Err(LayoutError::Fit { .. })));
    let data = [0; 512];
    let nine = Layout::MFM_9_BY_512;
    assert_eq!(
        encode(&nine, 0, 0, &[SectorData::Kept(&data); 8]).unwrap_err(),
        LayoutError::Sectors { given: 8, wanted: 9 }
    );
    assert_eq!(
        encode(&nine, 0, 0, &[SectorData::Kept(&data[1..]); 9]).unwrap_err().to_string(),
        "sector 1 was given 511 bytes, its size code asks for 512: fill or cut the data"
    );
    let huge = Layout { size_code: 8, ..nine };
    assert_eq!(huge.gap_4b_bytes(), Err(LayoutError::Size { size_code: 8 }));
    let long = Layout { turn_bytes: 50_001, ..nine };
    assert_eq!(long.gap_4b_bytes(), Err(LayoutError::Turn { channel_bits: 800_016 }));
}
