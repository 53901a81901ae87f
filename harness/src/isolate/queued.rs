//! Time that a process could have run and did not get: on a loaded machine a case that has not come
//! back may only have waited for its turn.

use std::time::Duration;

/// How long a process has been ready to run without running since something last came of it.
#[derive(Debug, Default)]
pub(super) struct Queued {
    /// The state of what came, and the time until then.
    since: Option<(u64, Duration)>,
}

impl Queued {
    /// The time since `came` last had another value, as far as it was asked for; none where the
    /// system does not tell.
    pub(super) fn time(&mut self, process: u32, came: u64) -> Duration {
        let Some(all) = in_queue(process) else { return Duration::ZERO };
        match self.since {
            Some((of, until)) if of == came => all.saturating_sub(until),
            _ => {
                self.since = Some((came, all));
                Duration::ZERO
            }
        }
    }
}

/// How long a process's first thread has waited for a processor since it was started: the second
/// figure, in nanoseconds, of what the kernel's document on scheduler statistics (sched-stats.rst,
/// 'per process schedstats') describes.
#[cfg(target_os = "linux")]
fn in_queue(process: u32) -> Option<Duration> {
    let text = std::fs::read_to_string(format!("/proc/{process}/schedstat")).ok()?;
    text.split_ascii_whitespace().nth(1)?.parse().ok().map(Duration::from_nanos)
}

#[cfg(not(target_os = "linux"))]
fn in_queue(_: u32) -> Option<Duration> {
    None
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::{Queued, in_queue};
    use std::process::Command;
    use std::time::{Duration, Instant};

    #[test]
    fn time_counts_from_the_last_that_came() {
        let own = std::process::id();
        let mut queued = Queued::default();
        assert_eq!(queued.time(own, 1), Duration::ZERO);
        let first = queued.time(own, 1);
        assert!(queued.time(own, 1) >= first);
        assert_eq!(queued.time(own, 2), Duration::ZERO);
    }

    /// More busy processes than processors: one of them waits for its turn.
    #[test]
    fn who_shares_a_processor_is_seen_to_wait() {
        let some = std::thread::available_parallelism().map_or(1, usize::from) + 1;
        let loops = || Command::new("sh").args(["-c", "while :; do :; done"]).spawn().unwrap();
        let mut busy: Vec<_> = std::iter::repeat_with(loops).take(some).collect();
        let since = Instant::now();
        let waited = || busy.iter().any(|one| in_queue(one.id()) > Some(Duration::from_millis(5)));
        while !waited() && since.elapsed() < Duration::from_secs(60) {
            std::thread::sleep(Duration::from_millis(10));
        }
        let seen = waited();
        for one in &mut busy {
            one.kill().unwrap();
            one.wait().unwrap();
        }
        assert!(seen, "{some} busy processes, and none of them ever waited");
    }
}
