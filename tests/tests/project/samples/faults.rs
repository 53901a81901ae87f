//! Every fault of every sample is found, named as `faults.toml` says, and comes back small; the
//! correct sample passes the very same cases.
//!
//! The lists in `faults.toml` were written down before the first run.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use trackproof::campaign::{Plan, RigFactory, run};
use trackproof::examine::Examiner;
use trackproof::lift::data_separator;
use trackproof::settle::{Settled, settle};
use trackproof::verdict::Verdict;
use trackproof_contract::{Operation, Profile, Rig};
use trackproof_samples::{Fault, Form, OpenSample, OpenSeparator, Sample, samples};

/// Cases that a fault must show in.
const CASES: u64 = 20_000;

/// The bars of a minimal case.
const MOST_OPERATIONS: usize = 6;
const MOST_WORDS: u32 = 64;
const MOST_CHANNEL_BITS: usize = 256;

/// The bar of a minimal flux: where the speed changes, 400 channel bits at an even one come first.
const MOST_FLUX_BITS: usize = 1_000;

/// Samples that end the process that they run in, or change their mind: they are looked at where the
/// program is started.
const SHELLS: [&str; 2] = ["hostile", "flaky"];

/// The samples whose faults can be looked at in this process.
fn tame() -> impl Iterator<Item = &'static Sample> {
    samples().iter().filter(|sample| !SHELLS.contains(&sample.name))
}

/// A sample that is open: a controller, or a part that is lent what it needs.
enum Open {
    Controller(OpenSample),
    Separator(OpenSeparator),
}

impl Open {
    fn new(sample: &Sample, faults: &[&str]) -> Self {
        match sample.form {
            Form::Separator(_) => {
                Self::Separator(sample.open_separator(faults).expect("the sample opens"))
            }
            _ => Self::Controller(sample.open(faults).expect("the sample opens")),
        }
    }

    fn rig(&self) -> Result<Box<dyn Rig>, String> {
        match self {
            Self::Controller(open) => match open.rig() {
                Ok(rig) => Ok(Box::new(rig)),
                Err(error) => Err(error.to_string()),
            },
            Self::Separator(open) => Ok(data_separator::rig(open.maker())),
        }
    }
}

fn factory(open: &Open) -> impl Fn() -> Result<Box<dyn Rig>, String> + Sync + '_ {
    || open.rig()
}

/// The profile that a fault shows under: its sample's, with the keys that it asks for.
fn profile(sample: &Sample, fault: &Fault) -> Profile {
    let mut profile = Profile::built_in(sample.profile).expect("a built-in profile");
    for (name, value) in &fault.under {
        let key = Profile::key(name).expect("a key");
        key.set_text(&mut profile, value).expect("a value");
    }
    profile.validate().expect("a profile");
    profile
}

fn settled(sample: &Sample, fault: &Fault, seed: u64, cases: u64) -> Vec<Settled> {
    settled_together(sample, &[&fault.name], profile(sample, fault), seed, cases)
}

/// The findings of a sample with some faults at once.
fn settled_together(
    sample: &Sample,
    faults: &[&str],
    profile: Profile,
    seed: u64,
    cases: u64,
) -> Vec<Settled> {
    let open = Open::new(sample, faults);
    let factory = factory(&open);
    let factory: &RigFactory<'_> = &factory;
    let plan = Plan { profile, seed, cases, deadline: None, jobs: 2 };
    let summary = run(&plan, factory, &AtomicBool::new(false), &|_| {}).expect("a campaign");
    let settlement =
        settle(summary.findings, factory, 2, 20_000, &|| false, &|_| {}).expect("findings settle");
    assert!(settlement.not_reproducible.is_empty(), "{faults:?}: not reproducible");
    settlement.settled
}

/// Holds one fault's findings to its entry.
fn check(sample: &Sample, fault: &Fault, seed: u64, cases: u64) -> Vec<String> {
    let findings = settled(sample, fault, seed, cases);
    let mut wrong = Vec::new();
    let Some(first) = findings.first() else {
        return vec![format!("{} is not found in {cases} cases of seed {seed}", fault.name)];
    };
    if !fault.rules.iter().any(|rule| rule == first.finding.rule.id) {
        wrong.push(format!(
            "{} is named {} ({}), its entry accepts {:?}",
            fault.name, first.finding.rule.id, first.finding.kind, fault.rules
        ));
    }
    // A fault may deviate from one rule in two ways; the one that was found first is to be small.
    let mut held = Vec::new();
    for Settled { finding, minimised, .. } in &findings {
        let rule = finding.rule.id;
        let listed = fault.rules.iter().chain(&fault.consequences).any(|one| one == rule);
        if !listed {
            wrong.push(format!("{} also gives {rule} ({}), not listed", fault.name, finding.kind));
        }
        if !minimised {
            wrong.push(format!("{}: {rule} is not fully minimised", fault.name));
        }
        let accepted = fault.rules.iter().any(|one| one == rule) && !held.contains(&rule);
        held.push(rule);
        let case = &finding.case;
        let words: u32 = case
            .program
            .iter()
            .map(|op| if let Operation::Read { words, .. } = op { *words } else { 0 })
            .sum();
        let bits: usize = case.tracks.iter().map(|track| track.medium.track().len()).sum();
        let flux = case.flux.as_ref().map_or(0, |flux| flux.bits.len());
        if accepted && flux > MOST_FLUX_BITS {
            wrong.push(format!("{}: {rule} keeps {flux} channel bits of flux", fault.name));
        }
        if accepted
            && (case.program.len() > MOST_OPERATIONS
                || words > MOST_WORDS
                || bits > MOST_CHANNEL_BITS)
        {
            wrong.push(format!(
                "{}: {rule} ({}) keeps {} operations, {words} words, {bits} channel bits",
                fault.name,
                finding.kind,
                case.program.len()
            ));
        }
    }
    // The correct sample passes the minimal cases; the faulty one fails them ten times of ten.
    let correct = Open::new(sample, &[]);
    let faulty = Open::new(sample, &[&fault.name]);
    for Settled { finding, .. } in &findings {
        let mut examiner = Examiner::new(factory(&correct)().expect("a rig"));
        let verdict = examiner.examine(&finding.case).expect("a run").verdict;
        assert!(matches!(verdict, Verdict::Conforms), "{}: the correct sample fails", fault.name);
        for _ in 0..10 {
            let mut examiner = Examiner::new(factory(&faulty)().expect("a rig"));
            let again = examiner.examine(&finding.case).expect("a run");
            assert!(finding.same(&again), "{}: {} is gone", fault.name, finding.rule.id);
        }
    }
    wrong
}

