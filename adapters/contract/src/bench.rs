//! The bench: what surrounds the controller. It is part of the case, generated and minimised.

/// What clears a drive's change line, while a medium is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum ChangeClear {
    /// A step of the selected drive, moved or not.
    Step,
    /// The drive's deselection.
    Select,
}

/// One drive: with its medium in, its change line set and its motor off when the case begins.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct DriveBench {
    /// Channel bits a turn; every recorded track of the drive has as many. A cell lasts the
    /// profile's `channel_bit_ns`, so a turn lasts `turn_bits` times that.
    pub turn_bits: u32,
    /// The cell that begins under the head at time 0; the platter's angle then runs on whether
    /// the motor is on or off.
    pub start_bit: u32,
    /// The cylinder that the head is on when the case begins.
    pub cylinder: u8,
    /// Whether the medium is write-protected.
    pub write_protected: bool,
    /// Time from the motor's start to the ready line, in nanoseconds.
    pub spin_up_ns: u64,
    /// What clears the change line.
    pub change_clear: ChangeClear,
}

/// What surrounds the controller.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(deny_unknown_fields))]
pub struct Bench {
    /// Host time that each operation but `wait` takes, in nanoseconds.
    pub access_ns: u32,
    /// The drives, from number 0.
    pub drives: Vec<DriveBench>,
}
