//! A campaign's cases run by a worker, which is given their numbers alone.

use super::process::{Waited, Worker};
use super::protocol::{Counts, Order, Record, stop_of};
use crate::campaign::{CampaignError, Drawn, Finding, Judged, Part, Runner, Summary};
use crate::generate::{Draw, Generator};
use crate::rules::Rule;
use std::collections::BTreeSet;
use std::ops::Range;
use std::sync::Mutex;
use trackproof_contract::{Capabilities, Profile, RigError, Stop};

/// Most kinds that workers may name, far more than there are, and the longest.
const MAX_KINDS: usize = 4_096;
const MAX_KIND_BYTES: usize = 64;

/// The runner.
pub(super) struct WorkerRunner<'a> {
    worker: Worker,
    generator: Generator,
    seed: u64,
    over: &'a (dyn Fn() -> bool + Sync),
}

impl<'a> WorkerRunner<'a> {
    pub(super) fn new(
        mut worker: Worker,
        profile: Profile,
        seed: u64,
        over: &'a (dyn Fn() -> bool + Sync),
    ) -> Self {
        worker.order(&Order::Campaign { profile: profile.clone(), seed });
        let generator = Generator::limited_to(profile, worker.hello.capabilities);
        Self { worker, generator, seed, over }
    }
}

impl Runner for WorkerRunner<'_> {
    fn capabilities(&self) -> Capabilities {
        self.worker.hello.capabilities
    }

    fn lent(&self) -> Capabilities {
        self.worker.hello.lent
    }

    fn run(
        &mut self,
        cases: Range<u64>,
        found: &mut dyn FnMut(Finding),
    ) -> Result<Part, CampaignError> {
        let (first, end) = (cases.start, cases.end);
        self.worker.order(&Order::Cases { first, end });
        loop {
            let stop = match self.worker.wait(self.over) {
                Waited::Record(Record::Found { index, rule, kind })
                    if cases.contains(&index) && name(&rule, &kind).is_some() =>
                {
                    if let Some((rule, kind)) = name(&rule, &kind) {
                        let case = self.generator.case(self.seed, index);
                        found(Finding::told(index, case, rule, kind));
                    }
                    continue;
                }
                Waited::Record(Record::Done(counts)) => {
                    match counts.summary(self.worker.hello.capabilities) {
                        Some(summary) => return Ok(Part::Done(Box::new(summary))),
                        None => Stop::Garbled,
                    }
                }
                other => match end_of(other)? {
                    Some(stop) => stop,
                    None => return Ok(Part::Abandoned),
                },
            };
            // Marks count cases that were run, not those that were skipped; so count those again.
            return Ok(Part::Stopped { index: self.at(first, end), stop });
        }
    }

    fn run_drawn(
        &mut self,
        draws: &[Draw],
        each: &mut dyn FnMut(Judged),
    ) -> Result<Drawn, CampaignError> {
        self.worker.order(&Order::Drawn(draws.to_vec()));
        for (index, draw) in (0..).zip(draws) {
            let stop = match self.worker.wait(self.over) {
                Waited::Record(Record::Judged { name, counts }) => {
                    match self.judged(index, draw, name, *counts) {
                        Some(judged) => {
                            each(judged);
                            continue;
                        }
                        None => Stop::Garbled,
                    }
                }
                other => match end_of(other)? {
                    Some(stop) => stop,
                    None => return Ok(Drawn::Abandoned),
                },
            };
            return Ok(Drawn::Stopped(stop));
        }
        Ok(Drawn::All)
    }
}

/// What ends cases in a row, beside their own records: a stop, or none where nobody waits any more.
fn end_of(waited: Waited) -> Result<Option<Stop>, CampaignError> {
    Ok(Some(match waited {
        Waited::Record(Record::Untrusted { index, why }) => {
            return Err(CampaignError::Run { index, error: RigError::Worker { why } });
        }
        Waited::Record(Record::Fault { why }) => return Err(CampaignError::Fault(why)),
        Waited::Record(Record::Stopped { kind, detail }) => stop_of(&kind, &detail),
        Waited::Record(_) => Stop::Garbled,
        Waited::Stopped(stop) => stop,
        Waited::Abandoned => return Ok(None),
    }))
}

impl WorkerRunner<'_> {
    /// A drawn case as a worker told of it; none where that means nothing.
    fn judged(
        &mut self,
        index: u64,
        draw: &Draw,
        told: Option<(String, String)>,
        counts: Counts,
    ) -> Option<Judged> {
        let summary: Box<Summary> = Box::new(counts.summary(self.worker.hello.capabilities)?);
        let finding = match told {
            Some((rule, kind)) => {
                let (rule, kind) = name(&rule, &kind)?;
                let mut case = self.generator.case(self.seed, 0);
                self.generator.make(self.seed, draw, &mut case);
                Some(Finding::told(index, case, rule, kind))
            }
            None => None,
        };
        Some(Judged { summary, finding })
    }

    /// The case that the worker was at.
    fn at(&mut self, first: u64, end: u64) -> u64 {
        let (can, lent) = (self.worker.hello.capabilities, self.worker.hello.lent);
        let mut left = self.worker.begun();
        let mut at = first;
        for index in first..end {
            if left == 0 {
                break;
            }
            let case = self.generator.case(self.seed, index);
            if can.missing(case.needs()).is_empty() && !case.asks_only(lent) {
                left -= 1;
                at = index;
            }
        }
        at
    }
}

/// Rule and kind as this process knows them; none where it cannot.
pub(crate) fn name(rule: &str, kind: &str) -> Option<(&'static Rule, &'static str)> {
    static KINDS: Mutex<BTreeSet<&'static str>> = Mutex::new(BTreeSet::new());
    let rule = Rule::find(rule)?;
    let mut kinds = KINDS.lock().unwrap_or_else(|poison| poison.into_inner());
    if let Some(known) = kinds.get(kind) {
        return Some((rule, known));
    }
    let word = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    if kinds.len() >= MAX_KINDS || kind.len() > MAX_KIND_BYTES || !kind.bytes().all(word) {
        return None;
    }
    let kept: &'static str = kind.to_owned().leak();
    kinds.insert(kept);
    Some((rule, kept))
}
