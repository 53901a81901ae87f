//! Trying hypotheses about an implementation on cases of its own, before any finding is named by
//! one.
//!
//! What an implementation does always shows in cases that have nothing to do with a finding. So a
//! number of random cases is run, and every hypothesis held against all of them: those that the text
//! allows, and those that it does not. A hypothesis may leave some without an explanation, since
//! something else may be wrong as well, and may be a little beside what really happens; it is taken
//! for plausible when it explains a good part of what is wrong and hardly ever says that something
//! is wrong where nothing is.

use super::{Examiner, came_back};
use crate::generate::Generator;
use crate::judge::Hypothesis;
use crate::verdict::Verdict;
use std::sync::Arc;
use trackproof_contract::{Case, Observation, Profile, RigError};
use trackproof_model::reader::supposition::Supposition;

/// How many cases, and their seed: the same for every implementation, so that a name does not depend
/// on the run that found it.
const TRIAL_CASES: u64 = 300;
const TRIAL_SEED: u64 = 0x7472_6961_6c73;

/// Trial cases that an implementation may stop in.
const TRIAL_STOPS: u32 = 3;

/// Longest trial case, in nanoseconds: whole tracks tell no more of a choice than short ones.
const TRIAL_NS: u64 = 8_000_000;

/// Cases that a hypothesis must explain where it leaves anything open.
const LEAST_EXPLAINED: u32 = 3;

/// For each case that speaks against it a hypothesis must explain so many.
const FOR_ONE_AGAINST: u32 = 10;

/// For each case that it explains a hypothesis may leave so many wrong ones unexplained.
const OTHERS_FOR_ONE: u32 = 3;

/// Wrong cases in a row at the begin that are enough to give a hypothesis up.
const OTHERS_AT_FIRST: u32 = 12;

/// Hypotheses about an implementation that held in the trial. It takes a while; rigs of one
/// implementation share it.
#[derive(Debug, Clone)]
pub struct Trial {
    pub(super) profile: Profile,
    pub(super) plausible: Arc<[Hypothesis]>,
}

/// A trial case that came back, and whether it is right by the text.
struct Tried {
    case: Case,
    observation: Observation,
    right: bool,
}

/// How a hypothesis stands to the trial cases.
#[derive(Debug, Default)]
struct Tally {
    /// Wrong cases that it explains, and those that it does not.
    explained: u32,
    unexplained: u32,
    /// Right cases that would be wrong if it held.
    against: u32,
}

impl Tally {
    /// Whether it is plausible: nothing speaks against it, or what does may be something else.
    const fn holds(&self) -> bool {
        self.against + self.unexplained == 0
            || self.explained >= LEAST_EXPLAINED
                && self.explained >= FOR_ONE_AGAINST * self.against
                && self.unexplained <= OTHERS_FOR_ONE * self.explained
    }
}

impl Examiner {
    /// Tries every hypothesis about the implementation.
    ///
    /// # Errors
    /// When a run cannot be trusted.
    pub fn trial(&mut self, profile: &Profile) -> Result<Trial, RigError> {
        if let Some(trial) = self.trial.as_ref().filter(|trial| trial.profile == *profile) {
            return Ok(trial.clone());
        }
        let mut plausible = Vec::new();
        if let Some(tried) = self.trial_cases(profile)? {
            for hypothesis in Hypothesis::of_implementation(profile) {
                let tally = self.tally(&hypothesis, &tried);
                if tally.holds() {
                    plausible.push((tally.against + tally.unexplained, hypothesis));
                }
            }
        }
        self.other_judge.suppose(Supposition::None);
        // What leaves the fewest cases open first; the most telling of those.
        plausible.sort_by_key(|(open, _)| *open);
        let plausible = plausible.into_iter().map(|(_, hypothesis)| hypothesis).collect();
        let trial = Trial { profile: profile.clone(), plausible };
        self.trial = Some(trial.clone());
        Ok(trial)
    }

    /// Runs the trial cases and gives those that can be judged, the wrong ones first; none for an
    /// implementation that stops too often.
    fn trial_cases(&mut self, profile: &Profile) -> Result<Option<Vec<Tried>>, RigError> {
        let mut generator = Generator::limited_to(profile.clone(), self.capabilities);
        let (mut tried, mut stops) = (Vec::new(), 0);
        self.other_judge.suppose(Supposition::None);
        for index in 0..TRIAL_CASES {
            let case = generator.case(TRIAL_SEED, index);
            let missing = self.capabilities.missing(case.needs());
            if case.end_ns() > TRIAL_NS || !missing.is_empty() || case.asks_only(self.lent) {
                continue;
            }
            if !came_back(self.rig.run(&case, &mut self.other_observation))? {
                stops += 1;
                // Whoever stops so often is known by that, and each time may take long.
                if stops == TRIAL_STOPS {
                    return Ok(None);
                }
                continue;
            }
            let verdict = self.other_judge.judge(&case, &self.other_observation, self.capabilities);
            let right = match verdict {
                Verdict::Conforms => true,
                Verdict::Deviates(_) => false,
                _ => continue,
            };
            tried.push(Tried { case, observation: self.other_observation.clone(), right });
        }
        tried.sort_by_key(|one| one.right);
        Ok(Some(tried))
    }

    /// Holds a hypothesis against the trial cases, as far as it takes to see that it does not hold.
    fn tally(&mut self, hypothesis: &Hypothesis, tried: &[Tried]) -> Tally {
        let mut tally = Tally::default();
        for one in tried {
            let nothing_explained = one.right && tally.explained == 0 && tally.unexplained > 0;
            if nothing_explained
                || FOR_ONE_AGAINST * tally.against > tally.explained
                || tally.unexplained > OTHERS_AT_FIRST + OTHERS_FOR_ONE * tally.explained
            {
                break;
            }
            let Some((case, observation)) = hypothesis.of_all(&one.case, &one.observation) else {
                continue;
            };
            self.other_judge.suppose(hypothesis.supposition());
            match (one.right, self.other_judge.judge(&case, &observation, self.capabilities)) {
                (true, Verdict::Deviates(_)) => tally.against += 1,
                (false, Verdict::Deviates(_)) => tally.unexplained += 1,
                (false, Verdict::Conforms) => tally.explained += 1,
                _ => {}
            }
        }
        tally
    }
}

#[cfg(test)]
mod tests {
    use super::Tally;

    #[test]
    fn what_nothing_speaks_against_holds_and_what_explains_little_does_not() {
        for (explained, unexplained, against, holds) in [
            (0, 0, 0, true),
            (1, 0, 0, true),
            (0, 1, 0, false),
            (0, 0, 1, false),
            (2, 1, 0, false),
            (3, 9, 0, true),
            (3, 10, 0, false),
            (20, 0, 2, true),
            (19, 0, 2, false),
        ] {
            let tally = Tally { explained, unexplained, against };
            assert_eq!(tally.holds(), holds, "{tally:?}");
        }
    }
}
