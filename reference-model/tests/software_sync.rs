//! Both ways of finding sectors give the same set, from any phase.

mod random;

use trackproof_contract::ChannelBits;
use trackproof_model::layout::{
    Address, EncodedTrack, FieldKind, FullTrack, Layout, SectorData, TrackLayout,
};
use trackproof_model::software_sync::{GoodSectors, by_hardware, by_software, read_bits};

const LAYOUT: TrackLayout = TrackLayout::SoftSector(Layout::MFM_9_BY_512);
const FULL: TrackLayout = TrackLayout::FullTrack(FullTrack::TEN_BY_512);

/// Whether a match on a word boundary is delivered.
#[derive(Clone, Copy, PartialEq)]
enum AlignedMatch {
    Word,
    Drop,
}

fn track(layout: TrackLayout, seed: u64) -> (GoodSectors, EncodedTrack) {
    recorded_on(40, layout, seed)
}

fn recorded_on(cylinder: u8, layout: TrackLayout, seed: u64) -> (GoodSectors, EncodedTrack) {
    let contents: Vec<_> = (0..u64::from(layout.sectors()))
        .map(|sector| random::bytes(seed * 9 + sector, layout.sector_bytes()))
        .collect();
    let sectors: Vec<_> = contents.iter().map(|data| SectorData::Kept(data)).collect();
    let track = layout.encode(cylinder, 1, &sectors).unwrap();
    let size_code = if matches!(layout, TrackLayout::FullTrack(_)) { 0 } else { 2 };
    let address = |sector| Address { cylinder, side: 1, sector, size_code };
    let first = match layout {
        TrackLayout::FullTrack(_) => 0,
        TrackLayout::SoftSector(_) => 1,
    };
    ((first..).map(address).zip(contents).collect(), track)
}

fn raw(track: &ChannelBits, from: usize, layout: TrackLayout, word_bits: usize) -> ChannelBits {
    let mut raw = ChannelBits::new();
    raw.push_cyclic(track, from, read_bits(track.len(), layout, word_bits));
    raw
}

/// The words of a read that starts at the first match; the counter is zeroed at each match and
/// bits left over from before it are lost (semantics of the profile `sync-dma`).
fn synced_words(
    track: &ChannelBits,
    from: usize,
    layout: TrackLayout,
    word_bits: usize,
    match_is: AlignedMatch,
) -> Vec<u64> {
    let bits = raw(track, from, layout, word_bits);
    let (mut words, mut counted, mut started) = (Vec::new(), 0, false);
    for end in 16..=bits.len() {
        counted += 1;
        let matching = bits.window(end - 16, 16) == 0x4489;
        let complete = counted == word_bits;
        if started && complete && (!matching || match_is == AlignedMatch::Word) {
            words.push(bits.window(end - word_bits, word_bits));
        }
        started |= matching;
        if matching || complete {
            counted = 0;
        }
    }
    words
}

#[test]
fn raw_words_of_any_phase_give_all_sectors() {
    for layout in [LAYOUT, FULL] {
        let (expected, track) = track(layout, 1);
        for from in (0..100).chain((0..track.bits.len()).step_by(1_999)) {
            let found = by_software(&raw(&track.bits, from, layout, 16), layout);
            assert!(found == expected, "{layout:?} from {from}");
        }
    }
}

#[test]
fn one_channel_bit_less_than_needed_can_miss_a_sector() {
    for (layout, opens) in [(LAYOUT, FieldKind::IdentifierMark), (FULL, FieldKind::SyncWords)] {
        let (expected, track) = track(layout, 2);
        let first = track.fields.iter().find(|f| f.kind == opens).unwrap();
        let mut bits = ChannelBits::new();
        let enough = track.bits.len() + layout.sector_read_bits();
        bits.push_cyclic(&track.bits, first.start_bit + 1, enough - 1);
        assert!(by_software(&bits, layout) == expected);
        bits.truncate(enough - 2);
        assert_eq!(by_software(&bits, layout).len(), expected.len() - 1);
    }
}

#[test]
fn a_change_of_phase_between_sectors_and_inside_gap_2_does_not_matter() {
    use FieldKind::{Filler, Gap2, Gap3, Sync};
    for (layout, slips) in [(LAYOUT, &[Gap2, Gap3][..]), (FULL, &[Sync, Filler])] {
        let (expected, track) = track(layout, 3);
        let mut slipped = ChannelBits::new();
        for field in &track.fields {
            slipped.push_cyclic(&track.bits, field.start_bit, field.channel_bits);
            if slips.contains(&field.kind) {
                slipped.push(0b10010, 5);
            }
        }
        for from in [0, 1, 2, 15, 5_000] {
            let found = by_software(&raw(&slipped, from, layout, 16), layout);
            assert!(found == expected, "{layout:?} from {from}");
            for word_bits in [8, 16, 32] {
                let words = synced_words(&slipped, from, layout, word_bits, AlignedMatch::Word);
                let found = by_hardware(&words, word_bits, layout);
                assert!(found == expected, "{layout:?} {word_bits} {from}");
            }
        }
    }
}

#[test]
fn synced_words_give_the_same_sectors_as_raw_ones() {
    for layout in [LAYOUT, FULL] {
        let (expected, track) = track(layout, 4);
        for from in (0..20).chain((0..track.bits.len()).step_by(9_973)) {
            for word_bits in [8, 16, 32] {
                for match_is in [AlignedMatch::Word, AlignedMatch::Drop] {
                    let words = synced_words(&track.bits, from, layout, word_bits, match_is);
                    let found = by_hardware(&words, word_bits, layout);
                    assert!(found == expected, "{layout:?} {word_bits} {from}");
                }
            }
        }
    }
}

#[test]
fn a_forged_sync_word_in_the_header_hides_full_track_sectors_from_hardware_sync_alone() {
    // Cylinder 16: the header's first recorded byte begins with a 4 (tests of the layout).
    let (expected, track) = recorded_on(16, FULL, 6);
    assert!(by_software(&raw(&track.bits, 9, FULL, 16), FULL) == expected);
    let words = synced_words(&track.bits, 9, FULL, 16, AlignedMatch::Word);
    assert!(by_hardware(&words, 16, FULL).is_empty());
}

#[test]
fn sectors_with_a_wrong_check_are_left_out_of_both_and_a_later_good_copy_counts() {
    for layout in [LAYOUT, FULL] {
        let (expected, track) = track(layout, 5);
        let place = |kind| {
            let field = track.fields.iter().find(|field| field.kind == kind).unwrap();
            field.start_bit + 33
        };
        for spoiled in [place(FieldKind::Address), place(FieldKind::Data)] {
            let mut bits = track.bits.clone();
            bits.set(spoiled, !bits.get(spoiled));
            let words = synced_words(&bits, 7, layout, 16, AlignedMatch::Word);
            let soft = by_software(&raw(&bits, 7, layout, 16), layout);
            assert!(soft == by_hardware(&words, 16, layout));
            assert_eq!(soft.len(), expected.len() - 1);
            bits.push_cyclic(&track.bits, 0, track.bits.len());
            assert!(by_software(&bits, layout) == expected);
        }
    }
}
