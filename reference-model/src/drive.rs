//! The drives of a bench, as far as a host can tell: lines, head, rotation.
//!
//! Semantics: the case's profile and bench; what a line does is the handbooks' (step acts at its
//! trailing edge and not unselected: RS leaflet 9419; read data only when selected and ready:
//! SA810/860 OEM manual p. 23) and, for the change line and the index width of 1/100 turn, by
//! definition.

use trackproof_contract::{Bench, ChangeClear, Direction, MAX_CYLINDER, Status};

/// Longest time after an operation until its effect on select, side and motor must show: a slow
/// line's 0.5 µs and 0.5 µs until a drive answers its select (common practice, no source).
pub const LINE_WINDOW_NS: u64 = 1_000;

/// Longest time after a step operation until the head has moved: a pulse of the least width,
/// 1 µs (SA810/860 OEM manual 2.2.6), set-up of the direction before it, 1 µs (the same), and the
/// line's own time, with room.
pub const STEP_WINDOW_NS: u64 = 4_000;

/// What of a drive changes while a case runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct DriveState {
    cylinder: u8,
    motor_since_ns: Option<u64>,
    changed: bool,
}

/// Where read data comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// No drive gives any.
    None,
    /// The track under the selected drive's head.
    Track {
        /// The drive.
        drive: u8,
        /// The head's cylinder.
        cylinder: u8,
        /// The side.
        side: u8,
    },
}

/// The drive lines and everything behind them at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drives {
    states: [DriveState; trackproof_contract::MAX_DRIVES],
    selected: Option<u8>,
    motors: u8,
    side: u8,
}

impl Drives {
    /// Power-up: all lines inactive, the head where the bench has it, the change line set.
    #[must_use]
    pub fn new(bench: &Bench) -> Self {
        let mut states = [DriveState { cylinder: 0, motor_since_ns: None, changed: true };
            trackproof_contract::MAX_DRIVES];
        for (state, drive) in states.iter_mut().zip(&bench.drives) {
            state.cylinder = drive.cylinder;
        }
        Self { states, selected: None, motors: 0, side: 0 }
    }

    /// The selected drive.
    #[must_use]
    pub const fn selected(&self) -> Option<u8> {
        self.selected
    }

    /// What a write under way needs to keep still: the selected drive, the side, that drive's motor.
    #[must_use]
    pub const fn steering(&self) -> (Option<u8>, u8, bool) {
        let motor = match self.selected {
            Some(drive) => self.motors >> drive & 1 == 1,
            None => false,
        };
        (self.selected, self.side, motor)
    }

    /// Sets the select lines.
    pub fn select(&mut self, mask: u8, bench: &Bench) {
        let next = (mask != 0).then(|| mask.trailing_zeros() as u8);
        if next != self.selected
            && let Some(left) = self.selected
            && bench.drives[usize::from(left)].change_clear == ChangeClear::Select
        {
            self.states[usize::from(left)].changed = false;
        }
        self.selected = next;
    }

    /// Sets the motor lines.
    pub fn motor(&mut self, mask: u8, at_ns: u64) {
        for (number, state) in self.states.iter_mut().enumerate() {
            let on = mask >> number & 1 == 1;
            if on != state.motor_since_ns.is_some() {
                state.motor_since_ns = on.then_some(at_ns);
            }
        }
        self.motors = mask;
    }

    /// Sets the side line.
    pub const fn set_side(&mut self, side: u8) {
        self.side = side;
    }

    /// Steps the selected drive's head.
    pub fn step(&mut self, direction: Direction, bench: &Bench) {
        let Some(number) = self.selected else { return };
        let state = &mut self.states[usize::from(number)];
        state.cylinder = match direction {
            Direction::In => (state.cylinder + 1).min(MAX_CYLINDER),
            Direction::Out => state.cylinder.saturating_sub(1),
        };
        if bench.drives[usize::from(number)].change_clear == ChangeClear::Step {
            state.changed = false;
        }
    }

    /// Where read data comes from now.
    #[must_use]
    pub fn source(&self) -> Source {
        match self.selected {
            Some(drive) if self.states[usize::from(drive)].motor_since_ns.is_some() => {
                let cylinder = self.states[usize::from(drive)].cylinder;
                Source::Track { drive, cylinder, side: self.side }
            }
            _ => Source::None,
        }
    }

