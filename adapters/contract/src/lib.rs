//! What an implementation and trackproof say to each other.
//!
//! This crate is all that a Rust implementer has to read. It holds data and traits, nothing that
//! generates, judges or talks to a file: [`Case`] goes to the implementation, [`Observation`]
//! comes back, [`Profile`] names what the controller is free to choose. The seams are where an
//! implementation plugs in: [`WordReader`] for the part that makes words of channel bits,
//! [`TrackWriter`] for the one that writes, [`TrackEncoder`] for what makes a track of an image's
//! sectors, [`DataSeparator`] for what makes channel bits of flux, [`DiskSubsystem`] for controller and drives together. Time is integer nanoseconds at
//! every interface.
#![forbid(unsafe_code)]

mod bench;
mod bits;
mod capability;
mod case;
mod data_separator;
mod drive_lines;
mod flux;
mod limits;
mod line_limits;
mod medium;
mod observation;
mod operation;
mod profile;
mod rig;
mod seam;
mod sending;
mod stop;
mod timeline;
mod track_encoder;
mod track_writer;
mod word_reader;

pub use bench::{Bench, ChangeClear, DriveBench};
pub use bits::ChannelBits;
pub use capability::{Capabilities, Capability};
pub use case::{Case, CaseError};
pub use data_separator::DataSeparator;
pub use drive_lines::{DriveLine, LineEdge, LineEvent, LineState};
pub use flux::{
    Displaced, Flux, MAX_DISPLACED, MAX_FLUX_BITS, MAX_PEAK_SHIFT, MAX_SPEED_PPM, MAX_SPLICES,
    Speed, Splice,
};
pub use limits::*;
pub use line_limits::{LineLimits, RecordingSetup, SelectUse};
pub use medium::{ChannelKind, Medium, SectorLayout, Track};
pub use observation::{Item, Observation, ObservationError, Observed, Status};
pub use operation::{Direction, HostService, Operation, Stall, Start, WriteSource};
pub use profile::{
    AlignedMatch, BytePort, ByteUnit, Counter, ErrorFlag, FirstContext, IndexEdge, KEYS, Key,
    MatchFlag, MisalignedMatch, NoDriveRead, Overrun, Partial, Profile, ProfileError, ReadDone,
    Realign, Recording, Service, SpliceGuard, StartBusy, StartMatch, Straddle, SyncOffWaiting,
    SyncOnLive, SyncWrite, Underrun, WriteDone, WriteUnit, YesNo, ZeroWords,
};
pub use rig::{DiskSubsystem, Rig, RigError, Setup, SubsystemRig};
pub use seam::{Answer, PolledByte, SeamError, ShownStatus, TransferRequest};
pub use sending::words_to_send;
pub use stop::Stop;
pub use timeline::{Action, Event, timeline};
pub use track_encoder::{ImageTrack, TrackEncoder};
pub use track_writer::TrackWriter;
pub use word_reader::WordReader;
