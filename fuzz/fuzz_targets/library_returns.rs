//! `library_returns`: whatever a library may return, for our own safety.
#![no_main]

use libfuzzer_sys::{Corpus, fuzz_target};

fuzz_target!(|bytes: &[u8]| -> Corpus {
    if trackproof_fuzz::library_returns(bytes) { Corpus::Keep } else { Corpus::Reject }
});
