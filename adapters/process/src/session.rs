//! How a part of a controller runs in a child, a whole case at a time.
//!
//! What is done to a part follows from the case alone, whatever the part answers: drives and host
//! never wait for it. So whoever lends it drives and host runs the case twice: once on a part that
//! writes down what is done to it, and, when the child has been told all that and has answered, once
//! on one that gives those answers.

use std::fmt;
use trackproof_contract::{Capabilities, Case, Observation, Profile, Rig, RigError};

/// A part that writes down, or gives answers.
pub(crate) trait Session: fmt::Debug {
    /// What comes is written down from now on.
    fn record(&mut self);

    /// Asks the child about what was written down; its answers are given from now on.
    fn ask(&mut self) -> Result<(), RigError>;

    /// The case is over; what is wrong with the answers, if anything is.
    fn finish(&mut self) -> Result<(), RigError>;

    fn last_words(&mut self) -> Option<String>;

    fn reset(&mut self);
}

/// A part with what it is lent, as a rig.
pub struct PartRig {
    session: Box<dyn LockSession>,
    lifted: Box<dyn Rig>,
}

/// A session that is shared with the parts that the lifted rig makes.
pub(crate) trait LockSession {
    fn with(&self, run: &mut dyn FnMut(&mut dyn Session));
}

impl<S: Session> LockSession for std::sync::Arc<std::sync::Mutex<S>> {
    fn with(&self, run: &mut dyn FnMut(&mut dyn Session)) {
        run(&mut *lock(self));
    }
}

/// A lock that a panic elsewhere does not close: nothing is ever left half done.
pub(crate) fn lock<S>(session: &std::sync::Mutex<S>) -> std::sync::MutexGuard<'_, S> {
    session.lock().unwrap_or_else(|poison| poison.into_inner())
}

impl PartRig {
    pub(crate) fn new(session: impl LockSession + 'static, lifted: Box<dyn Rig>) -> Self {
        Self { session: Box::new(session), lifted }
    }

    fn session<T>(&self, run: impl Fn(&mut dyn Session) -> T) -> T {
        let mut result = None;
        self.session.with(&mut |session| result = Some(run(session)));
        result.expect("it was run")
    }
}

impl fmt::Debug for PartRig {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("PartRig").finish_non_exhaustive()
    }
}

impl Rig for PartRig {
    fn capabilities(&self) -> Capabilities {
        self.lifted.capabilities()
    }

    fn lent(&self) -> Capabilities {
        self.lifted.lent()
    }

    fn profile(&self) -> Option<Profile> {
        self.lifted.profile()
    }

    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError> {
        self.session(|session| session.record());
        self.lifted.run(case, observation)?;
        self.session(|session| session.ask())?;
        let ran = self.lifted.run(case, observation);
        // An answer that does not fit is the better reason for a run that came to nothing.
        self.session(|session| session.finish())?;
        ran
    }

    fn last_words(&mut self) -> Option<String> {
        self.session(|session| session.last_words())
    }

    fn reset(&mut self) -> Result<(), RigError> {
        self.session(|session| session.reset());
        self.lifted.reset()
    }
}
