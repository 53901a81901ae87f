//! The registry: implementations written in Rust that this program was built with.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use trackproof::lift::{self, MakePart};
use trackproof_contract::{
    Capabilities, Case, DiskSubsystem, Observation, Profile, Rig, RigError, Stop, SubsystemRig,
    TrackEncoder, TrackWriter, WordReader,
};

type Make = Arc<dyn Fn() -> Box<dyn Rig> + Send + Sync>;

/// Names and what they make.
#[derive(Default)]
pub struct Registry {
    entries: BTreeMap<String, Make>,
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
    /// It may be a [`Rig`], a [`DiskSubsystem`], or a part of a controller, of which `make`
    /// makes a new one for each case: a [`WordReader`], a [`TrackWriter`] or a [`TrackEncoder`].
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
        Some(match Guarded::new(Arc::clone(make)) {
            Some(rig) => Ok(Box::new(rig)),
            None => Err(format!("rust:{name} panicked when it was made; see above")),
        })
    }

    /// The names there are.
    pub(crate) fn names(&self) -> Vec<&str> {
        self.entries.keys().map(String::as_str).collect()
    }
}

/// What [`Registry::with`] takes. The marker `M` only tells the kinds apart; it is inferred.
pub trait Plug<M>: Sized {
    /// Makes what `make` makes ready to run whole cases.
    fn plug(make: MakePart<Self>) -> Box<dyn Rig>;
}

/// Marks a [`Rig`].
#[derive(Debug)]
pub struct AsRig;

/// Marks a [`DiskSubsystem`].
#[derive(Debug)]
pub struct AsSubsystem;

/// Marks a [`WordReader`].
#[derive(Debug)]
pub struct AsWordReader;

/// Marks a [`TrackWriter`].
#[derive(Debug)]
pub struct AsTrackWriter;

/// Marks a [`TrackEncoder`].
#[derive(Debug)]
pub struct AsTrackEncoder;

impl<R: Rig + 'static> Plug<AsRig> for R {
    fn plug(make: MakePart<Self>) -> Box<dyn Rig> {
        Box::new(make())
    }
}

impl<S: DiskSubsystem + 'static> Plug<AsSubsystem> for S {
    fn plug(make: MakePart<Self>) -> Box<dyn Rig> {
        Box::new(SubsystemRig::new(make()))
    }
}

impl<R: WordReader + 'static> Plug<AsWordReader> for R {
    fn plug(make: MakePart<Self>) -> Box<dyn Rig> {
        lift::word_reader::rig(make)
    }
}

impl<W: TrackWriter + 'static> Plug<AsTrackWriter> for W {
    fn plug(make: MakePart<Self>) -> Box<dyn Rig> {
        lift::track_writer::rig(make)
    }
}

impl<E: TrackEncoder + 'static> Plug<AsTrackEncoder> for E {
    fn plug(make: MakePart<Self>) -> Box<dyn Rig> {
        lift::track_encoder::rig(make)
    }
}

/// A rig whose panics are its own fault and not trackproof's.
struct Guarded {
    make: Make,
    /// None after a panic, until the next case: what is left of it is not to be used.
    rig: Option<Box<dyn Rig>>,
    capabilities: Capabilities,
    lent: Capabilities,
    profile: Option<Profile>,
}

impl Guarded {
    /// Makes one; none where that panics.
    fn new(make: Make) -> Option<Self> {
        catch_unwind(AssertUnwindSafe(|| {
            let rig = make();
            let (capabilities, lent) = (rig.capabilities(), rig.lent());
            let profile = rig.profile();
            Self { make, rig: Some(rig), capabilities, lent, profile }
        }))
        .ok()
    }
}

impl Rig for Guarded {
    fn capabilities(&self) -> Capabilities {
        self.capabilities
    }

    fn lent(&self) -> Capabilities {
        self.lent
    }

    fn profile(&self) -> Option<Profile> {
        self.profile.clone()
    }

    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError> {
        let Self { make, rig, .. } = self;
        let result = catch_unwind(AssertUnwindSafe(|| {
            rig.get_or_insert_with(|| make()).run(case, observation)
        }));
        result.unwrap_or_else(|_| {
            self.rig = None;
            Err(RigError::Stopped(Stop::Panicked))
        })
    }

    fn reset(&mut self) -> Result<(), RigError> {
        self.rig = None;
        Ok(())
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
        };
        for _ in 0..2 {
            let error = part.run(&case, &mut Observation::new()).unwrap_err();
            assert_eq!(error, RigError::Stopped(Stop::Panicked));
        }
    }
}
