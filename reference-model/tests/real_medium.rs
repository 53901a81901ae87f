//! What is free on a real medium, against the definition walked one channel bit at a time.

mod random;

use std::ops::RangeInclusive;
use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::free_on_real;
use trackproof_model::layout::{Layout, SectorData, decode, encode};

/// The definition's numbers, written down once more: legal intervals, zeros that are sure.
fn numbers(recording: Recording) -> (RangeInclusive<usize>, usize) {
    match recording {
        Recording::Mfm => (2..=4, 8),
        Recording::Fm => (1..=2, 4),
    }
}

/// Walks from every transition, one channel bit after the other, with nothing but a counter.
fn by_definition(recording: Recording, track: &[bool]) -> Vec<bool> {
    let (legal, sure_zeros) = numbers(recording);
    let turn = track.len();
    let at = |bit: usize| track[bit % turn];
    let mut free = vec![false; turn];
    let Some(first) = (0..turn).find(|bit| track[*bit]) else { return vec![true; turn] };
    for begin in (first..first + turn).filter(|bit| at(*bit)) {
        let zeros = (begin + 1..).take_while(|bit| !at(*bit)).count();
        if zeros + 1 < *legal.start() {
            (begin..=begin + zeros + 1).for_each(|bit| free[bit % turn] = true);
        }
        if zeros <= sure_zeros {
            continue;
        }
        let (mut in_a_row, mut since) = (0, 0);
        let mut bit = begin + zeros + 1;
        (begin + sure_zeros + 1..=bit).for_each(|bit| free[bit % turn] = true);
        while in_a_row < 4 {
            bit += 1;
            since += 1;
            if bit > begin + turn {
                return vec![true; turn];
            }
            free[bit % turn] = true;
            if at(bit) {
                in_a_row = if legal.contains(&since) { in_a_row + 1 } else { 0 };
                since = 0;
            }
        }
    }
    free
}

fn check(recording: Recording, track: &[bool]) {
    let found = free_on_real(recording, &track.iter().copied().collect());
    let expected: ChannelBits = by_definition(recording, track).into_iter().collect();
    assert!(
        found == expected,
        "{recording:?} {:?}\nfound    {found:?}\nexpected {expected:?}",
        track.iter().copied().collect::<ChannelBits>()
    );
}

/// A picture: `1` and `.` for sure bits, `x` for a free 1, `_` for a free zero.
fn check_picture(recording: Recording, picture: &str) {
    let track: Vec<bool> = picture.chars().map(|c| "1x".contains(c)).collect();
    let free: ChannelBits = picture.chars().map(|c| "x_".contains(c)).collect();
    for by in 0..track.len() {
        let mut turned = track.clone();
        turned.rotate_left(by);
        let found = free_on_real(recording, &turned.iter().copied().collect());
        assert_eq!(found, free.rotated(by), "{picture} turned by {by}");
        check(recording, &turned);
    }
}

#[test]
fn pictures_of_the_definition_hold_at_every_phase() {
    for picture in [
        // Legal intervals, and illegal ones of five to nine: all is sure.
        "1.1..1...1.1..1...",
        "1....1.....1......1.......1........1.1.",
        // Two transitions too close, three in a row, and the two beside the wrap.
        "1..1.xx.1..1.",
        "1..1.xxx.1..1.",
        "x..1.1.x",
        // Nine zeros: the ninth is the first free bit; it ends with the fourth legal interval.
        "1..1........_x_x__x___x_x.1.",
        "1..1........____x_x__x___x_x.1.",
        // An illegal interval of five, and one of one, start the count anew.
        "1..1........_x_x_x____x_x_x_x_x..1.",
        "1..1........_x_x_x_xx_x_x_x_x..1.",
        // A second long run before the fourth.
        "1..1........_x_x_x___________x_x_x_x_x..1.",
        // Never four in a row: nothing is sure.
        "x_x_x__________x_",
        "x__________________",
        "_____",
    ] {
        check_picture(Recording::Mfm, picture);
    }
    for picture in [
        "11.1.11",
        "1..1...1....1.1",
        "11...._x_xx_xx.1.1",
        "1....__xxx_xx.",
        "1...._x__xxxxx.",
        "xxxx_____",
    ] {
        check_picture(Recording::Fm, picture);
    }
}

#[test]
fn the_kernel_equals_the_definition_on_all_short_tracks() {
    for recording in [Recording::Mfm, Recording::Fm] {
        check(recording, &[false]);
        for length in 1..=16_usize {
            for bits in 0..1_u32 << length {
                let track: Vec<_> = (0..length).map(|place| bits >> place & 1 == 1).collect();
                check(recording, &track);
            }
        }
    }
}

#[test]
fn the_kernel_equals_the_definition_on_random_tracks_of_any_density() {
    let mut reached = [0; 3];
    for seed in 0..6_000_u64 {
        let mut draws = random::bytes(seed, 700).into_iter().map(usize::from);
        let mut draw = || draws.next().unwrap_or(0);
        let length = 1 + (draw() * 256 + draw()) % 400;
        // Intervals up to 2 … 17: from all legal to hardly ever four legal ones in a row.
        let most = 2 + draw() % 16;
        let long_runs = draw() % 40;
        let mut track = Vec::new();
        while track.len() < length {
            let zeros = if draw() < long_runs { 8 + draw() % 4 } else { draw() % most };
            track.extend(vec![false; zeros]);
            track.push(true);
        }
        track.truncate(length);
        for recording in [Recording::Mfm, Recording::Fm] {
            check(recording, &track);
            let free = by_definition(recording, &track).iter().filter(|free| **free).count();
            reached[usize::from(free > 0) + usize::from(free == length)] += 1;
        }
    }
    assert!(reached.iter().all(|count| *count > 300), "sure, partly free, free: {reached:?}");
}

#[test]
fn a_track_without_clock_bits_loses_its_zeros_and_one_with_them_loses_nothing() {
    let layout = Layout::MFM_9_BY_512;
    let zeros = SectorData::Kept(&[0; 512]);
    let track = encode(&layout, 0, 0, &[zeros; 9]).unwrap();
    assert_eq!(free_on_real(Recording::Mfm, &track.bits).count_ones(), 0);
    let mut clockless = track.bits.clone();
    let special = track.special_bytes();
    for clock in (0..clockless.len()).step_by(2) {
        if !special.iter().any(|start| (*start..start + 16).contains(&clock)) {
            clockless.set(clock, false);
        }
    }
    let free = free_on_real(Recording::Mfm, &clockless);
    let found = decode(&clockless, &layout).sectors;
    assert_eq!(found.len(), 9, "a host masks clock bits away");
    assert!(found.iter().all(|sector| sector.is_good() && sector.touches(&free)));
}
