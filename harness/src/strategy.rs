//! The generator as a strategy of proptest, with our minimiser behind it: for properties of one's
//! own (feature `proptest`).
//!
//! Composed strategies would make cases fifty times more slowly, and shrink them without knowing
//! what a track is. Here a strategy's value is one case of the one generator; when a property
//! fails, the minimiser goes down as it does for findings, and asks proptest at each step.

use crate::generate::{Generator, SeededChoices};
use crate::minimise::{Limits, Outcome, minimise};
use proptest::strategy::{NewTree, Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use std::fmt;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use trackproof_contract::{Capabilities, Case, Profile};

/// Executions that minimising one failing case may take; proptest's `max_shrink_iters` may end it
/// before that.
const EXECUTIONS: u32 = 20_000;

/// Cases for controllers of a profile that can do so much.
///
/// ```
/// use proptest::prelude::*;
/// use trackproof::strategy::cases;
/// use trackproof_contract::{Capabilities, Profile};
/// proptest!(ProptestConfig::with_cases(20), |(case in
///     cases(Profile::sync_dma(), Capabilities::all()))| {
///     prop_assert_eq!(case.validate(), Ok(()));
/// });
/// ```
#[must_use]
pub fn cases(profile: Profile, capabilities: Capabilities) -> Cases {
    Cases { profile, capabilities }
}

/// The strategy that [`cases`] makes.
#[derive(Debug, Clone)]
pub struct Cases {
    profile: Profile,
    capabilities: Capabilities,
}

impl Strategy for Cases {
    type Tree = CaseTree;
    type Value = Case;

    fn new_tree(&self, runner: &mut TestRunner) -> NewTree<Self> {
        let mut generator = Generator::limited_to(self.profile.clone(), self.capabilities);
        let seed = proptest::num::u64::ANY.new_tree(runner)?.current();
        // Index and run seed do not matter: proptest keeps the random state of what fails.
        let mut case = generator.case(0, 0);
        generator.generate(&mut SeededChoices::new(seed), &mut case);
        Ok(CaseTree { smallest: case, tried: None, minimiser: Minimiser::NotBegun })
    }
}

/// A case that may be made smaller.
pub struct CaseTree {
    /// The smallest that is known to fail.
    smallest: Case,
    /// A smaller one that proptest is asked about.
    tried: Option<Case>,
    minimiser: Minimiser,
}

/// The minimiser, which leads by itself, in a thread of its own.
enum Minimiser {
    NotBegun,
    Runs { candidates: Receiver<Case>, outcomes: SyncSender<Outcome> },
    Ended,
}

impl CaseTree {
    /// Tells the minimiser what came of the candidate, if there was one, and takes the next.
    fn step(&mut self, outcome: Option<Outcome>) -> bool {
        if let Minimiser::NotBegun = self.minimiser {
            self.minimiser = begin(self.smallest.clone());
        }
        let Minimiser::Runs { candidates, outcomes } = &self.minimiser else { return false };
        let heard = outcome.is_none_or(|outcome| outcomes.send(outcome).is_ok());
        self.tried = if heard { candidates.recv().ok() } else { None };
        if self.tried.is_none() {
            self.minimiser = Minimiser::Ended;
        }
        self.tried.is_some()
    }
}

fn begin(case: Case) -> Minimiser {
    let (candidate, candidates) = sync_channel::<Case>(0);
    let (outcomes, outcome) = sync_channel(1);
    std::thread::spawn(move || {
        let gone = std::cell::Cell::new(false);
        let over = || gone.get();
        let limits = Limits { executions: EXECUTIONS, deadline: Some(&over) };
        // What it comes to the tree has seen.
        let _ = minimise(&case, limits, &mut |tried| {
            let asked = candidate.send(tried.clone()).is_ok();
            match outcome.recv() {
                Ok(outcome) if asked => outcome,
                _ => {
                    // The tree was dropped: nobody wants to know any more.
                    gone.set(true);
                    Outcome::Other
                }
            }
        });
    });
    Minimiser::Runs { candidates, outcomes }
}

impl ValueTree for CaseTree {
    type Value = Case;

    fn current(&self) -> Case {
        self.tried.as_ref().unwrap_or(&self.smallest).clone()
    }

    /// What is current fails; it is the smallest now, and a smaller one is tried.
    fn simplify(&mut self) -> bool {
        let outcome = self.tried.take().map(|case| {
            self.smallest = case;
            Outcome::Same
        });
        self.step(outcome)
    }

    /// What is current passes; another one is tried, or nothing is left but the smallest.
    fn complicate(&mut self) -> bool {
        match self.tried.take() {
            Some(_) => self.step(Some(Outcome::Passes)),
            None => false,
        }
    }
}

impl fmt::Debug for CaseTree {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("CaseTree").field("current", &self.current()).finish_non_exhaustive()
    }
}
