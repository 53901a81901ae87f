//! The separators against their definition in exact arithmetic, and over all judged waveforms.

mod random;

use trackproof_contract::{ChannelBits, Speed};
use trackproof_model::code::{Before, mfm_fast};
use trackproof_model::separator::waveform::{Grid, JUDGED, JUDGED_SHIFT};
use trackproof_model::separator::window::{Claim, Outside, first_outside};
use trackproof_model::separator::{
    FirstOrder, MAX_SEPARATED_BITS, Period, SeparatorError, Tracking, ideal_grid, ideal_interval,
};

const NOMINAL_NS: u64 = 2_000;

fn nominal() -> Period {
    Period::from_ns(NOMINAL_NS).unwrap()
}

/// 25 zero bytes and random ones, in MFM.
fn stream(seed: u64, count: usize) -> ChannelBits {
    let mut data = vec![0; Speed::STEADY_BITS / 16];
    data.extend(random::bytes(seed, count));
    let mut bits = ChannelBits::new();
    mfm_fast::encode(Before::Zero, &data, &mut bits);
    bits
}

/// From the first one to the last.
fn between_ones(bits: &ChannelBits) -> ChannelBits {
    let ones: Vec<usize> = (0..bits.len()).filter(|bit| bits.get(*bit)).collect();
    let mut between = bits.rotated(ones[0]);
    between.truncate(ones[ones.len() - 1] - ones[0] + 1);
    between
}

/// Transitions at random, most of them some channel bits apart, some closer and some far.
fn transitions(seed: u64) -> Vec<u64> {
    let mut ns = u64::from(random::bytes(seed, 1)[0]);
    let gaps = random::bytes(seed, 4_000);
    gaps.chunks(2)
        .map(|pair| {
            let [near, far] = [u64::from(pair[0]), u64::from(pair[1])];
            ns += 1 + match far {
                0 => near << 18,
                1..8 => 90 * near,
                _ => 4_000 + 18 * near + far,
            };
            ns
        })
        .collect()
}

/// The loop in the words of its definition: absolute times, nothing left out.
fn loop_by_definition(
    times: &[u64],
    nominal: i128,
    phase: impl Fn(i128) -> i128,
    period: impl Fn(i128, i128) -> i128,
) -> ChannelBits {
    let mut bits: Vec<bool> = vec![true];
    let (mut c, mut p) = (i128::from(times[0]) << 16, nominal);
    for t in times[1..].iter().map(|t| i128::from(*t) << 16) {
        let n = ((2 * (t - c) + p).div_euclid(2 * p)).max(1);
        let e = t - (c + n * p);
        c += n * p + phase(e);
        p = (p + period(e, n)).clamp(4 * nominal / 5, 6 * nominal / 5);
        bits.extend((1..n).map(|_| false));
        bits.push(true);
    }
    bits.into_iter().collect()
}

#[test]
fn the_loops_are_what_their_definition_makes_them() {
    for seed in 0..60 {
        let times = transitions(seed);
        for (period, fixed) in [
            (nominal(), 2_000 << 16),
            (Period::from_rate(600_000).unwrap(), (1_000_000_000_i128 << 16) / 600_000),
            (Period::from_ns(1_000_000).unwrap(), 1_000_000 << 16),
        ] {
            let expected = loop_by_definition(
                &times,
                fixed,
                |e| (3 * e).div_euclid(4),
                |e, n| e.div_euclid(8 * n),
            );
            assert!(Tracking::new(period).separate(&times).unwrap() == expected, "seed {seed}");
            for gain in [0, 100, 192, 255] {
                let phase = |e: i128| (gain * e).div_euclid(256);
                let expected = loop_by_definition(&times, fixed, phase, |_, _| 0);
                let found = FirstOrder::new(period, gain as u8).separate(&times).unwrap();
                assert!(found == expected, "seed {seed} gain {gain}");
            }
        }
    }
}

