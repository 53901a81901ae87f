//! Campaigns on a rig, for tests that ask what is found.

use std::sync::atomic::AtomicBool;
use trackproof::campaign::{self, Plan, Summary};
use trackproof::examine::Examiner;
use trackproof::generate::Generator;
use trackproof_contract::{Profile, Rig};

/// Runs so many cases of seed 1.
pub(crate) fn check(
    profile: &Profile,
    cases: u64,
    make: impl Fn() -> Box<dyn Rig> + Sync,
) -> Summary {
    profile.validate().expect("a valid profile");
    let plan = Plan { profile: profile.clone(), seed: 1, cases, deadline: None, jobs: 2 };
    let interrupted = AtomicBool::new(false);
    campaign::run(&plan, &|| Ok(make()), &interrupted, &|_| {}).expect("runs can be trusted")
}

/// The rules of what was found.
pub(crate) fn rules_of(summary: &Summary) -> Vec<&'static str> {
    summary.findings.iter().map(|finding| finding.rule.id).collect()
}

/// What is wrong with the first run that cannot be trusted.
pub(crate) fn first_error(rig: Box<dyn Rig>) -> String {
    let mut generator = Generator::limited_to(Profile::sync_dma(), rig.capabilities());
    let mut examiner = Examiner::new(rig);
    (0..1_000)
        .find_map(|index| examiner.glance(&generator.case(1, index)).err())
        .expect("one of 1 000 runs cannot be trusted")
        .to_string()
}
