//! Simpler flux: less of it, calmer, plainer.

use super::{Reductions, edited};
use trackproof_contract::{Case, ChannelBits, Flux, MAX_SPEED_PPM, Speed, Splice};
use trackproof_model::code::run_length::transitions;
use trackproof_model::separator::waveform::{BASE_PPM, LONG_PPM, SHORT_PPM, SWING_PPM};

/// The field of zeros that a changing speed begins with, or that a legal run may be.
const FIELD: u64 = 0b10;

/// Repeated intervals that a content may be instead: what it takes to be wrong is mostly one of
/// them.
const PATTERNS: &[&[usize]] = &[
    &[2],
    &[1],
    &[4],
    &[3],
    &[2, 4],
    &[4, 2],
    &[2, 3],
    &[3, 2],
    &[3, 4],
    &[4, 3],
    &[1, 2],
    &[2, 1],
    &[4, 4, 2],
    &[2, 2, 4],
    &[2, 2, 3],
    &[3, 2, 4],
    &[2, 3, 4],
    &[2, 4, 3],
    &[4, 2, 2],
];

/// The extremes of what a separator is judged by.
const EXTREMES: [Speed; 8] = [
    Speed::Even { off_ppm: BASE_PPM },
    Speed::Even { off_ppm: -BASE_PPM },
    Speed::Step { to_ppm: LONG_PPM },
    Speed::Step { to_ppm: SHORT_PPM },
    Speed::Ramp { to_ppm: LONG_PPM },
    Speed::Ramp { to_ppm: SHORT_PPM },
    Speed::Sinusoid { base_ppm: BASE_PPM, swing_ppm: SWING_PPM },
    Speed::Sinusoid { base_ppm: -BASE_PPM, swing_ppm: SWING_PPM },
];

fn with(case: &Case, edit: impl Fn(&mut Flux) -> Option<()>) -> Option<Case> {
    let mut done = None;
    let changed = edited(case, |case| done = case.flux.as_mut().and_then(&edit));
    done.map(|()| changed)
}

fn of(case: &Case) -> Option<&Flux> {
    case.flux.as_ref()
}

/// Less at the end: halves, quarters, … single channel bits.
pub(super) fn shorter(case: &Case) -> Reductions<'_> {
    let Some(flux) = of(case) else { return Box::new(std::iter::empty()) };
    let len = flux.bits.len();
    let cuts = std::iter::successors(Some(len / 2), |cut| (*cut > 1).then_some(cut / 2));
    Box::new(cuts.filter_map(move |cut| with(case, |flux| take_out(flux, len - cut, cut))))
}

/// Less before that: stretches of every length, from every multiple of it.
pub(super) fn without_a_stretch(case: &Case) -> Reductions<'_> {
    let Some(flux) = of(case) else { return Box::new(std::iter::empty()) };
    let len = flux.bits.len();
    let lengths =
        std::iter::successors(Some(len / 2), |length| (*length > 1).then_some(length / 2));
    Box::new(
        lengths
            .filter(move |length| len / length <= 512)
            .flat_map(move |length| (0..len / length).map(move |at| (at * length, length)))
            .filter_map(move |(at, length)| with(case, |flux| take_out(flux, at, length))),
    )
}

/// One interval less, or one splice.
pub(super) fn without_an_interval(case: &Case) -> Reductions<'_> {
    let Some(flux) = of(case) else { return Box::new(std::iter::empty()) };
    let splices = (0..flux.splices.len()).filter_map(move |at| {
        with(case, |flux| {
            flux.splices.remove(at);
            Some(())
        })
    });
    let ones: Vec<usize> = transitions(&flux.bits).collect();
    let intervals: Vec<(usize, usize)> =
        ones.windows(2).map(|pair| (pair[0], pair[1] - pair[0])).collect();
    Box::new(
        splices.chain(
            intervals
                .into_iter()
                .filter_map(move |(at, length)| with(case, |flux| take_out(flux, at, length))),
        ),
    )
}

