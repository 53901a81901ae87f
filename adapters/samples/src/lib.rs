//! Little controllers in C, embedded as shared libraries: templates to copy, subjects for tests
//! and demos. Each can be made with faults, by name, as `faults.toml` describes them.
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

pub use error::SampleError;
pub use fault::Fault;
pub use sample::{OpenSample, Sample, Unpacked, find, samples};
