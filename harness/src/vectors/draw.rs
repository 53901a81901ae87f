//! Drawing: cases of the one generator that are short and allow little, and what each tells.

use super::near_miss;
use super::outcome::{self, Outcome};
use super::signals::{self, Asker};
use super::{MAX_OUTCOMES, Plan, Vector};
use crate::features;
use crate::generate::Generator;
use crate::judge::{Hypothesis, Judge};
use crate::verdict::Verdict;
use std::collections::BTreeSet;
use trackproof_contract::{
    Action, Capabilities, Capability, Case, Event, Medium, Operation, WriteSource, timeline,
};
use trackproof_model::reader::acceptor::Acceptor;

/// Most events of a vector: a person must be able to follow it.
const MAX_EVENTS: usize = 128;

/// Most stored bits of its tracks, all together.
const MAX_STORED_BITS: usize = 4_096;

/// Most recorded tracks: `check.c` has room for as many.
const MAX_TRACKS: usize = 64;

/// Cases that a thread takes at a time.
const BATCH: u64 = 20;

/// A fault that a vector tells from what is right.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Goal {
    /// What a departure from the text would show is refused.
    Hypothesis(usize),
    /// A near miss breaks a rule in this way.
    NearMiss(&'static str, &'static str),
    /// A near miss breaks a rule, in a case that reaches a point.
    NearMissAt(&'static str, usize),
    /// A feature of the model's reach.
    Feature(usize),
}

/// A case that may become a vector.
pub(super) struct Candidate {
    pub(super) vector: Vector,
    pub(super) events: usize,
    /// What it tells, each goal with the rule that it is about; features have none.
    pub(super) goals: Vec<(Goal, Option<&'static str>)>,
}

/// Candidates of a plan, in the order in which their cases come.
pub(super) fn draw(plan: &Plan) -> Vec<Candidate> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let next = std::sync::atomic::AtomicU64::new(0);
    let mut found: Vec<(u64, Candidate)> = std::thread::scope(|scope| {
        let work = || {
            let mut drawer = Drawer::new(plan);
            let mut mine = Vec::new();
            loop {
                let first = next.fetch_add(BATCH, std::sync::atomic::Ordering::Relaxed);
                if first >= plan.cases {
                    return mine;
                }
                for index in first..(first + BATCH).min(plan.cases) {
                    mine.extend(drawer.candidate(index).map(|one| (index, one)));
                }
            }
        };
        let threads: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let join = |thread: std::thread::ScopedJoinHandle<'_, _>| {
            thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
        };
        threads.into_iter().flat_map(join).collect()
    });
    // Which thread took which case makes no difference.
    found.sort_by_key(|(index, _)| *index);
    found.into_iter().map(|(_, candidate)| candidate).collect()
}

struct Drawer<'a> {
    plan: &'a Plan,
    generator: Generator,
    judge: Judge,
    acceptor: Acceptor,
    hypotheses: Vec<Hypothesis>,
    events: Vec<Event>,
}

impl<'a> Drawer<'a> {
    fn new(plan: &'a Plan) -> Self {
        Self {
            plan,
            generator: Generator::new(plan.profile.clone()),
            judge: Judge::new(),
            acceptor: Acceptor::new(),
            hypotheses: Hypothesis::of_implementation(&plan.profile),
            events: Vec::new(),
        }
    }

    fn candidate(&mut self, index: u64) -> Option<Candidate> {
        let case = self.generator.case(self.plan.seed, index);
        timeline(&case, &mut self.events);
        if !is_short(&case, &self.events) {
            return None;
        }
        let outcomes = self.outcomes(&case)?;
        let vector = Vector { rule: "", case, outcomes };
        let goals = self.goals(&vector)?;
        Some(Candidate { vector, events: self.events.len(), goals })
    }

