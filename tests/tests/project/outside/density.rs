//! Densities: bytes a turn, and how far apart transitions stand in time.

use std::f64::consts::PI;
use trackproof::layout_file::{BUILT_IN, load};
use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::run_length::limits;
use trackproof_model::code::{Before, encode};

/// Transitions per radian, turns a minute, transitions a second, MFM bytes a turn.
///
/// Densities: titles of ISO 5654-1 (13 262), ISO 6596-2, clause 1 (7 958), ISO/IEC 9529-2,
/// introduction (15 916), ECMA-147, brief history (31 831). Speeds: SFD-321B specification, 2.1.
/// The rest is arithmetic: 2 pi x density, and that x speed / 60.
const DENSITIES: [(f64, f64, f64, f64); 5] = [
    (7_958.0, 300.0, 250_008.0, 6_250.2),
    (13_262.0, 360.0, 499_966.0, 10_415.9),
    (13_262.0, 300.0, 416_638.0, 10_415.9),
    (15_916.0, 300.0, 500_016.0, 12_500.4),
    (31_831.0, 300.0, 1_000_000.0, 25_000.0),
];

#[test]
fn bytes_a_turn_follow_from_the_densities() {
    for (density, speed, per_second, bytes) in DENSITIES {
        // In MFM the nominal density is one transition a cell, in FM two.
        let cells = 2.0 * PI * density;
        assert!((cells / 8.0 - bytes).abs() < 0.1, "{density}: {}", cells / 8.0);
        let rate = cells * speed / 60.0;
        assert!((rate - per_second).abs() < 1.0, "{density}: {rate}");
    }
    // 6.25, 12.5 and 10.0 KB: SFD-321B specification, 2.1; 6 250, 10 416, 3 125 and 5 208 bytes:
    // RS 237-088 leaflet 9419, 1.2.1; 10 416 and 5 208: SA810/860 OEM manual, 6.3 (83 328 and
    // 41 664 bits). Each layout's turn is one of them, or computed for 31 831 per radian.
    assert_eq!((83_328 / 8, 41_664 / 8), (10_416, 5_208));
    for (name, _) in BUILT_IN {
        let layout = load(name).unwrap();
        let bytes = (layout.turn_bits() / 16) as f64;
        let mfm_bytes = if layout.recording() == Recording::Fm { 2.0 * bytes } else { bytes };
        let nearest = DENSITIES.iter().map(|row| (row.3 - mfm_bytes).abs()).fold(9e9, f64::min);
        assert!(nearest < 0.5, "{name}: {bytes} bytes a turn");
    }
}

#[test]
fn transitions_stand_at_the_published_times() {
    // 4, 6, 8 us at 250 kbit/s and 2, 3, 4 us at 500 kbit/s: SFD-321B, 5.4.4. At 300 kbit/s and 1
    // Mbit/s: arithmetic.
    for (bits_a_second, expected) in [
        (250_000.0, [4.0, 6.0, 8.0]),
        (300_000.0, [3.333, 5.0, 6.667]),
        (500_000.0, [2.0, 3.0, 4.0]),
        (1_000_000.0, [1.0, 1.5, 2.0]),
    ] {
        let channel_bit_us = 1e6 / bits_a_second / 2.0;
        let times: Vec<f64> = limits(Recording::Mfm)
            .map(|channel_bits| (channel_bits as f64 * channel_bit_us * 1e3).round() / 1e3)
            .collect();
        assert_eq!(times, expected, "{bits_a_second} bit/s");
    }
    // Clock edge to clock edge 4.00 us at 250 kbit/s: SA810/860 OEM manual, 1.4.8, fig. 1-6.
    assert_eq!(*limits(Recording::Fm).end() as f64 * 1e6 / 250_000.0 / 2.0, 4.0);
}

#[test]
fn the_test_frequencies_are_those_of_alternating_and_of_equal_data_bits() {
    // ISO 8860-1 Corrigendum 1, annex F: 1f is read at 62.5 kHz at 300 turns a minute, so 125 000
    // transitions a second, and 2f is twice that. 6 250 bytes, 5 turns a second.
    let a_second = |byte: u8| {
        let mut track = ChannelBits::new();
        encode(Recording::Mfm, Before::bit(byte & 1 == 1), &[byte; 6_250], &mut track);
        5 * track.count_ones()
    };
    assert_eq!(a_second(0b1010_1010), 125_000);
    assert_eq!(a_second(0xff), 250_000);
    assert_eq!(a_second(0x00), 250_000);
}
