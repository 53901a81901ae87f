//! Recorded signals as moments of drive lines: a value change dump (VCD, IEEE 1364-2005, clause 18)
//! and a map that says which of its signals is which line.
//!
//! A recording is read as a stream: whatever its length, no more of it is kept than a few edges and
//! the codes of its signals. Both files are untrusted: every size has a limit, and what is wrong is
//! told with its file and line. What the lines mean for a controller is not judged here.
//!
//! ```
//! use trackproof_capture::{Edges, Map};
//! let map = Map::parse(
//!     "channel_bit_ns = 2000\n\
//!      [[line]]\nline = 'write-gate'\nsignal = 'gate'\nactive = 'low'\n",
//!     "map.toml",
//! )?;
//! let recording = "$timescale 1 us $end $var wire 1 ! gate $end $enddefinitions $end
//!                  #0 1! #20 0! #30 1!";
//! let edges: Result<Vec<_>, _> = Edges::new(recording.as_bytes(), "a.vcd", &map)?.collect();
//! let times: Vec<u64> = edges?.iter().map(|edge| edge.ns).collect();
//! assert_eq!(times, [0, 20_000, 30_000]);
//! # Ok::<(), trackproof_capture::CaptureError>(())
//! ```
#![forbid(unsafe_code)]

mod allowance;
mod edges;
mod error;
mod glitch;
mod map;
mod signals;
mod ticks;

pub use edges::{Edges, Told};
pub use error::CaptureError;
pub use map::{FluxEdge, MAX_MAP_BYTES, Map, MappedLine, Polarity};
