//! The cases that a rig had run before the one that shows a finding.

use crate::generate::{Generator, SeededChoices, case_seed};
use serde::{Deserialize, Serialize};
use trackproof_contract::{Case, Observation, Rig, RigError};

/// Cases of a seed, in a row: numbers `first` to `first + count - 1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Earlier {
    /// The run's seed.
    pub seed: u64,
    /// The first case's index.
    pub first: u64,
    /// How many.
    pub count: u64,
}

/// Most earlier cases: those of a whole shift.
pub const MAX_EARLIER: u64 = super::SHIFT;

impl Earlier {
    /// The last `count` of them.
    #[must_use]
    pub const fn last(self, count: u64) -> Self {
        Self { first: self.first + (self.count - count), count, ..self }
    }

    /// Runs them on a rig, for what they leave behind. `like` has the profile.
    ///
    /// # Errors
    /// When one of them cannot be trusted, or the implementation stops in it.
    pub fn run_on(self, rig: &mut dyn Rig, like: &Case) -> Result<(), RigError> {
        let mut generator = Generator::limited_to(like.profile.clone(), rig.capabilities());
        let mut case = like.clone();
        let mut observation = Observation::new();
        for index in self.first..self.first.saturating_add(self.count) {
            generator.generate(&mut SeededChoices::new(case_seed(self.seed, index)), &mut case);
            if rig.capabilities().missing(case.needs()).is_empty() {
                rig.run(&case, &mut observation)?;
            }
        }
        Ok(())
    }
}

impl std::fmt::Display for Earlier {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.count {
            1 => write!(f, "1 earlier case (number {} of seed {})", self.first, self.seed),
            count => write!(
                f,
                "{count} earlier cases (numbers {} to {} of seed {})",
                self.first,
                self.first.saturating_add(count - 1),
                self.seed
            ),
        }
    }
}
