//! Judging a data separator: what it made of the case's flux, held against what was written.

use crate::rules::Rule;
use crate::verdict::{Inconclusive, Looks, Misreading, Verdict};
use trackproof_contract::{Case, ChannelBits, Flux, Recording, Speed};
use trackproof_model::code::run_length::{limits, transitions};
use trackproof_model::reach::{Point, Reach};
use trackproof_model::separator::judged::{Before, Judged};
use trackproof_model::separator::{Alignment, Misread};

/// Channel bits behind the first wrong one within which a separator may have found its way again.
const UNSETTLED: usize = 8;
/// Channel bits that must agree to say that it has.
const AGREEING: usize = 24;
/// Most channel bits that a fault is taken to have lost or added.
const MOST_SLIPPED: usize = 8;
/// Channel bits shown before the first wrong one, and in all.
const SHOWN_BEFORE: usize = 24;
const SHOWN: usize = 64;

/// Judges separators. Its memory is reused.
#[derive(Debug, Default)]
pub(super) struct FluxJudge {
    judged: Judged,
    alignment: Alignment,
}

impl FluxJudge {
    /// Judges what came of a case's flux, and notes what the case reached.
    pub(super) fn judge(
        &mut self,
        case: &Case,
        flux: &Flux,
        came: &ChannelBits,
        reach: &mut Reach,
    ) -> Verdict {
        self.judged.lay_out(&case.profile, flux);
        let stretches = self.judged.stretches();
        if stretches.is_empty() {
            return Verdict::Inconclusive(Inconclusive::Open(
                "no part of its flux is such that a separator is judged by it",
            ));
        }
        note(flux, &self.judged, reach);
        match self.alignment.hold(&flux.bits, stretches, came) {
            Ok(()) => Verdict::Conforms,
            Err(misread) => Verdict::Misreads(Box::new(misreading(
                case.profile.recording,
                flux,
                came,
                &self.judged,
                misread,
            ))),
        }
    }

    /// Channel bits of the last case that had to come out right.
    pub(super) fn judged_bits(&self) -> u64 {
        self.judged.stretches().iter().map(|one| (one.end - one.first) as u64).sum()
    }
}

fn note(flux: &Flux, judged: &Judged, reach: &mut Reach) {
    reach.hit(match flux.speed {
        Speed::Even { .. } => Point::FluxEven,
        Speed::Step { .. } => Point::FluxStep,
        Speed::Ramp { .. } => Point::FluxRamp,
        Speed::Sinusoid { .. } => Point::FluxSinusoid,
    });
    if flux.peak_shift > 0 {
        reach.hit(Point::FluxShifted);
    }
    for pair in judged.stretches().windows(2).filter(|pair| pair[1].before == Before::Disturbance) {
        let gap = pair[0].end as u32..=pair[1].first as u32;
        let spliced = flux.splices.iter().any(|splice| gap.contains(&splice.cell));
        reach.hit(if spliced { Point::FluxSpliced } else { Point::FluxErased });
    }
}

fn misreading(
    recording: Recording,
    flux: &Flux,
    came: &ChannelBits,
    judged: &Judged,
    misread: Misread,
) -> Misreading {
    let (id, kind) = name(recording, flux, judged, misread);
    // The transition at or before the first wrong channel bit.
    let before = transitions(&flux.bits).take_while(|bit| *bit <= misread.cell).count();
    let at_ns = judged.times_ns()[before.saturating_sub(1)];
    let back = misread.right().min(SHOWN_BEFORE).min(misread.place);
    let (from, place) = (misread.cell - back, misread.place - back);
    let due_bits = SHOWN.min(misread.stretch.end - from);
    let got_bits = due_bits.min(came.len().saturating_sub(place));
    Misreading {
        rule: Rule::find(id).expect("a rule of the catalogue"),
        kind,
        misread,
        looks: looks(&flux.bits, came, misread),
        at_ns,
        from,
        due: flux.bits.window(from, due_bits),
        due_bits,
        got: came.window(place.min(came.len()), got_bits),
        got_bits,
        came: came.len(),
    }
}

