//! A sample that chooses what one profile says, whatever it is told.

use trackproof_contract::{Capabilities, Case, Observation, Profile, Rig, RigError};
use trackproof_samples::OpenSample;

pub(super) struct Choosing {
    rig: Box<dyn Rig>,
    profile: Profile,
}

/// The sample, choosing what `profile` says.
pub(super) fn choosing(sample: &OpenSample, profile: &Profile) -> Choosing {
    Choosing { rig: Box::new(sample.rig().unwrap()), profile: profile.clone() }
}

impl Rig for Choosing {
    fn capabilities(&self) -> Capabilities {
        self.rig.capabilities()
    }

    fn profile(&self) -> Option<Profile> {
        None
    }

    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError> {
        let case = Case { profile: self.profile.clone(), ..case.clone() };
        self.rig.run(&case, observation)
    }

    fn reset(&mut self) -> Result<(), RigError> {
        self.rig.reset()
    }
}