#[test]
fn the_ideal_ones_are_what_their_definition_makes_them() {
    for seed in 0..60 {
        let times = transitions(seed);
        // Periods as fractions: numerator and denominator.
        for (period, ns, parts) in [
            (nominal(), 2_000, 1),
            (Period::from_rate(600_000).unwrap(), 1_000_000_000, 600_000),
            (Period::from_rate(7_777_777).unwrap(), 1_000_000_000, 7_777_777),
        ] {
            let rounded = |gap: u64| (2 * u128::from(gap) * parts + ns).div_euclid(2 * ns) as usize;
            let mut expected = vec![true];
            for pair in times.windows(2) {
                expected.extend(vec![false; rounded(pair[1] - pair[0]).max(1) - 1]);
                expected.push(true);
            }
            let found = ideal_interval(period, &times).unwrap();
            assert!(found == expected.into_iter().collect(), "seed {seed}");

            let origin = times[0] - (times[0] / 3).min(100_000);
            let places: Vec<usize> = times.iter().map(|time| rounded(time - origin)).collect();
            let mut expected = vec![false; places[places.len() - 1] - places[0] + 1];
            places.iter().for_each(|place| expected[place - places[0]] = true);
            let found = ideal_grid(period, origin, &times).unwrap();
            assert!(found == expected.into_iter().collect(), "seed {seed}");
        }
    }
}

#[test]
fn ties_go_up_and_no_interval_is_none() {
    let interval = |gap| ideal_interval(nominal(), &[10, 10 + gap]).unwrap().len() - 1;
    assert_eq!([1, 2_999, 3_000, 4_999, 5_000].map(interval), [1, 1, 2, 2, 3]);
    let grid = |time| ideal_grid(nominal(), 0, &[0, time]).unwrap().len() - 1;
    assert_eq!([1, 999, 1_000, 2_999, 3_000].map(grid), [0, 0, 1, 1, 2]);
    for far in [8_999, 9_000, 1_000_999, 1_001_000] {
        assert_eq!(interval(far), (far as usize + 1_000) / 2_000);
        assert_eq!(grid(far), (far as usize + 1_000) / 2_000);
        assert_eq!(
            Tracking::new(nominal()).separate(&[0, far]).unwrap().len() - 1,
            (far as usize + 1_000) / 2_000
        );
    }
}

#[test]
fn the_second_order_loop_reads_mfm_through_every_judged_waveform() {
    for waveform in JUDGED {
        for seed in 0..200 {
            let bits = stream(seed, 250);
            let grid = Grid::new(nominal(), waveform.speed, bits.len());
            let times = grid.transitions(&bits, waveform.peak_shift);
            let found = Tracking::new(nominal()).separate(&times).unwrap();
            assert!(found == between_ones(&bits), "{} seed {seed}", waveform.name);
        }
    }
}

#[test]
fn fixed_thresholds_fail_on_named_waveforms() {
    let mut failed = Vec::new();
    for waveform in JUDGED {
        let bits = stream(1, 2_000);
        let grid = Grid::new(nominal(), waveform.speed, bits.len());
        let times = grid.transitions(&bits, waveform.peak_shift);
        if ideal_interval(nominal(), &times).unwrap() != between_ones(&bits) {
            failed.push(waveform.name);
        }
    }
    // Computed: with neighbours at 2 on both sides, intervals of 3 and 4 are read 0.2 channel bits
    // short; 2.8 x 0.892 is less than 2.5 and 3.8 x 0.892 less than 3.5.
    assert_eq!(failed, ["ramp-short-shifted", "sinusoid-short-shifted"]);
}

