//! Base patterns: what host software does with a controller, before mutation.
//!
//! Each pattern is a few lines over the vocabulary of `program.rs`. Patterns that move whole
//! stretches of a track stand in `transfers.rs`, those that look and step in `drives.rs`, those
//! that disturb a transfer in `interruptions.rs`, those that write in `writing.rs` and
//! `writing_disturbed.rs`.

mod drives;
mod interruptions;
mod transfers;
mod writing;
mod writing_disturbed;

use super::choices::Choices;
use super::program::{Kind, Script};
use trackproof_contract::Operation;

/// Whether a pattern finds the sync word by hardware.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sync {
    Hardware,
    Software,
}

/// A base pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pattern {
    SyncReader,
    RawReader,
    SectorReader,
    BackToBack,
    MultiTurn,
    TwoDrives,
    IdleThenRead,
    StalledReader,
    BytePoller,
    TrackMeasurer,
    DriveProber,
    Homer,
    SyncWordChanger,
    SyncToggler,
    Aborter,
    Resetter,
    OutputToggler,
    SourceSwitcher,
    Medley,
    SectorUpdater,
    Formatter,
    DiskCopier,
    DriveCopier,
    WriteVerify,
    SmallWriter,
    LongWriter,
    StalledWriter,
    WriteBreaker,
    LineDropper,
}

/// The patterns of programs that write, and their weights.
const WRITING: [(Pattern, u8); 11] = [
    (Pattern::SmallWriter, 6),
    (Pattern::SectorUpdater, 4),
    (Pattern::Formatter, 4),
    (Pattern::DiskCopier, 6),
    (Pattern::DriveCopier, 3),
    (Pattern::WriteVerify, 4),
    (Pattern::LongWriter, 2),
    (Pattern::StalledWriter, 4),
    (Pattern::WriteBreaker, 6),
    (Pattern::LineDropper, 4),
    (Pattern::Medley, 5),
];

/// The patterns of programs that only read, and their weights.
const READING: [(Pattern, u8); 19] = [
    (Pattern::SyncReader, 5),
    (Pattern::RawReader, 4),
    (Pattern::SectorReader, 4),
    (Pattern::BackToBack, 4),
    (Pattern::MultiTurn, 2),
    (Pattern::TwoDrives, 3),
    (Pattern::IdleThenRead, 2),
    (Pattern::StalledReader, 4),
    (Pattern::BytePoller, 3),
    (Pattern::TrackMeasurer, 2),
    (Pattern::DriveProber, 2),
    (Pattern::Homer, 1),
    (Pattern::SyncWordChanger, 4),
    (Pattern::SyncToggler, 4),
    (Pattern::Aborter, 4),
    (Pattern::Resetter, 3),
    (Pattern::OutputToggler, 2),
    (Pattern::SourceSwitcher, 4),
    (Pattern::Medley, 8),
];

impl Pattern {
    /// Its name, in kebab-case.
    pub(super) fn name(self) -> String {
        let mut name = String::new();
        for letter in format!("{self:?}").chars() {
            if letter.is_ascii_uppercase() && !name.is_empty() {
                name.push('-');
            }
            name.push(letter.to_ascii_lowercase());
        }
        name
    }
}

