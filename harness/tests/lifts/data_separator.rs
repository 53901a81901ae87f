//! Data separators in flux: a right one conforms, wrong ones are accused by the right rule and come
//! back small, and what cannot be is named.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use trackproof::campaign::{Plan, RigFactory, Summary, run};
use trackproof::lift::data_separator;
use trackproof::margin::{Axis, Margin, Question, margins};
use trackproof::minimise::{Outcome, single_reductions};
use trackproof::plug::{AsDataSeparator, Plug};
use trackproof::settle::{Settled, settle};
use trackproof_contract::{
    Capabilities, Capability, Case, ChannelBits, DataSeparator, Observation, Profile, Recording,
    Rig, RigError, SeamError, Speed,
};
use trackproof_model::reach::Point;

/// A loop in floating point, by hand: phase and period follow each transition.
#[derive(Clone)]
struct Loop {
    phase_part: f64,
    period_part: f64,
    /// What it takes the cell's centre to be off by, in channel bits.
    off: f64,
    nominal: f64,
    period: f64,
    centre: f64,
    begun: bool,
}

impl Loop {
    fn new(phase_part: f64, period_part: f64, off: f64) -> Self {
        Self { phase_part, period_part, off, nominal: 0.0, period: 0.0, centre: 0.0, begun: false }
    }
}

impl DataSeparator for Loop {
    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        self.nominal = profile.channel_bit_ns.into();
        self.period = self.nominal;
        Ok(())
    }

    fn advance(
        &mut self,
        until_ns: u64,
        transitions_ns: &[u64],
        bits: &mut ChannelBits,
    ) -> Result<(), SeamError> {
        assert!(transitions_ns.iter().all(|ns| *ns <= until_ns));
        for ns in transitions_ns.iter().map(|ns| *ns as f64) {
            if !self.begun {
                (self.begun, self.centre) = (true, ns);
                bits.push(1, 1);
                continue;
            }
            let cells = ((ns - self.centre) / self.period + self.off).round().max(1.0);
            let error = ns - self.centre - cells * self.period;
            self.centre += cells * self.period + self.phase_part * error;
            self.period = (self.period + self.period_part * error / cells)
                .clamp(0.85 * self.nominal, 1.15 * self.nominal);
            for _ in 1..cells as u64 {
                bits.push(0, 1);
            }
            bits.push(1, 1);
        }
        Ok(())
    }
}

fn factory(separator: Loop) -> impl Fn() -> Result<Box<dyn Rig>, String> + Sync {
    move || {
        let separator = separator.clone();
        Ok(data_separator::rig(Arc::new(move || separator.clone())))
    }
}

fn campaign(profile: Profile, cases: u64, factory: &RigFactory<'_>) -> Summary {
    let plan = Plan { profile, seed: 4, cases, deadline: None, jobs: 2 };
    run(&plan, factory, &AtomicBool::new(false), &|_| {}).unwrap()
}

fn settled(separator: Loop) -> Vec<Settled> {
    let factory = factory(separator);
    let factory: &RigFactory<'_> = &factory;
    let summary = campaign(Profile::sync_dma(), 2_000, factory);
    let settlement = settle(summary.findings, factory, 2, 20_000, &|| false, &|_| {}).unwrap();
    assert!(settlement.not_reproducible.is_empty() && settlement.set_aside.is_empty());
    settlement.settled
}

const RIGHT: [f64; 3] = [0.75, 0.15, 0.0];

#[test]
fn a_right_loop_conforms_and_is_brought_everywhere() {
    for recording in [Recording::Mfm, Recording::Fm] {
        let profile = Profile { recording, ..Profile::sync_dma() };
        let [phase, period, off] = RIGHT;
        let factory = factory(Loop::new(phase, period, off));
        let summary = campaign(profile, 3_000, &factory);
        assert_eq!((summary.judged, summary.findings.len()), (3_000, 0), "{recording:?}");
        assert!(summary.compared.channel_bits > 1_000 * 300 && !summary.compared_nothing());
        assert_eq!(summary.skipped_rules().count(), 0);
        for point in Point::all(16, 3).filter(|point| point.is_of_flux()) {
            let pushed = point == Point::FluxShifted && recording == Recording::Fm;
            assert_eq!(summary.reach.of(point) >= 20, !pushed, "{point} {recording:?}");
        }
    }
}

