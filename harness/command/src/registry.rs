//! The registry: implementations written in Rust that this program was built with.

use std::collections::BTreeMap;
use std::sync::Arc;
use trackproof::lift::MakePart;
use trackproof::plug::{self, MakeRig, Plug};
use trackproof_contract::Rig;

/// Names and what they make.
#[derive(Default)]
pub struct Registry {
    entries: BTreeMap<String, MakeRig>,
}

impl Registry {
    /// An empty registry.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// With one more implementation: `make` makes a new one, for each thread its own. A name that
    /// is there already is given to the new one.
    ///
    /// It may be anything that [plugs in](Plug): a [`Rig`], a
    /// [`DiskSubsystem`](trackproof_contract::DiskSubsystem), or a part of a controller, of which
    /// `make` makes a new one for each case.
    #[must_use]
    pub fn with<I: Plug<M> + 'static, M>(
        mut self,
        name: &str,
        make: impl Fn() -> I + Send + Sync + 'static,
    ) -> Self {
        let make: MakePart<I> = Arc::new(make);
        self.entries.insert(name.to_owned(), Arc::new(move || I::plug(make.clone())));
        self
    }

    /// Makes the implementation of that name; none where there is none.
    pub(crate) fn make(&self, name: &str) -> Option<Result<Box<dyn Rig>, String>> {
        let make = self.entries.get(name)?;
        Some(plug::guarded(Arc::clone(make)))
    }

    /// The names there are.
    pub(crate) fn names(&self) -> Vec<&str> {
        self.entries.keys().map(String::as_str).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::Registry;
    use trackproof_contract::{
        Capabilities, Capability, Case, DiskSubsystem, Event, Observation, Profile, Rig, RigError,
        SeamError, Setup, Stop, WordReader,
    };

    struct Subsystem;

    impl DiskSubsystem for Subsystem {
        fn capabilities(&self) -> Capabilities {
            Capabilities::NONE
        }
        fn power_up(&mut self, _: Setup<'_>) -> Result<(), RigError> {
            Ok(())
        }
        fn run(&mut self, _: &[Event], _: &mut Observation) -> Result<(), RigError> {
            panic!("as the test wants it");
        }
    }

    struct Reader;

    impl WordReader for Reader {
        fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> {
            Ok(None)
        }
    }

    struct Whole;

    impl Rig for Whole {
        fn capabilities(&self) -> Capabilities {
            Capabilities::all()
        }
        fn profile(&self) -> Option<Profile> {
            Some(Profile::byte_stream())
        }
        fn run(&mut self, _: &Case, observation: &mut Observation) -> Result<(), RigError> {
            observation.clear();
            Ok(())
        }
        fn reset(&mut self) -> Result<(), RigError> {
            Ok(())
        }
    }

    #[test]
    fn rigs_subsystems_and_readers_plug_in_alike_and_a_panic_is_theirs() {
        let registry = Registry::new()
            .with("part", || Subsystem)
            .with("reader", || Reader)
            .with("whole", || Whole);
        assert_eq!(registry.names(), ["part", "reader", "whole"]);
        let reader = registry.make("reader").unwrap().unwrap();
        assert!(reader.capabilities().has(Capability::Read));
        assert!(reader.lent().has(Capability::Fifo));
        assert!(registry.make("other").is_none());
        let whole = registry.make("whole").unwrap().unwrap();
        assert_eq!(whole.profile(), Some(Profile::byte_stream()));
        let mut part = registry.make("part").unwrap().unwrap();
        let case = Case {
            profile: Profile::sync_dma(),
            bench: trackproof_contract::Bench { access_ns: 0, drives: Vec::new() },
            tracks: Vec::new(),
            program: Vec::new(),
            flux: None,
        };
        for _ in 0..2 {
            let error = part.run(&case, &mut Observation::new()).unwrap_err();
            assert_eq!(error, RigError::Stopped(Stop::Panicked));
        }
    }
}
