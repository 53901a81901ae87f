//! Minimising: the smallest case that still shows the same deviation.
//!
//! Works on a [`Case`] alone, whoever made it, led by a question that the caller answers by
//! running it. Every step goes down in one total order ([`simplicity`]); the end is a case of
//! which no [single reduction](single_reductions) still deviates in the same way. What runs a
//! case, and what a deviation is, is not known here.

mod coarse;
mod contents;
mod drives;
mod flux;
mod media;
mod numbers;
mod operations;
mod order;
mod reliefs;
mod requests;
mod slot;
mod sync_words;
mod templates;
mod times;
mod tracks;
mod words;
mod write_templates;
mod writes;

#[cfg(test)]
mod tests;
#[cfg(test)]
mod toys;

pub use order::{Simplicity, simplicity};
pub(crate) use order::{channel_bits, words};

use std::collections::{HashMap, HashSet};
use std::hash::Hash;
use trackproof_contract::Case;
use xxhash_rust::xxh3::Xxh3;

/// What running a case gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// It deviates by the same rule and the same kind.
    Same,
    /// It deviates in another way, or nothing can be said.
    Other,
    /// It conforms.
    Passes,
}

/// When to stop at the latest.
#[derive(Clone, Copy)]
pub struct Limits<'a> {
    /// Most cases to run.
    pub executions: u32,
    /// Says whether the time is over; asked before each run.
    pub deadline: Option<&'a dyn Fn() -> bool>,
}

impl Default for Limits<'_> {
    fn default() -> Self {
        Self { executions: 20_000, deadline: None }
    }
}

/// What the minimiser came to.
#[derive(Debug, Clone)]
pub struct Minimised {
    /// The smallest case found.
    pub case: Case,
    /// How many cases were run.
    pub executions: u32,
    /// Whether no single reduction is left to try.
    pub complete: bool,
    /// Of the case's single reductions that pass, the one nearest to it.
    pub nearest_passing: Option<Case>,
}

/// Cases that may be simpler than the one they come from.
type Reductions<'a> = Box<dyn Iterator<Item = Case> + 'a>;

/// A way to make a case simpler in one step.
type Reduction = fn(&Case) -> Reductions<'_>;

/// Every way, the cheap and the strong ones first.
const REDUCTIONS: &[Reduction] = &[
    flux::shorter,
    flux::without_a_stretch,
    flux::calmer,
    flux::patterns,
    flux::without_an_interval,
    flux::plainer_intervals,
    operations::fewer,
    drives::fewer,
    drives::fewer_tracks,
    media::plainer,
    drives::shorter_ways,
    times::folded_access,
    media::smaller_images,
    writes::no_copies,
    writes::fewer_given,
    words::fewer,
    numbers::fewer_stalls,
    numbers::smaller,
    operations::simpler,
    writes::plainer_words,
    drives::exchanged,
    drives::lower_places,
    operations::moved,
    times::plain_service,
    times::moved_time,
    times::spread_time,
    contents::rich_instead,
    writes::sooner,
    writes::words_for_tracks,
    templates::all,
    write_templates::all,
    write_templates::reads_instead,
    tracks::bare_turns,
    numbers::moved_values,
    numbers::other_lines,
    times::earlier,
    sync_words::without_drive,
    sync_words::rewritten_everywhere,
    tracks::early,
    operations::fewer_with_more,
    operations::two_fewer,
    operations::fewer_served,
    contents::fewer_operations_on_rich,
    words::fewer_on_rich,
    sync_words::on_canonical,
    contents::canonical_instead,
    tracks::rotations,
    tracks::shorter,
    tracks::fewer_ones,
    tracks::later_ones,
    contents::all_short,
];

/// Every valid case that is one step simpler than `case`, each once.
///
/// The minimiser stops where none of them is [`Outcome::Same`]: trying them all certifies that a
/// case is minimal.
pub fn single_reductions(case: &Case) -> impl Iterator<Item = Case> + '_ {
    let mut seen = HashSet::new();
    REDUCTIONS.iter().flat_map(move |reduction| reduction(case)).filter(move |candidate| {
        simplicity(candidate) < simplicity(case)
            && candidate.validate().is_ok()
            && seen.insert(fingerprint(candidate))
    })
}

