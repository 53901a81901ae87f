//! The full-track layout against its definition, computed another way: one bit at a time, from
//! strings of data bits. The layout is our own; nothing of it is published.

mod random;

use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::regenerate_clocks;
use trackproof_model::code::run_length::first_outside;
use trackproof_model::layout::full_track::{FullTrack, decode, encode, join, split};
use trackproof_model::layout::{
    Defect, DefectKind, EncodedTrack, FieldKind, LayoutError, SectorData,
};

const TEN: FullTrack = FullTrack::TEN_BY_512;
/// No filler: the last check stands before the wrap.
const CLOSED: FullTrack = FullTrack { sectors: 11, sector_bytes: 512, turn_bytes: 11 * 527 };
const SMALL: FullTrack = FullTrack { sectors: 2, sector_bytes: 6, turn_bytes: 50 };

fn laid_out(layout: &FullTrack, cylinder: u8, seed: u64) -> (Vec<Vec<u8>>, EncodedTrack) {
    let contents: Vec<_> = (0..u64::from(layout.sectors))
        .map(|sector| random::bytes(seed * 100 + sector, layout.sector_bytes.into()))
        .collect();
    let sectors: Vec<_> = contents.iter().map(|data| SectorData::Kept(data)).collect();
    let track = encode(layout, cylinder, 1, &sectors).unwrap();
    (contents, track)
}

/// Data bits, first bit first.
fn bits_of(bytes: &[u8]) -> Vec<bool> {
    bytes.iter().flat_map(|byte| (0..8).rev().map(move |place| byte >> place & 1 == 1)).collect()
}

/// The remainder of the division by x^16 + x^12 + x^5 + 1, preset to all ones.
fn remainder(bits: &[bool]) -> Vec<bool> {
    let mut register = vec![true; 16];
    for bit in bits {
        let out = register.remove(0) ^ bit;
        register.push(out);
        register[3] ^= out;
        register[10] ^= out;
    }
    register
}

/// In a string of data bits, bit 7 of the first byte comes first, so that even bits stand at the
/// odd places.
fn halves(bits: &[bool]) -> Vec<bool> {
    let places = |first: usize| bits.iter().skip(first).step_by(2).copied();
    places(1).chain(places(0)).collect()
}

/// The whole track from the definition: data bits, and where the clock bits of sync words are.
fn by_definition(layout: &FullTrack, cylinder: u8, side: u8, contents: &[Vec<u8>]) -> Vec<bool> {
    let (mut data, mut missing) = (Vec::new(), Vec::new());
    for (number, contents) in (0..).zip(contents) {
        data.extend([false; 32]);
        for _ in 0..3 {
            // A1 has data bits 10100001; the clock bit between bits 3 and 2 is missing.
            missing.push(data.len() + 5);
            data.extend(bits_of(&[0xa1]));
        }
        for field in [bits_of(&[cylinder, side, number, 0]), bits_of(contents)] {
            data.extend(halves(&field));
            let checked = [bits_of(&[0xa1, 0xa1, 0xa1]), field].concat();
            data.extend(halves(&remainder(&checked)));
        }
    }
    while data.len() < 8 * layout.turn_bytes as usize {
        data.extend(bits_of(&[0x4e]));
    }
    let mut track = Vec::new();
    for (place, bit) in data.iter().enumerate() {
        let before = data[(place + data.len() - 1) % data.len()];
        track.push(!before && !bit && !missing.contains(&place));
        track.push(*bit);
    }
    track
}

#[test]
fn a_track_is_what_the_definition_makes_it() {
    for (layout, seed) in [(TEN, 1), (CLOSED, 2), (CLOSED, 3), (SMALL, 4)] {
        for cylinder in [0, 16, 79] {
            let (contents, track) = laid_out(&layout, cylinder, seed);
            let expected = by_definition(&layout, cylinder, 1, &contents);
            assert!(track.bits == expected.into_iter().collect(), "{layout:?} {cylinder}");
        }
    }
}

#[test]
fn the_budget_is_that_of_the_definition() {
    // 4 + 3 + 4 + 2 + 512 + 2; 6 250 bytes a turn: RS 237-088 leaflet 9419, 1.2.1.
    assert_eq!(TEN.sector_span_bytes(), 527);
    assert_eq!(TEN.filler_bytes(), Ok(6_250 - 10 * 527));
    assert_eq!(CLOSED.filler_bytes(), Ok(0));
    assert_eq!(TEN.turn_bits(), 100_000);
    assert_eq!(FullTrack { sectors: 11, ..TEN }.filler_bytes(), Ok(453));
}

#[test]
fn fields_follow_each_other_without_holes() {
    use FieldKind::*;
    let (_, track) = laid_out(&TEN, 3, 1);
    let kinds: Vec<_> = track.fields.iter().map(|field| field.kind).collect();
    let sector = [Sync, SyncWords, Address, AddressCheck, Data, DataCheck];
    assert_eq!(kinds, [&sector.repeat(10)[..], &[Filler]].concat());
    let mut next = 0;
    for field in &track.fields {
        assert_eq!(field.start_bit, next);
        next += field.channel_bits;
    }
    assert_eq!(next, track.bits.len());
    let lengths: Vec<_> = track.fields[..6].iter().map(|f| f.channel_bits / 16).collect();
    assert_eq!(lengths, [4, 3, 4, 2, 512, 2]);
    assert_eq!(track.fields[6].sector, Some(1));
    assert_eq!(track.fields[60].sector, None);
}

