//! Reach: the situations that a campaign should have been in, each a named point.

use std::fmt;

/// A situation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Point {
    /// A waiting transfer started on a match at this bit phase (bits since power-up, modulo 32).
    StartPhase(u8),
    /// A match realigned a running read with a partial word of this many bits.
    RealignPartial(u8),
    /// The FIFO held this many words.
    FifoFilled(u8),
    /// A word completed while the FIFO held this many, all it can.
    Overrun(u8),
    /// A match on a word boundary of a running read.
    AlignedMatch,
    /// A transfer started on a match across the index.
    MatchAcrossIndex,
    /// A transfer started at the index.
    IndexStart,
    /// Hardware sync was switched on in a running read.
    SyncOnRunning,
    /// Hardware sync was switched off in a running read.
    SyncOffRunning,
    /// Hardware sync was switched off while a read waited.
    SyncOffWaiting,
    /// The sync word changed while a read waited.
    SyncWordWaiting,
    /// A request while another transfer waited.
    RequestWaiting,
    /// A request while another transfer ran.
    RequestRunning,
    /// A request within two words of the end of the transfer before.
    RequestBackToBack,
    /// A request for no words.
    NoWords,
    /// A request for one word.
    OneWord,
    /// Abort with nothing to abort.
    AbortIdle,
    /// Abort of a read that waited for a match.
    AbortWaiting,
    /// Abort of a read that waited for the index.
    AbortWaitingIndex,
    /// Abort of a running read with an empty FIFO.
    AbortRunning,
    /// Abort of a running read with words in the FIFO.
    AbortFilled,
    /// Reset while nothing ran.
    ResetIdle,
    /// Reset while a transfer waited or ran.
    ResetBusy,
    /// The source changed under a running read.
    SourceRunning,
    /// A byte was polled within the jitter of its completion.
    ByteEdge,
    /// A read was served to its last word.
    Completed,
    /// A request while a write waited or ran.
    RequestWriting,
    /// A write that starts at once got its first word.
    WriteAtOnce,
    /// A match started a write.
    WriteAtMatch,
    /// An index started a write.
    WriteAtIndex,
    /// A match or index came before a write's first word, and was missed.
    WriteMissed,
    /// No word waited for the serialiser.
    Underrun,
    /// The gate closed behind a write's last word.
    WriteCompleted,
    /// Abort or reset of a write that waited.
    AbortWriteWaiting,
    /// Abort or reset under an open gate.
    AbortWriting,
    /// A drive line changed under an open gate.
    LineWriting,
    /// A write went over the index.
    WriteAcrossIndex,
    /// A write was longer than a turn.
    WriteLong,
    /// A read delivered words after a write.
    ReadWritten,
    /// Flux at an even speed.
    FluxEven,
    /// Flux with a step of speed.
    FluxStep,
    /// Flux with a ramp of speed.
    FluxRamp,
    /// Flux with a speed that swings.
    FluxSinusoid,
    /// Flux whose transitions are pushed by neighbours.
    FluxShifted,
    /// Legal flux behind an erased stretch.
    FluxErased,
    /// Legal flux behind a splice.
    FluxSpliced,
}

const PHASES: usize = 32;
const LEVELS: usize = 17;
const PLAIN: usize = 42;
const COUNT: usize = 2 * PHASES + 2 * LEVELS + PLAIN;

/// How many points there are, of all profiles.
pub const POINTS: usize = COUNT;

impl Point {
    const PLAIN: [Self; PLAIN] = [
        Self::AlignedMatch,
        Self::MatchAcrossIndex,
        Self::IndexStart,
        Self::SyncOnRunning,
        Self::SyncOffRunning,
        Self::SyncOffWaiting,
        Self::SyncWordWaiting,
        Self::RequestWaiting,
        Self::RequestRunning,
        Self::RequestBackToBack,
        Self::NoWords,
        Self::OneWord,
        Self::AbortIdle,
        Self::AbortWaiting,
        Self::AbortWaitingIndex,
        Self::AbortRunning,
        Self::AbortFilled,
        Self::ResetIdle,
        Self::ResetBusy,
        Self::SourceRunning,
        Self::ByteEdge,
        Self::Completed,
        Self::RequestWriting,
        Self::WriteAtOnce,
        Self::WriteAtMatch,
        Self::WriteAtIndex,
        Self::WriteMissed,
        Self::Underrun,
        Self::WriteCompleted,
        Self::AbortWriteWaiting,
        Self::AbortWriting,
        Self::LineWriting,
        Self::WriteAcrossIndex,
        Self::WriteLong,
        Self::ReadWritten,
        Self::FluxEven,
        Self::FluxStep,
        Self::FluxRamp,
        Self::FluxSinusoid,
        Self::FluxShifted,
        Self::FluxErased,
        Self::FluxSpliced,
    ];

