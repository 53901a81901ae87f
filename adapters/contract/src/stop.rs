//! How an implementation stopped instead of answering.

use std::fmt;
use std::process::ExitStatus;

/// How an implementation stopped instead of answering. Only trackproof makes one: it sees the end
/// of the process that a case ran in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Stop {
    /// A signal for a broken access or instruction ended its process.
    Crashed {
        /// The signal's name.
        signal: &'static str,
    },
    /// It gave up and ended its process by `abort`.
    Aborted,
    /// It ended its process.
    Exited {
        /// The exit code.
        code: i32,
    },
    /// It had not come back when the time was over that one case may take.
    Endless {
        /// That time, in milliseconds.
        limit_ms: u64,
    },
    /// It panicked.
    Panicked,
    /// Its process was ended by a signal that nothing in it need have caused.
    Killed {
        /// The signal's name.
        signal: &'static str,
    },
    /// Its process answered something that makes no sense.
    Garbled,
}

/// The signals of a broken access or instruction. Their numbers are Linux's and the BSDs'
/// (signal(7); sys/signal.h), a signal beyond them is told without its name.
const CRASHES: [(i32, &str); 6] = [
    (4, "SIGILL"),
    (5, "SIGTRAP"),
    (8, "SIGFPE"),
    (11, "SIGSEGV"),
    (if cfg!(target_os = "linux") { 7 } else { 10 }, "SIGBUS"),
    (if cfg!(target_os = "linux") { 31 } else { 12 }, "SIGSYS"),
];

/// How a signal is told that has no name here.
const UNNAMED: &str = "another signal";

/// The signal that `abort` raises.
const ABORT: i32 = 6;

/// Signals that come from outside.
const KILLS: [(i32, &str); 6] = [
    (1, "SIGHUP"),
    (2, "SIGINT"),
    (9, "SIGKILL"),
    (13, "SIGPIPE"),
    (15, "SIGTERM"),
    (24, "SIGXCPU"),
];

impl Stop {
    /// What the end of the process that a case ran in means.
    ///
    /// ```
    /// use std::os::unix::process::ExitStatusExt;
    /// use std::process::ExitStatus;
    /// use trackproof_contract::Stop;
    /// assert_eq!(Stop::of_status(ExitStatus::from_raw(3 << 8)), Stop::Exited { code: 3 });
    /// assert_eq!(Stop::of_status(ExitStatus::from_raw(6)), Stop::Aborted);
    /// ```
    #[must_use]
    pub fn of_status(status: ExitStatus) -> Self {
        #[cfg(unix)]
        if let Some(number) = std::os::unix::process::ExitStatusExt::signal(&status) {
            let named = |list: [(i32, &'static str); 6]| {
                list.into_iter().find(|(signal, _)| *signal == number).map(|(_, name)| name)
            };
            return match named(CRASHES) {
                Some(signal) => Self::Crashed { signal },
                None if number == ABORT => Self::Aborted,
                None => Self::Killed { signal: named(KILLS).unwrap_or(UNNAMED) },
            };
        }
        Self::Exited { code: status.code().unwrap_or_default() }
    }

    /// Reads what [`kind`](Self::kind) and [`detail`](Self::detail) tell; none where they name
    /// nothing.
    #[must_use]
    pub fn from_parts(kind: &str, detail: &str) -> Option<Self> {
        let signal = |list: &[(i32, &'static str)]| {
            list.iter().map(|(_, name)| *name).chain([UNNAMED]).find(|name| *name == detail)
        };
        Some(match kind {
            "crashed" => Self::Crashed { signal: signal(&CRASHES)? },
            "killed" => Self::Killed { signal: signal(&KILLS)? },
            "exited" => Self::Exited { code: detail.parse().ok()? },
            "endless" => Self::Endless { limit_ms: detail.parse().ok()? },
            "aborted" => Self::Aborted,
            "panicked" => Self::Panicked,
            "garbled" => Self::Garbled,
            _ => return None,
        })
    }

    /// What [`kind`](Self::kind) leaves out, for another process: the signal's name, the exit code,
    /// or the limit in milliseconds; empty where there is nothing more to say.
    #[must_use]
    pub fn detail(self) -> String {
        match self {
            Self::Crashed { signal } | Self::Killed { signal } => signal.into(),
            Self::Exited { code } => code.to_string(),
            Self::Endless { limit_ms } => limit_ms.to_string(),
            Self::Aborted | Self::Panicked | Self::Garbled => String::new(),
        }
    }

    /// What happened, in a word: a finding's kind.
    #[must_use]
    pub const fn kind(self) -> &'static str {
        match self {
            Self::Crashed { .. } => "crashed",
            Self::Aborted => "aborted",
            Self::Exited { .. } => "exited",
            Self::Endless { .. } => "endless",
            Self::Panicked => "panicked",
            Self::Killed { .. } => "killed",
            Self::Garbled => "garbled",
        }
    }
}

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Crashed { signal } => write!(f, "it crashed: {signal} ended its process"),
            Self::Aborted => f.write_str("it aborted: SIGABRT ended its process"),
            Self::Exited { code } => write!(f, "it ended its process with exit code {code}"),
            Self::Endless { limit_ms } => {
                write!(f, "it had not come back after {} s", *limit_ms as f64 / 1_000.0)
            }
            Self::Panicked => f.write_str("it panicked"),
            Self::Killed { signal } => write!(f, "its process was ended from outside by {signal}"),
            Self::Garbled => f.write_str("its process answered what makes no sense"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Stop;

    #[test]
    fn a_stop_says_what_happened_in_a_word_and_in_a_sentence() {
        let endless = Stop::Endless { limit_ms: 2_500 };
        assert_eq!(endless.kind(), "endless");
        assert_eq!(endless.to_string(), "it had not come back after 2.5 s");
        let crashed = Stop::Crashed { signal: "SIGSEGV" };
        assert_eq!(crashed.to_string(), "it crashed: SIGSEGV ended its process");
    }

    #[test]
    fn a_stop_comes_back_from_its_parts() {
        for stop in [
            Stop::Crashed { signal: "SIGBUS" },
            Stop::Killed { signal: "SIGTERM" },
            Stop::Killed { signal: "another signal" },
            Stop::Exited { code: -3 },
            Stop::Endless { limit_ms: 10_000 },
            Stop::Aborted,
            Stop::Panicked,
            Stop::Garbled,
        ] {
            assert_eq!(Stop::from_parts(stop.kind(), &stop.detail()), Some(stop));
        }
        for (kind, detail) in [("crashed", "SIGKILL"), ("exited", "x"), ("asleep", "")] {
            assert_eq!(Stop::from_parts(kind, detail), None, "{kind} {detail}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn the_end_of_a_process_says_how_it_stopped() {
        use std::process::Command;
        for (script, stop) in [
            ("exit 7", Stop::Exited { code: 7 }),
            ("kill -SEGV $$", Stop::Crashed { signal: "SIGSEGV" }),
            ("kill -BUS $$", Stop::Crashed { signal: "SIGBUS" }),
            ("kill -SYS $$", Stop::Crashed { signal: "SIGSYS" }),
            ("kill -ABRT $$", Stop::Aborted),
            ("kill -KILL $$", Stop::Killed { signal: "SIGKILL" }),
            ("kill -XCPU $$", Stop::Killed { signal: "SIGXCPU" }),
            ("kill -USR1 $$", Stop::Killed { signal: "another signal" }),
        ] {
            let status = Command::new("sh").args(["-c", script]).status().expect("a shell");
            assert_eq!(Stop::of_status(status), stop, "{script}");
        }
    }
}
