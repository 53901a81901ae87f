//! The codes against the theory of run lengths: capacities, charge, drift.
//!
//! Everything is counted or computed here, from the model's own limits and encoder; the published
//! values stand beside the results. The running digital sum follows the written current: it goes
//! up or down by one a channel bit, and turns at each transition.

use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::run_length::{first_outside, limits};
use trackproof_model::code::{Before, encode};

const BOTH: [Recording; 2] = [Recording::Fm, Recording::Mfm];

/// How many circles of `length` channel bits the model has nothing against.
fn legal_circles(recording: Recording, length: usize) -> u64 {
    let circle = |bits: u64| {
        let mut track = ChannelBits::new();
        track.push(bits, length);
        track
    };
    (0..1_u64 << length).filter(|bits| first_outside(recording, &circle(*bits)).is_none()).count()
        as u64
}

#[test]
fn the_models_own_counts_grow_with_the_published_capacities() {
    // Irrational capacities of (0,1) and (1,3) sequences: 0.6942 and 0.5515, from memory of a
    // published table of (d,k) capacities; to six places, from the largest root of
    // sum z^-j = 1 over the legal intervals j, computed: 0.694242 (the golden ratio) and 0.551463.
    for (recording, root, capacity) in
        [(Recording::Fm, 1.618_034, 0.694_242), (Recording::Mfm, 1.465_571, 0.551_463)]
    {
        // The sums of the n-th powers of all roots (Newton's identities) count the legal circles.
        let mut sums = vec![0_u64];
        for n in 1..=18 {
            let recursion: u64 =
                limits(recording).filter(|j| *j < n).map(|j| sums[n - j]).sum::<u64>()
                    + if limits(recording).contains(&n) { n as u64 } else { 0 };
            sums.push(recursion);
            assert_eq!(legal_circles(recording, n), recursion, "{recording:?}, {n} channel bits");
        }
        // So the count grows as the largest root does.
        let mut grown: Vec<f64> = sums.iter().map(|count| *count as f64).collect();
        while grown.len() < 400 {
            grown.push(limits(recording).map(|j| grown[grown.len() - j]).sum());
        }
        let ratio = grown[399] / grown[398];
        assert!((ratio - root).abs() < 1e-6, "{recording:?}: {ratio}");
        assert!((ratio.log2() - capacity).abs() < 1e-6, "{recording:?}: {}", ratio.log2());
        let equation: f64 = limits(recording).map(|j| ratio.powi(-(j as i32))).sum();
        assert!((equation - 1.0).abs() < 1e-12);
    }
}

#[test]
fn both_codes_use_the_known_share_of_their_capacity() {
    // One data bit for two channel bits: 72.0 % and 90.7 %, computed from the capacities above;
    // twice the density of FM at the same shortest interval.
    let density = |recording: Recording| *limits(recording).start() as f64 / 2.0;
    for (recording, capacity, share) in
        [(Recording::Fm, 0.694_242_f64, 72.0), (Recording::Mfm, 0.551_463, 90.7)]
    {
        assert_eq!((1_000.0 * 0.5 / capacity).round() / 10.0, share, "{recording:?}");
    }
    assert_eq!((density(Recording::Fm), density(Recording::Mfm)), (0.5, 1.0));
}

/// Bits a channel bit that sequences inside the code's limits carry whose running digital sum
/// takes at most `levels` values.
fn charge_capacity(recording: Recording, levels: usize) -> f64 {
    let (least, most) = (*limits(recording).start(), *limits(recording).end());
    // A state: whether the current flows up, the sum, channel bits since the transition.
    let index = |up: usize, sum: usize, since: usize| (up * levels + sum) * (most + 1) + since;
    let mut counts = vec![1.0_f64; 2 * levels * (most + 1)];
    let mut logs = Vec::new();
    let mut scale = 0.0;
    for _ in 0..4_000 {
        let mut next = vec![0.0; counts.len()];
        for up in 0..2 {
            for sum in 0..levels {
                for since in 1..=most {
                    let ways = counts[index(up, sum, since)];
                    let mut go = |up: usize, since: usize| {
                        let to = if up == 1 { sum + 1 } else { sum.wrapping_sub(1) };
                        if to < levels {
                            next[index(up, to, since)] += ways;
                        }
                    };
                    if since < most {
                        go(up, since + 1);
                    }
                    if since >= least {
                        go(1 - up, 1);
                    }
                }
            }
        }
        let total: f64 = next.iter().sum();
        scale += total.log2();
        logs.push(scale);
        counts = next.iter().map(|count| count / total).collect();
    }
    (logs[3_999] - logs[1_999]) / 2_000.0
}

