//! The search: threads that run shifts and settle findings, and one that keeps the books.

use super::folder::Folder;
use super::hunt::{Shift, Turn};
use super::ledger::{self, Ledger};
use super::record::Record;
use super::{Event, Heard, Listed, Outcome, Plan, Status};
use crate::campaign::{CampaignError, RigFactory};
use crate::triage::Symptom;
use std::cmp::Reverse;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard};
use std::time::{Duration, Instant};
use trackproof_contract::Profile;

/// How often counts are written and the status is told.
const TICK: Duration = Duration::from_secs(1);

/// Part of the time after which findings are first settled: by then there are short cases of what
/// is frequent.
const FIRST_SETTLED: u32 = 8;

/// Longest time until then.
const LATEST_SETTLED: Duration = Duration::from_secs(30);

/// Time for what is not yet settled when the search is over: a part of the search's, within these.
const LAST_PART: u32 = 4;
const LAST_AT_LEAST: Duration = Duration::from_secs(60);
const LAST_AT_MOST: Duration = Duration::from_secs(1_800);

/// A run under way.
pub(super) struct Run<'a> {
    pub(super) plan: &'a Plan,
    pub(super) factory: &'a RigFactory<'a>,
    pub(super) folder: &'a Folder,
    pub(super) record: Record,
    pub(super) ledger: Mutex<Ledger>,
    pub(super) begun: Instant,
    /// How long earlier starts have searched, and what they have run.
    pub(super) before: Duration,
    pub(super) cases_before: u64,
    pub(super) cases: AtomicU64,
    /// The next shift that nobody has taken.
    pub(super) next: AtomicU64,
    /// Whether some thread settles findings.
    pub(super) pursuing: AtomicBool,
    pub(super) error: Mutex<Option<CampaignError>>,
    pub(super) heard: Heard<'a>,
    /// Values that are worth a try anywhere in a stream.
    pub(super) words: Vec<[u8; 2]>,
}

impl<'a> Run<'a> {
    /// A run that has not begun.
    pub(super) fn new(
        plan: &'a Plan,
        factory: &'a RigFactory<'a>,
        folder: &'a Folder,
        record: Record,
        heard: Heard<'a>,
    ) -> Self {
        Self {
            plan,
            factory,
            folder,
            record,
            ledger: Mutex::new(Ledger::new()),
            begun: Instant::now(),
            before: Duration::ZERO,
            cases_before: 0,
            cases: AtomicU64::new(0),
            next: AtomicU64::new(0),
            pursuing: AtomicBool::new(false),
            error: Mutex::default(),
            heard,
            words: sync_words(&plan.profile),
        }
    }

