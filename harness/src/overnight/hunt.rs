//! Shifts: cases in a row on an implementation that is new at the shift's begin. Every second shift
//! runs cases with numbers, as a campaign does; the others mutate what the corpus keeps.

use super::ledger::{Name, News, species};
use super::search::Run;
use super::{Event, Plan};
use crate::campaign::{CampaignError, CaseTime, Drawn, Earlier, Finding, Judged, Runner, Summary};
use crate::features;
use crate::generate::{Draw, Generator, SeededChoices, case_seed};
use trackproof_contract::{Capabilities, Case, Stop};

/// Cases of a shift.
pub(super) const SHIFT: u64 = 512;

/// Cases that are sent together.
const BATCH: usize = 32;

/// What tells the choices of mutations from those of cases with numbers.
const MUTATIONS: u64 = 0x006d_7574_6174_6573;

/// Hangs in one shift after which it is given up: each takes its time.
const MOST_HANGS: u32 = 2;

/// Stops in one shift after which it is given up.
const MOST_STOPS: u32 = 64;

/// Whether a shift runs cases with numbers.
const fn is_numbered(number: u64) -> bool {
    number.is_multiple_of(2)
}

/// What is to be done about a shift.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Turn {
    /// It is to be run.
    Run,
    /// It is not this run's.
    Pass,
    /// It is behind the last one.
    End,
}

impl Turn {
    /// What a plan has of a shift. Where it has a number of cases, those are all.
    pub(super) fn of(number: u64, plan: &Plan) -> Self {
        if plan.cases.is_some_and(|cases| number / 2 * SHIFT >= cases) {
            return Self::End;
        }
        let mutated = plan.cases.is_some() && !is_numbered(number);
        if mutated || !plan.shard.has(number) { Self::Pass } else { Self::Run }
    }
}

/// A shift under way.
pub(super) struct Shift<'a> {
    run: &'a Run<'a>,
    number: u64,
    /// Cases of it that are done, earlier starts on the folder included.
    done: u64,
    summary: Summary,
    /// The species of each case with a number.
    sample: Vec<Vec<usize>>,
    generator: Generator,
    case: Case,
    features: Vec<usize>,
    /// The first case that the runner at work has run, where cases have numbers.
    begun: u64,
    hangs: u32,
    stops: u32,
}

/// What came of a batch.
enum Batch {
    /// All were run.
    All,
    /// It stopped in the one behind so many.
    Stopped(usize, Stop),
    /// Nobody waits any more.
    Abandoned,
}

impl<'a> Shift<'a> {
    /// Runs a shift from the case on that an earlier start has left it at, and adds what it counts to
    /// the ledger.
    pub(super) fn run(run: &'a Run<'a>, number: u64, from: u64) -> Result<(), CampaignError> {
        let over = || run.over();
        let plan = run.plan;
        let mut runner = run.factory.runner(&plan.profile, plan.seed, CaseTime::Usual, &over)?;
        let mut generator = Generator::limited_to(plan.profile.clone(), runner.capabilities());
        let case = generator.case(plan.seed, 0);
        let summary = Summary {
            capabilities: runner.capabilities(),
            lent: runner.lent(),
            ..Summary::default()
        };
        let mut shift = Self {
            run,
            number,
            done: from,
            summary,
            sample: Vec::new(),
            generator,
            case,
            features: Vec::new(),
            begun: number / 2 * SHIFT + from,
            hangs: 0,
            stops: 0,
        };
        let end = shift.length();
        // A number of its own for each place that a shift may go on from.
        let mutations = case_seed(plan.seed ^ MUTATIONS, number * SHIFT + from);
        let mut choices = SeededChoices::new(mutations);
        let mut batch: Vec<Draw> = Vec::new();
        let mut given_up = false;
        while shift.done < end && !given_up && !run.over() {
            if batch.is_empty() {
                let left = (end - shift.done) as usize;
                batch = shift.draws(BATCH.min(left), &mut choices);
            }
            match shift.batch(&mut *runner, &batch)? {
                Batch::All => batch.clear(),
                Batch::Abandoned => break,
                Batch::Stopped(place, stop) => {
                    drop(runner);
                    shift.stopped(&batch[place], stop);
                    batch.drain(..=place);
                    given_up = shift.hangs == MOST_HANGS || shift.stops == MOST_STOPS;
                    runner =
                        run.factory.runner(&plan.profile, plan.seed, CaseTime::Usual, &over)?;
                    shift.begun = number / 2 * SHIFT + shift.done;
                }
            }
        }
        if given_up {
            shift.done = end;
        }
        shift.end();
        Ok(())
    }

    /// Whether this shift runs cases with numbers.
    const fn numbered(&self) -> bool {
        is_numbered(self.number)
    }

