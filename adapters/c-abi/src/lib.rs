//! Opens a shared library that speaks `include/trackproof.h`: as a disk subsystem, or as a part of
//! a controller.
//!
//! [`Library::open`] opens a whole controller, [`Library::create`] makes an implementation of it,
//! [`Library::rig`] makes that ready to run whole cases. [`Offer::open`] finds out what a library
//! is; of a part of a controller it gives what makes the contract's traits, to be lent drives and
//! host by whoever runs them. Whatever a library returns is held to its limits before anyone sees
//! it; times and order are
//! [`Observation::check_form`](trackproof_contract::Observation::check_form)'s to check.
//!
//! A library is code that runs in this process: open only what you trust.
#![deny(unsafe_op_in_unsafe_fn)]

mod code;
mod data_separator;
mod error;
mod event;
mod file;
mod item;
mod library;
mod maker;
mod offer;
mod part;
mod raw;
mod setup;
mod subsystem;
mod text;
mod track_encoder;
mod track_writer;
mod word_reader;

#[cfg(test)]
mod header;

/// The interface, for whoever is to compile a library: the text of `include/trackproof.h`.
pub const HEADER: &str = include_str!("../include/trackproof.h");

pub use data_separator::{CDataSeparator, DataSeparatorLibrary};
pub use error::LoadError;
pub use library::Library;
pub use offer::{Kind, Offer};
pub use subsystem::CSubsystem;
pub use track_encoder::{CTrackEncoder, TrackEncoderLibrary};
pub use track_writer::{CTrackWriter, TrackWriterLibrary};
pub use word_reader::{CWordReader, WordReaderLibrary};

/// Makes a part of a controller, as often as power comes on.
pub type Make<P> = std::sync::Arc<dyn Fn() -> P + Send + Sync>;