    /// The status lines at a moment, and those that an edge close to it leaves free.
    ///
    /// `back_ns` and `ahead_ns` say how far from the moment an edge still counts as close.
    #[must_use]
    pub fn lines(
        &self,
        bench: &Bench,
        channel_bit_ns: u32,
        at_ns: u64,
        back_ns: u64,
        ahead_ns: u64,
    ) -> (Status, Status) {
        let Some(number) = self.selected else { return (Status::default(), Status::default()) };
        let (state, drive) =
            (&self.states[usize::from(number)], &bench.drives[usize::from(number)]);
        let mut lines = Status::default()
            .with(Status::TRACK_ZERO, state.cylinder == 0)
            .with(Status::PROTECT, drive.write_protected)
            .with(Status::CHANGE, state.changed);
        let mut free = Status::default();
        if let Some(since_ns) = state.motor_since_ns {
            let ready_ns = since_ns + drive.spin_up_ns;
            lines = lines.with(Status::READY, at_ns >= ready_ns);
            free = free.with(Status::READY, near(at_ns, ready_ns, back_ns, ahead_ns));

            let turn_ns = u64::from(drive.turn_bits) * u64::from(channel_bit_ns);
            let pulse_ns = turn_ns / 100;
            let phase_ns =
                (at_ns + u64::from(drive.start_bit) * u64::from(channel_bit_ns)) % turn_ns;
            lines = lines.with(Status::INDEX, phase_ns < pulse_ns);
            let edge = |edge_ns| {
                near(phase_ns, edge_ns, back_ns, ahead_ns)
                    || near(phase_ns + turn_ns, edge_ns, back_ns, ahead_ns)
                    || near(phase_ns, edge_ns + turn_ns, back_ns, ahead_ns)
            };
            let short = turn_ns <= back_ns + ahead_ns;
            free = free.with(Status::INDEX, short || edge(0) || edge(pulse_ns));
        }
        (lines, free)
    }
}

/// Whether an edge lies at most `back_ns` before a moment, or at most `ahead_ns` after it.
const fn near(at_ns: u64, edge_ns: u64, back_ns: u64, ahead_ns: u64) -> bool {
    edge_ns <= at_ns + ahead_ns && at_ns <= edge_ns + back_ns
}

#[cfg(test)]
mod tests {
    use super::{Drives, Source};
    use trackproof_contract::{Bench, ChangeClear, Direction, DriveBench, Status};

    fn bench() -> Bench {
        let drive = DriveBench {
            turn_bits: 1_000,
            start_bit: 10,
            cylinder: 1,
            write_protected: true,
            spin_up_ns: 5_000,
            change_clear: ChangeClear::Step,
        };
        let other = DriveBench {
            change_clear: ChangeClear::Select,
            write_protected: false,
            ..drive.clone()
        };
        Bench { access_ns: 0, drives: vec![drive, other] }
    }

    #[test]
    fn lines_are_those_of_the_selected_drive_alone() {
        let bench = bench();
        let mut drives = Drives::new(&bench);
        drives.motor(3, 0);
        let lines = |drives: &Drives, at_ns| drives.lines(&bench, 2_000, at_ns, 0, 0).0;
        assert_eq!(lines(&drives, 0), Status::default());
        drives.select(1, &bench);
        assert_eq!(lines(&drives, 4_999), Status::PROTECT.with(Status::CHANGE, true));
        assert!(lines(&drives, 5_000).has(Status::READY));
        drives.step(Direction::Out, &bench);
        assert!(
            lines(&drives, 0).has(Status::TRACK_ZERO) && !lines(&drives, 0).has(Status::CHANGE)
        );
        drives.select(2, &bench);
        assert_eq!(lines(&drives, 0), Status::CHANGE);
        drives.select(0, &bench);
        drives.select(2, &bench);
        assert_eq!(lines(&drives, 0), Status::default(), "deselection cleared the change line");
    }

    #[test]
    fn the_index_lasts_a_hundredth_of_a_turn_from_cell_zero() {
        let bench = bench();
        let mut drives = Drives::new(&bench);
        drives.motor(1, 0);
        drives.select(1, &bench);
        let index = |at_ns| drives.lines(&bench, 2_000, at_ns, 0, 0).0.has(Status::INDEX);
        // Cell 0 begins 990 cells after time 0.
        assert!(!index(1_979_999) && index(1_980_000) && index(1_999_999) && !index(2_000_000));
        let (_, free) = drives.lines(&bench, 2_000, 1_980_900, 1_000, 100);
        assert!(free.has(Status::INDEX));
        let (_, free) = drives.lines(&bench, 2_000, 1_990_000, 1_000, 100);
        assert!(!free.has(Status::INDEX));
    }

    #[test]
    fn read_data_comes_from_a_selected_spinning_drive() {
        let bench = bench();
        let mut drives = Drives::new(&bench);
        drives.select(1, &bench);
        assert_eq!(drives.source(), Source::None);
        drives.motor(1, 0);
        drives.set_side(1);
        drives.step(Direction::In, &bench);
        assert_eq!(drives.source(), Source::Track { drive: 0, cylinder: 2, side: 1 });
    }
}
