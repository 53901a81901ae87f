//! What recorded drive lines are held to: numbers with their sources, each of which a map may change.
//!
//! Where the makers' documents differ the default is the one that accuses least, and the others are
//! told beside it. The maker's document of the drive at hand decides.

use crate::{DriveLine, Recording};

/// How several select lines may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
pub enum SelectUse {
    /// At most one is active.
    #[default]
    OneOfN,
    /// Each by itself.
    Independent,
}

/// Limits of recorded lines. Times are in nanoseconds; 0 switches an optional one off.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default, deny_unknown_fields))]
pub struct LineLimits {
    /// How far a transition may be from a whole number of channel bits behind the one before it, in
    /// percent of a channel bit. 25 by definition: half of what an ideal separator bears, and room
    /// for precompensation by 250 ns at 250 kbit/s (CDC application note 77653447).
    pub spacing_percent: u64,
    /// Whether several selects may be active at once.
    pub selects: SelectUse,
    /// From a select's arrival to the gate, at least. 500: drive select to valid outputs is 0.5 to
    /// 1 µs (from memory). Where the recording is of a link's near end, add the link's latency.
    pub select_to_gate_ns: u64,
    /// From a change of side to the gate, at least. 100 000: SA810/860 OEM manual, fig. 1-8.
    pub side_to_gate_ns: u64,
    /// Two selects that overlap for no longer than this are a change of drive that makes before it
    /// breaks. 1 000 by definition.
    pub overlap_ns: u64,
    /// How long the steering lines keep still behind the gate. Off; a drive that holds its erase
    /// current wants it: 800 000 in the HP 9130K service manual, p. 30.
    pub erase_hold_ns: u64,
    /// Shortest step pulse. 1 000: SA810/860 OEM manual, 2.2.6; RS leaflet 9419.
    pub step_pulse_min_ns: u64,
    /// Longest step pulse. 2 000 000: HP 9130K service manual, p. 17. 0 switches it off.
    pub step_pulse_max_ns: u64,
    /// From step to step, at least. 3 000 000: SA810/860 OEM manual, 2.2.6; RS leaflet 9419. Older
    /// drives want more: 15 000 000 in fig. 4-3 of the Sony OA-D30V manual.
    pub step_interval_ns: u64,
    /// Direction steady before a step's leading edge. 1 000: SA810/860 OEM manual, 2.2.6.
    pub direction_setup_ns: u64,
    /// Direction steady behind a step's trailing edge. 1 000: RS leaflet 9419.
    pub direction_hold_ns: u64,
    /// From a step to one the other way, at least. Off; 16 000 000 in the SA810/860 OEM manual, 2.2.6.
    pub direction_reversal_ns: u64,
    /// How far a turn may be from its nominal time, in thousandths; index is judged only where this is
    /// given, for the drive makes it. 15 in the Samsung SFD-321B specification, 2.1.
    pub index_permille: u64,
}

impl Default for LineLimits {
    fn default() -> Self {
        Self {
            spacing_percent: 25,
            selects: SelectUse::OneOfN,
            select_to_gate_ns: 500,
            side_to_gate_ns: 100_000,
            overlap_ns: 1_000,
            erase_hold_ns: 0,
            step_pulse_min_ns: 1_000,
            step_pulse_max_ns: 2_000_000,
            step_interval_ns: 3_000_000,
            direction_setup_ns: 1_000,
            direction_hold_ns: 1_000,
            direction_reversal_ns: 0,
            index_permille: 0,
        }
    }
}

/// What is known of a recording beside its edges.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordingSetup {
    /// The lines that were recorded.
    pub lines: Vec<DriveLine>,
    /// The code of the data.
    pub recording: Recording,
    /// The nominal length of a channel bit, half a bit cell. 0 where no data line was recorded.
    pub channel_bit_ns: u64,
    /// The nominal time of a turn; 0 where it is not known.
    pub turn_ns: u64,
    /// What the lines are held to.
    pub limits: LineLimits,
}
