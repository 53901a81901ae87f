//! Image-backed tracks: their stream, and what is left in the sectors after a write.

use crate::play::{Play, T, bits, over};
use crate::turn::{Turn, check, data_field, full_track_sector, identifier};
use trackproof_contract::{Action, Counter, Medium, SectorLayout, Start};

const FULL: SectorLayout = SectorLayout::FullTrack { sectors: 3, sector_bytes: 5 };
pub(crate) const FULL_BITS: usize = 3 * 20 * 16 + 64;

const SOFT: SectorLayout = SectorLayout::SoftSector {
    sectors: 2,
    size_code: 0,
    gap_4a_bytes: 7,
    gap_1_bytes: 5,
    gap_2_bytes: 22,
    gap_3_bytes: 9,
};
pub(crate) const SOFT_BITS: usize = (7 + 16 + 5 + 2 * (22 + 22 + 16 + 130 + 9) + 3) * 16;

pub(crate) fn full_sectors() -> Vec<u8> {
    (0..15_u8).map(|n| 0x35 ^ n.wrapping_mul(37)).collect()
}

fn soft_sectors() -> Vec<u8> {
    (0..=255).collect()
}

/// The stream of a full-track image with these sectors, by hand.
pub(crate) fn full_stream(sectors: &[u8]) -> String {
    let turn = sectors
        .chunks(5)
        .zip(0..)
        .fold(Turn::new(), |turn, (data, number)| full_track_sector(turn, [0, 0, number, 0], data));
    turn.fill(FULL_BITS)
}

fn soft_turn(sectors: &[u8], mark: u8) -> Turn {
    let turn = Turn::new().bytes(&[0x4e; 7]).bytes(&[0; 12]).marks(0x5224).bytes(&[0xfc]);
    sectors.chunks(128).zip(1..).fold(turn.bytes(&[0x4e; 5]), |turn, (data, number)| {
        let turn = identifier(turn, [0, 0, number, 0]).bytes(&[0x4e; 22]);
        data_field(turn, mark, data).bytes(&[0x4e; 9])
    })
}

fn soft_stream(sectors: &[u8]) -> String {
    soft_turn(sectors, 0xfb).fill(SOFT_BITS)
}

pub(crate) fn words(stream: &str) -> Vec<u64> {
    let words = stream.as_bytes().chunks(16);
    words.map(|word| u64::from_str_radix(str::from_utf8(word).unwrap(), 2).unwrap()).collect()
}

pub(crate) fn full() -> Play {
    Play::image(FULL_BITS as u32, FULL, &full_sectors())
}

pub(crate) fn soft() -> Play {
    Play::image(SOFT_BITS as u32, SOFT, &soft_sectors())
}

/// A turn read from the index on, by which time it is `turn`.
pub(crate) fn read_turn(play: Play, turn: usize, turn_bits: usize) -> Vec<u64> {
    let (first, count) = (turn * turn_bits, turn_bits / 16);
    let read = play
        .with(|profile| profile.counter = Counter::ZeroedAtStart)
        .read(first as u64 * T, Start::Index, count as u32, turn_bits as u64 + 1)
        .until((first + turn_bits + 1) as u64 * T);
    (0..8).map(|transfer| read.words(transfer)).find(|words| !words.is_empty()).unwrap()
}

/// Writes these channel bits from a cell of the first turn on; gives the sectors then.
fn sectors_after(play: Play, cell: u64, stream: &str) -> Vec<u8> {
    play.write(cell * T, Start::Now, &words(stream))
        .until(4 * FULL_BITS.max(SOFT_BITS) as u64 * T)
        .sectors()
}

#[test]
fn a_full_track_image_streams_its_layout() {
    assert_eq!(read_turn(full(), 1, FULL_BITS), words(&full_stream(&full_sectors())));
}

#[test]
fn a_soft_sector_image_streams_its_layout() {
    assert_eq!(read_turn(soft(), 1, SOFT_BITS), words(&soft_stream(&soft_sectors())));
}