#[test]
fn the_first_order_loop_holds_within_an_eighth_of_its_gain_and_fails_beyond() {
    // Its error before each correction at intervals of 4 grows to 4 x speed error / gain: at the
    // standard's extreme of 11.2 % every gain below 0.896 (229 of 256) fails.
    let (mut zeros_and_ones, data) = (ChannelBits::new(), [0x55; 100]);
    mfm_fast::encode(Before::One, &data, &mut zeros_and_ones);
    for gain in [64_i64, 128, 192, 229, 255] {
        for off_ppm in (-120_000..=120_000_i64).step_by(5_000) {
            let period = Period::from_ns((2_000_000 + 2 * off_ppm) as u64 / 1_000).unwrap();
            let shape = Speed::Step { to_ppm: 0 };
            let read = |bits: &ChannelBits| {
                let times = Grid::new(period, shape, bits.len()).transitions(bits, 0);
                FirstOrder::new(nominal(), gain as u8).separate(&times).unwrap()
                    == between_ones(bits)
            };
            let error = 4 * 256 * off_ppm.abs() / gain;
            // Half a channel bit, less what the whole nanoseconds may take.
            if error < 498_000 {
                assert!(read(&zeros_and_ones), "gain {gain}, {off_ppm} ppm");
                assert!((0..5).all(|seed| read(&stream(seed, 300))), "gain {gain} {off_ppm} ppm");
            } else if error > 502_000 {
                assert!(!read(&zeros_and_ones), "gain {gain}, {off_ppm} ppm");
            }
        }
    }
}

#[test]
fn cells_are_as_long_as_the_waveforms_say() {
    let lengths = |shape| {
        let grid = Grid::new(nominal(), shape, 2_000);
        // A one in every cell: centres, half of two neighbouring lengths apart.
        let ones: ChannelBits = (0..2_000).map(|_| true).collect();
        let times = grid.transitions(&ones, 0);
        assert_eq!(times[0], (times[1] - times[0]) / 2, "the first cell begins at 0");
        times.windows(2).map(|pair| (pair[1] - pair[0]) as f64).collect::<Vec<_>>()
    };
    let near = |length: f64, wanted: f64| (length - wanted).abs() <= 1.0;
    let step = lengths(Speed::Step { to_ppm: 112_000 });
    assert!(step[..399].iter().all(|length| near(*length, 2_000.0)));
    assert!(step[400..].iter().all(|length| near(*length, 2_224.0)));
    let ramp = lengths(Speed::Ramp { to_ppm: -108_000 });
    assert!(ramp[..399].iter().all(|length| near(*length, 2_000.0)));
    assert!(near(ramp[400 + 63], 2_000.0 - 108.0), "half-way of 128 channel bits");
    assert!(ramp[529..].iter().all(|length| near(*length, 1_784.0)));
    for (base_ppm, base) in [(30_000, 2_060.0), (-30_000, 1_940.0)] {
        let sinusoid = lengths(Speed::Sinusoid { base_ppm, swing_ppm: 80_000 });
        assert!(sinusoid[..399].iter().all(|length| near(*length, base)));
        let most = sinusoid.iter().fold(0.0, |most, length| f64::max(most, *length));
        let least = sinusoid.iter().fold(9e9, |least, length| f64::min(least, *length));
        assert!(near(most, base * 1.08) && near(least, base * 0.92));
        assert!((0..1_100).all(|cell| near(sinusoid[450 + cell], sinusoid[850 + cell])));
    }
}

#[test]
fn a_transition_is_pushed_away_from_the_nearer_neighbour_alone() {
    // All contexts of a one with neighbours 2, 3 or 4 channel bits away.
    let shape = Speed::Step { to_ppm: 0 };
    for before in 2..=4_usize {
        for after in 2..=4_usize {
            let bits: ChannelBits = (0..=before + after)
                .map(|bit| [0, before, before + after].contains(&bit))
                .collect();
            let grid = Grid::new(nominal(), shape, bits.len());
            let middle = grid.transitions(&bits, JUDGED_SHIFT)[1] as i64;
            let centre = grid.transitions(&bits, 0)[1] as i64;
            // 5 % of a bit cell of 4 000 ns.
            let push = match (before, after) {
                (2, 3..) => 200,
                (3.., 2) => -200,
                _ => 0,
            };
            assert_eq!(middle - centre, push, "{before} before, {after} after");
        }
    }
}