/// Makes `case`, which deviates, as small as it gets while `still` says [`Outcome::Same`].
///
/// The same case and the same answers give the same result. No invalid case is proposed, none
/// twice, and none that is not simpler than the smallest one so far.
#[must_use]
pub fn minimise(
    case: &Case,
    limits: Limits<'_>,
    still: &mut dyn FnMut(&Case) -> Outcome,
) -> Minimised {
    let mut search = Search {
        best: case.clone(),
        tried: HashMap::new(),
        executions: 0,
        limits,
        still,
        over: false,
        late: false,
    };
    coarse::reduce(&mut search);
    let mut next = 0;
    while next < REDUCTIONS.len() && !search.over {
        next = if search.exhaust(REDUCTIONS[next]) { 0 } else { next + 1 };
    }
    Minimised {
        nearest_passing: search.nearest_passing(),
        complete: !search.over,
        executions: search.executions,
        case: search.best,
    }
}

/// The state of one minimisation.
struct Search<'a, 'b> {
    best: Case,
    tried: HashMap<u64, Outcome>,
    executions: u32,
    limits: Limits<'a>,
    still: &'b mut dyn FnMut(&Case) -> Outcome,
    /// Whether a limit was reached, and whether that was the deadline.
    over: bool,
    late: bool,
}

impl Search<'_, '_> {
    /// Takes `candidate` if it is simpler and deviates in the same way.
    fn take(&mut self, candidate: Case) -> bool {
        if self.over
            || simplicity(&candidate) >= simplicity(&self.best)
            || candidate.validate().is_err()
        {
            return false;
        }
        let fingerprint = fingerprint(&candidate);
        if self.tried.contains_key(&fingerprint) {
            return false;
        }
        let late = self.limits.deadline.is_some_and(|deadline| deadline());
        if late || self.executions >= self.limits.executions {
            self.over = true;
            self.late = late;
            return false;
        }
        self.executions += 1;
        let outcome = (self.still)(&candidate);
        self.tried.insert(fingerprint, outcome);
        if outcome == Outcome::Same {
            self.best = candidate;
        }
        outcome == Outcome::Same
    }

    /// Takes reductions of one way until none is left; says whether any was taken.
    fn exhaust(&mut self, reduction: Reduction) -> bool {
        let mut taken = false;
        let mut first = 0;
        loop {
            let from = self.best.clone();
            // Those before the last success failed a moment ago on almost the same case.
            let mut found = None;
            for (i, candidate) in reduction(&from).enumerate().skip(first) {
                // Of a large case the candidates alone take minutes.
                if self.over {
                    break;
                }
                if self.take(candidate) {
                    found = Some(i);
                    break;
                }
            }
            match found {
                Some(i) => (taken, first) = (true, i),
                None if first > 0 && !self.over => first = 0,
                None => return taken,
            }
        }
    }

    /// The passing single reduction that is the least simpler; none where time was short.
    fn nearest_passing(&self) -> Option<Case> {
        if self.late {
            return None;
        }
        let passes = |case: &Case| self.tried.get(&fingerprint(case)) == Some(&Outcome::Passes);
        single_reductions(&self.best)
            .filter(passes)
            .max_by(|one, two| simplicity(one).cmp(&simplicity(two)))
    }
}

fn fingerprint(case: &Case) -> u64 {
    let mut hasher = Xxh3::new();
    case.hash(&mut hasher);
    hasher.digest()
}

/// A changed copy. Writes go on copying the reads that they copied.
fn edited(case: &Case, edit: impl FnOnce(&mut Case)) -> Case {
    let mut copy = case.clone();
    edit(&mut copy);
    requests::keep_copies(case, &mut copy);
    copy
}
