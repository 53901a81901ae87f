//! The layouts of the standards: their budgets against published sums, their tracks laid out and
//! read back, and the tables that do not fit a turn refused.
//!
//! Layout files carry a source for each value. Values from memory stand here only beside the
//! arithmetic that they have to satisfy.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use std::collections::BTreeMap;
use trackproof::layout_file::{BUILT_IN, load, parse};
use trackproof_contract::Recording;
use trackproof_model::code::run_length::first_outside;
use trackproof_model::code::{clock_byte, clock_faults, data_byte, free_on_real};
use trackproof_model::layout::{EncodedTrack, FieldKind, Layout, SectorData, TrackLayout};
use trackproof_model::software_sync::{by_software, read_bits};

fn built_in() -> impl Iterator<Item = (&'static str, TrackLayout)> {
    BUILT_IN.iter().map(|(name, _)| (*name, load(name).unwrap()))
}

fn soft_sector(name: &str) -> Layout {
    match load(name) {
        Ok(TrackLayout::SoftSector(layout)) => layout,
        other => panic!("{name}: {other:?}"),
    }
}

/// Random sectors, every second one deleted where the layout can.
fn laid_out(layout: TrackLayout, seed: u64) -> (Vec<Vec<u8>>, EncodedTrack) {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let contents: Vec<Vec<u8>> = (0..layout.sectors())
        .map(|_| {
            let mut data = vec![0; layout.sector_bytes()];
            random.fill_bytes(&mut data);
            data
        })
        .collect();
    let deleted = matches!(layout, TrackLayout::SoftSector(_));
    let sectors: Vec<_> = (0..)
        .zip(&contents)
        .map(|(place, data)| match place % 2 {
            1 if deleted => SectorData::Deleted(data),
            _ => SectorData::Kept(data),
        })
        .collect();
    let track = layout.encode(1, 1, &sectors).unwrap();
    (contents, track)
}

#[test]
fn three_budgets_add_up_to_the_handbooks_10_416_bytes() {
    // SA810/860 OEM manual, fig. 6-7: gap 4b; the turn: the same manual, 6.3.
    for (name, sum, gap_4b) in [
        ("mfm-8x1024-10416", 146 + 8 * 1_202 + 654, 654),
        ("mfm-15x512-10416", 146 + 15 * 658 + 400, 400),
        ("mfm-26x256-10416", 146 + 26 * 372 + 598, 598),
    ] {
        let layout = soft_sector(name);
        assert_eq!(sum, 10_416);
        assert_eq!(layout.turn_bytes, 10_416);
        assert_eq!(layout.gap_4b_bytes(), Ok(gap_4b), "{name}");
        // A byte more in each sector's gap 3 than the handbook's: it no longer adds up.
        let longer = Layout { gap_3_bytes: layout.gap_3_bytes + 1, ..layout };
        assert_eq!(longer.gap_4b_bytes(), Ok(gap_4b - usize::from(layout.sectors)));
    }
}