    /// Every outcome, each held against the judge.
    fn outcomes(&mut self, case: &Case) -> Option<Vec<Outcome>> {
        let all = Capabilities::all();
        let quiet = [Capability::DoneSignal, Capability::RefusedSignal, Capability::MatchSignal]
            .into_iter()
            .fold(all, Capabilities::without);
        let prefixes = outcome::answers(&mut self.acceptor, case, &self.events, quiet)?;
        let mut outcomes = Vec::new();
        for prefix in prefixes {
            let (events, seen) = (&self.events, &prefix.seen);
            let ways = self.acceptor.ask_media(case, events, seen, quiet).ok()?;
            let dues = self.acceptor.ask_signals(case, events, seen, quiet).ok()?;
            let mut asker = Asker { acceptor: &mut self.acceptor, case, events, capabilities: all };
            for media in ways {
                outcomes.append(&mut signals::outcomes(&mut asker, &prefix, &media, &dues)?);
            }
            if outcomes.len() > MAX_OUTCOMES {
                return None;
            }
        }
        let judge = &mut self.judge;
        let conforms = outcomes.iter().all(|one| {
            let seen = one.observation(case, |_, window| window.to_ns);
            seen.check_form(&self.events).is_ok()
                && matches!(judge.judge(case, &seen, all), Verdict::Conforms)
        });
        (conforms && !outcomes.is_empty()).then_some(outcomes)
    }

    /// What the vector tells; nothing where the judge allows what the list does not.
    fn goals(&mut self, vector: &Vector) -> Option<Vec<(Goal, Option<&'static str>)>> {
        let told = near_miss::try_all(&mut self.judge, vector, &self.events);
        if !told.all_refused {
            return None;
        }
        let mut goals: BTreeSet<(Goal, Option<&'static str>)> = told
            .names
            .iter()
            .map(|(rule, kind)| (Goal::NearMiss(rule, kind), Some(*rule)))
            .collect();
        for number in 0..self.hypotheses.len() {
            if self.refutes(vector, number) {
                let rule = self.hypotheses[number].rule().id;
                goals.insert((Goal::Hypothesis(number), Some(rule)));
            }
        }
        let mut of_case = Vec::new();
        for outcome in &vector.outcomes {
            let seen = outcome.observation(&vector.case, |_, one| one.from_ns);
            let all = Capabilities::all();
            let reach = self.acceptor.ask_reach(&vector.case, &self.events, &seen, all).ok()?;
            features::of(reach.numbers(), &mut of_case);
            goals.extend(of_case.iter().map(|one| (Goal::Feature(*one), None)));
            for point in reach.numbers() {
                let at = told.names.iter().map(|(rule, _)| *rule);
                goals.extend(at.map(|rule| (Goal::NearMissAt(rule, point), Some(rule))));
            }
        }
        Some(goals.into_iter().collect())
    }

    /// Whether nothing that is right would be allowed if the hypothesis held: a controller that
    /// departs so is always found out.
    fn refutes(&mut self, vector: &Vector, number: usize) -> bool {
        let hypothesis = &self.hypotheses[number];
        let mut events = Vec::new();
        vector.outcomes.iter().all(|outcome| {
            // Without signals both are the same.
            let ends = 1 + usize::from(!outcome.signals.is_empty());
            [true, false].into_iter().take(ends).all(|early| {
                let moment = |one: &outcome::Window| if early { one.from_ns } else { one.to_ns };
                let seen = outcome.observation(&vector.case, |_, one| moment(one));
                let Some((case, seen)) = hypothesis.of_all(&vector.case, &seen) else {
                    return false;
                };
                timeline(&case, &mut events);
                self.acceptor.suppose(hypothesis.supposition());
                let allowed = Asker {
                    acceptor: &mut self.acceptor,
                    case: &case,
                    events: &events,
                    capabilities: Capabilities::all(),
                }
                .accepts(&seen);
                self.acceptor.suppose(Default::default());
                !allowed
            })
        })
    }
}

/// Whether a case is one that a list of observations suits: short, of short tracks, and with words
/// to write that do not depend on what was read.
fn is_short(case: &Case, events: &[Event]) -> bool {
    let copies = |operation: &Operation| {
        matches!(operation, Operation::Write { source: WriteSource::Copy { .. }, .. })
    };
    let stored: usize = case.tracks.iter().map(|track| track.medium.track().len()).sum();
    let known =
        |medium: &Medium| matches!(medium, Medium::ChannelBits { .. } | Medium::Image { .. });
    let answered = events.iter().any(|event| {
        matches!(event.action, Action::Service { .. } | Action::PollByte | Action::PollStatus)
    });
    events.len() <= MAX_EVENTS
        && stored <= MAX_STORED_BITS
        && case.tracks.len() <= MAX_TRACKS
        && answered
        && !case.program.iter().any(copies)
        && case.tracks.iter().all(|track| known(&track.medium))
}
