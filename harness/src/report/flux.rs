//! Flux in words, and what a separator made wrong of it: both sides in channel bits, and the
//! intervals about the first difference.

use super::case_text::bit_rows;
use super::phrase::{count, grouped, grouped_by_four, micros, time};
use super::style::Style;
use crate::verdict::{Looks, Misreading};
use trackproof_contract::{Case, Flux, Recording, Speed};
use trackproof_model::code::run_length::transitions;
use trackproof_model::separator::judged::Judged;

/// Intervals shown before the first wrong channel bit, and behind it.
const INTERVALS_BEFORE: usize = 5;
const INTERVALS_BEHIND: usize = 2;

/// A flux, a line a thing: what it is, how it passes, its channel bits.
pub(super) fn told(case: &Case, flux: &Flux) -> Vec<String> {
    let code = match case.profile.recording {
        Recording::Mfm => "MFM",
        Recording::Fm => "FM",
    };
    let bits = count(flux.bits.len() as u64, "channel bit");
    let bit = time(case.profile.channel_bit_ns.into());
    let mut lines = vec![
        format!("{bits} of {code}, {bit} each at nominal speed"),
        format!("{}: {}", waveform(flux), speed(flux.speed)),
    ];
    if flux.peak_shift > 0 {
        lines.push(format!(
            "neighbours push a transition by {} of a channel bit",
            percent(u32::from(flux.peak_shift) * 1_000)
        ));
    }
    if !flux.displaced.is_empty() {
        let transitions = count(flux.displaced.len() as u64, "transition");
        lines.push(format!("{transitions} displaced; the case file has them"));
    }
    for splice in &flux.splices {
        let far = percent(u32::from(splice.moved.unsigned_abs()) * 1_000);
        let way = if splice.moved < 0 { "earlier" } else { "later" };
        let cell = grouped(splice.cell.into());
        lines.push(format!("a splice before channel bit {cell}: from there on {far} of one {way}"));
    }
    lines.extend(bit_rows(&flux.bits, "channel bit"));
    lines
}

/// The waveform's name: how the speed goes, whether cells are long or short there, and whether
/// neighbours push.
fn waveform(flux: &Flux) -> String {
    let of = |name: &str, ppm: i32| match ppm {
        0 => name.to_owned(),
        ppm => format!("{name}-{}", if ppm > 0 { "long" } else { "short" }),
    };
    let name = match flux.speed {
        Speed::Even { off_ppm } => of("even", off_ppm),
        Speed::Step { to_ppm } => of("step", to_ppm),
        Speed::Ramp { to_ppm } => of("ramp", to_ppm),
        Speed::Sinusoid { base_ppm, .. } => of("sinusoid", base_ppm),
    };
    format!("waveform {name}{}", if flux.peak_shift > 0 { "-shifted" } else { "" })
}

fn speed(speed: Speed) -> String {
    let steady = grouped(Speed::STEADY_BITS as u64);
    let cells = |ppm: i32| match ppm {
        0 => "nominal cells".into(),
        ppm if ppm > 0 => format!("cells {} too long", percent(ppm.unsigned_abs())),
        ppm => format!("cells {} too short", percent(ppm.unsigned_abs())),
    };
    match speed {
        Speed::Even { off_ppm } => format!("{} all along", cells(off_ppm)),
        Speed::Step { to_ppm } => {
            format!("nominal cells, from channel bit {steady} on {}", cells(to_ppm))
        }
        Speed::Ramp { to_ppm } => format!(
            "nominal cells, from channel bit {steady} on a ramp over 64 bit cells to {}",
            cells(to_ppm)
        ),
        Speed::Sinusoid { base_ppm, swing_ppm } => format!(
            "{}, from channel bit {steady} on swinging by {} with a period of 200 bit cells",
            cells(base_ppm),
            percent(swing_ppm.unsigned_abs())
        ),
    }
}

