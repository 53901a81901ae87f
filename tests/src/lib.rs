//! What the tests of the whole project share.
#![forbid(unsafe_code)]

pub mod profile;
pub mod volume;