#[test]
fn splitting_and_joining_is_the_identity_for_all_words() {
    for word in 0..=u16::MAX {
        let field = word.to_be_bytes();
        assert_eq!(join(&split(&field)), field);
        assert_eq!(split(&join(&field)), field);
        let bits: Vec<bool> = halves(&bits_of(&field));
        assert_eq!(bits_of(&split(&field)), bits);
    }
    let long = random::bytes(9, 512);
    assert_eq!(bits_of(&split(&long)), halves(&bits_of(&long)));
    assert_eq!(join(&split(&long)), long);
}

#[test]
fn clock_bits_are_right_over_every_junction_and_the_wrap() {
    let mut last_bits = [false; 2];
    for seed in 0..8 {
        for layout in [TEN, CLOSED, SMALL] {
            let (_, track) = laid_out(&layout, 40, seed);
            let special = track.special_bytes();
            assert_eq!(special.len(), 3 * usize::from(layout.sectors));
            let legal = regenerate_clocks(Recording::Mfm, &track.bits, &special).unwrap();
            assert!(legal == track.bits, "{layout:?}");
            assert_eq!(first_outside(Recording::Mfm, &track.bits), None);
            last_bits[usize::from(track.bits.get(track.bits.len() - 1))] = true;
        }
    }
    assert_eq!(last_bits, [true; 2], "both contexts came over the wrap");
}

#[test]
fn random_sectors_come_back_at_every_phase_with_their_places() {
    for (layout, seed) in [(TEN, 1), (CLOSED, 2)] {
        let (contents, track) = laid_out(&layout, 17, seed);
        let turn = track.bits.len();
        for by in (0..40).chain([63, 64, 65, 12_345, turn - 1]).chain((0..turn).step_by(2_347)) {
            let found = decode(&track.bits.rotated(by), &layout);
            assert_eq!(found.defects, [], "turned by {by}");
            assert_eq!(found.sectors.len(), contents.len(), "turned by {by}");
            for sector in &found.sectors {
                let number = sector.address.sector;
                assert!(sector.data == contents[usize::from(number)], "turned by {by}");
                assert_eq!((sector.address.cylinder, sector.address.side), (17, 1));
                assert!(sector.is_good() && !sector.deleted);
                let back = |bit: usize| (bit + by) % turn;
                let mut places = track.fields.iter().filter(|f| f.sector == Some(number)).skip(1);
                for field in &sector.fields {
                    let place = places.next().unwrap();
                    assert_eq!((field.kind, field.sector), (place.kind, place.sector));
                    assert_eq!(back(field.start_bit), place.start_bit);
                    assert_eq!(field.channel_bits, place.channel_bits);
                }
                assert_eq!(places.next(), None);
                assert_eq!(sector.start_bit(), sector.fields[0].start_bit);
            }
        }
    }
}

#[test]
fn every_flipped_channel_bit_of_a_sectors_fields_is_noticed_at_its_place() {
    use FieldKind::*;
    let (_, track) = laid_out(&SMALL, 5, 3);
    for field in track.fields.iter().filter(|field| ![Sync, Filler].contains(&field.kind)) {
        for bit in field.start_bit..field.start_bit + field.channel_bits {
            let mut flipped = track.bits.clone();
            flipped.set(bit, !flipped.get(bit));
            let defects = decode(&flipped, &SMALL).defects;
            let named = |defect: &Defect| match field.kind {
                SyncWords => defect.kind == DefectKind::Missing && defect.sector == field.sector,
                _ if bit % 2 == 0 => {
                    (defect.kind, defect.field, defect.at_bit, defect.sector)
                        == (DefectKind::Clock, field.kind, bit, field.sector)
                }
                Address | AddressCheck => {
                    matches!(defect.kind, DefectKind::Check { .. }) && defect.field == AddressCheck
                }
                _ => matches!(defect.kind, DefectKind::Check { .. }) && defect.field == DataCheck,
            };
            assert!(defects.iter().any(named), "channel bit {bit}: {defects:?}");
        }
    }
}

