//! A fault's minimum among the streams of choices: the shortest and simplest that still shows it.

use crate::implementation::Implementation;
use crate::path::Path as Target;
use trackproof::examine::Examiner;
use trackproof::generate::{ByteChoices, Generator, RecordedChoices, case_seed};
use trackproof::verdict::Verdict;
use trackproof_contract::{Case, Operation};

/// A faulty sample, and the cases of a target on it.
pub(super) struct Deviating {
    // Before the sample: its library is closed before its folder goes.
    examiner: Examiner,
    _sample: Implementation,
    generator: Generator,
    target: Target,
    case: Case,
}

impl Deviating {
    /// Of a fault of `sample:sync-dma`.
    pub(super) fn of(target: Target, fault: &str) -> Self {
        let sample = Implementation::open(&format!("sample:sync-dma+{fault}")).unwrap();
        let rig = sample.rig().unwrap();
        let (profile, scope) = (sample.profile(&*rig), target.scope(rig.capabilities()));
        let mut generator = Generator::limited_to(profile, scope);
        let case = generator.case(0, 0);
        Self { examiner: Examiner::new(rig), _sample: sample, generator, target, case }
    }

    /// The rule that the case of a stream breaks, if it deviates and belongs to the target.
    pub(super) fn shows(&mut self, bytes: &[u8]) -> Option<&'static str> {
        self.generator.generate(&mut ByteChoices::new(bytes), &mut self.case);
        let writes = self.case.program.iter().any(|one| matches!(one, Operation::Write { .. }));
        if writes != (self.target == Target::Write) {
            return None;
        }
        match self.examiner.glance(&self.case).unwrap().verdict {
            Verdict::Deviates(deviation) => Some(deviation.rule.id),
            _ => None,
        }
    }

    /// The first stream of a run that shows the fault, made short and then simple.
    pub(super) fn smallest(&mut self, seed: u64, cases: u64) -> Option<Vec<u8>> {
        let mut case = self.case.clone();
        let (mut bytes, rule) = (0..cases).find_map(|index| {
            let mut choices = RecordedChoices::new(case_seed(seed, index));
            self.generator.generate(&mut choices, &mut case);
            let bytes = choices.into_bytes();
            self.shows(&bytes).map(|rule| (bytes, rule))
        })?;
        let mut cut = bytes.len().next_power_of_two() / 2;
        while cut > 0 {
            let shorter = &bytes[..bytes.len().saturating_sub(cut)];
            match self.shows(shorter) == Some(rule) {
                true => bytes.truncate(shorter.len()),
                false => cut /= 2,
            }
        }
        for block in [64, 16, 4, 1] {
            for from in (0..bytes.len()).step_by(block) {
                let to = (from + block).min(bytes.len());
                let mut simpler = bytes.clone();
                simpler[from..to].fill(0);
                if simpler != bytes && self.shows(&simpler) == Some(rule) {
                    bytes = simpler;
                }
            }
        }
        Some(bytes)
    }
}