#[test]
fn every_layout_leaves_what_arithmetic_leaves() {
    // Preamble, sectors, bytes a sector, turn: sums over the fields of SMSC LPC47M102 data sheet,
    // p. 49, and, where it is from memory, the layout file's own gap 3.
    let mfm = |data: usize, gap_3: usize| 12 + 4 + 4 + 2 + 22 + 12 + 4 + data + 2 + gap_3;
    let fm = |data: usize, gap_3: usize| 6 + 1 + 4 + 2 + 11 + 6 + 1 + data + 2 + gap_3;
    let table = BTreeMap::from([
        ("fm-16x128-3125", (73, 16, fm(128, 27), 3_125, 44)),
        ("fm-26x128-5208", (73, 26, fm(128, 27), 5_208, 247)),
        ("fm-15x256-5208", (73, 15, fm(256, 42), 5_208, 170)),
        ("fm-8x512-5208", (73, 8, fm(512, 58), 5_208, 311)),
        ("mfm-16x256-6250", (146, 16, mfm(256, 54), 6_250, 152)),
        ("mfm-9x512-6250", (146, 9, mfm(512, 80), 6_250, 218)),
        ("mfm-9x512-6250-wide-gap-3", (146, 9, mfm(512, 84), 6_250, 182)),
        ("mfm-9x512-6250-no-index-mark", (32, 9, mfm(512, 80), 6_250, 332)),
        ("mfm-10x512-6250", (60, 10, mfm(512, 40), 6_250, 50)),
        ("mfm-26x256-10416", (146, 26, mfm(256, 54), 10_416, 598)),
        ("mfm-15x512-10416", (146, 15, mfm(512, 84), 10_416, 400)),
        ("mfm-8x1024-10416", (146, 8, mfm(1_024, 116), 10_416, 654)),
        ("mfm-18x512-12500", (146, 18, mfm(512, 101), 12_500, 204)),
        ("mfm-18x512-12500-wide-gap-3", (146, 18, mfm(512, 108), 12_500, 78)),
        ("mfm-36x512-25000", (146, 36, mfm(512, 83) + 41 - 22, 25_000, 518)),
    ]);
    for (name, layout) in built_in() {
        let TrackLayout::SoftSector(layout) = layout else { continue };
        let (preamble, sectors, span, turn, left) = table[name];
        assert_eq!(preamble + sectors * span + left, turn, "{name}: the row itself");
        assert_eq!(layout.preamble_bytes(), preamble, "{name}");
        assert_eq!(layout.sector_span_bytes(), span, "{name}");
        assert_eq!((layout.sectors.into(), layout.turn_bytes as usize), (sectors, turn), "{name}");
        assert_eq!(layout.gap_4b_bytes(), Ok(left), "{name}");
    }
    assert_eq!(table.len() + 1, BUILT_IN.len());
}

#[test]
fn formatted_bytes_are_those_of_the_drives() {
    // 737.3 KB and 1 474.6 KB: SFD-321B specification, 2.1; 1 228 800 bytes: RS 237-088 leaflet
    // 9419, 1.2.1; 80 cylinders and two sides (ISO 8860, ISO/IEC 9529-2, ISO 8630: titles).
    for (name, bytes) in [
        ("mfm-9x512-6250", 737_280),
        ("mfm-18x512-12500", 1_474_560),
        ("mfm-15x512-10416", 1_228_800),
    ] {
        let layout = soft_sector(name);
        assert_eq!(160 * usize::from(layout.sectors) * layout.sector_bytes(), bytes, "{name}");
    }
    assert_eq!((737_280_f64 / 1e3).round(), 737.0);
    assert_eq!((1_474_560_f64 / 1e2).round() / 10.0, 1_474.6);
}

#[test]
fn syncs_and_gaps_keep_the_limits_that_are_stated_as_limits() {
    for (name, layout) in built_in() {
        let TrackLayout::SoftSector(layout) = layout else { continue };
        // Sync of at least 6 and 12 zero bytes: Sharp FDD-412A manual, p. 20.
        let least_sync = if layout.recording == Recording::Fm { 6 } else { 12 };
        assert!(layout.sync_bytes >= least_sync, "{name}");
        if layout.turn_bytes == 6_250 {
            // At 250 kbit/s 512 us and 544 us, 16 and 17 bytes of 32 us: the same page.
            assert!(layout.gap_2_bytes >= 512 / 32 && layout.gap_3_bytes >= 544 / 32, "{name}");
        }
    }
}

