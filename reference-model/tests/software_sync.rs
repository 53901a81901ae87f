//! Both ways of finding sectors give the same set, from any phase.

mod random;

use trackproof_contract::ChannelBits;
use trackproof_model::layout::{Address, EncodedTrack, FieldKind, Layout, SectorData, encode};
use trackproof_model::software_sync::{GoodSectors, by_hardware, by_software, read_bits};

const LAYOUT: Layout = Layout::MFM_9_BY_512;

/// Whether a match on a word boundary is delivered.
#[derive(Clone, Copy, PartialEq)]
enum AlignedMatch {
    Word,
    Drop,
}

fn track(seed: u64) -> (GoodSectors, EncodedTrack) {
    let contents: Vec<_> = (0..9).map(|sector| random::bytes(seed * 9 + sector, 512)).collect();
    let sectors: Vec<_> = contents.iter().map(|data| SectorData::Kept(data)).collect();
    let track = encode(&LAYOUT, 40, 1, &sectors).unwrap();
    let address = |sector| Address { cylinder: 40, side: 1, sector, size_code: 2 };
    ((1..).map(address).zip(contents).collect(), track)
}

fn raw(track: &ChannelBits, from: usize, word_bits: usize) -> ChannelBits {
    let mut raw = ChannelBits::new();
    raw.push_cyclic(track, from, read_bits(track.len(), &LAYOUT, word_bits));
    raw
}

/// The words of a read that starts at the first match; the counter is zeroed at each match and
/// bits left over from before it are lost (semantics of the profile `sync-dma`).
fn synced_words(
    track: &ChannelBits,
    from: usize,
    word_bits: usize,
    match_is: AlignedMatch,
) -> Vec<u64> {
    let bits = raw(track, from, word_bits);
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
    let (expected, track) = track(1);
    for from in (0..100).chain((0..track.bits.len()).step_by(1_999)) {
        assert!(by_software(&raw(&track.bits, from, 16), &LAYOUT) == expected, "from {from}");
    }
}

#[test]
fn one_channel_bit_less_than_needed_can_miss_a_sector() {
    let (expected, track) = track(2);
    let identifier = track.fields.iter().find(|f| f.kind == FieldKind::IdentifierMark).unwrap();
    let mut bits = ChannelBits::new();
    let enough = track.bits.len() + LAYOUT.sector_read_bits();
    bits.push_cyclic(&track.bits, identifier.start_bit + 1, enough - 1);
    assert!(by_software(&bits, &LAYOUT) == expected);
    bits.truncate(enough - 2);
    assert_eq!(by_software(&bits, &LAYOUT).len(), 8);
}

#[test]
fn a_change_of_phase_between_sectors_and_inside_gap_2_does_not_matter() {
    let (expected, track) = track(3);
    let mut slipped = ChannelBits::new();
    for field in &track.fields {
        slipped.push_cyclic(&track.bits, field.start_bit, field.channel_bits);
        if [FieldKind::Gap2, FieldKind::Gap3].contains(&field.kind) {
            slipped.push(0b10010, 5);
        }
    }
    for from in [0, 1, 2, 15, 5_000] {
        assert!(by_software(&raw(&slipped, from, 16), &LAYOUT) == expected);
        for word_bits in [8, 16, 32] {
            let words = synced_words(&slipped, from, word_bits, AlignedMatch::Word);
            assert!(by_hardware(&words, word_bits, &LAYOUT) == expected, "{word_bits} {from}");
        }
    }
}

#[test]
fn synced_words_give_the_same_sectors_as_raw_ones() {
    let (expected, track) = track(4);
    for from in (0..20).chain((0..track.bits.len()).step_by(9_973)) {
        for word_bits in [8, 16, 32] {
            for match_is in [AlignedMatch::Word, AlignedMatch::Drop] {
                let words = synced_words(&track.bits, from, word_bits, match_is);
                assert!(by_hardware(&words, word_bits, &LAYOUT) == expected, "{word_bits} {from}");
            }
        }
    }
}

#[test]
fn sectors_with_a_wrong_check_are_left_out_of_both_and_a_later_good_copy_counts() {
    let (mut expected, track) = track(5);
    let place = |kind| {
        let field = track.fields.iter().find(|field| field.kind == kind).unwrap();
        field.start_bit + 33
    };
    for spoiled in [place(FieldKind::Address), place(FieldKind::Data)] {
        let mut bits = track.bits.clone();
        bits.set(spoiled, !bits.get(spoiled));
        let words = synced_words(&bits, 7, 16, AlignedMatch::Word);
        let (soft, hard) =
            (by_software(&raw(&bits, 7, 16), &LAYOUT), by_hardware(&words, 16, &LAYOUT));
        assert!(soft == hard);
        assert_eq!(soft.len(), 8);
        bits.push_cyclic(&track.bits, 0, track.bits.len());
        assert!(by_software(&bits, &LAYOUT) == expected);
    }
    expected.pop_first();
    assert_eq!(expected.len(), 8);
}
