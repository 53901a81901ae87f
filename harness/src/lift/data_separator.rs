//! The lift of a [`DataSeparator`]: adds the flux.

use super::{MakePart, called, is_there};
use trackproof_contract::{
    Action, Capabilities, Capability, Case, ChannelBits, DataSeparator, Item, Observation,
    Observed, Profile, Rig, RigError, Status, timeline,
};
use trackproof_model::separator::judged::Judged;

/// Channel bits that pass between two calls of a separator, at nominal speed.
const SLICE_BITS: u64 = 16;

/// Channel bits that it is called on for behind the flux, so that it can tell what came last.
const RUN_OUT_BITS: u64 = 64;

/// The method of a [`DataSeparator`] with the capability that it opens.
pub const METHODS: &[(&str, &[Capability])] = &[("advance", &[Capability::Separator])];

/// A rig of the separator that `make` makes: a new one each time that power comes on.
///
/// ```
/// use trackproof::lift::data_separator;
/// use trackproof_contract::{Capability, ChannelBits, DataSeparator, SeamError};
/// struct Silent;
/// impl DataSeparator for Silent {
///     fn advance(&mut self, _: u64, _: &[u64], _: &mut ChannelBits) -> Result<(), SeamError> {
///         Ok(())
///     }
/// }
/// let rig = data_separator::rig(std::sync::Arc::new(|| Silent));
/// assert!(rig.capabilities().has(Capability::Separator));
/// ```
#[must_use]
pub fn rig<S: DataSeparator + 'static>(make: MakePart<S>) -> Box<dyn Rig> {
    Box::new(DataSeparatorLift::new(make))
}

/// A separator with flux.
pub struct DataSeparatorLift<S> {
    make: MakePart<S>,
    profile: Option<Profile>,
    separates: bool,
    flux: Judged,
    slice: ChannelBits,
}

impl<S: DataSeparator> DataSeparatorLift<S> {
    /// The lift of the separator that `make` makes.
    #[must_use]
    pub fn new(make: MakePart<S>) -> Self {
        let profile = make().profile();
        let mut tried = make();
        // That it fails is for a run to tell.
        let _ = tried.power_up(&profile.clone().unwrap_or_else(Profile::sync_dma));
        let mut slice = ChannelBits::new();
        let separates = is_there(tried.advance(1, &[], &mut slice));
        Self { make, profile, separates, flux: Judged::default(), slice }
    }

    /// Lets the flux of a case pass.
    fn pass(&mut self, case: &Case, most: usize, out: &mut ChannelBits) -> Result<(), RigError> {
        let mut separator = (self.make)();
        called("power_up", separator.power_up(&case.profile))?;
        let bit_ns = u64::from(case.profile.channel_bit_ns);
        let end_ns = self.flux.end_ns() + RUN_OUT_BITS * bit_ns;
        let mut left = self.flux.times_ns();
        let mut until_ns = 0;
        while until_ns < end_ns {
            until_ns = end_ns.min(until_ns + SLICE_BITS * bit_ns);
            let (now, later) = left.split_at(left.partition_point(|ns| *ns <= until_ns));
            left = later;
            self.slice.clear();
            called("advance", separator.advance(until_ns, now, &mut self.slice))?;
            let sum = out.len() + self.slice.len();
            if sum > most {
                return Err(RigError::Protocol {
                    why: format!(
                        "`advance` has given {sum} channel bits by {until_ns} ns, the limit for \
                         this case is {most}"
                    ),
                });
            }
            let count = self.slice.len();
            for at in (0..count).step_by(64) {
                let bits = (count - at).min(64);
                out.push(self.slice.window(at, bits), bits);
            }
        }
        Ok(())
    }
}

impl<S: DataSeparator> Rig for DataSeparatorLift<S> {
    fn capabilities(&self) -> Capabilities {
        Capabilities::of(&[Capability::Separator])
    }

    /// Where there is nothing yet, it is a separator all the same, of which nothing is its own: no
    /// case is run.
    fn lent(&self) -> Capabilities {
        match self.separates {
            true => Capabilities::NONE,
            false => Capabilities::of(&[Capability::Separator]),
        }
    }

    fn profile(&self) -> Option<Profile> {
        self.profile.clone()
    }

    fn run(&mut self, case: &Case, observation: &mut Observation) -> Result<(), RigError> {
        observation.clear();
        if let Some(flux) = &case.flux {
            self.flux.lay_out(&case.profile, flux);
            return self.pass(case, flux.most_separated(), &mut observation.separated);
        }
        // Cases without flux that need nothing: it has no status to show, and shows that.
        let mut events = Vec::new();
        timeline(case, &mut events);
        let polls = events.iter().filter(|event| event.action == Action::PollStatus);
        observation.items.extend(
            polls.map(|event| Observed {
                at_ns: event.at_ns,
                item: Item::Status(Status::default()),
            }),
        );
        Ok(())
    }

    fn reset(&mut self) -> Result<(), RigError> {
        Ok(())
    }
}