#[test]
fn every_layout_comes_back_with_its_marks_and_places_at_any_phase() {
    for (seed, (name, layout)) in (0..).zip(built_in()) {
        let (contents, track) = laid_out(layout, seed);
        let turn = track.bits.len();
        assert_eq!(turn, layout.turn_bits(), "{name}");
        assert_eq!(first_outside(layout.recording(), &track.bits), None, "{name}");
        let faults = clock_faults(layout.recording(), &track.bits, &track.special_bytes());
        assert_eq!(faults, Ok(vec![]), "{name}");
        assert_eq!(free_on_real(layout.recording(), &track.bits).count_ones(), 0, "{name}");
        for by in (0..turn).step_by(turn / 7).chain([1, 33, turn - 1]) {
            let found = layout.decode(&track.bits.rotated(by));
            assert_eq!(found.defects, [], "{name} turned by {by}");
            assert_eq!(found.sectors.len(), contents.len(), "{name} turned by {by}");
            for sector in &found.sectors {
                let number = sector.address.sector;
                let first = u8::from(matches!(layout, TrackLayout::SoftSector(_)));
                assert!(sector.is_good());
                assert!(sector.data == contents[usize::from(number - first)], "{name}: {number}");
                let deleted = matches!(layout, TrackLayout::SoftSector(_)) && number % 2 == 0;
                assert_eq!(sector.deleted, deleted, "{name}: {number}");
                for field in &sector.fields {
                    let start_bit = (field.start_bit + by) % turn;
                    let wanted = trackproof_model::layout::Field { start_bit, ..*field };
                    assert!(track.fields.contains(&wanted), "{name}: {wanted:?}");
                }
            }
            let mut raw = trackproof_contract::ChannelBits::new();
            raw.push_cyclic(&track.bits, by, read_bits(turn, layout, 16));
            assert_eq!(by_software(&raw, layout).len(), contents.len(), "{name} turned by {by}");
        }
    }
}

#[test]
fn fields_stand_in_the_published_order_with_the_published_bytes() {
    use FieldKind::*;
    for (name, layout) in built_in() {
        let TrackLayout::SoftSector(_) = layout else { continue };
        let mfm = layout.recording() == Recording::Mfm;
        let (_, track) = laid_out(layout, 1);
        let bytes = |kind: FieldKind, sector: Option<u8>| {
            let field =
                track.fields.iter().find(|field| field.kind == kind && field.sector == sector);
            let field = field.unwrap_or_else(|| panic!("{name} has no {}", kind.name()));
            let word = |byte: usize| track.bits.window(field.start_bit + 16 * byte, 16) as u16;
            (0..field.channel_bits / 16)
                .map(|byte| (data_byte(word(byte)), clock_byte(word(byte))))
                .collect::<Vec<_>>()
        };
        let data = |field: &[(u8, u8)]| field.iter().map(|(data, _)| *data).collect::<Vec<_>>();
        // Marks and fill bytes: SMSC LPC47M102 data sheet, p. 49; clock bytes 0A and 14: SA810/860
        // OEM manual, fig. 6-7; D7: fig. 6-9; C7: from memory, beside the search of all legal FM
        // for it (tests of the code).
        let mark = |special: (u8, u8), byte: u8, clock: u8| match mfm {
            true => vec![special, special, special, (byte, clock)],
            false => vec![(byte, clock)],
        };
        let clock = |mfm_clock: u8, fm_clock: u8| if mfm { mfm_clock } else { fm_clock };
        assert_eq!(
            bytes(IdentifierMark, Some(1)),
            mark((0xa1, 0x0a), 0xfe, clock(0x00, 0xc7)),
            "{name}"
        );
        assert_eq!(bytes(DataMark, Some(1)), mark((0xa1, 0x0a), 0xfb, clock(0x00, 0xc7)));
        assert_eq!(bytes(DataMark, Some(2)), mark((0xa1, 0x0a), 0xf8, clock(0x03, 0xc7)));
        if track.fields[0].kind == Gap4a {
            assert_eq!(bytes(IndexMark, None), mark((0xc2, 0x14), 0xfc, clock(0x01, 0xd7)));
        }
        for gap in [Gap1, Gap4b] {
            let fill = if mfm { 0x4e } else { 0xff };
            assert!(data(&bytes(gap, None)).iter().all(|byte| *byte == fill), "{name}");
        }
        assert!(bytes(Sync, Some(1)).iter().all(|(data, clock)| {
            // After a one the first clock bit is missing by the ordinary rule.
            *data == 0 && [0xff, 0x7f].contains(clock)
        }));
        let size_code = (layout.sector_bytes() / 128).ilog2() as u8;
        assert_eq!(data(&bytes(Address, Some(2))), [1, 1, 2, size_code], "{name}");
    }
}

