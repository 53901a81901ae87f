//! Generating: a function from a stream of choices to a [`Case`], and no other way to make one.
//!
//! Programs that read, and as many nearly that write too, with one or two drives, of channel bits
//! or of images. What a case's parts must agree on is drawn first (`frame.rs`), then the drives
//! (`bench.rs`), the contents (`track.rs`, `sector.rs`, `image.rs`, `sync.rs`), the program
//! (`pattern.rs` over the vocabulary of `program.rs`, `sending.rs` and `service.rs`, then
//! `mutation.rs`), at last the size is held to its budget (`budget.rs`). A separator's cases are flux
//! alone (`flux.rs`).
//! The order of the draws is part of the meaning of a seed: a change here makes other cases.

mod bench;
mod budget;
mod choices;
mod draw;
mod flux;
mod frame;
mod image;
mod mutation;
mod pattern;
mod pen;
mod program;
mod sector;
mod sending;
mod service;
mod spare;
#[cfg(test)]
mod survey;
mod sync;
mod track;

pub use choices::{ByteChoices, Choices, RecordedChoices, SeededChoices};
pub use draw::Draw;

use frame::{Frame, Scope};
use pattern::Pattern;
use program::{Head, Script};
use spare::Spare;
use trackproof_contract::{Bench, Capabilities, Case, ChannelBits, Medium, Profile, Track};
use xxhash_rust::xxh3::xxh3_64;

/// The seed of one case of a run: the same on every machine, whichever cases were made before.
///
/// ```
/// use trackproof::generate::case_seed;
/// assert_ne!(case_seed(1, 0), case_seed(0, 1));
/// ```
#[must_use]
pub fn case_seed(run_seed: u64, index: u64) -> u64 {
    let mut both = [0; 16];
    both[..8].copy_from_slice(&run_seed.to_le_bytes());
    both[8..].copy_from_slice(&index.to_le_bytes());
    xxh3_64(&both)
}

/// The stream of channel bits of one turn of a track, if it is backed by an image: what its drive
/// makes of the sectors.
pub(crate) fn image_turn(track: &Track, turn_bits: usize) -> Option<ChannelBits> {
    let Medium::Image { layout, sectors } = &track.medium else { return None };
    let turn = image::Turn {
        layout: *layout,
        cylinder: track.cylinder,
        side: track.side,
        sectors,
        flaw: image::Flaw::None,
        bits: turn_bits,
    };
    let mut bits = ChannelBits::new();
    turn.lay_out(&mut bits);
    Some(bits)
}

/// Makes cases for one profile, and keeps the memory of those that it may overwrite.
///
/// ```
/// use trackproof::generate::{Generator, SeededChoices, case_seed};
/// use trackproof_contract::Profile;
/// let mut generator = Generator::new(Profile::sync_dma());
/// let mut case = generator.case(7, 0);
/// for index in 1..100 {
///     generator.generate(&mut SeededChoices::new(case_seed(7, index)), &mut case);
///     assert_eq!(case.validate(), Ok(()));
/// }
/// ```
#[derive(Debug)]
pub struct Generator {
    profile: Profile,
    separates: bool,
    scope: Scope,
    spare: Spare,
    pattern: Option<Pattern>,
}

impl Generator {
    /// The generator of cases for controllers of that profile, which must be valid, that can do
    /// everything.
    #[must_use]
    pub fn new(profile: Profile) -> Self {
        Self::limited_to(profile, Capabilities::all())
    }

    /// The same for controllers that can do only this: without [`Write`] every program only reads,
    /// without [`ImageDrives`] every track is one of channel bits. Other cases that need more are
    /// made all the same; for a [data separator](trackproof_contract::DataSeparator) every case is one
    /// of flux. An index means the same case for the same capabilities.
    ///
    /// [`Write`]: trackproof_contract::Capability::Write
    /// [`ImageDrives`]: trackproof_contract::Capability::ImageDrives
    #[must_use]
    pub fn limited_to(profile: Profile, capabilities: Capabilities) -> Self {
        let scope = Scope::of(&profile, capabilities);
        let separates = capabilities.are_a_separators();
        Self { profile, separates, scope, spare: Spare::default(), pattern: None }
    }

    /// Makes the case that `choices` lead to. Nothing of what `case` held before remains but its
    /// memory.
    ///
    /// The case is valid, whatever the choices.
    pub fn generate(&mut self, choices: &mut impl Choices, case: &mut Case) {
        self.spare.reclaim(case);
        case.profile.clone_from(&self.profile);
        if self.separates {
            (case.bench.access_ns, self.pattern) = (0, None);
            case.bench.drives.clear();
            case.flux = Some(flux::draw(&self.profile, &mut self.spare, choices));
            return;
        }
        let frame = Frame::draw(&self.profile, self.scope, choices);
        bench::draw(&mut case.bench, &frame, choices);
        track::draw(&mut case.tracks, &case.bench, &frame, &mut self.spare, choices);
        let mut script = Script {
            choices,
            frame: &frame,
            bench: &case.bench,
            tracks: &case.tracks,
            spare: &mut self.spare,
            program: &mut case.program,
            now_ns: 0,
            head: Head::at_rest(&case.bench),
            requests: 0,
            last_read: None,
        };
        self.pattern = Some(script.base_pattern());
        script.mutate(self.profile.byte_port);
        budget::keep(case, frame.events, frame.word_ns(), &mut self.spare);
        if frame.writes {
            track::complete(case, &frame, &mut self.spare, choices);
        }
    }

    /// The name of the base pattern of the case made last, in kebab-case; none before the first.
    #[must_use]
    pub fn pattern(&self) -> Option<String> {
        self.pattern.map(Pattern::name)
    }

    /// The case of that index of a run, as a new value.
    #[must_use]
    pub fn case(&mut self, run_seed: u64, index: u64) -> Case {
        let mut case = Case {
            profile: self.profile.clone(),
            bench: Bench { access_ns: 0, drives: Vec::new() },
            tracks: Vec::new(),
            program: Vec::new(),
            flux: None,
        };
        self.generate(&mut SeededChoices::new(case_seed(run_seed, index)), &mut case);
        case
    }
}