#[test]
fn headers_that_end_in_something_and_doubled_sectors_are_defects() {
    let (_, track) = laid_out(&SMALL, 5, 4);
    // A header with a right check whose last byte is 01: the last of the even bits.
    let header = [5, 1, 0, 1];
    let check = trackproof_model::check::check(&[&[0xa1; 3], &header]).to_be_bytes();
    let recorded = [split(&header), split(&check)].concat();
    let mut bits = track.bits.clone();
    for (place, bit) in bits_of(&recorded).into_iter().enumerate() {
        bits.set(7 * 16 + 2 * place + 1, bit);
    }
    let bits = regenerate_clocks(Recording::Mfm, &bits, &track.special_bytes()).unwrap();
    let found = decode(&bits, &SMALL);
    let texts: Vec<_> = found.defects.iter().map(ToString::to_string).collect();
    assert_eq!(
        texts,
        ["sector 0, address at channel bit 112: the header ends in 01, the layout has 00"]
    );

    let mut twice = track.bits.clone();
    twice.push_cyclic(&track.bits, 0, track.bits.len());
    let found = decode(&twice, &SMALL);
    assert_eq!(found.sectors.len(), 4);
    let kinds: Vec<_> = found.defects.iter().map(|defect| (defect.kind, defect.field)).collect();
    assert_eq!(kinds, [(DefectKind::Twice, FieldKind::SyncWords); 2]);
    assert_eq!(found.defects[0].at_bit, 800 + 64);
}

#[test]
fn tracks_without_sectors_have_none() {
    for track in [ChannelBits::new(), ChannelBits::zeros(1), ChannelBits::zeros(100_000)] {
        let found = decode(&track, &TEN);
        assert_eq!(found.sectors, []);
        assert_eq!(found.defects.len(), 10);
        assert!(found.defects.iter().all(|defect| defect.kind == DefectKind::Missing));
    }
    // Sync words and nothing after them but themselves, round and round.
    let syncs = ChannelBits::from_bytes(&[0x44, 0x89].repeat(300), 4_800);
    assert!(decode(&syncs, &TEN).sectors.iter().all(|sector| !sector.is_good()));
}

#[test]
fn a_sector_with_a_marked_channel_bit_in_a_field_is_touched_also_over_the_wrap() {
    let (_, track) = laid_out(&SMALL, 5, 6);
    for by in [0, 130, 300, 333] {
        let bits = track.bits.rotated(by);
        for bit in 0..bits.len() {
            let mut marked = ChannelBits::zeros(bits.len());
            marked.set(bit, true);
            let at = (bit + by) % bits.len();
            let field = track.fields.iter().rfind(|field| field.start_bit <= at).unwrap();
            for sector in decode(&bits, &SMALL).sectors {
                let own =
                    field.kind != FieldKind::Sync && field.sector == Some(sector.address.sector);
                assert_eq!(sector.touches(&marked), own, "bit {bit} turned by {by}");
            }
        }
    }
}

#[test]
fn some_cylinders_forge_a_sync_word_seven_bits_after_the_last_one() {
    // By enumeration; which followers of A1 forge it: the same (see tests of the code).
    let mut forging = Vec::new();
    for cylinder in 0..80 {
        let (_, track) = laid_out(&TEN, cylinder, u64::from(cylinder));
        let places: Vec<_> = (0..track.bits.len())
            .filter(|start| track.bits.cyclic_window(*start, 16) == 0x4489)
            .collect();
        let special = track.special_bytes();
        let forged: Vec<_> = places.into_iter().filter(|start| !special.contains(start)).collect();
        if !forged.is_empty() {
            let seventh: Vec<_> = special.iter().skip(2).step_by(3).map(|at| at + 7).collect();
            assert_eq!(forged, seventh);
            forging.push(cylinder);
        }
        assert_eq!(decode(&track.bits, &TEN).defects, []);
    }
    assert_eq!(forging, [16, 18, 24, 26, 48, 50, 56, 58]);
}

#[test]
fn what_does_not_fit_is_refused_with_the_arithmetic() {
    let error = FullTrack { sectors: 12, ..TEN }.filler_bytes().unwrap_err();
    assert_eq!(
        error.to_string(),
        "the layout takes 12 x 527 = 6324 bytes, a turn has 6250, 74 fewer: leave out sectors"
    );
    let data = [0; 512];
    let kept = SectorData::Kept(&data);
    assert_eq!(
        encode(&TEN, 0, 0, &[kept; 9]).unwrap_err(),
        LayoutError::Sectors { given: 9, wanted: 10 }
    );
    let mut sectors = [kept; 10];
    sectors[3] = SectorData::Kept(&data[1..]);
    assert_eq!(
        encode(&TEN, 0, 0, &sectors).unwrap_err(),
        LayoutError::Data { sector: 3, given: 511, wanted: 512 }
    );
    sectors[3] = SectorData::Deleted(&data);
    let error = encode(&TEN, 0, 0, &sectors).unwrap_err();
    assert_eq!(error, LayoutError::NoDeleted { sector: 3 });
    assert!(error.to_string().contains("no data marks"));
    for sector_bytes in [0, 511] {
        let error = FullTrack { sector_bytes, ..TEN }.filler_bytes().unwrap_err();
        assert_eq!(error, LayoutError::Split { sector_bytes: sector_bytes.into() });
        assert!(error.to_string().contains("an even number"), "{error}");
    }
    let long = FullTrack { turn_bytes: 50_001, ..TEN };
    assert_eq!(long.filler_bytes(), Err(LayoutError::Turn { channel_bits: 800_016 }));
}