#[test]
fn the_clock_bit_at_the_index_follows_from_the_last_bit_of_the_turn() {
    // No filler: the turn ends with the odd bits of the last check.
    let turn_bits = 3 * 20 * 16;
    let mut seen = [false; 2];
    for last in 0..16 {
        let mut sectors = full_sectors();
        sectors[14] = last;
        let play = Play::image(turn_bits as u32, FULL, &sectors);
        let by_hand = full_stream(&sectors);
        let ends_with_one = check(&sectors[10..])[1] >> 1 & 1 == 1;
        seen[usize::from(ends_with_one)] = true;
        let first = if ends_with_one { "0" } else { "1" };
        let expected = first.to_string() + &by_hand[1..turn_bits];
        assert_eq!(read_turn(play, 1, turn_bits), words(&expected));
    }
    assert_eq!(seen, [true; 2]);
}

#[test]
fn an_image_copied_to_a_real_medium_is_there_bit_for_bit() {
    let copied = read_turn(full(), 1, FULL_BITS);
    let mut play = Play::new(&"0".repeat(FULL_BITS));
    play.tracks[0].medium = Medium::real_bits(bits(&"0".repeat(FULL_BITS)));
    let services: Vec<u64> = (0..200).map(|n| n * 16 * T).collect();
    let copy =
        play.write_served(10 * T, Start::Index, &copied, &services).until(3 * FULL_BITS as u64 * T);
    assert_eq!(copy.shown(0), full_stream(&full_sectors()));
}

#[test]
fn a_turn_written_on_an_image_becomes_its_sectors() {
    let new: Vec<u8> = (0..15).map(|n| n * 17).collect();
    assert_eq!(sectors_after(full(), 0, &full_stream(&new)), new);
    let new = vec![0xe5; 256];
    assert_eq!(sectors_after(soft(), 0, &soft_stream(&new)), new);
}

#[test]
fn a_turn_may_be_written_from_any_cell_on() {
    let new: Vec<u8> = (0..15).map(|n| n * 17).collect();
    for cell in [1, 16, 333, FULL_BITS as u64 - 5] {
        assert_eq!(sectors_after(full(), cell, &full_stream(&new)), new, "from {cell}");
    }
    let new: Vec<u8> = (0..=255).rev().collect();
    for cell in [1, 2_019, SOFT_BITS as u64 - 40] {
        assert_eq!(sectors_after(soft(), cell, &soft_stream(&new)), new, "from {cell}");
    }
}

#[test]
fn clock_bits_do_not_matter_to_an_image() {
    let new: Vec<u8> = (0..15).map(|n| n * 17).collect();
    let stream = full_stream(&new);
    let without: String = (0..)
        .zip(stream.chars())
        .map(|(at, bit)| if at % 320 >= 112 && at % 2 == 0 { '0' } else { bit })
        .collect();
    assert_ne!(without, stream);
    assert_eq!(sectors_after(full(), 0, &without), new);
}

#[test]
fn a_sector_that_does_not_come_out_right_keeps_what_it_had() {
    let new = [0x77; 5];
    let two = |header: [u8; 4], damage: Option<usize>| {
        let turn = full_track_sector(Turn::new(), [0, 0, 2, 0], &new);
        let mut stream = full_track_sector(turn, header, &new).fill(FULL_BITS);
        if let Some(at) = damage {
            let bit = if &stream[at..=at] == "1" { "0" } else { "1" };
            stream.replace_range(at..=at, bit);
        }
        let after = sectors_after(full(), 0, &stream);
        assert_eq!(after[..5], full_sectors()[..5]);
        assert_eq!(after[10..], new);
        after[5..10].to_vec()
    };
    assert_eq!(two([0, 0, 1, 0], None), new);
    let old = &full_sectors()[5..10];
    assert_eq!(two([1, 0, 1, 0], None), old, "another cylinder");
    assert_eq!(two([0, 1, 1, 0], None), old, "another side");
    assert_eq!(two([0, 0, 3, 0], None), old, "an unknown number");
    assert_eq!(two([0, 0, 1, 1], None), old, "another size");
    assert_eq!(two([0, 0, 1, 0], Some(320 + 113)), old, "a wrong header");
    assert_eq!(two([0, 0, 1, 0], Some(320 + 319)), old, "a wrong check of the data");
}

