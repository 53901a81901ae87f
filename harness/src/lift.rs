//! Lifts: what makes a part of a controller a rig that runs whole cases.
//!
//! A file for each small seam. A lift adds what the part has not: the drives with their media and
//! lines (`bench.rs`), requests, transfers and a raw reader (`requests.rs`, `host.rs`,
//! `raw_reader.rs`), and time, channel bit by channel bit (`walk.rs`). It walks the same events as any implementation and knows no more than one: neither
//! the model nor the judge; of a separator (`data_separator.rs`) it asks the model when the
//! transitions come, and lends nothing else. What it adds is lent ([`Rig::lent`](trackproof_contract::Rig::lent)):
//! no rule that needs it is held against the part.
//!
//! Semantics: 1, 2 and 4 of the text of semantics; the order within one moment is that of its
//! preface.

mod bench;
pub mod data_separator;
mod host;
mod raw_reader;
mod requests;
pub mod track_encoder;
pub mod track_writer;
mod walk;
pub mod word_reader;

use trackproof_contract::{RigError, SeamError};

pub use data_separator::DataSeparatorLift;
pub use track_encoder::TrackEncoderLift;
pub use track_writer::TrackWriterLift;
pub use word_reader::WordReaderLift;

/// Makes a part, as often as power comes on.
pub type MakePart<P> = std::sync::Arc<dyn Fn() -> P + Send + Sync>;

/// What a call of a part came to. That it is not supported was asked beforehand.
fn called<T>(call: &'static str, result: Result<T, SeamError>) -> Result<T, RigError> {
    result.map_err(|error| match error {
        SeamError::NotSupported => RigError::Protocol {
            why: format!(
                "`{call}` was there when it was tried at the beginning, and now says that it is \
                 not supported; a method is there always or never"
            ),
        },
        SeamError::Failed { why } => RigError::Implementation { call, why },
        SeamError::Protocol { why } => RigError::Protocol { why },
        error => RigError::Implementation { call, why: error.to_string() },
    })
}

/// Whether a part has a method, by what a call of it says.
fn is_there<T>(result: Result<T, SeamError>) -> bool {
    !matches!(result, Err(SeamError::NotSupported))
}
