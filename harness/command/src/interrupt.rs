//! What ends long work early: Ctrl-C and other requests to end, and for minimising a guard of wall time.

use crate::Exit;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, LazyLock};
use std::time::{Duration, Instant};

/// Time for one finding. The bound on executions comes first for all but slow implementations; a
/// case that this guard cut short is marked.
const MINIMISING: Duration = Duration::from_secs(300);

/// Longest time for all, so that no sum of times overflows.
const LONGEST: Duration = Duration::from_secs(7 * 24 * 3_600);

/// Whether a signal came, and which: 0 for none.
struct Signals {
    came: Arc<AtomicBool>,
    number: Arc<AtomicUsize>,
}

static SIGNALS: LazyLock<Signals> = LazyLock::new(|| {
    let signals = Signals { came: Arc::default(), number: Arc::default() };
    for (signal, exit) in ENDS {
        if let Err(error) = signals.listen(signal, exit) {
            eprintln!("trackproof: signal {signal} will end the run without a report: {error}");
        }
    }
    signals
});

/// The signals that ask for an end, with the end that they give.
const ENDS: [(i32, Exit); ENDS_COUNT] = [
    (signal_hook::consts::SIGINT, Exit::Interrupted),
    (signal_hook::consts::SIGTERM, Exit::Terminated),
    #[cfg(unix)]
    (signal_hook::consts::SIGHUP, Exit::HungUp),
];
const ENDS_COUNT: usize = if cfg!(unix) { 3 } else { 2 };

impl Signals {
    /// The first one asks every thread to come to an end, the second ends the process at once.
    fn listen(&self, signal: i32, exit: Exit) -> std::io::Result<()> {
        use signal_hook::flag::{register, register_conditional_shutdown, register_usize};
        // In this order, which is that in which they are asked.
        register_conditional_shutdown(signal, exit.code().into(), Arc::clone(&self.came))?;
        let number = usize::try_from(signal).unwrap_or_default();
        register_usize(signal, Arc::clone(&self.number), number)?;
        register(signal, Arc::clone(&self.came))?;
        Ok(())
    }
}

/// The flag that Ctrl-C and other requests to end set, from the first call on.
pub(crate) fn flag() -> &'static AtomicBool {
    &SIGNALS.came
}

/// Whether it was set.
pub(crate) fn is_set() -> bool {
    flag().load(Ordering::SeqCst)
}

/// The end that the request gives, if one came.
pub(crate) fn exit() -> Option<Exit> {
    let number = SIGNALS.number.load(Ordering::SeqCst);
    let of = ENDS.iter().find(|(signal, _)| usize::try_from(*signal) == Ok(number));
    of.map(|(_, exit)| *exit)
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