/// Faults of the normal run, one a way of deviating; the long suite has them all.
const QUICK: [&str; 33] = [
    "realigns-once",
    "even-phase-only",
    "stale-first-word",
    "output-disturbs-status",
    "overrun-loses-half",
    "status-of-other-drive",
    "byte-torn",
    "edge-byte-unflagged",
    "overlap-ignored",
    "done-twice",
    "word-after-abort",
    "busy-request-replaces",
    "byte-of-clock-bits",
    "first-word-lost",
    "gate-finishes-word",
    "protect-ignored",
    "late-at-match",
    "flashes-gate",
    "raw-mends-marks",
    "damages-next-sync",
    "mark-clock-off-by-one",
    "deaf-behind-abort",
    "reset-keeps-counter",
    "stale-turn",
    "first-turn-only",
    "image-check-wrong",
    "status-takes-byte-flag",
    "closes-byte-late",
    "fixed-threshold",
    "speed-never-adjusted",
    "window-off-centre",
    "no-relock",
    "fm-at-half-clock",
];

#[test]
fn faults_of_every_kind_are_found_named_and_small() {
    let quick = |fault: &&Fault| QUICK.contains(&fault.name.as_str());
    let faults: Vec<_> = tame()
        .flat_map(|sample| sample.faults.iter().filter(quick).map(move |fault| (sample, fault)))
        .collect();
    assert_eq!(faults.len(), QUICK.len());
    // Making a finding small is one thread's work, so each fault has a thread.
    let next = AtomicUsize::new(0);
    let some = || {
        let mut wrong = Vec::new();
        while let Some((sample, fault)) = faults.get(next.fetch_add(1, Ordering::Relaxed)) {
            wrong.extend(check(sample, fault, 1, 2_000));
        }
        wrong
    };
    let wrong: Vec<String> = std::thread::scope(|scope| {
        let threads = [0, 1].map(|_| scope.spawn(some));
        threads.into_iter().flat_map(|thread| thread.join().expect("a check")).collect()
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Three faults of an implementation, one of them with an explanation: what one of them spoils is
/// not taken for another, and none hides behind another.
#[test]
fn faults_at_once_are_each_found_and_nothing_else_is() {
    let sample = trackproof_samples::find("sync-dma").expect("a sample");
    let profile = Profile::built_in(sample.profile).expect("a built-in profile");
    let faults = ["late-after-realign", "byte-flag-stays", "image-without-clock"];
    let findings = settled_together(sample, &faults, profile, 1, 1_000);
    let mut rules: Vec<_> = findings.iter().map(|one| one.finding.rule.id).collect();
    rules.sort_unstable();
    assert_eq!(rules, ["byte.poll", "clock.present", "sync.realign"]);
}

#[test]
#[ignore = "long suite: every fault over 20 000 cases"]
fn every_fault_is_found_named_and_small_in_the_long_run() {
    let mut wrong = Vec::new();
    for sample in tame() {
        for fault in &sample.faults {
            wrong.extend(check(sample, fault, 1, CASES));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
#[ignore = "long suite: 20 seeds for every fault"]
fn twenty_seeds_give_one_minimal_case() {
    let mut several = 0;
    let mut faults = 0;
    for sample in tame() {
        for fault in &sample.faults {
            let mut forms = std::collections::BTreeMap::new();
            for seed in 1..=20 {
                let first = settled(sample, fault, seed, 3_000)
                    .into_iter()
                    .find(|one| fault.rules.iter().any(|rule| rule == one.finding.rule.id));
                if let Some(Settled { finding, .. }) = first {
                    let form = format!("{} {} {:?}", finding.rule.id, finding.kind, finding.case);
                    *forms.entry(form).or_insert(0_u32) += 1;
                }
            }
            println!(
                "{:32} {} forms over {} seeds",
                fault.name,
                forms.len(),
                forms.values().sum::<u32>()
            );
            faults += 1;
            several += usize::from(forms.len() != 1);
        }
    }
    println!("{several} of {faults} faults have more than one form");
    assert!(several * 12 <= faults, "{several} of {faults} faults have more than one minimal case");
}
