//! The reference model: what right is.
//!
//! Pure: no file, no clock, no randomness, no thread, no `unsafe`. It knows the contract and
//! nothing else, so that nothing an implementation does can leak into what is expected of it.
#![forbid(unsafe_code)]

pub mod check;
pub mod code;
pub mod drive;
pub mod image;
pub mod layout;
pub mod reach;
pub mod reader;
pub mod recorded;
pub mod search;
pub mod separator;
pub mod software_sync;
pub mod tape;
