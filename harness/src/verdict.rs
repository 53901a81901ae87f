//! Verdicts: what is said of one case.

use crate::judge::Place;
use crate::rules::Rule;
use trackproof_contract::{Capability, Stop};
use trackproof_model::reader::predict::Predicted;
use trackproof_model::reader::rejection::Rejection;
use trackproof_model::separator::Misread;

/// What is said of one case.
#[derive(Debug, Clone)]
pub enum Verdict {
    /// Everything that came back is allowed.
    Conforms,
    /// Something is not.
    Deviates(Box<Deviation>),
    /// Flux was made into wrong channel bits.
    Misreads(Box<Misreading>),
    /// Nothing came back: the implementation stopped.
    Stops(Stop),
    /// It cannot be told.
    Inconclusive(Inconclusive),
    /// The implementation lacks a capability that the case needs.
    Skipped(Capability),
    /// It asks nothing of the implementation itself, only of what it was lent.
    Beside,
}

impl Verdict {
    /// The rule that is broken, and how; none where none is.
    #[must_use]
    pub fn name(&self) -> Option<(&'static Rule, &'static str)> {
        match self {
            Self::Deviates(found) => Some((found.rule, found.kind)),
            Self::Misreads(found) => Some((found.rule, found.kind)),
            Self::Stops(stop) => {
                Some((Rule::find("stops").expect("a rule of the catalogue"), stop.kind()))
            }
            Self::Conforms | Self::Inconclusive(_) | Self::Skipped(_) | Self::Beside => None,
        }
    }
}

/// What wrong channel bits look like beside those that were written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Looks {
    /// So many are missing, what follows is right.
    Lost(usize),
    /// So many are too many, what follows is right.
    Added(usize),
    /// Some are wrong, what follows is right.
    Moved,
    /// No more come.
    Ended,
    /// Nothing that follows fits.
    Foreign,
}

/// What a separator made wrong of a case's flux.
#[derive(Debug, Clone, Copy)]
pub struct Misreading {
    /// The rule that is broken.
    pub rule: &'static Rule,
    /// How: a word in kebab-case.
    pub kind: &'static str,
    /// The first wrong channel bit, where what came fits best.
    pub misread: Misread,
    /// What it looks like from there on.
    pub looks: Looks,
    /// The last transition up to that, in nanoseconds from the case's begin.
    pub at_ns: u64,
    /// The first cell shown.
    pub from: usize,
    /// The channel bits that were written from there on.
    pub due: u64,
    /// How many.
    pub due_bits: usize,
    /// The channel bits that came.
    pub got: u64,
    /// How many.
    pub got_bits: usize,
    /// Channel bits that came in all.
    pub came: usize,
}

/// Why a case cannot be judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Inconclusive {
    /// More states were possible than the model holds.
    TooManyStates,
    /// The text leaves open what happens then.
    Open(&'static str),
}

/// What the verdict rests on.
#[derive(Debug, Clone)]
pub struct Deviation {
    /// The rule that is broken.
    pub rule: &'static Rule,
    /// How: a word in kebab-case.
    pub kind: &'static str,
    /// Whether nothing about its place explains it, so that relations are worth a try.
    pub nowhere_special: bool,
    /// Whether it is named by what was written, or by what an image-backed track's stream is: then
    /// its place explains nothing.
    pub by_content: bool,
    /// What is special about the moment and the bits where it shows.
    pub place: Place,
    /// The first difference.
    pub rejection: Rejection,
    /// The transfer that the difference concerns, if it concerns one.
    pub transfer: Option<u32>,
    /// What it looks like.
    pub edit: Edit,
    /// The words that should have come from there on.
    pub expected: Vec<Predicted>,
    /// The words that came from there on.
    pub got: Vec<u64>,
    /// What is wrong on a medium, if that is what deviates.
    pub medium: Option<MediumSides>,
}

/// A stretch of a track after a run, about its first wrong bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MediumSides {
    /// The track, by its index in the case.
    pub track: usize,
    /// The first wrong bit: a channel bit, or a data bit of an image's sectors.
    pub first: usize,
    /// How many bits are wrong, on all tracks.
    pub wrong: usize,
    /// The first bit of the stretch.
    pub from: usize,
    /// Its length, in bits.
    pub bits: usize,
    /// What should stand there.
    pub due: u64,
    /// Its bits that are not compared.
    pub free: u64,
    /// What stands there.
    pub got: u64,
    /// The write that laid the first wrong bit, or was to, by its number among all requests.
    pub write: Option<u32>,
}

/// What a wrong word sequence looks like beside the right one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Edit {
    /// No words are concerned.
    None,
    /// Words are missing, the next ones are right.
    Dropped(u8),
    /// The word before came once more.
    Repeated,
    /// A word from before the transfer came first.
    Stale,
    /// A word came that belongs nowhere, the next ones are right.
    Inserted,
    /// Two words changed places.
    Swapped,
    /// The bytes of the words are swapped.
    BytesSwapped,
    /// The words are those of a place this many channel bits later (before: negative).
    Slipped(i32),
    /// One word is wrong, the next ones are right.
    Substituted,
    /// No word came where one was waiting.
    Missing,
    /// A word came where none was due.
    Extra,
    /// Nothing fits.
    Foreign,
}

impl Edit {
    /// Its name, as a finding's kind.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Dropped(_) => "dropped-word",
            Self::Repeated => "repeated-word",
            Self::Stale => "stale-word",
            Self::Inserted => "inserted-word",
            Self::Swapped => "swapped-words",
            Self::BytesSwapped => "swapped-bytes",
            Self::Slipped(_) => "slipped-words",
            Self::Substituted => "wrong-word",
            Self::Missing => "missing-word",
            Self::Extra => "extra-word",
            Self::Foreign => "foreign-words",
        }
    }
}