#[test]
fn a_turn_that_is_shorter_by_the_speeds_tolerance_holds_just_so_or_no_longer() {
    // 3 % (ISO 8630-3, clause 4.4.2) of 6 250 bytes leave 6 068: the longer gap 3 has no slack.
    let nine = soft_sector("mfm-9x512-6250-wide-gap-3");
    assert_eq!((6_250.0_f64 / 1.03).round(), 6_068.0);
    let faster = |turn_bytes| Layout { turn_bytes, ..nine };
    assert_eq!(faster(6_068).gap_4b_bytes(), Ok(0));
    assert_eq!(
        faster(6_067).gap_4b_bytes().unwrap_err().to_string(),
        "the layout takes 146 + 9 x 658 = 6068 bytes, a turn has 6067, 1 fewer: shorten gaps or \
         leave out sectors"
    );
    // 1.5 % (SFD-321B specification, 2.1) of 12 500 bytes are more than the longer gap 3 leaves.
    let wide = soft_sector("mfm-18x512-12500-wide-gap-3");
    let turn_bytes = (12_500.0 / 1.015) as u32;
    assert!(Layout { turn_bytes, ..wide }.gap_4b_bytes().is_err());
    let narrow = soft_sector("mfm-18x512-12500");
    assert!(Layout { turn_bytes, ..narrow }.gap_4b_bytes().is_ok());
}

#[test]
fn gap_3_takes_up_what_a_rewritten_record_grows_by() {
    // What an update writes: sync, mark, data, check and the write-gate-off byte (SA810/860 OEM
    // manual, p. 36-37; what gap 3 is for: the same, p. 37): 12 + 4 + 512 + 2 + 1 bytes. Its growth
    // at a write speed that is faster than the format's by so many percent is arithmetic.
    let layout = soft_sector("mfm-9x512-6250");
    let record = usize::from(layout.sync_bytes) + 4 + layout.sector_bytes() + 2 + 1;
    assert_eq!(record, 531);
    for (percent, growth) in [(2, 10.6), (3, 15.9), (4, 21.2), (6, 31.9)] {
        let bytes = (record * percent) as f64 / 100.0;
        assert!((bytes - growth).abs() < 0.05, "{percent} %: {bytes}");
        assert!(bytes < f64::from(layout.gap_3_bytes), "{percent} %");
    }
    // A gap of 1 byte takes up nothing: why eleven sectors would not do even if they did fit.
    assert!(record as f64 * 0.02 > 1.0);
}

#[test]
fn tables_that_do_not_fit_a_turn_are_refused_with_the_arithmetic() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../reference-model/layouts/refused");
    let mut refused = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let text = std::fs::read_to_string(&path).unwrap();
        refused.insert(name.clone(), parse(&text, &name).unwrap_err().to_string());
    }
    // Sums over the fields of SMSC LPC47M102 data sheet, p. 49; 6 250 and 3 125 bytes a turn: RS
    // 237-088 leaflet 9419, 1.2.1.
    let why = |sum: &str, turn: u32, over: u32| {
        format!(
            "the layout takes {sum} bytes, a turn has {turn}, {over} fewer: shorten gaps or leave \
             out sectors"
        )
    };
    let expected = [
        ("fm-18x128-3125", why("73 + 18 x 170 = 3133", 3_125, 8)),
        ("fm-1x4096-3125", why("73 + 1 x 4384 = 4457", 3_125, 1_332)),
        ("fm-2x2048-3125", why("73 + 2 x 2336 = 4745", 3_125, 1_620)),
        ("fm-4x1024-3125", why("73 + 4 x 1192 = 4841", 3_125, 1_716)),
        ("fm-8x512-3125", why("73 + 8 x 593 = 4817", 3_125, 1_692)),
        ("mfm-11x512-6250", why("60 + 11 x 575 = 6385", 6_250, 135)),
    ];
    for (name, why) in &expected {
        assert_eq!(refused[*name], format!("{name}: {why}"));
    }
    assert_eq!(refused.len(), expected.len());
    // The same eleven sectors, without gaps and identifiers, fit.
    let text = "kind = \"full-track\"\nsectors = 11\nsector_bytes = 512\nturn_bytes = 6250\n";
    assert!(parse(text, "").is_ok());
}
