//! What the tests of the whole project share: inputs from outside it.
#![forbid(unsafe_code)]

pub mod volume;