/// Rule and kind: what of the flux it takes. How wrong the bits are that come is chance.
fn name(
    recording: Recording,
    flux: &Flux,
    judged: &Judged,
    misread: Misread,
) -> (&'static str, &'static str) {
    if misread.stretch.before == Before::Disturbance {
        let before = judged.stretches().iter().take_while(|one| **one != misread.stretch);
        let from = before.last().map_or(0, |stretch| stretch.end);
        let spliced = flux
            .splices
            .iter()
            .any(|splice| (from..=misread.stretch.first).contains(&(splice.cell as usize)));
        // The longest interval from there on tells an erased stretch from transitions too close.
        let mut last = from.saturating_sub(1);
        let longest = *limits(recording).end();
        let mut erased = false;
        for bit in (from..=misread.stretch.first).filter(|bit| flux.bits.get(*bit)) {
            erased |= bit - last > longest;
            last = bit;
        }
        let kind = match (spliced, erased) {
            (_, true) => "behind-erased",
            (true, false) => "behind-splice",
            (false, false) => "behind-close-transitions",
        };
        return ("separator.recover", kind);
    }
    let even = matches!(flux.speed, Speed::Even { .. });
    let kind = match (even, flux.peak_shift > 0) {
        (true, false) => "even-speed",
        (true, true) => "pushed",
        (false, false) => "changing-speed",
        (false, true) => "pushed-at-changing-speed",
    };
    ("separator.legal", kind)
}

/// What a stretch came out like, by what comes behind the first difference.
fn looks(written: &ChannelBits, came: &ChannelBits, misread: Misread) -> Looks {
    let (cell, place) = (misread.cell + UNSETTLED, misread.place + UNSETTLED);
    if came.len() < place {
        return Looks::Ended;
    }
    let agrees = |cell: usize, place: usize| {
        let left = misread.stretch.end.saturating_sub(cell).min(came.len().saturating_sub(place));
        let count = left.min(AGREEING);
        count > MOST_SLIPPED && written.window(cell, count) == came.window(place, count)
    };
    if agrees(cell, place) {
        return Looks::Moved;
    }
    for slip in 1..=MOST_SLIPPED {
        if agrees(cell + slip, place) {
            return Looks::Lost(slip);
        }
        if agrees(cell, place + slip) {
            return Looks::Added(slip);
        }
    }
    Looks::Foreign
}

#[cfg(test)]
mod tests {
    use super::FluxJudge;
    use trackproof_contract::{Bench, Case, ChannelBits, Flux, Profile, Recording, Speed, Splice};
    use trackproof_model::reach::Reach;

    /// The name of a separator that gives nothing behind a disturbance: `interval` channel bits
    /// from one transition to the next, with a splice in between or without.
    fn named(recording: Recording, interval: usize, spliced: bool) -> (&'static str, &'static str) {
        let mut bits = ChannelBits::new();
        (0..100).for_each(|_| bits.push(0b10, 2));
        let came = bits.clone();
        bits.push(0, interval - 2);
        let cell = bits.len() as u32;
        (0..100).for_each(|_| bits.push(0b10, 2));
        let splices = if spliced { vec![Splice { cell, moved: 250 }] } else { Vec::new() };
        let speed = Speed::Even { off_ppm: 0 };
        let flux = Flux { bits, speed, peak_shift: 0, displaced: Vec::new(), splices };
        let case = Case {
            profile: Profile { recording, ..Profile::sync_dma() },
            bench: Bench { access_ns: 0, drives: Vec::new() },
            tracks: Vec::new(),
            program: Vec::new(),
            flux: Some(flux.clone()),
        };
        let mut reach = Reach::default();
        let verdict = FluxJudge::default().judge(&case, &flux, &came, &mut reach);
        let (rule, kind) = verdict.name().expect("a misreading");
        (rule.id, kind)
    }

    #[test]
    fn what_stands_before_a_stretch_gives_the_name() {
        let recover = |kind| ("separator.recover", kind);
        assert_eq!(named(Recording::Mfm, 5, false), recover("behind-erased"));
        assert_eq!(named(Recording::Mfm, 4, true), recover("behind-splice"));
        // An interval of 3 is one that FM does not make.
        assert_eq!(named(Recording::Fm, 3, false), recover("behind-erased"));
        assert_eq!(named(Recording::Fm, 2, true), recover("behind-splice"));
    }
}
