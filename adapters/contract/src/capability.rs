//! What an implementation can do: whatever it lacks is skipped and counted, never judged.

use std::fmt;

macro_rules! capabilities {
    ($($(#[$doc:meta])* $variant:ident = $text:literal,)+) => {
        /// One thing that an implementation may be able to do. The numbers are those of the C ABI:
        /// append, never renumber.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Capability { $($(#[$doc])* $variant,)+ }

        impl Capability {
            /// Every capability, in the order of its number.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The name, as in reports.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $text,)+ }
            }
        }
    };
}

capabilities! {
    /// Reads that start at once.
    Read = "read",
    /// Reads that start at a match, and hardware sync that can be switched on.
    HardwareSync = "hardware-sync",
    /// A sync word that can be set.
    SyncWord = "sync-word",
    /// Transfers that start at the index.
    IndexStart = "index-start",
    /// Abort.
    Abort = "abort",
    /// Reset while running.
    Reset = "reset",
    /// The byte port: newest byte and flag in one read.
    BytePort = "byte-port",
    /// The completion signal.
    DoneSignal = "done-signal",
    /// The report of a refused request.
    RefusedSignal = "refused-signal",
    /// The signal at each match, for profiles with `flag = event`.
    MatchSignal = "match-signal",
    /// Status bit: done.
    StatusDone = "status-done",
    /// Status bit: busy.
    StatusBusy = "status-busy",
    /// Status bit: error.
    StatusError = "status-error",
    /// Status bit: match.
    StatusMatch = "status-match",
    /// Status bit: index.
    StatusIndex = "status-index",
    /// Status bit: track 00.
    StatusTrackZero = "status-track-00",
    /// Status bit: write protect.
    StatusProtect = "status-protect",
    /// Status bit: ready.
    StatusReady = "status-ready",
    /// Status bit: disk change.
    StatusChange = "status-change",
    /// More than one drive.
    Drives = "drives",
    /// Side 1.
    Sides = "sides",
    /// Steps.
    Step = "step",
    /// An output that has nothing to do with the transfer.
    UnrelatedOutput = "unrelated-output",
    /// Writes that start at once; with the ones above also at a match and at the index.
    Write = "write",
    /// The media can be looked at after a run.
    Media = "media",
    /// Drives that are backed by images of sectors.
    ImageDrives = "image-drives",
    /// Requests and a FIFO of its own: it counts a transfer's words and keeps them until they are
    /// served. Every [`DiskSubsystem`](crate::DiskSubsystem) has that and need not say so; a
    /// [`WordReader`](crate::WordReader) may leave it to us.
    Fifo = "fifo",
    /// Flux made into channel bits, by a [`DataSeparator`](crate::DataSeparator) alone.
    Separator = "separator",
}

impl fmt::Display for Capability {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A set of capabilities.
///
/// ```
/// use trackproof_contract::{Capabilities, Capability};
/// let can = Capabilities::of(&[Capability::Read, Capability::Abort]);
/// assert!(can.has(Capability::Read) && !can.has(Capability::Reset));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Capabilities(u64);

impl Capabilities {
    /// No capability.
    pub const NONE: Self = Self(0);

    /// Every capability there is.
    #[must_use]
    pub fn all() -> Self {
        Self::of(Capability::ALL)
    }

    /// Just these.
    #[must_use]
    pub fn of(list: &[Capability]) -> Self {
        list.iter().fold(Self::NONE, |set, one| set.with(*one))
    }

    /// These and one more.
    #[must_use]
    pub const fn with(self, one: Capability) -> Self {
        Self(self.0 | 1 << one as u32)
    }

    /// All but one.
    #[must_use]
    pub const fn without(self, one: Capability) -> Self {
        Self(self.0 & !(1 << one as u32))
    }

    /// Whether it is among them.
    #[must_use]
    pub const fn has(self, one: Capability) -> bool {
        self.0 >> one as u32 & 1 == 1
    }

    /// Those of `wanted` that are not among these.
    #[must_use]
    pub const fn missing(self, wanted: Self) -> Self {
        Self(wanted.0 & !self.0)
    }

    /// Whether it is a data separator's: flux made into channel bits, and nothing else.
    #[must_use]
    pub fn are_a_separators(self) -> bool {
        self == Self::of(&[Capability::Separator])
    }

    /// Whether there are none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// These but for those of `other`.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Both sets together.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Them one by one, in the order of their numbers.
    pub fn iter(self) -> impl Iterator<Item = Capability> {
        Capability::ALL.iter().copied().filter(move |one| self.has(*one))
    }

    /// The set as bits, bit n for capability number n, as in the C ABI.
    #[must_use]
    pub const fn to_bits(self) -> u64 {
        self.0
    }

    /// The set from bits; bits that no capability has are dropped.
    #[must_use]
    pub fn from_bits(bits: u64) -> Self {
        Self(bits & Self::all().0)
    }
}
