//! Examining one case: run it, judge it, and name a deviation by what explains it.

mod telling;
mod trial;

pub(crate) use telling::{image_stream, telling};
pub use trial::Trial;

use crate::campaign::Finding;
use crate::cause::{Cause, Hypothesis, other_indexes};
use crate::judge::{Judge, Place, exchanged};
use crate::relation::Relation;
use crate::rules::Rule;
use crate::verdict::{Deviation, Verdict};
use trackproof_contract::{
    Action, Capabilities, Case, Event, Item, MatchFlag, Observation, Operation, Rig, RigError,
};

use trackproof_model::reader::rejection::Mismatch;
use trackproof_model::reader::supposition::Supposition;

/// Turns by which a program is begun later, to see whether it matters; all must agree.
const SHIFTS: [u32; 3] = [1, 2, 64];

/// Exchanges of two words that are tried one after the other.
const MOST_EXCHANGES: usize = 16;

/// Channel bits by which a program is begun later at the most, but for three turns.
const LONGEST_SHIFT_BITS: u32 = 100_000;

/// A rig with everything that judging it takes. Its memory is reused from case to case.
pub struct Examiner {
    rig: Box<dyn Rig>,
    capabilities: Capabilities,
    lent: Capabilities,
    judge: Judge,
    observation: Observation,
    /// For a case beside the one that is examined.
    other_judge: Judge,
    other_observation: Observation,
    /// What the implementation may be doing, once that has been tried.
    trial: Option<Trial>,
}

/// A deviating case run on for a while.
struct Longer {
    case: Case,
    observation: Observation,
    deviation: Box<Deviation>,
    event: Event,
}

impl Longer {
    /// Whether words of the transfer that a deviation concerns come after all.
    fn words_come(&self, deviation: &Deviation) -> bool {
        deviation.may_be_late()
            && self.observation.items.iter().any(|seen| {
                seen.at_ns >= deviation.rejection.at_ns
                    && matches!(seen.item, Item::Word { transfer, .. }
                        if Some(transfer) == deviation.transfer)
            })
    }
}

/// What examining a case gave.
#[derive(Debug, Clone)]
pub struct Examined {
    /// The verdict.
    pub verdict: Verdict,
    /// What the name of a deviation rests on.
    pub cause: Cause,
}

impl Examined {
    /// An examined case whose name rests on nothing but what shows.
    pub(crate) const fn plain(verdict: Verdict) -> Self {
        Self { verdict, cause: Cause::Place { idle: Place::NONE } }
    }
}

impl Examiner {
    /// An examiner of `rig`.
    #[must_use]
    pub fn new(rig: Box<dyn Rig>) -> Self {
        Self {
            capabilities: rig.capabilities(),
            lent: rig.lent(),
            rig,
            judge: Judge::new(),
            observation: Observation::new(),
            other_judge: Judge::new(),
            other_observation: Observation::new(),
            trial: None,
        }
    }

    /// An examiner of another rig of an implementation that has been tried.
    #[must_use]
    pub fn tried(rig: Box<dyn Rig>, trial: Trial) -> Self {
        Self { trial: Some(trial), ..Self::new(rig) }
    }

    /// What the rig can do.
    #[must_use]
    pub const fn capabilities(&self) -> Capabilities {
        self.capabilities
    }

    /// What of that is lent to the implementation and not its own.
    #[must_use]
    pub const fn lent(&self) -> Capabilities {
        self.lent
    }

    /// The judge, as the last case left it.
    #[must_use]
    pub const fn judge(&self) -> &Judge {
        &self.judge
    }

    /// What came back last.
    #[must_use]
    pub const fn observation(&self) -> &Observation {
        &self.observation
    }

    /// Runs and judges a case; a deviation is named by its place alone, which is quick.
    ///
    /// # Errors
    /// When the run cannot be trusted.
    pub fn glance(&mut self, case: &Case) -> Result<Examined, RigError> {
        if let Some(missing) = self.capabilities.missing(case.needs()).iter().next() {
            self.observation.clear();
            return Ok(Examined::plain(Verdict::Skipped(missing)));
        }
        if case.asks_only(self.lent) {
            self.observation.clear();
            return Ok(Examined::plain(Verdict::Beside));
        }
        match self.rig.run(case, &mut self.observation) {
            Ok(()) => {}
            Err(RigError::Stopped(stop)) => {
                self.observation.clear();
                return Ok(Examined::plain(Verdict::Stops(stop)));
            }
            Err(error) => return Err(error),
        }
        Ok(Examined::plain(self.judge.judge(case, &self.observation, self.capabilities)))
    }

