//! The lines between controller and drives as an instrument or a simulator recorded them.
//!
//! An adapter that reads recordings makes these values, the judge of recordings takes them. Whoever
//! plugs in an implementation needs none of them. Lines are told by what they mean: whether a line
//! is asserted low or high is the adapter's business.

use std::fmt;

/// A line between controller and drives.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum DriveLine {
    /// Selects the drive of that number.
    Select(u8),
    /// Lets the drive turn.
    MotorOn,
    /// Active: side 1.
    Side,
    /// Active: towards the last cylinder.
    Direction,
    /// A pulse for each cylinder.
    Step,
    /// Turns writing on.
    WriteGate,
    /// A transition for each 1 that is to be written.
    WriteData,
    /// A pulse a turn.
    Index,
    /// The head stands on track 00.
    TrackZero,
    /// The medium is protected.
    WriteProtect,
    /// The drive turns and is ready.
    Ready,
    /// The medium has been changed.
    Change,
    /// A transition for each 1 that was read.
    ReadData,
}

impl DriveLine {
    /// The names of all lines, as maps and reports have them. `select` is told apart by its drive.
    pub const NAMES: [&'static str; 13] = [
        "select",
        "motor-on",
        "side",
        "direction",
        "step",
        "write-gate",
        "write-data",
        "index",
        "track-00",
        "write-protect",
        "ready",
        "change",
        "read-data",
    ];

    /// The line of that name; `drive` counts for `select` alone.
    ///
    /// ```
    /// use trackproof_contract::DriveLine;
    /// assert_eq!(DriveLine::named("track-00", 0), Some(DriveLine::TrackZero));
    /// assert_eq!(DriveLine::named("select", 1), Some(DriveLine::Select(1)));
    /// assert_eq!(DriveLine::named("gate", 0), None);
    /// ```
    #[must_use]
    pub fn named(name: &str, drive: u8) -> Option<Self> {
        Some(match name {
            "select" => Self::Select(drive),
            "motor-on" => Self::MotorOn,
            "side" => Self::Side,
            "direction" => Self::Direction,
            "step" => Self::Step,
            "write-gate" => Self::WriteGate,
            "write-data" => Self::WriteData,
            "index" => Self::Index,
            "track-00" => Self::TrackZero,
            "write-protect" => Self::WriteProtect,
            "ready" => Self::Ready,
            "change" => Self::Change,
            "read-data" => Self::ReadData,
            _ => return None,
        })
    }

    /// The name, one of [`NAMES`](Self::NAMES).
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Select(_) => "select",
            Self::MotorOn => "motor-on",
            Self::Side => "side",
            Self::Direction => "direction",
            Self::Step => "step",
            Self::WriteGate => "write-gate",
            Self::WriteData => "write-data",
            Self::Index => "index",
            Self::TrackZero => "track-00",
            Self::WriteProtect => "write-protect",
            Self::Ready => "ready",
            Self::Change => "change",
            Self::ReadData => "read-data",
        }
    }

    /// Whether the line carries flux transitions and no state.
    #[must_use]
    pub const fn carries_flux(self) -> bool {
        matches!(self, Self::WriteData | Self::ReadData)
    }

    /// Whether the line steers the drive and has to keep still under an open write gate.
    #[must_use]
    pub const fn steers(self) -> bool {
        matches!(self, Self::Select(_) | Self::MotorOn | Self::Side | Self::Direction | Self::Step)
    }
}

impl fmt::Display for DriveLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Select(drive) => write!(f, "select {drive}"),
            line => f.write_str(line.name()),
        }
    }
}

/// What a line is at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LineState {
    /// Does not mean its name.
    Inactive,
    /// Means its name.
    Active,
    /// The recording does not say.
    Unknown,
}

/// What a line does at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LineEvent {
    /// It is this from now on. Lines that [carry flux](DriveLine::carries_flux) tell only when they
    /// become unknown and, as `Inactive`, when they are known again.
    Becomes(LineState),
    /// A flux transition, of lines that carry flux.
    Transition,
}

/// A moment of a line. In a recording they come in the order of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct LineEdge {
    /// When, in nanoseconds from the recording's zero.
    pub ns: u64,
    /// Which line.
    pub line: DriveLine,
    /// What it does.
    pub event: LineEvent,
}

#[cfg(test)]
mod tests {
    use super::DriveLine;

    #[test]
    fn every_name_is_the_name_of_its_line() {
        for name in DriveLine::NAMES {
            let line = DriveLine::named(name, 3).expect(name);
            assert_eq!(line.name(), name);
            assert!(line.to_string().starts_with(name));
        }
    }
}
