//! Requests on their way: from the moment at which the host makes them to their acceptance, which
//! is as early as the profile allows.

use std::collections::VecDeque;
use trackproof_contract::{Profile, TransferRequest};

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Request {
    Read(TransferRequest),
    Write(TransferRequest),
}

/// Requests with the time of their acceptance, the oldest first.
#[derive(Debug, Default)]
pub(super) struct Requests {
    slack_ns: u64,
    waiting: VecDeque<(u64, Request)>,
}

impl Requests {
    pub(super) fn power_up(&mut self, profile: &Profile) {
        self.slack_ns = u64::from(profile.slack_min) * u64::from(profile.channel_bit_ns);
        self.waiting.clear();
    }

    pub(super) fn push(&mut self, at_ns: u64, request: Request) {
        self.waiting.push_back((at_ns + self.slack_ns, request));
    }

    /// The next one that is accepted by `at_ns`.
    pub(super) fn accepted_by(&mut self, at_ns: u64) -> Option<Request> {
        let due = self.waiting.front().is_some_and(|(due_ns, _)| *due_ns <= at_ns);
        due.then(|| self.waiting.pop_front().map(|(_, request)| request)).flatten()
    }

    /// All are forgotten.
    pub(super) fn clear(&mut self) {
        self.waiting.clear();
    }
}
