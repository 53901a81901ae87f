//! The model's reach as counters that libFuzzer reads beside those of the coverage.

use std::sync::atomic::{AtomicU8, Ordering};
use trackproof::features::FEATURES;

/// A byte a feature. libFuzzer finds them by the section's name, sets them to 0 before an input and
/// reads them behind it; on other systems than Linux it does not look.
#[used]
#[allow(unsafe_code)]
// SAFETY: the section holds bytes that libFuzzer reads and sets to 0 between two inputs, in the
// thread that runs them; atomic bytes are bytes, and stand being changed from outside.
#[cfg_attr(target_os = "linux", unsafe(link_section = "__libfuzzer_extra_counters"))]
static COUNTERS: [AtomicU8; FEATURES] = [const { AtomicU8::new(0) }; FEATURES];

/// Counts the features of the input under way.
pub(crate) fn count(features: &[usize]) {
    for feature in features {
        COUNTERS[*feature].store(1, Ordering::Relaxed);
    }
}

/// How many features are counted: for the tests, in which no fuzzer clears them.
#[cfg(test)]
pub(crate) fn counted() -> usize {
    COUNTERS.iter().filter(|counter| counter.load(Ordering::Relaxed) > 0).count()
}
