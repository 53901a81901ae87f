//! Progress on standard error: a bar on a terminal, and a line for what is found.

use indicatif::{ProgressBar, ProgressStyle};
use std::time::{Duration, Instant};

/// How often a bar without an end moves.
const TICK: Duration = Duration::from_millis(200);

/// The progress of a run; nothing but lines where standard error is no terminal.
pub(crate) struct Progress {
    bar: ProgressBar,
    started: Instant,
}

impl Progress {
    /// The progress of so many cases; none where only the time ends the run.
    pub(crate) fn new(cases: Option<u64>) -> Self {
        let template = match cases {
            Some(_) => "{wide_bar} {human_pos} of {human_len} cases, {eta} left",
            None => "{spinner} {human_pos} cases in {elapsed}",
        };
        let bar = cases.map_or_else(ProgressBar::new_spinner, ProgressBar::new);
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        bar.enable_steady_tick(TICK);
        Self { bar, started: Instant::now() }
    }

    /// So many cases are done.
    pub(crate) fn cases(&self, done: u64) {
        self.bar.set_position(done.max(self.bar.position()));
    }

    /// The cases are done, what follows has no length.
    pub(crate) fn stage(&self, what: String) {
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}") {
            self.bar.set_style(style);
        }
        self.bar.set_message(what);
    }

    /// A line that stays.
    pub(crate) fn line(&self, text: &str) {
        self.bar.suspend(|| eprintln!("{text}"));
    }

    /// The end, with what the report does not tell because it differs from run to run.
    pub(crate) fn end(&self, cases: u64, campaign: Duration) {
        self.bar.finish_and_clear();
        let rate = cases as f64 / campaign.as_secs_f64().max(1e-9);
        eprintln!(
            "{cases} cases in {:.1} s, {rate:.0} a second; {:.1} s with all minimising",
            campaign.as_secs_f64(),
            self.started.elapsed().as_secs_f64()
        );
    }

    /// The end of what has no cases to count.
    pub(crate) fn clear(&self) {
        self.bar.finish_and_clear();
    }

    /// Since the begin.
    pub(crate) fn elapsed(&self) -> Duration {
        self.started.elapsed()
    }
}
