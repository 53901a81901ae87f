//! Little controllers: templates to copy, subjects for tests and demos. Those in C are embedded as
//! shared libraries, and can be made with faults, by name, as `faults.toml` describes them; the one
//! in Rust, [`WordReader`], is a part of a controller, and correct.
//!
//! ```
//! let sample = trackproof_samples::find("sync-dma")?;
//! let open = sample.open(&["done-twice"])?;
//! let rig = open.rig()?;
//! # Ok::<(), trackproof_samples::SampleError>(())
//! ```
#![forbid(unsafe_code)]

mod error;
mod fault;
mod sample;
mod word_reader;

pub use error::SampleError;
pub use fault::Fault;
pub use sample::{Form, OpenSample, OpenSeparator, Sample, Unpacked, find, samples};
pub use word_reader::WordReader;
