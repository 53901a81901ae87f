//! What the host does: one operation after the other.

use crate::ChannelBits;

/// When a transfer begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Start {
    /// At once: raw.
    Now,
    /// At the first match.
    Match,
    /// Raw, at the index.
    Index,
}

/// Which way a step moves the head.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum Direction {
    /// To higher cylinders.
    In,
    /// To track 00.
    Out,
}

/// A span in which the host gives a transfer no service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Stall {
    /// Its begin, in nanoseconds after the request.
    pub from_ns: u64,
    /// Its length, in nanoseconds.
    pub length_ns: u64,
}

/// When the host serves a transfer: at `first_ns` after the request and every `interval_ns` after
/// that (under a profile with `service = slots(…)`, that many services every period instead), but
/// not within a stall; to the end of the program.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct HostService {
    /// The first service, in nanoseconds after the request.
    pub first_ns: u64,
    /// From service to service, in nanoseconds, at least 1.
    pub interval_ns: u64,
    /// Spans without service.
    pub stalls: Vec<Stall>,
}

/// Where the words of a write come from.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case", deny_unknown_fields))]
pub enum WriteSource {
    /// These, W bits each, one after the other.
    ///
    /// For a controller that takes channel words each bit is a channel bit. For one that takes
    /// data bytes the low W/2 bits of a word are data, and a 1 in the high W/2 bits leaves out the
    /// clock bit before the data bit at the same place, though the rule asks for it: so marks are
    /// written.
    Words(ChannelBits),
    /// What an earlier read of the program has delivered when the write is requested. Bits are
    /// counted from the first word's first on.
    Copy {
        /// The read's number among all requests, from 0.
        transfer: u32,
        /// The host first searches these R bits, under the profile's sync mask, at every bit
        /// offset; its words then begin with the first place where they stand. Not found: no words.
        align: Option<u64>,
        /// Words that are left out at the beginning.
        skip: u32,
        /// How many words are written, if that many are left.
        count: u32,
    },
}

/// One operation of the host. Each but [`Wait`](Self::Wait) takes the bench's `access_ns`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(tag = "op", rename_all = "kebab-case", deny_unknown_fields))]
#[non_exhaustive]
pub enum Operation {
    /// Lets time pass.
    Wait {
        /// How long, in nanoseconds.
        ns: u64,
    },
    /// Sets the select lines, bit n for drive n; at most one is set.
    Select {
        /// The lines.
        mask: u8,
    },
    /// Sets the motor lines, bit n for drive n.
    Motor {
        /// The lines.
        mask: u8,
    },
    /// Sets the side line.
    Side {
        /// 0 or 1.
        side: u8,
    },
    /// Gives one step pulse to the selected drive.
    Step {
        /// Which way.
        direction: Direction,
    },
    /// Sets the sync word.
    SyncWord {
        /// Its low R bits count.
        word: u64,
    },
    /// Switches hardware sync on or off.
    HardwareSync {
        /// Whether it is on from now on.
        on: bool,
    },
    /// Requests a read.
    Read {
        /// How many words.
        words: u32,
        /// When it begins.
        start: Start,
        /// When the host takes the words.
        service: HostService,
    },
    /// Requests a write.
    Write {
        /// What is written.
        source: WriteSource,
        /// When it begins.
        start: Start,
        /// When the host gives the words.
        service: HostService,
    },
    /// Ends the transfer.
    Abort,
    /// Reads the status.
    PollStatus,
    /// Reads the newest byte with its flag.
    PollByte,
    /// Sets an output that has nothing to do with the transfer (a light, say).
    Output {
        /// Its new value.
        value: u8,
    },
    /// Resets the controller.
    Reset,
}

impl Operation {
    /// When the host serves the transfer that it requests, if it requests one.
    #[must_use]
    pub const fn service(&self) -> Option<&HostService> {
        match self {
            Self::Read { service, .. } | Self::Write { service, .. } => Some(service),
            _ => None,
        }
    }

    /// The same, to change it.
    pub const fn service_mut(&mut self) -> Option<&mut HostService> {
        match self {
            Self::Read { service, .. } | Self::Write { service, .. } => Some(service),
            _ => None,
        }
    }

    /// Whether it requests a transfer.
    #[must_use]
    pub const fn is_request(&self) -> bool {
        self.service().is_some()
    }
}