    pub(super) fn ledger(&self) -> MutexGuard<'_, Ledger> {
        self.ledger.lock().unwrap_or_else(|poison| poison.into_inner())
    }

    pub(super) fn error(&self) -> MutexGuard<'_, Option<CampaignError>> {
        self.error.lock().unwrap_or_else(|poison| poison.into_inner())
    }

    /// How long was searched, all starts together.
    pub(super) fn spent(&self) -> Duration {
        (self.before + self.begun.elapsed()).min(self.plan.lasts)
    }

    /// Whether the search is over.
    pub(super) fn over(&self) -> bool {
        self.heard.interrupted.load(Ordering::Relaxed)
            || self.spent() >= self.plan.lasts
            || self.error().is_some()
    }

    /// Whether nothing is left to search, when all shifts before this one are done.
    fn is_complete(&self, next_shift: u64) -> bool {
        match self.plan.cases {
            Some(_) => Turn::of(next_shift, self.plan) == Turn::End,
            None => self.spent() >= self.plan.lasts,
        }
    }

    pub(super) fn count_case(&self) {
        self.cases.fetch_add(1, Ordering::Relaxed);
    }

    /// Tells what happens, and logs it.
    pub(super) fn tell(&self, event: &Event) {
        if let Some(line) = event.line() {
            self.folder.log(self.before + self.begun.elapsed(), &line);
        }
        (self.heard.hear)(event);
    }

    /// Searches on all threads; this one keeps the books.
    pub(super) fn search(&self) {
        let working = AtomicU64::new(self.plan.jobs.max(1) as u64);
        std::thread::scope(|scope| {
            for _ in 0..self.plan.jobs.max(1) {
                scope.spawn(|| {
                    if let Err(error) = self.work() {
                        self.error().get_or_insert(error);
                    }
                    working.fetch_sub(1, Ordering::Release);
                });
            }
            let mut ticked = Instant::now();
            while working.load(Ordering::Acquire) > 0 {
                std::thread::sleep(TICK / 20);
                if ticked.elapsed() >= TICK {
                    ticked = Instant::now();
                    self.save();
                    self.tell(&Event::Status(self.status()));
                }
            }
        });
    }

    /// One thread's work until the search is over.
    pub(super) fn work(&self) -> Result<(), CampaignError> {
        let first_settled = (self.plan.lasts / FIRST_SETTLED).min(LATEST_SETTLED);
        let alone = self.plan.jobs <= 1;
        let mut pursued = false;
        while !self.over() {
            // A single thread takes turns.
            let free = self.spent() >= first_settled && !(alone && pursued);
            if free && !self.pursuing.swap(true, Ordering::AcqRel) {
                let settled = self.pursue(1, &|| self.cut_short());
                self.pursuing.store(false, Ordering::Release);
                pursued = settled?;
                if pursued {
                    continue;
                }
            }
            pursued = false;
            let number = self.next.fetch_add(1, Ordering::Relaxed);
            let mut ledger = self.ledger();
            match Turn::of(number, self.plan) {
                Turn::Run => {}
                Turn::Pass => {
                    ledger.shift_done(number);
                    continue;
                }
                Turn::End => break,
            }
            let done = ledger.done_ahead.contains(&number);
            let from = ledger.cut.get(&number).copied().unwrap_or(0);
            drop(ledger);
            if !done {
                Shift::run(self, number, from)?;
            }
        }
        Ok(())
    }

    /// How long findings are settled behind the search.
    pub(super) fn last_part(&self) -> Duration {
        (self.plan.lasts / LAST_PART).clamp(LAST_AT_LEAST, LAST_AT_MOST)
    }

    /// Whether what is being made small is to stay as it is.
    pub(super) fn cut_short(&self) -> bool {
        self.heard.interrupted.load(Ordering::Relaxed)
            || self.before + self.begun.elapsed() >= self.plan.lasts + self.last_part()
    }

    /// Settles what the search has left, as long as there is time.
    pub(super) fn settle_the_rest(&self) {
        // A run that was over before it was started again has this time anew.
        let searched = self.plan.lasts.saturating_sub(self.before);
        let most = searched + self.last_part();
        let over =
            || self.heard.interrupted.load(Ordering::Relaxed) || self.begun.elapsed() >= most;
        while !over() {
            match self.pursue(self.plan.jobs, &over) {
                Ok(true) => self.tell(&Event::Status(self.status())),
                Ok(false) => return,
                Err(error) => {
                    self.error().get_or_insert(error);
                    return;
                }
            }
        }
    }

    /// Writes the counts.
    pub(super) fn save(&self) {
        let ledger = self.ledger();
        let mut record = self.record.with(&ledger.summary, &ledger.sample, self.spent());
        record.next_shift = ledger.next_shift;
        record.done_ahead = ledger.done_ahead.iter().copied().collect();
        record.cut = ledger.cut.iter().map(|(number, done)| (*number, *done)).collect();
        record.seen = ledger.corpus.seen().digits();
        record.complete = self.is_complete(ledger.next_shift);
        let once = ledger.once.keys().copied();
        record.note_findings(&self.listed(&ledger), once, &ledger.settled_as);
        drop(ledger);
        self.folder.save(&record);
    }

    pub(super) fn status(&self) -> Status {
        let cases = self.cases.load(Ordering::Relaxed);
        let ledger = self.ledger();
        Status {
            cases: self.cases_before + cases,
            rate: cases as f64 / self.begun.elapsed().as_secs_f64().max(1e-3),
            features: ledger.corpus.features(),
            corpus: ledger.corpus.len(),
            settled: ledger.settled.len(),
            open: ledger.pending.len() + ledger.later.len() + ledger.at_work.len(),
            left: self.plan.lasts.saturating_sub(self.spent()),
        }
    }

    /// The settled findings.
    fn listed(&self, ledger: &Ledger) -> Vec<Listed> {
        let listed = ledger.settled.values().map(|settled| Listed {
            finding: settled.finding.clone(),
            symptom: Symptom::of(&settled.finding),
            cases: ledger.cases_of(settled),
        });
        listed.collect()
    }

    /// How things stand, in full.
    pub(super) fn outcome(&self) -> Outcome {
        let ledger = self.ledger();
        let mut settled = self.listed(&ledger);
        settled.sort_by_key(|listed| (Reverse(listed.cases), listed.finding.name()));
        let open = ledger.pending.values().chain(ledger.later.values());
        Outcome {
            summary: ledger.summary.clone(),
            settled,
            aside: open.cloned().collect(),
            once: ledger.once.values().cloned().collect(),
            estimates: ledger::estimates(&ledger.sample),
            corpus: ledger.corpus.len(),
            features: ledger.corpus.features(),
            spent: self.spent(),
            complete: self.is_complete(ledger.next_shift),
        }
    }
}

/// The sync words of a profile as bytes of a stream.
fn sync_words(profile: &Profile) -> Vec<[u8; 2]> {
    let word = profile.default_sync_word() as u16;
    vec![word.to_be_bytes(), word.rotate_left(1).to_be_bytes(), [0; 2], [0xff; 2]]
}
