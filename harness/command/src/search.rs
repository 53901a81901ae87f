//! What the verbs that search begin with: the implementation, open, and what it is held to.

use crate::arguments::{Failing, Run, Search};
use crate::failure::Failure;
use crate::implementation::Subject;
use crate::profile;
use crate::registry::Registry;
use trackproof::known_file::{self, Known};
use trackproof_contract::Profile;

/// What is searched.
pub(crate) struct Searched<'a> {
    pub(crate) subject: Subject<'a>,
    pub(crate) profile_name: String,
    pub(crate) profile: Profile,
    /// The known deviations of that profile.
    pub(crate) known: Vec<Known>,
}

impl Search {
    pub(crate) fn open<'a>(&self, registry: &'a Registry) -> Result<Searched<'a>, Failure> {
        let subject = Subject::open(&self.implementation, registry, &self.isolation)?;
        let (profile_name, profile) = profile::choose(self.profile.as_deref(), &subject)?;
        let mut known = self.failing.known()?;
        known.retain(|known| known.profile == profile_name);
        Ok(Searched { subject, profile_name, profile, known })
    }
}

impl Failing {
    /// The known deviations, of whatever profile.
    pub(crate) fn known(&self) -> Result<Vec<Known>, Failure> {
        match &self.known {
            Some(path) => Ok(known_file::load(path)?),
            None => Ok(Vec::new()),
        }
    }
}

impl Run {
    /// The number of threads: as given, else the cores there are.
    pub(crate) fn jobs(&self) -> usize {
        self.jobs.map_or_else(
            || std::thread::available_parallelism().map_or(1, std::num::NonZero::get),
            usize::from,
        )
    }
}
