//! Plugging in: whatever a Rust user has written becomes a rig, and its panics stay its own.

use crate::lift::{self, MakePart};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use trackproof_contract::{
    Capabilities, Case, DataSeparator, DiskSubsystem, Observation, Profile, Rig, RigError, Stop,
    SubsystemRig, TrackEncoder, TrackWriter, WordReader,
};

/// What can be plugged in: a [`Rig`], a [`DiskSubsystem`], a [`WordReader`], a [`TrackWriter`], a
/// [`TrackEncoder`], a [`DataSeparator`]. The marker `M` only tells the kinds apart; it is inferred.
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

/// Marks a [`DataSeparator`].
#[derive(Debug)]
pub struct AsDataSeparator;

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

impl<S: DataSeparator + 'static> Plug<AsDataSeparator> for S {
    fn plug(make: MakePart<Self>) -> Box<dyn Rig> {
        lift::data_separator::rig(make)
    }
}

/// Makes rigs, as many as wanted.
pub type MakeRig = Arc<dyn Fn() -> Box<dyn Rig> + Send + Sync>;

/// Makes a rig whose panics are told as [`Stop::Panicked`]; behind one it is made anew.
///
/// # Errors
/// When it panicked as it was made.
pub fn guarded(make: MakeRig) -> Result<Box<dyn Rig>, String> {
    let guarded = catch_unwind(AssertUnwindSafe(|| {
        let rig = make();
        let (capabilities, lent) = (rig.capabilities(), rig.lent());
        let profile = rig.profile();
        Guarded { make, rig: Some(rig), capabilities, lent, profile }
    }));
    match guarded {
        Ok(rig) => Ok(Box::new(rig)),
        Err(_) => Err("it panicked when it was made; see above".into()),
    }
}

/// A rig whose panics are its own fault and not trackproof's.
struct Guarded {
    make: MakeRig,
    /// None after a panic, until the next case: what is left of it is not to be used.
    rig: Option<Box<dyn Rig>>,
    capabilities: Capabilities,
    lent: Capabilities,
    profile: Option<Profile>,
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
