//! `case_file`: the reader of case files, for our own safety.
#![no_main]

use libfuzzer_sys::{Corpus, fuzz_target};

fuzz_target!(|bytes: &[u8]| -> Corpus {
    if trackproof_fuzz::case_file(bytes) { Corpus::Keep } else { Corpus::Reject }
});
