//! Runs a child process, in any language, as an implementation.
//!
//! The child reads a case a line on its standard input and writes an observation a line on its
//! standard output, as `PROTOCOL.md` beside this crate says; [`Process`] says which command and how
//! long it may take. [`Process::start`] greets it, and [`Offer`] is what it then is: a whole
//! controller, which is a [`Rig`](trackproof_contract::Rig) at once, or a part of one, which whoever
//! lends it drives and host makes a rig of.
//!
//! A child is code that runs with your rights: start only what you trust. What it *says* is
//! untrusted: every line is bounded, strictly read, and held to the form of an observation. It is
//! alone in a process group with a guard, which ends the group even if this process is killed.
#![cfg(unix)]
#![forbid(unsafe_code)]

mod child;
mod encoder;
mod error;
mod group;
mod hello;
mod limits;
mod link;
mod message;
mod pipes;
mod reader;
mod rig;
mod said;
mod separator;
mod session;

pub use encoder::ChildEncoder;
pub use error::StartError;
pub use hello::{Hello, Seam};
pub use limits::{Limits, MAX_IN_FLIGHT};
pub use link::{Offer, Process};
pub use message::PROTOCOL;
pub use reader::ChildReader;
pub use rig::ProcessRig;
pub use separator::ChildSeparator;
pub use session::PartRig;

/// What a child must do, for people: the text of `PROTOCOL.md`.
pub const PROTOCOL_TEXT: &str = include_str!("../PROTOCOL.md");

/// The JSON schema of everything that goes over the pipes.
pub const SCHEMA: &str = include_str!("../schema.json");

/// The kit for children in Python: one file, to be copied.
pub const PYTHON_KIT: &str = include_str!("../python/trackproof_child.py");