/// A calmer speed: even, nearer to nominal, in rounder numbers; less push; splices moved less.
pub(super) fn calmer(case: &Case) -> Reductions<'_> {
    let Some(flux) = of(case) else { return Box::new(std::iter::empty()) };
    let (speed, shift) = (flux.speed, flux.peak_shift);
    let [first, second] = speed.numbers();
    let kinds = [
        Speed::Even { off_ppm: 0 },
        Speed::Even { off_ppm: first },
        Speed::Even { off_ppm: second },
        Speed::Step { to_ppm: first },
        Speed::Ramp { to_ppm: first },
        Speed::Sinusoid { base_ppm: 0, swing_ppm: first },
    ];
    let speeds = kinds
        .into_iter()
        .chain(nearer(first).into_iter().map(move |first| speed.with_numbers([first, second])))
        .chain(nearer(second).into_iter().map(move |second| speed.with_numbers([first, second])))
        .filter_map(move |speed| {
            with(case, |flux| {
                flux.speed = speed;
                Some(())
            })
        });
    let shifts = nearer(shift.into()).into_iter().filter_map(move |shift| {
        with(case, |flux| {
            flux.peak_shift = u16::try_from(shift).ok()?;
            Some(())
        })
    });
    let splices = flux.splices.iter().enumerate().flat_map(move |(at, splice)| {
        nearer(splice.moved.into()).into_iter().filter_map(move |moved| {
            with(case, |flux| {
                flux.splices[at].moved = i16::try_from(moved).ok()?;
                Some(())
            })
        })
    });
    // Nothing is pushed, or the speed does not change, for which it may go to its extreme.
    let instead = EXTREMES.into_iter().flat_map(move |speed| {
        [0, shift].into_iter().filter_map(move |shift| {
            with(case, |flux| {
                (flux.speed, flux.peak_shift) = (speed, shift);
                Some(())
            })
        })
    });
    Box::new(speeds.chain(shifts).chain(splices).chain(instead))
}

/// Simpler numbers, perhaps: 0, the other direction, round ones on either side, halves, one less.
fn nearer(number: i32) -> Vec<i32> {
    let mut list = vec![0, number.abs()];
    for round in [100_000, 50_000, 10_000, 5_000, 1_000, 100, 10] {
        let below = number / round * round;
        list.extend([below, below + number.signum() * round]);
    }
    list.extend([number / 2, number - number / 4, number - number.signum()]);
    list.retain(|other| *other != number && other.abs() <= MAX_SPEED_PPM);
    list
}

/// Plainer contents: from a place on one pattern over and over.
pub(super) fn patterns(case: &Case) -> Reductions<'_> {
    let Some(flux) = of(case) else { return Box::new(std::iter::empty()) };
    let len = flux.bits.len();
    let starts = match flux.speed {
        Speed::Even { .. } => vec![0, len / 4, len / 2],
        _ => vec![Speed::STEADY_BITS, Speed::STEADY_BITS + len.saturating_sub(400) / 2],
    };
    Box::new(starts.into_iter().flat_map(move |start| {
        PATTERNS.iter().filter_map(move |pattern| {
            with(case, |flux| {
                let start = start.min(len);
                let mut bits = flux.bits.clone();
                bits.truncate(start);
                let mut intervals = pattern.iter().cycle();
                while bits.len() < len {
                    let interval = intervals.next()?;
                    bits.push(1 << (interval - 1), *interval);
                }
                bits.truncate(len);
                flux.bits = bits;
                flux.displaced.clear();
                Some(())
            })
        })
    }))
}

/// One interval more like a field of zeros: a one moved so that it stands two behind the last.
pub(super) fn plainer_intervals(case: &Case) -> Reductions<'_> {
    let Some(flux) = of(case) else { return Box::new(std::iter::empty()) };
    let len = flux.bits.len();
    Box::new((0..len.saturating_sub(4)).filter_map(move |at| {
        with(case, |flux| {
            let four = flux.bits.window(at, 4);
            let plain = FIELD << 2 | FIELD;
            (four != plain && four >> 3 == 1).then(|| {
                flux.bits.put(at, plain, 4);
                flux.displaced.clear();
            })
        })
    }))
}

/// Takes channel bits out; splices in them go as well, later ones move along.
fn take_out(flux: &mut Flux, at: usize, length: usize) -> Option<()> {
    let len = flux.bits.len();
    if length == 0 || at + length > len || length == len {
        return None;
    }
    let mut bits = ChannelBits::new();
    append(&mut bits, &flux.bits, 0, at);
    append(&mut bits, &flux.bits, at + length, len);
    flux.bits = bits;
    flux.displaced.clear();
    let (from, to) = (at as u32, (at + length) as u32);
    flux.splices.retain(|splice| !(from..to).contains(&splice.cell));
    for Splice { cell, .. } in &mut flux.splices {
        if *cell >= to {
            *cell -= length as u32;
        }
    }
    flux.splices.retain(|splice| splice.cell > 0);
    flux.splices.dedup_by_key(|splice| splice.cell);
    Some(())
}

fn append(bits: &mut ChannelBits, of: &ChannelBits, from: usize, to: usize) {
    for at in (from..to).step_by(64) {
        let count = (to - at).min(64);
        bits.push(of.window(at, count), count);
    }
}