    /// Whether it is a separator's.
    #[must_use]
    pub const fn is_of_flux(self) -> bool {
        matches!(
            self,
            Self::FluxEven
                | Self::FluxStep
                | Self::FluxRamp
                | Self::FluxSinusoid
                | Self::FluxShifted
                | Self::FluxErased
                | Self::FluxSpliced
        )
    }

    fn index(self) -> usize {
        let level = |level: u8| usize::from(level).min(LEVELS - 1);
        match self {
            Self::StartPhase(phase) => usize::from(phase) % PHASES,
            Self::RealignPartial(bits) => PHASES + usize::from(bits) % PHASES,
            Self::FifoFilled(words) => 2 * PHASES + level(words),
            Self::Overrun(words) => 2 * PHASES + LEVELS + level(words),
            plain => {
                let at = Self::PLAIN.iter().position(|one| *one == plain);
                2 * PHASES + 2 * LEVELS + at.unwrap_or(0)
            }
        }
    }

    /// Every point that can be reached with words of `word_bits` and a FIFO of `fifo_words`.
    pub fn all(word_bits: u16, fifo_words: u16) -> impl Iterator<Item = Self> {
        let deepest = (fifo_words.min(LEVELS as u16 - 1)) as u8;
        let word_bits = word_bits as u8;
        (0..word_bits.min(PHASES as u8))
            .map(Self::StartPhase)
            .chain((1..word_bits).map(Self::RealignPartial))
            .chain((1..=deepest).map(Self::FifoFilled))
            .chain(std::iter::once(Self::Overrun(deepest)))
            .chain(Self::PLAIN)
    }
}

impl fmt::Display for Point {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::StartPhase(phase) => write!(f, "start-phase-{phase}"),
            Self::RealignPartial(bits) => write!(f, "realign-partial-{bits}"),
            Self::FifoFilled(words) => write!(f, "fifo-filled-{words}"),
            Self::Overrun(words) => write!(f, "overrun-at-{words}"),
            plain => {
                let name = format!("{plain:?}");
                for (at, letter) in name.chars().enumerate() {
                    if letter.is_ascii_uppercase() && at > 0 {
                        f.write_str("-")?;
                    }
                    write!(f, "{}", letter.to_ascii_lowercase())?;
                }
                Ok(())
            }
        }
    }
}

/// The points that one case reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Reach([u64; COUNT.div_ceil(64)]);

impl Reach {
    /// Notes a point.
    pub fn hit(&mut self, point: Point) {
        let index = point.index();
        self.0[index / 64] |= 1 << (index % 64);
    }

    /// Whether a point was reached.
    #[must_use]
    pub fn has(&self, point: Point) -> bool {
        let index = point.index();
        self.0[index / 64] >> (index % 64) & 1 == 1
    }

    /// The numbers of the points that were reached, all below [`POINTS`], rising.
    pub fn numbers(&self) -> impl Iterator<Item = usize> + '_ {
        (0..COUNT).filter(|index| self.0[index / 64] >> (index % 64) & 1 == 1)
    }
}

/// How many cases reached each point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReachCounts(Box<[u64; COUNT]>);

impl Default for ReachCounts {
    fn default() -> Self {
        Self(Box::new([0; COUNT]))
    }
}

impl ReachCounts {
    /// Counts one case.
    pub fn add(&mut self, reach: &Reach) {
        for (word, bits) in reach.0.iter().enumerate() {
            let mut left = *bits;
            while left != 0 {
                self.0[word * 64 + left.trailing_zeros() as usize] += 1;
                left &= left - 1;
            }
        }
    }

    /// Adds another run's counts.
    pub fn merge(&mut self, other: &Self) {
        for (mine, theirs) in self.0.iter_mut().zip(other.0.iter()) {
            *mine += theirs;
        }
    }

    /// The counts as numbers, for who sends them elsewhere.
    #[must_use]
    pub fn numbers(&self) -> &[u64] {
        &self.0[..]
    }

    /// Counts out of numbers; none when there are not as many as points.
    #[must_use]
    pub fn from_numbers(numbers: &[u64]) -> Option<Self> {
        numbers.to_vec().into_boxed_slice().try_into().ok().map(Self)
    }

    /// How many cases reached a point.
    #[must_use]
    pub fn of(&self, point: Point) -> u64 {
        self.0[point.index()]
    }
}