    /// Runs and judges a case; a deviation is named by what explains it, else by its place.
    ///
    /// # Errors
    /// When the run cannot be trusted.
    pub fn examine(&mut self, case: &Case) -> Result<Examined, RigError> {
        let examined = self.glance(case)?;
        let Verdict::Deviates(mut deviation) = examined.verdict else { return Ok(examined) };
        let cause = self.cause(case, &mut deviation)?;
        Ok(Examined { verdict: Verdict::Deviates(deviation), cause })
    }

    /// Runs and judges a case and says whether it shows what a finding shows. Only that finding's
    /// cause is tried.
    ///
    /// # Errors
    /// When the run cannot be trusted.
    pub fn shows(&mut self, case: &Case, finding: &Finding) -> Result<Shown, RigError> {
        let mut deviation = match self.glance(case)?.verdict {
            Verdict::Deviates(deviation) => deviation,
            // It has one name, whatever the case.
            Verdict::Misreads(found) if (found.rule.id, found.kind) == finding.name() => {
                return Ok(Shown::Same);
            }
            Verdict::Conforms => return Ok(Shown::Nothing),
            _ => return Ok(Shown::Other),
        };
        let named = match &finding.cause {
            Cause::Relation(relation) => self.goes_away(case, &deviation, *relation)?,
            Cause::Hypothesis(hypothesis) => {
                hypothesis.concerns(&deviation)
                    && self
                        .run_longer(case, &deviation)?
                        .is_some_and(|longer| self.would_explain(&longer, hypothesis))
            }
            Cause::Index => self.needs_index(case, &deviation)?,
            Cause::Place { idle } => {
                if deviation.may_be_late() {
                    let longer = self.run_longer(case, &deviation)?;
                    if longer.is_some_and(|longer| longer.words_come(&deviation)) {
                        deviation.place = deviation.place.and(Place::LATE);
                    }
                }
                deviation.rename(deviation.place.without(*idle));
                deviation.rule.id == finding.rule.id
            }
        };
        if !named {
            return Ok(Shown::Other);
        }
        name_by(&mut deviation, &finding.cause);
        let same = deviation.rule.id == finding.rule.id && deviation.kind == finding.kind;
        if !same {
            return Ok(Shown::Other);
        }
        let tells = finding.cause.explains() || self.tells_the_same(case, &deviation)?;
        Ok(if tells { Shown::Same } else { Shown::Other })
    }

    /// Whether a deviation of the media goes by the same name where they tell it.
    pub(crate) fn tells_the_same(
        &mut self,
        case: &Case,
        deviation: &Deviation,
    ) -> Result<bool, RigError> {
        let told = self.written_tells(case, deviation)?;
        Ok(told.is_none_or(|(_, examined)| {
            matches!(examined.verdict, Verdict::Deviates(told)
                if told.rule.id == deviation.rule.id && told.kind == deviation.kind)
        }))
    }

    /// The same case made telling, for a deviation of the media or of an image's stream, and what
    /// that shows: there a name by content can be relied on.
    pub(crate) fn written_tells(
        &mut self,
        case: &Case,
        deviation: &Deviation,
    ) -> Result<Option<(Case, Examined)>, RigError> {
        let id = deviation.rule.id;
        let of_code = ["clock.", "mark.", "run."].iter().any(|of| id.starts_with(of));
        let told = match deviation.rejection.mismatch {
            // Where a write comes round, that may be what is wrong; clock bits depend on the words
            // that are given.
            Mismatch::Media(_) if id != "write.wrap" && !of_code => telling(case),
            Mismatch::WordValue
                if deviation.by_content && (of_code || id.starts_with("layout.")) =>
            {
                case.tracks.iter().find_map(|track| image_stream(case, track))
            }
            _ => None,
        };
        let Some(case) = told.filter(|told| told != case && told.validate().is_ok()) else {
            return Ok(None);
        };
        let examined = self.glance(&case)?;
        Ok(Some((case, examined)))
    }

