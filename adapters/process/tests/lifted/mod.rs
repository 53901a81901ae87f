//! A rig of what a command line starts: a part of a controller is lent the rest.

use std::sync::Arc;
use trackproof::lift;
use trackproof_contract::Rig;
use trackproof_process::{Limits, Offer, Process};

pub(crate) fn rig(line: &str) -> Box<dyn Rig> {
    match Process::new(line, Limits::default()).unwrap().start().unwrap() {
        Offer::Controller(rig) => rig,
        Offer::WordReader(reader) => {
            let clone = reader.clone();
            Box::new(reader.into_rig(lift::word_reader::rig(Arc::new(move || clone.clone()))))
        }
        Offer::TrackEncoder(encoder) => {
            let clone = encoder.clone();
            Box::new(encoder.into_rig(lift::track_encoder::rig(Arc::new(move || clone.clone()))))
        }
        Offer::DataSeparator(separator) => {
            let clone = separator.clone();
            Box::new(separator.into_rig(lift::data_separator::rig(Arc::new(move || clone.clone()))))
        }
    }
}
