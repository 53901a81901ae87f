//! What ends long work early: Ctrl-C, and for minimising a guard of wall time.

use crate::Exit;
use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Time for one finding. The bound on executions comes first for all but slow implementations; a
/// case that this guard cut short is marked.
const MINIMISING: Duration = Duration::from_secs(300);

/// Longest time for all, so that no sum of times overflows.
const LONGEST: Duration = Duration::from_secs(7 * 24 * 3_600);

static INTERRUPTED: AtomicBool = AtomicBool::new(false);
static INSTALLED: Once = Once::new();

/// The flag that Ctrl-C sets. From the first call on the first Ctrl-C asks every thread to come to
/// an end, the second ends the process at once.
pub(crate) fn flag() -> &'static AtomicBool {
    INSTALLED.call_once(|| {
        let handler = || {
            if INTERRUPTED.swap(true, Ordering::SeqCst) {
                std::process::exit(Exit::Interrupted.code().into());
            }
        };
        if let Err(error) = ctrlc::set_handler(handler) {
            eprintln!("trackproof: Ctrl-C will end the run without a report: {error}");
        }
    });
    &INTERRUPTED
}

/// Whether it was set.
pub(crate) fn is_set() -> bool {
    INTERRUPTED.load(Ordering::SeqCst)
}

/// The time that minimising may take.
pub(crate) struct Patience {
    until: Instant,
}

impl Patience {
    /// For so many findings one after the other.
    pub(crate) fn new(findings: usize) -> Self {
        let rounds = u32::try_from(findings).unwrap_or(u32::MAX);
        Self { until: Instant::now() + MINIMISING.saturating_mul(rounds).min(LONGEST) }
    }

    /// Whether it is over, or Ctrl-C ends it.
    pub(crate) fn is_over(&self) -> bool {
        is_set() || Instant::now() >= self.until
    }
}
