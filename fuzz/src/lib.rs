//! The bodies of the fuzz targets; the shells around them are in `fuzz_targets`.
//!
//! Four targets search an implementation: `write_path`, `read_path`, `whole_subsystem`, and `separator`
//! for data separators. Their
//! inputs are streams of choices, from which the one generator makes cases; what the model reaches
//! is fed back to the fuzzer beside the coverage. A deviation becomes a case file and the fuzzer
//! goes on. Two targets are for our own safety: `case_file` and `library_returns` end the process
//! when our code does not stand what it is given.
//!
//! Every body takes an input and says whether it is worth keeping in a corpus.
#![deny(unsafe_code)]

mod case_file;
mod counters;
mod findings;
mod implementation;
mod library_returns;
mod path;
#[cfg(test)]
mod seeds;

pub use case_file::case_file;
pub use library_returns::library_returns;
pub use path::{read_path, separator, whole_subsystem, write_path};