/// Parts per million as percent, without needless zeros.
fn percent(ppm: u32) -> String {
    let text = format!("{}.{:04}", ppm / 10_000, ppm % 10_000);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// What was made wrong of it.
pub(super) fn misread(case: &Case, flux: &Flux, found: &Misreading, style: Style) -> Vec<String> {
    let first = found.misread.cell - found.from;
    let digits = |word: u64, count: usize| {
        (0..count).rev().map(move |bit| if word >> bit & 1 == 1 { '1' } else { '0' })
    };
    let due: Vec<char> = digits(found.due, found.due_bits).collect();
    let got: Vec<char> = digits(found.got, found.got_bits).collect();
    let marks = (0..due.len()).map(|at| if at == first { '^' } else { ' ' });
    let mut lines = vec![
        format!(
            "    from channel bit {} on; {} came in all",
            grouped(found.from as u64),
            count(found.came as u64, "channel bit")
        ),
        format!(
            "  {} written  {}",
            style.strong("→"),
            style.right(&grouped_by_four(due.iter().copied()))
        ),
        format!("    got      {}", style.wrong(&grouped_by_four(got.into_iter()))),
        format!("             {}", style.strong(grouped_by_four(marks).trim_end())),
        String::new(),
        format!("  Looks like {}", looks(found.looks)),
        String::new(),
        format!(
            "  Seen at    {} µs, channel bit {}; {} right before it",
            micros(found.at_ns),
            grouped(found.misread.cell as u64),
            count(found.misread.right() as u64, "channel bit")
        ),
    ];
    lines.extend(intervals(case, flux, found, style));
    lines
}

fn looks(looks: Looks) -> String {
    let bits = |number: usize| count(number as u64, "channel bit");
    match looks {
        Looks::Lost(number) => format!("{} lost; what follows is right", bits(number)),
        Looks::Added(number) => format!("{} added; what follows is right", bits(number)),
        Looks::Moved => "transitions taken for those of another cell; what follows is right".into(),
        Looks::Ended => "an end: no more channel bits come".into(),
        Looks::Foreign => "nothing that was written".into(),
    }
}

/// The intervals about the first wrong channel bit, with what was written.
fn intervals(case: &Case, flux: &Flux, found: &Misreading, style: Style) -> Vec<String> {
    let mut judged = Judged::default();
    judged.lay_out(&case.profile, flux);
    let times_ns = judged.times_ns();
    let ones: Vec<usize> = transitions(&flux.bits).collect();
    let wrong = ones.partition_point(|bit| *bit < found.misread.cell).min(ones.len() - 1);
    let from = wrong.saturating_sub(INTERVALS_BEFORE).max(1);
    let to = (wrong + INTERVALS_BEHIND).min(ones.len() - 1);
    let bit_ns = f64::from(case.profile.channel_bit_ns);
    let mut lines = vec![
        String::new(),
        format!("  {}", style.strong("The intervals there")),
        format!("    {:>12}  {:>8}  {:>9}  {:>9}", "to bit", "written", "lasts", "nominal"),
    ];
    for at in from..=to {
        let lasts_ns = times_ns[at] - times_ns[at - 1];
        let mark = if at == wrong { style.strong("→") } else { " ".into() };
        lines.push(format!(
            "  {mark} {:>12}  {:>8}  {:>9}  {:>9}",
            grouped(ones[at] as u64),
            ones[at] - ones[at - 1],
            time(lasts_ns),
            format!("{:.3} T", lasts_ns as f64 / bit_ns)
        ));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::{percent, speed, waveform};
    use trackproof_contract::{ChannelBits, Flux, Speed};
    use trackproof_model::separator::waveform::JUDGED;

    #[test]
    fn the_judged_waveforms_go_by_their_names() {
        for one in JUDGED {
            let flux = Flux {
                bits: ChannelBits::zeros(1),
                speed: one.speed,
                peak_shift: one.peak_shift,
                displaced: Vec::new(),
                splices: Vec::new(),
            };
            assert_eq!(waveform(&flux), format!("waveform {}", one.name));
        }
    }

    #[test]
    fn speeds_are_told_in_percent() {
        assert_eq!(percent(112_000), "11.2 %");
        assert_eq!(percent(100), "0.01 %");
        assert_eq!(speed(Speed::Even { off_ppm: -30_000 }), "cells 3 % too short all along");
        assert_eq!(
            speed(Speed::Ramp { to_ppm: 112_000 }),
            "nominal cells, from channel bit 400 on a ramp over 64 bit cells to cells 11.2 % too long"
        );
    }
}