#[test]
fn wrong_loops_are_named_and_come_back_small() {
    for (separator, rule, kind, most_bits) in [
        // The phase alone, by a half: too little at the extremes of speed.
        (Loop::new(0.5, 0.0, 0.0), "separator.legal", "changing-speed", 700),
        // Fixed thresholds: where cells are short and transitions pushed.
        (Loop::new(1.0, 0.0, 0.0), "separator.legal", "pushed-at-changing-speed", 700),
        // A window off its centre.
        (Loop::new(0.75, 0.15, 0.3), "separator.legal", "pushed", 160),
    ] {
        let findings = settled(separator);
        assert_eq!(findings[0].finding.rule.id, rule);
        let of_kind = |one: &&Settled| one.finding.name() == (rule, kind);
        let first = findings.iter().find(of_kind).unwrap_or_else(|| panic!("no {kind}"));
        assert!(first.minimised);
        let flux = first.finding.case.flux.as_ref().unwrap();
        assert!(flux.bits.len() <= most_bits, "{kind}: {} channel bits", flux.bits.len());
        assert!(flux.splices.is_empty());
    }
}

/// A loop that never comes back from an interval that is too long.
#[derive(Clone)]
struct Deaf(Loop, u64, bool);

impl DataSeparator for Deaf {
    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        self.0.power_up(profile)
    }

    fn advance(
        &mut self,
        until_ns: u64,
        transitions_ns: &[u64],
        bits: &mut ChannelBits,
    ) -> Result<(), SeamError> {
        for &ns in transitions_ns {
            self.2 |= self.1 > 0 && ns - self.1 > 10_000;
            self.1 = ns;
            if !self.2 {
                self.0.advance(until_ns, &[ns], bits)?;
            }
        }
        if self.2 {
            bits.push(0, 16);
        }
        Ok(())
    }
}

#[test]
fn a_loop_that_does_not_come_back_is_told_from_one_that_does_not_follow() {
    let [phase, period, off] = RIGHT;
    let deaf = Deaf(Loop::new(phase, period, off), 0, false);
    let make = move || {
        let deaf = deaf.clone();
        Ok(data_separator::rig(Arc::new(move || deaf.clone())))
    };
    let factory: &RigFactory<'_> = &make;
    let summary = campaign(Profile::sync_dma(), 1_000, factory);
    let settled = settle(summary.findings, factory, 2, 20_000, &|| false, &|_| {}).unwrap().settled;
    let names: Vec<_> = settled.iter().map(|one| one.finding.name()).collect();
    assert_eq!(names, [("separator.recover", "behind-erased")]);
    let case = &settled[0].finding.case;
    assert!(case.flux.as_ref().unwrap().bits.len() <= 130);
    // Nothing smaller shows it.
    let mut rig = make().unwrap();
    let mut judge = trackproof::judge::Judge::new();
    let mut observation = Observation::new();
    for smaller in single_reductions(case) {
        rig.run(&smaller, &mut observation).unwrap();
        let verdict = judge.judge(&smaller, &observation, rig.capabilities());
        let same = verdict.name().is_some_and(|(rule, _)| rule.id == "separator.recover");
        let outcome = if same { Outcome::Same } else { Outcome::Passes };
        assert_eq!(outcome, Outcome::Passes);
    }
}

/// Gives as many ones as it is told to.
struct Flood(usize);

impl DataSeparator for Flood {
    fn advance(&mut self, _: u64, _: &[u64], bits: &mut ChannelBits) -> Result<(), SeamError> {
        (0..self.0).for_each(|_| bits.push(1, 1));
        Ok(())
    }
}