#[test]
fn deleted_data_and_an_identifier_without_data_change_nothing() {
    let new = vec![0xe5; 256];
    let deleted = soft_turn(&new, 0xf8).fill(SOFT_BITS);
    assert_eq!(sectors_after(soft(), 0, &deleted), soft_sectors());
    // Identifier 1 is followed by identifier 2; only that one has data.
    let turn = identifier(Turn::new(), [0, 0, 1, 0]).bytes(&[0x4e; 22]);
    let turn = identifier(turn, [0, 0, 2, 0]).bytes(&[0x4e; 22]);
    let stream = data_field(turn, 0xfb, &new[..128]).fill(SOFT_BITS);
    let after = sectors_after(soft(), 0, &stream);
    assert_eq!((&after[..128], &after[128..]), (&soft_sectors()[..128], &new[128..]));
}

#[test]
fn of_two_copies_of_a_sector_the_first_right_one_counts() {
    let turn = full_track_sector(Turn::new(), [0, 0, 1, 0], &[1; 5]);
    let stream = full_track_sector(turn, [0, 0, 1, 0], &[2; 5]).fill(FULL_BITS);
    assert_eq!(sectors_after(full(), 0, &stream)[5..10], [1; 5]);
}

/// The cell in which the data field of the first soft sector begins, from its zeros on.
const FIRST_DATA: usize = (7 + 16 + 5 + 22 + 22) * 16;

#[test]
fn a_data_field_written_in_its_place_updates_the_sector() {
    let field = data_field(Turn::new(), 0xfb, &[0x5a; 128]).fill(146 * 16);
    let after = sectors_after(soft(), FIRST_DATA as u64, &field);
    assert_eq!((&after[..128], &after[128..]), (&[0x5a; 128][..], &soft_sectors()[128..]));
}

#[test]
fn an_aborted_update_leaves_the_sector_and_its_stream_as_they_were() {
    let field = data_field(Turn::new(), 0xfb, &[0x5a; 128]).fill(146 * 16);
    let play = || {
        let at = FIRST_DATA as u64 * T;
        soft().write(at, Start::Now, &words(&field)).at(at + 900 * T + 1, Action::Abort)
    };
    assert_eq!(play().until(2 * SOFT_BITS as u64 * T).sectors(), soft_sectors());
    assert_eq!(read_turn(play(), 1, SOFT_BITS), words(&soft_stream(&soft_sectors())));
}

#[test]
fn the_stream_behind_a_write_is_that_of_the_sectors_again() {
    let junk = vec![0xffff; 20];
    let play = full().write(FULL_BITS as u64 * T - 200 * T, Start::Now, &junk);
    // The last sector has lost its data: it keeps them, and the stream has them again.
    assert_eq!(read_turn(play, 2, FULL_BITS), words(&full_stream(&full_sectors())));
}

#[test]
fn while_the_gate_is_open_an_image_shows_what_it_had() {
    let new: Vec<u8> = (0..15).map(|n| n * 17).collect();
    let two_turns = words(&full_stream(&new).repeat(2));
    let play = || full().write(0, Start::Now, &two_turns);
    assert_eq!(play().until(FULL_BITS as u64 * 3 / 2 * T).sectors(), full_sectors());
    assert_eq!(play().until(FULL_BITS as u64 * 2 * T).sectors(), new);
}

#[test]
fn a_protected_image_is_not_written() {
    let mut play = full();
    play.drives[0].write_protected = true;
    assert_eq!(sectors_after(play, 0, &full_stream(&[9; 15])), full_sectors());
}

#[test]
fn channel_bits_beside_an_image_stay_channel_bits() {
    let mut play = full();
    play.track(0, 1, Medium::image_bits(bits(&"0".repeat(FULL_BITS))));
    let played = play
        .at(0, Action::Side(1))
        .write(5 * T, Start::Now, &[0xffff])
        .until(2 * FULL_BITS as u64 * T);
    assert_eq!(played.shown(1), over(&"0".repeat(FULL_BITS), 5, &"1".repeat(16)));
    assert_eq!(played.sectors(), full_sectors());
}