    /// Finds what explains a deviation, and names it by that.
    fn cause(&mut self, case: &Case, deviation: &mut Deviation) -> Result<Cause, RigError> {
        let mut hypotheses = self.trial(&case.profile)?.plausible.to_vec();
        hypotheses.retain(|hypothesis| hypothesis.concerns(deviation));
        let of_transfer = Hypothesis::of_transfer(&case.profile);
        let concerns = |one: &Hypothesis| one.concerns(deviation);
        let longer = if hypotheses.is_empty() && !of_transfer.iter().any(concerns) {
            None
        } else {
            self.run_longer(case, deviation)?
        };
        if let Some(one) = self.explanation(longer.as_ref(), hypotheses) {
            return Ok(named_by(deviation, Cause::Hypothesis(one)));
        }
        // Status reads are not harmless to a match flag that they clear.
        let polls = case.profile.flag != MatchFlag::LatchedClearOnRead
            || !deviation.rejection.mismatch.is_match_flag();
        for relation in [Relation::Output, Relation::Poll] {
            if relation == Relation::Poll && !polls {
                continue;
            }
            if self.goes_away(case, deviation, relation)? {
                return Ok(named_by(deviation, Cause::Relation(relation)));
            }
        }
        if longer.as_ref().is_some_and(|longer| longer.words_come(deviation)) {
            deviation.place = deviation.place.and(Place::LATE);
        }
        let mut hypotheses = of_transfer;
        hypotheses.retain(|hypothesis| hypothesis.concerns(deviation));
        if let Some(one) = self.explanation(longer.as_ref(), hypotheses) {
            return Ok(named_by(deviation, Cause::Hypothesis(one)));
        }
        let mut idle = Place::NONE;
        if deviation.by_content {
            return Ok(Cause::Place { idle });
        }
        if deviation.place.has(Place::WRAP) && deviation.may_need_index() {
            let upto = &case.program[..self.operations_before(deviation)];
            let writes = upto.iter().any(|one| matches!(one, Operation::Write { .. }));
            if !self.needs_index(case, deviation)? {
                idle = idle.and(Place::WRAP);
            } else if !writes {
                return Ok(named_by(deviation, Cause::Index));
            }
            // Else what was written at the index has moved along with it, and that may be why.
        }
        deviation.rename(deviation.place.without(idle));
        if deviation.nowhere_special {
            let turn = case.bench.drives.first().map_or(1, |drive| drive.turn_bits);
            for relation in [
                Relation::Drives,
                Relation::Rotation { bits: turn / 2 },
                Relation::Shift { turns: 1 },
            ] {
                if self.goes_away(case, deviation, relation)? {
                    return Ok(named_by(deviation, Cause::Relation(relation)));
                }
            }
        }
        Ok(Cause::Place { idle })
    }

    /// Whether a deviation goes away when something that should not matter is changed.
    fn goes_away(
        &mut self,
        case: &Case,
        deviation: &Deviation,
        relation: Relation,
    ) -> Result<bool, RigError> {
        let upto = self.operations_before(deviation);
        let turn = case.bench.drives.first().map_or(1, |drive| drive.turn_bits);
        let ways: Vec<Relation> = match relation {
            Relation::Output | Relation::Poll | Relation::Drives => vec![relation],
            Relation::Rotation { .. } => [turn / 2, turn / 3, 1]
                .into_iter()
                .filter(|bits| bits % turn != 0)
                .map(|bits| Relation::Rotation { bits })
                .collect(),
            Relation::Shift { .. } => {
                // Not so far on long tracks that a run takes its time.
                let most = (LONGEST_SHIFT_BITS / turn).max(3);
                SHIFTS.into_iter().map(|turns| Relation::Shift { turns: turns.min(most) }).collect()
            }
        };
        let mut tried = false;
        for way in ways {
            let Some(related) = way.apply(case, upto) else { return Ok(false) };
            if !self.conforms(&related)? {
                return Ok(false);
            }
            tried = true;
        }
        Ok(tried)
    }