struct Nothing;

impl DataSeparator for Nothing {
    fn advance(&mut self, _: u64, _: &[u64], _: &mut ChannelBits) -> Result<(), SeamError> {
        Err(SeamError::NotSupported)
    }
}

fn flux_case() -> Case {
    let only = Capabilities::of(&[Capability::Separator]);
    trackproof::generate::Generator::limited_to(Profile::sync_dma(), only).case(1, 0)
}

#[test]
fn what_cannot_be_is_named() {
    let mut observation = Observation::new();
    let mut run = |rig: &mut dyn Rig| rig.run(&flux_case(), &mut observation);
    let error = run(&mut *data_separator::rig(Arc::new(|| Flood(4_000)))).unwrap_err();
    assert!(matches!(error, RigError::Protocol { .. }), "{error}");
    assert!(error.to_string().contains("the limit for this case is"), "{error}");
    assert_eq!(run(&mut *data_separator::rig(Arc::new(|| Flood(0)))), Ok(()));
    let nothing = <Nothing as Plug<AsDataSeparator>>::plug(Arc::new(|| Nothing));
    assert!(nothing.capabilities().minus(nothing.lent()).is_empty());
}

#[test]
fn silence_is_a_finding_and_never_a_pass() {
    let make = || Ok(data_separator::rig(Arc::new(|| Flood(0))));
    let factory: &RigFactory<'_> = &make;
    let summary = campaign(Profile::sync_dma(), 50, factory);
    assert_eq!(summary.deviating.values().sum::<u64>(), 50);
    let settled = settle(summary.findings, factory, 1, 20_000, &|| false, &|_| {}).unwrap().settled;
    let flux = settled[0].finding.case.flux.as_ref().unwrap();
    assert_eq!(flux.speed, Speed::Even { off_ppm: 0 });
    assert!(flux.bits.len() < 110, "{}", flux.bits.len());
}

#[test]
fn margins_are_where_the_loop_that_is_measured_has_its_edges() {
    let measured = |separator: Loop| {
        let factory = factory(separator);
        let question = Question { profile: Profile::sync_dma(), seed: 3, trials: 60, jobs: 2 };
        margins(&question, &factory, &|| false).unwrap().unwrap()
    };
    let at = |list: &[Margin], axis: Axis| {
        let one = list.iter().find(|one| one.axis == axis).unwrap();
        one.own.margin().map_or(0, |tried| tried.value)
    };
    // The phase alone, by g: the error before a correction at the longest interval, 4, grows to
    // 4 x speed error / g channel bits, and fails past a half: 6.25 % for a half, 3.1 for a quarter.
    for (part, edge) in [(0.5, 62), (0.25, 31)] {
        let list = measured(Loop::new(part, 0.0, 0.0));
        for axis in [Axis::SlowSpeed, Axis::FastSpeed] {
            let found = at(&list, axis);
            assert!((edge - 1..=edge + 1).contains(&found), "{part}: {found}");
        }
    }
    // A window a quarter of a channel bit off to one side leaves a quarter there.
    let list = measured(Loop::new(0.75, 0.15, 0.25));
    let (late, early) = (at(&list, Axis::Late), at(&list, Axis::Early));
    assert!((240..=260).contains(&late) && early >= 490, "late {late}, early {early}");
    // The model's own goes as far as what is judged, and not much farther.
    for one in &list {
        let reference = one.reference.margin().unwrap().value;
        let asked = one.axis.standard().map_or(100, |(value, _)| value);
        assert!(reference >= asked, "{}: {reference}", one.axis.name());
    }
}

#[test]
fn margins_are_measured_of_separators_alone() {
    let profile = Profile::sync_dma();
    let nothing = || Ok(data_separator::rig(Arc::new(|| Nothing)));
    let question = Question { profile, seed: 3, trials: 1, jobs: 1 };
    assert_eq!(margins(&question, &nothing, &|| false).unwrap(), None);
}