impl<C: Choices> Script<'_, C> {
    /// Writes one base pattern; gives back which.
    pub(super) fn base_pattern(&mut self) -> Pattern {
        let pattern = if self.frame.copies_an_image() && self.choices.chance(1, 3) {
            Pattern::DiskCopier
        } else if self.frame.writes {
            WRITING[self.choices.weighted(&WRITING.map(|(_, weight)| weight))].0
        } else {
            READING[self.choices.weighted(&READING.map(|(_, weight)| weight))].0
        };
        match pattern {
            Pattern::SyncReader => self.sync_reader(),
            Pattern::RawReader => self.raw_reader(),
            Pattern::SectorReader => self.sector_reader(),
            Pattern::BackToBack => self.back_to_back(),
            Pattern::MultiTurn => self.multi_turn(),
            Pattern::TwoDrives => self.two_drives(),
            Pattern::IdleThenRead => self.idle_then_read(),
            Pattern::StalledReader => self.stalled_reader(),
            // Without a byte port the host polls the status as often.
            Pattern::BytePoller => self.byte_poller(),
            Pattern::TrackMeasurer => self.track_measurer(),
            Pattern::DriveProber => self.drive_prober(),
            Pattern::Homer => self.homer(),
            Pattern::SyncWordChanger => self.sync_word_changer(),
            Pattern::SyncToggler => self.sync_toggler(),
            Pattern::Aborter => self.aborter(),
            Pattern::Resetter => self.resetter(),
            Pattern::OutputToggler => self.output_toggler(),
            Pattern::SourceSwitcher => self.source_switcher(),
            Pattern::Medley => self.medley(),
            Pattern::SectorUpdater => self.sector_updater(),
            Pattern::Formatter => self.formatter(),
            Pattern::DiskCopier => self.disk_copier(),
            Pattern::DriveCopier => self.drive_copier(),
            Pattern::WriteVerify => self.write_verify(),
            Pattern::SmallWriter => self.small_writer(),
            Pattern::LongWriter => self.long_writer(),
            Pattern::StalledWriter => self.stalled_writer(),
            Pattern::WriteBreaker => self.write_breaker(),
            Pattern::LineDropper => self.line_dropper(),
        }
        pattern
    }

    /// Brings a drive to where it gives read data: nearly every program begins so.
    fn begin(&mut self, sync: Sync) {
        let drive = self.some_drive();
        self.begin_with(drive, sync);
    }

    fn begin_with(&mut self, drive: u8, sync: Sync) {
        let select = Operation::Select { mask: 1 << drive };
        let motor = match self.choices.chance(1, 4) {
            true => Operation::Motor { mask: 1 << drive },
            false => Operation::Motor { mask: (1 << self.frame.drives) - 1 },
        };
        let order = if self.choices.chance(1, 2) { [motor, select] } else { [select, motor] };
        for operation in order {
            if !self.choices.chance(1, 32) {
                self.put(operation);
            }
        }
        if self.tracks.iter().any(|track| track.side == 1) && self.choices.chance(1, 3) {
            self.put(Operation::Side { side: 1 });
        }
        if self.frame.sync != self.frame.default_sync || self.choices.chance(1, 8) {
            self.put(Operation::SyncWord { word: self.frame.sync });
        }
        match sync {
            Sync::Hardware => self.put(Operation::HardwareSync { on: true }),
            Sync::Software if self.choices.chance(1, 8) => {
                self.put(Operation::HardwareSync { on: false });
            }
            Sync::Software => {}
        }
        match self.choices.weighted(&[4, 2, 3]) {
            0 => {}
            1 => self.wait_for_edge(),
            _ => self.put_any(Kind::Wait),
        }
    }

    /// Waits about as long as a transfer lasts: mostly to its end and a little longer, sometimes not
    /// so long; in one piece, or looking at the status meanwhile.
    fn sit_out(&mut self, lasts_ns: u64) {
        let word_ns = self.frame.word_ns();
        let ns = match self.choices.weighted(&[8, 3, 3, 2]) {
            0 => lasts_ns + self.choices.below(4 * word_ns),
            1 => lasts_ns,
            2 => lasts_ns.saturating_sub(self.choices.below(2 * word_ns)),
            _ => self.choices.below(lasts_ns + 1),
        };
        let pieces = self.choices.pick(&[1, 1, 1, 2, 3]);
        for piece in 1..=pieces {
            self.wait(ns / pieces);
            if piece < pieces || self.choices.chance(1, 3) {
                self.look();
            }
        }
    }

    /// Reads the status, sometimes about the end of a channel bit.
    fn look(&mut self) {
        if self.choices.chance(1, 3) {
            self.wait_for_edge();
        }
        self.put(Operation::PollStatus);
    }

    /// Hardware or software sync, as often.
    fn either_sync(&mut self) -> Sync {
        self.choices.pick(&[Sync::Hardware, Sync::Software])
    }
}
