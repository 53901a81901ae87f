//! `separator`: flux, on the data separator that TRACKPROOF_IMPLEMENTATION names.
#![no_main]

use libfuzzer_sys::{Corpus, fuzz_target};

fuzz_target!(|bytes: &[u8]| -> Corpus {
    if trackproof_fuzz::separator(bytes) { Corpus::Keep } else { Corpus::Reject }
});
