//! Opens a shared library that speaks `include/trackproof.h` as a disk subsystem.
//!
//! [`Library::open`] finds the library's table of functions, [`Library::create`] makes an
//! implementation of it, [`Library::rig`] makes that ready to run whole cases. Whatever the
//! library returns is held to its limits before anyone sees it; times and order are
//! [`Observation::check_form`](trackproof_contract::Observation::check_form)'s to check.
//!
//! A library is code that runs in this process: open only what you trust.
#![deny(unsafe_op_in_unsafe_fn)]

mod error;
mod event;
mod item;
mod library;
mod raw;
mod setup;
mod subsystem;
mod text;

#[cfg(test)]
mod header;

/// The interface, for whoever is to compile a library: the text of `include/trackproof.h`.
pub const HEADER: &str = include_str!("../include/trackproof.h");

pub use error::LoadError;
pub use library::Library;
pub use subsystem::CSubsystem;