    /// How many cases it has.
    fn length(&self) -> u64 {
        let cases = self.run.plan.cases.unwrap_or(u64::MAX);
        SHIFT.min(cases.saturating_sub(self.number / 2 * SHIFT))
    }

    /// The next cases.
    fn draws(&mut self, count: usize, choices: &mut SeededChoices) -> Vec<Draw> {
        let numbers = |from: u64| (from..).take(count).map(Draw::Number).collect();
        if self.numbered() {
            return numbers(self.number / 2 * SHIFT + self.done);
        }
        let mut ledger = self.run.ledger();
        let words = &self.run.words;
        let streams = (0..count)
            .map_while(|_| ledger.untried.pop().or_else(|| ledger.corpus.mutated(words, choices)));
        let draws: Vec<Draw> = streams.map(Draw::Stream).collect();
        // Nothing to mutate yet: other cases with numbers, which are no part of the sample.
        if draws.is_empty() {
            numbers(u64::MAX / 2 + self.number * SHIFT + self.done)
        } else {
            draws
        }
    }

    fn batch(&mut self, runner: &mut dyn Runner, draws: &[Draw]) -> Result<Batch, CampaignError> {
        let mut place = 0;
        let drawn = runner.run_drawn(draws, &mut |judged| {
            self.judged(&draws[place], judged);
            place += 1;
        });
        Ok(match drawn? {
            Drawn::All => Batch::All,
            Drawn::Stopped(stop) => Batch::Stopped(place, stop),
            Drawn::Abandoned => Batch::Abandoned,
        })
    }

    /// Takes note of one case.
    fn judged(&mut self, draw: &Draw, judged: Judged) {
        let Judged { summary, finding } = judged;
        let points = summary.reach.numbers().iter().enumerate();
        let points = points.filter(|(_, cases)| **cases > 0).map(|(point, _)| point);
        features::of(points, &mut self.features);
        if self.numbered() {
            let name = finding.as_ref().map(Finding::name);
            self.sample.push(species(&self.features, name).collect());
        }
        if self.run.ledger().corpus.note(&self.features) {
            let plan = self.run.plan;
            let stream = self.generator.stream(plan.seed, draw, &mut self.case);
            if self.run.ledger().corpus.keep(stream.clone()) {
                self.run.folder.save_stream(&stream);
            }
        }
        self.summary.merge(*summary);
        if let Some(mut finding) = finding {
            finding.earlier = self.earlier(draw);
            self.found(finding, draw);
        }
        self.done += 1;
        self.run.count_case();
    }

    /// The cases that the runner had run before, where they can be told.
    fn earlier(&self, draw: &Draw) -> Option<Earlier> {
        let Draw::Number(index) = draw else { return None };
        let count = index.checked_sub(self.begun).filter(|count| *count > 0)?;
        let in_row = self.numbered() && count <= SHIFT;
        in_row.then_some(Earlier { seed: self.run.plan.seed, first: self.begun, count })
    }

    fn found(&self, mut finding: Finding, draw: &Draw) {
        let note = match draw {
            Draw::Number(index) => {
                finding.index = *index;
                format!("case {index} of seed {}", self.run.plan.seed)
            }
            Draw::Stream(_) => {
                finding.index = 0;
                "a mutated case".into()
            }
        };
        let news = self.run.ledger().found(&finding);
        if news == News::None {
            return;
        }
        let note = format!("{note} on {}", self.run.plan.implementation);
        let file = self.run.folder.save_case(&finding, false, note);
        if news == News::Name {
            self.run.tell(&Event::Found { name: finding.name(), file });
        }
    }

    /// Takes note of a case that the implementation stopped in.
    fn stopped(&mut self, draw: &Draw, stop: Stop) {
        self.stops += 1;
        self.hangs += u32::from(matches!(stop, Stop::Endless { .. }));
        let mut case = self.case.clone();
        self.generator.make(self.run.plan.seed, draw, &mut case);
        let mut finding = Finding::stopped(0, case, stop);
        finding.earlier = self.earlier(draw);
        let name: Name = finding.name();
        self.found(finding, draw);
        self.summary.cases += 1;
        self.summary.stopped += 1;
        *self.summary.deviating.entry(name).or_default() += 1;
        self.done += 1;
        self.run.count_case();
    }

    /// Adds what was counted to the ledger.
    fn end(self) {
        let length = self.length();
        let mut ledger = self.run.ledger();
        let (capabilities, lent): (Capabilities, Capabilities) =
            (self.summary.capabilities, self.summary.lent);
        ledger.summary.merge(self.summary);
        (ledger.summary.capabilities, ledger.summary.lent) = (capabilities, lent);
        for species in self.sample {
            ledger.sample.count(species.into_iter());
        }
        if self.done < length {
            // The next start on the folder goes on there.
            ledger.cut.insert(self.number, self.done);
        } else {
            ledger.shift_done(self.number);
        }
    }
}