    /// Whether a deviation goes away when the index is elsewhere.
    fn needs_index(&mut self, case: &Case, deviation: &Deviation) -> Result<bool, RigError> {
        for related in other_indexes(case, deviation) {
            if self.conforms(&related)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Runs a deviating case on from where it deviates, with nothing more that the host does, so
    /// that an explanation has to hold for what comes next as well; none when it does not deviate
    /// then.
    fn run_longer(
        &mut self,
        case: &Case,
        deviation: &Deviation,
    ) -> Result<Option<Longer>, RigError> {
        // What the host does at the very moment need not be part of it.
        let own = self.judge.events()[deviation.rejection.event];
        let begun = |before: bool| {
            self.judge.events()[..=deviation.rejection.event]
                .iter()
                .filter(|event| !before || event.at_ns < deviation.rejection.at_ns)
                .map(|event| event.operation as usize + 1)
                .max()
                .unwrap_or(0)
        };
        let poll = matches!(own.action, Action::PollStatus | Action::PollByte);
        for operations in
            if poll { [begun(false), begun(false)] } else { [begun(true), begun(false)] }
        {
            if let Some(longer) = self.run_on(case, operations, deviation.rejection.at_ns)? {
                return Ok(Some(longer));
            }
        }
        Ok(None)
    }

    /// Runs the first operations of a case and then lets time pass, for a while after `at_ns`.
    fn run_on(
        &mut self,
        case: &Case,
        operations: usize,
        at_ns: u64,
    ) -> Result<Option<Longer>, RigError> {
        let word_bits = u64::from(case.profile.word_bits);
        let turn = case.bench.drives.iter().map(|drive| u64::from(drive.turn_bits)).max();
        let bits = (2 * turn.unwrap_or(0)).clamp(8 * word_bits, 64 * word_bits);
        let mut longer = case.clone();
        longer.program.truncate(operations);
        // A wait may have been under way when it deviated.
        let rest_ns = at_ns.saturating_sub(longer.end_ns());
        let while_ns = bits * u64::from(case.profile.channel_bit_ns);
        longer.program.push(Operation::Wait { ns: rest_ns + while_ns });
        if longer.validate().is_err() {
            return Ok(None);
        }
        let mut observation = Observation::new();
        if !came_back(self.rig.run(&longer, &mut observation))? {
            return Ok(None);
        }
        let verdict = self.other_judge.judge(&longer, &observation, self.capabilities);
        let Verdict::Deviates(deviation) = verdict else { return Ok(None) };
        let event = self.other_judge.events()[deviation.rejection.event];
        Ok(Some(Longer { case: longer, observation, deviation, event }))
    }

    /// The first hypothesis that explains what a longer run showed.
    fn explanation(
        &mut self,
        longer: Option<&Longer>,
        hypotheses: Vec<Hypothesis>,
    ) -> Option<Hypothesis> {
        let longer = longer?;
        hypotheses.into_iter().find(|one| self.would_explain(longer, one))
    }

    /// Whether what a longer run showed conforms under a hypothesis.
    fn would_explain(&mut self, longer: &Longer, one: &Hypothesis) -> bool {
        let Longer { case, observation, deviation, event } = longer;
        if *one == Hypothesis::Exchanged {
            return self.exchanges_explain(longer);
        }
        one.apply(case, observation, deviation, event).is_some_and(|(case, observation)| {
            self.other_judge.suppose(one.supposition());
            let verdict = self.other_judge.judge(&case, &observation, self.capabilities);
            self.other_judge.suppose(Supposition::None);
            matches!(verdict, Verdict::Conforms)
        })
    }

    /// Whether all is right when the wrong word is exchanged with the next one, and so on with
    /// what is wrong behind them.
    fn exchanges_explain(&mut self, longer: &Longer) -> bool {
        let mut observation = longer.observation.clone();
        let mut deviation = longer.deviation.clone();
        for _ in 0..MOST_EXCHANGES {
            let Some(exchanged) = exchanged(&observation, &deviation) else { return false };
            observation = exchanged;
            match self.other_judge.judge(&longer.case, &observation, self.capabilities) {
                Verdict::Conforms => return true,
                Verdict::Deviates(next) if next.rejection.item > deviation.rejection.item => {
                    deviation = next;
                }
                _ => return false,
            }
        }
        false
    }

    fn conforms(&mut self, case: &Case) -> Result<bool, RigError> {
        if !came_back(self.rig.run(case, &mut self.other_observation))? {
            return Ok(false);
        }
        let verdict = self.other_judge.judge(case, &self.other_observation, self.capabilities);
        Ok(matches!(verdict, Verdict::Conforms))
    }

    /// How many operations of the program come before the deviating event.
    fn operations_before(&self, deviation: &Deviation) -> usize {
        let events = self.judge.events();
        let own = &events[deviation.rejection.event];
        if !matches!(own.action, Action::Service { .. }) {
            return own.operation as usize;
        }
        // A service belongs to the request that it serves; others may have come between.
        events[..deviation.rejection.event]
            .iter()
            .map(|event| event.operation as usize + 1)
            .max()
            .unwrap_or(0)
    }
}

/// What a case shows of a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// The same rule and kind.
    Same,
    /// Another deviation, or nothing that can be judged.
    Other,
    /// It conforms.
    Nothing,
}

/// Whether a run beside the examined one gave an observation.
fn came_back(run: Result<(), RigError>) -> Result<bool, RigError> {
    match run {
        Err(RigError::Stopped(_)) => Ok(false),
        other => other.map(|()| true),
    }
}

fn named_by(deviation: &mut Deviation, cause: Cause) -> Cause {
    name_by(deviation, &cause);
    cause
}

/// Gives a deviation the name that its cause has.
fn name_by(deviation: &mut Deviation, cause: &Cause) {
    match cause {
        Cause::Place { .. } => {}
        Cause::Relation(relation) => deviation.rule = relation.rule(),
        Cause::Hypothesis(hypothesis) => {
            deviation.rule = hypothesis.rule();
            deviation.kind = hypothesis.kind();
        }
        Cause::Index => {
            let synced =
                deviation.place.has(Place::SYNC_ON) || deviation.place.has(Place::MATCH_START);
            let id = if synced { "sync.wrap" } else { "raw.contiguous" };
            deviation.rule = Rule::find(id).expect("a rule of the catalogue");
            deviation.kind = "at-the-index";
        }
    }
}
