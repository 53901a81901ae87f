//! The drives that a lift lends, with their media: lines, heads, rotation.

use trackproof_contract::{
    Action, ChannelBits, Direction, DriveBench, MAX_CYLINDER, Medium, NoDriveRead, Setup, Track,
};

/// A drive, as far as it changes while a case runs.
#[derive(Debug, Clone)]
struct Drive {
    bench: DriveBench,
    cylinder: u8,
    spins: bool,
}

/// Drives, lines and media.
#[derive(Debug, Default)]
pub(super) struct LentBench {
    drives: Vec<Drive>,
    selected: Option<usize>,
    side: u8,
    tracks: Vec<Track>,
    no_drive_read: Option<NoDriveRead>,
    /// Cells that have gone by since power-up.
    cells: u64,
    head: Option<Head>,
    /// What is written in the cell that is passing: the gate is open.
    laid: Option<bool>,
    /// A line has changed under the open gate: the drive keeps nothing until it has been closed.
    lost: bool,
    noise: u64,
}

/// The head of the selected, spinning drive.
#[derive(Debug, Clone, Copy)]
struct Head {
    /// The cell that is passing it.
    cell: u32,
    turn_bits: u32,
    /// The track under it, if one is recorded there.
    track: Option<usize>,
}

impl LentBench {
    /// Power-up: all lines inactive, the media in.
    pub(super) fn power_up(&mut self, setup: Setup<'_>) {
        self.drives.clear();
        self.drives.extend(setup.bench.drives.iter().map(|drive| Drive {
            bench: drive.clone(),
            cylinder: drive.cylinder,
            spins: false,
        }));
        self.tracks.truncate(setup.tracks.len());
        for (mine, theirs) in self.tracks.iter_mut().zip(setup.tracks) {
            mine.copy_from(theirs);
        }
        let known = self.tracks.len();
        self.tracks.extend(setup.tracks[known..].iter().cloned());
        (self.selected, self.side, self.head) = (None, 0, None);
        (self.laid, self.lost) = (None, false);
        self.no_drive_read = Some(setup.profile.no_drive_read);
        self.cells = 0;
        self.noise = 0x9e37_79b9_7f4a_7c15;
    }

    /// Takes what a line does; true when read data comes from elsewhere afterwards.
    pub(super) fn take(&mut self, action: Action) -> bool {
        let before = self.steering();
        let switched = match action {
            Action::Select(mask) => {
                let next = (mask != 0).then(|| mask.trailing_zeros() as usize);
                std::mem::replace(&mut self.selected, next) != next
            }
            Action::Motor(mask) => {
                for (number, drive) in self.drives.iter_mut().enumerate() {
                    drive.spins = mask >> number & 1 == 1;
                }
                false
            }
            Action::Side(side) => {
                std::mem::replace(&mut self.side, side) != side && self.selected.is_some()
            }
            // A drive that writes does not step.
            Action::Step(direction) => match self.selected.filter(|_| self.laid.is_none()) {
                Some(number) => self.step(number, direction),
                None => false,
            },
            _ => return false,
        };
        self.lost |= self.laid.is_some() && self.steering() != before;
        self.aim();
        switched
    }

    /// What a write under way needs to keep still: the selected drive, the side, that drive's motor.
    fn steering(&self) -> (Option<usize>, u8, bool) {
        let spins = self.selected.is_some_and(|number| self.drives[number].spins);
        (self.selected, self.side, spins)
    }

    /// The write protect line of the selected drive.
    pub(super) fn write_protected(&self) -> bool {
        self.selected.is_some_and(|number| self.drives[number].bench.write_protected)
    }

    /// The gate is open for the cell that begins now, with this bit, or closed.
    pub(super) const fn lay(&mut self, laid: Option<bool>) {
        self.laid = laid;
        if laid.is_none() {
            self.lost = false;
        }
    }

    /// Puts a stream of channel bits in the place of what a track of the setup holds.
    pub(super) fn record(&mut self, track: usize, stream: ChannelBits) {
        self.tracks[track].medium = Medium::image_bits(stream);
    }

    /// Shows a recorded track as it is now.
    pub(super) fn show(&self, track: &mut Track) {
        let place = |track: &Track| (track.drive, track.cylinder, track.side);
        if let Some(mine) = self.tracks.iter().find(|mine| place(mine) == place(track)) {
            track.medium.track_mut().clone_from(mine.medium.track());
        }
    }

    fn step(&mut self, number: usize, direction: Direction) -> bool {
        let cylinder = &mut self.drives[number].cylinder;
        let before = *cylinder;
        *cylinder = match direction {
            Direction::In => (before + 1).min(MAX_CYLINDER),
            Direction::Out => before.saturating_sub(1),
        };
        *cylinder != before
    }

    /// Points the head at what the lines select.
    fn aim(&mut self) {
        self.head = self.selected.map(|number| (number, &self.drives[number])).and_then(
            |(number, drive)| {
                let turn_bits = drive.bench.turn_bits;
                let cell = (u64::from(drive.bench.start_bit) + self.cells) % u64::from(turn_bits);
                let here = |track: &Track| {
                    (usize::from(track.drive), track.cylinder, track.side)
                        == (number, drive.cylinder, self.side)
                };
                let track = self.tracks.iter().position(here);
                drive.spins.then_some(Head { cell: cell as u32, turn_bits, track })
            },
        );
    }

    /// Whether the cell that begins now is the first of a turn of the selected, spinning drive.
    pub(super) fn at_index(&self) -> bool {
        self.head.is_some_and(|head| head.cell == 0)
    }

    /// The bit of the cell that ends now; none if no bit comes at all. The next cell begins.
    pub(super) fn end_cell(&mut self) -> Option<bool> {
        self.cells += 1;
        let Some(head) = &mut self.head else {
            return match self.no_drive_read {
                Some(NoDriveRead::Ones) => Some(true),
                Some(NoDriveRead::Noise) => Some(self.noise_bit()),
                Some(NoDriveRead::Nothing) => None,
                Some(NoDriveRead::Zeros) | None => Some(false),
            };
        };
        let cell = head.cell;
        head.cell = if cell + 1 == head.turn_bits { 0 } else { cell + 1 };
        let Some(track) = head.track.map(|track| &mut self.tracks[track]) else {
            return Some(false);
        };
        let drive = &self.drives[usize::from(track.drive)].bench;
        if let Some(bit) = self.laid.filter(|_| !self.lost && !drive.write_protected) {
            track.medium.track_mut().set(cell as usize, bit);
        }
        Some(track.medium.track().get(cell as usize))
    }

    /// The next bit of a xorshift generator: noise, the same in every run of a case.
    fn noise_bit(&mut self) -> bool {
        self.noise ^= self.noise << 13;
        self.noise ^= self.noise >> 7;
        self.noise ^= self.noise << 17;
        self.noise >> 63 == 1
    }
}