#[test]
fn a_claim_holds_up_to_the_first_transition_or_change_outside_it() {
    let claim = Claim { window_percent: 60, rate_limit_percent: 12 };
    let bits = stream(7, 200);
    let grid = Grid::new(nominal(), Speed::Step { to_ppm: 0 }, bits.len());
    let ones: Vec<usize> = (0..bits.len()).filter(|bit| bits.get(*bit)).collect();
    for place in [0, 1, 200, ones.len() - 1] {
        for (off, outside) in [(600, false), (601, true), (-600, false), (-601, true)] {
            let mut times = grid.transitions(&bits, 0);
            times[place] = times[place].checked_add_signed(off).unwrap();
            let expected = outside.then_some(Outside::Window { cell: ones[place] });
            assert_eq!(first_outside(claim, &grid, &bits, &times), expected, "{place} {off}");
        }
    }
    for (to_ppm, percent, expected) in [
        (112_000, 12, None),
        (112_000, 11, Some(Outside::Rate { cell: Speed::STEADY_BITS })),
        (-108_000, 11, None),
        (-108_000, 10, Some(Outside::Rate { cell: Speed::STEADY_BITS })),
    ] {
        let claim = Claim { rate_limit_percent: percent, ..claim };
        let grid = Grid::new(nominal(), Speed::Step { to_ppm }, bits.len());
        let times = grid.transitions(&bits, 0);
        assert_eq!(first_outside(claim, &grid, &bits, &times), expected, "{to_ppm} {percent}");
    }
    // Both: what comes first.
    let grid = Grid::new(nominal(), Speed::Step { to_ppm: 200_000 }, bits.len());
    for (place, expected) in [
        (3, Outside::Window { cell: ones[3] }),
        (ones.len() - 1, Outside::Rate { cell: Speed::STEADY_BITS }),
    ] {
        let mut times = grid.transitions(&bits, 0);
        times[place] += 800;
        assert_eq!(first_outside(claim, &grid, &bits, &times), Some(expected));
    }
}

#[test]
fn what_is_no_row_of_transitions_is_refused() {
    type Separate<'a> = &'a dyn Fn(&[u64]) -> Result<ChannelBits, SeparatorError>;
    let separators: [Separate<'_>; 4] = [
        &|times| ideal_grid(nominal(), 5, times),
        &|times| ideal_interval(nominal(), times),
        &|times| Tracking::new(nominal()).separate(times),
        &|times| FirstOrder::new(nominal(), 192).separate(times),
    ];
    for separate in separators {
        assert_eq!(separate(&[]).unwrap().len(), 0);
        assert_eq!(separate(&[9]).unwrap().len(), 1);
        for ns in [10, 9] {
            let error = separate(&[5, 10, ns]).unwrap_err();
            assert_eq!(error, SeparatorError::Order { place: 2, before_ns: 10, ns });
        }
        let longest = 2_000 * (MAX_SEPARATED_BITS as u64 - 1);
        assert_eq!(separate(&[5, 5 + longest]).unwrap().len(), MAX_SEPARATED_BITS);
        for far in [longest + 2_000, 1 << 44, (1 << 44) + 1, u64::MAX - 5] {
            let error = separate(&[5, 5 + far]).unwrap_err();
            assert_eq!(error, SeparatorError::TooLong { place: 1 });
        }
    }
    assert_eq!(
        ideal_grid(nominal(), 10, &[9]).unwrap_err().to_string(),
        "transition 0 comes at 9 ns, the one before it at 10 ns: give them in order and no two at \
         once"
    );
    for period in [
        Period::from_ns(9),
        Period::from_ns(1_000_001),
        Period::from_rate(0),
        Period::from_rate(999),
        Period::from_rate(u64::MAX),
        Period::from_rate(100_000_001),
    ] {
        let error = period.unwrap_err();
        assert!(error.to_string().ends_with("give one of 10 to 1000000 ns"), "{error}");
    }
    assert!(Period::from_ns(10).is_ok() && Period::from_rate(1_000).is_ok());
}
