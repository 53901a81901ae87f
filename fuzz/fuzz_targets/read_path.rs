//! `read_path`: programs that only read, on the implementation that TRACKPROOF_IMPLEMENTATION names.
#![no_main]

use libfuzzer_sys::{Corpus, fuzz_target};

fuzz_target!(|bytes: &[u8]| -> Corpus {
    if trackproof_fuzz::read_path(bytes) { Corpus::Keep } else { Corpus::Reject }
});