#[test]
fn both_codes_meet_a_charge_constraint_whose_capacity_is_just_one_half() {
    // Only (0,1;1) and (1,3;3) have a capacity of exactly 1/2: abstract of "Note on the Shannon
    // capacity of run-length-limited codes". c = 1 means three levels, c = 3 seven.
    for (recording, charge) in [(Recording::Fm, 1), (Recording::Mfm, 3)] {
        for c in 1..6 {
            let capacity = charge_capacity(recording, 2 * c + 1);
            let half = (capacity - 0.5).abs() < 1e-6;
            assert_eq!(half, c == charge, "{recording:?}, charge {c}: {capacity}");
        }
        // Without the constraint it is the capacity of the run lengths again.
        let free = charge_capacity(recording, 400);
        let known = if recording == Recording::Fm { 0.694_242 } else { 0.551_463 };
        assert!((free - known).abs() < 1e-3, "{recording:?}: {free}");
    }
}

/// The running digital sums after each channel bit of `data`, begun with the current down.
fn running_sums(recording: Recording, data: &[u8]) -> Vec<i64> {
    let mut bits = ChannelBits::new();
    encode(recording, Before::Zero, data, &mut bits);
    let (mut step, mut sum) = (-1, 0);
    (0..bits.len())
        .map(|bit| {
            if bits.get(bit) {
                step = -step;
            }
            sum += step;
            sum
        })
        .collect()
}

#[test]
fn fm_has_three_running_sums_for_all_data() {
    // Computed: FM is free of direct current and meets (0,1;1) with equality.
    for data in 0..=u16::MAX {
        let sums = running_sums(Recording::Fm, &data.to_be_bytes());
        let (least, most) = (sums.iter().min().unwrap(), sums.iter().max().unwrap());
        assert!(most - least <= 2, "{data:04x}");
    }
    let sums = running_sums(Recording::Fm, &[0x0f; 8]);
    assert_eq!(sums.iter().max().unwrap() - sums.iter().min().unwrap(), 2, "all three occur");
}

#[test]
fn mfm_drifts_by_a_third_a_channel_bit_at_worst() {
    // Computed; 33 % of direct current in MFM's worst case: from memory. Data 011, again and again:
    // 24 data bits are eight times 011.
    let drift = |period: usize, pattern: u64| {
        // Three bytes a data bit of the period hold whole periods, of either polarity.
        let repeats = 2 * 8 * period;
        let mut data = ChannelBits::new();
        for _ in 0..repeats {
            data.push(pattern, period);
        }
        let sums = running_sums(Recording::Mfm, &data.to_bytes());
        // The first periods depend on what stood before.
        let (half, end) = (sums.len() / 2 - 1, sums.len() - 1);
        (sums[end] - sums[half]) as f64 / (end - half) as f64
    };
    assert_eq!(drift(3, 0b011).abs(), 1.0 / 3.0);
    let mut worst = 0.0_f64;
    for period in 1..=12 {
        for pattern in 0..1 << period {
            worst = worst.max(drift(period, pattern).abs());
        }
    }
    assert_eq!(worst, 1.0 / 3.0);
}

#[test]
fn the_longest_stretch_without_a_transition_is_two_cells_in_mfm_and_one_in_fm() {
    // SFD-321B, 5.4.4: 8 us at 250 kbit/s, two cells of 4 us; SA810/860 OEM manual, 1.4.8: a
    // transition at the start of every FM cell. Data 1 0 1 makes MFM's.
    let mut mfm = ChannelBits::new();
    encode(Recording::Mfm, Before::One, &[0b0101_0101], &mut mfm);
    assert_eq!(mfm.to_bytes(), [0b0001_0001, 0b0001_0001]);
    assert_eq!(BOTH.map(|recording| *limits(recording).end()), [2, 4]);
}
