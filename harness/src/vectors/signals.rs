//! Signals: in which spans of time they may come, once all else of an outcome is given.
//!
//! The model tells when signals fall due in any of its states. Which of them come together, and at
//! which of those moments, is tried; where that is no set of windows that are free of each other, the
//! case is left out.

use super::outcome::{Outcome, Prefix, Window, item_of};
use trackproof_contract::{Capabilities, Case, Event, Observation};
use trackproof_model::reader::acceptor::{Acceptance, Acceptor, Tally};
use trackproof_model::reader::ask::{DueSignal, Stand};

/// Signals of a case at the most: each set of them is tried.
const MAX_SIGNALS: usize = 6;

/// Moments of all signals of a set that are tried together at the most.
const MAX_TRIED: usize = 512;

/// Asks the acceptor about whole observations.
pub(super) struct Asker<'a> {
    pub(super) acceptor: &'a mut Acceptor,
    pub(super) case: &'a Case,
    pub(super) events: &'a [Event],
    pub(super) capabilities: Capabilities,
}

impl Asker<'_> {
    pub(super) fn accepts(&mut self, observation: &Observation) -> bool {
        let mut tally = Tally::default();
        let acceptance = self.acceptor.accept(
            self.case,
            self.events,
            observation,
            self.capabilities,
            &mut tally,
        );
        matches!(acceptance, Acceptance::Accepted)
    }
}

/// Signals that cannot be told apart: the same ones, in spans that overlap.
struct Cluster {
    window: Window,
    /// The ends of all spans.
    moments: Vec<u64>,
    /// How many of them may come in one run.
    most: usize,
}

fn clusters(dues: &[DueSignal], end_ns: u64) -> Vec<Cluster> {
    let mut clusters: Vec<Cluster> = Vec::new();
    // By item, then by moment.
    for due in dues.iter().filter(|due| due.from_ns <= end_ns) {
        let (item, from_ns, to_ns) = (item_of(due.item), due.from_ns, due.to_ns.min(end_ns));
        match clusters.last_mut() {
            Some(last) if last.window.item == item && from_ns <= last.window.to_ns => {
                last.window.to_ns = last.window.to_ns.max(to_ns);
                last.moments.extend([from_ns, to_ns]);
                last.most = last.most.max(due.together);
            }
            _ => clusters.push(Cluster {
                window: Window { item, from_ns, to_ns },
                moments: vec![from_ns, to_ns],
                most: due.together,
            }),
        }
    }
    for cluster in &mut clusters {
        cluster.moments.sort_unstable();
        cluster.moments.dedup();
    }
    clusters
}

/// The outcomes of these answers with these media: one for each set of signals that may come
/// together. None where what they may do cannot be said in windows.
pub(super) fn outcomes(
    asker: &mut Asker<'_>,
    prefix: &Prefix,
    media: &[Stand],
    dues: &[DueSignal],
) -> Option<Vec<Outcome>> {
    let end_ns = asker.events.last().map_or(0, |event| event.at_ns);
    let clusters = clusters(dues, end_ns);
    if clusters.iter().map(|one| one.most).sum::<usize>() > MAX_SIGNALS {
        return None;
    }
    let mut outcomes = Vec::new();
    let sets = clusters.iter().map(|one| one.most + 1).product();
    for mut number in 0..sets {
        let mut set: Vec<&Cluster> = Vec::new();
        for cluster in &clusters {
            set.extend(std::iter::repeat_n(cluster, number % (cluster.most + 1)));
            number /= cluster.most + 1;
        }
        let signals = set.iter().map(|one| one.window).collect();
        let mut outcome = Outcome { items: prefix.items.clone(), signals, media: media.to_vec() };
        if narrow(asker, &mut outcome, &set)? {
            outcome.signals.sort_by_key(|one| (one.to_ns, one.from_ns));
            outcomes.push(outcome);
        }
    }
    // The model allows these answers: some signals belong to them.
    if outcomes.is_empty() {
        return None;
    }
    let listed =
        |seen: &Observation| outcomes.iter().any(|one| one.allows(seen, Capabilities::all()));
    let beside = outcomes.iter().flat_map(|one| beside(asker.case, one, &clusters, end_ns));
    let beside: Vec<Observation> = beside.filter(|seen| !listed(seen)).collect();
    beside.iter().all(|seen| !asker.accepts(seen)).then_some(outcomes)
}

/// Narrows the windows of an outcome to what is allowed; false if these signals do not come
/// together. None where the windows would have to depend on each other.
///
/// Signals of one cluster stand beside each other in `set` and are tried in the order of time: the
/// first in time is in the first of their windows, and so on.
fn narrow(asker: &mut Asker<'_>, outcome: &mut Outcome, set: &[&Cluster]) -> Option<bool> {
    let ways = ways(set)?;
    let allowed: Vec<&Vec<u64>> = ways
        .iter()
        .filter(|times| asker.accepts(&outcome.observation(asker.case, |at, _| times[at])))
        .collect();
    let Some(first) = allowed.first() else { return Some(false) };
    let mut spans: Vec<(u64, u64)> = first.iter().map(|moment| (*moment, *moment)).collect();
    for times in &allowed {
        for ((from, to), moment) in spans.iter_mut().zip(*times) {
            (*from, *to) = ((*from).min(*moment), (*to).max(*moment));
        }
    }
    // Every way within the spans is allowed, or they depend on each other.
    let is_within = |times: &&Vec<u64>| {
        times.iter().zip(&spans).all(|(moment, (from, to))| (from..=to).contains(&moment))
    };
    if ways.iter().filter(is_within).count() != allowed.len() {
        return None;
    }
    for (window, (from_ns, to_ns)) in outcome.signals.iter_mut().zip(spans) {
        (window.from_ns, window.to_ns) = (from_ns, to_ns);
    }
    let middle = |one: &Window| one.from_ns + (one.to_ns - one.from_ns) / 2;
    let middle = outcome.observation(asker.case, |_, one| middle(one));
    asker.accepts(&middle).then_some(true)
}

/// Every way to put the signals of a set to moments of their clusters, those of one cluster in the
/// order of time. None where there are too many.
fn ways(set: &[&Cluster]) -> Option<Vec<Vec<u64>>> {
    let mut ways: Vec<Vec<u64>> = vec![Vec::new()];
    for (at, cluster) in set.iter().enumerate() {
        let goes_on = at > 0 && std::ptr::eq(set[at - 1], *cluster);
        let mut longer = Vec::new();
        for way in &ways {
            let first = if goes_on { way.last().copied() } else { None };
            let moments = cluster.moments.iter().filter(|one| first.is_none_or(|of| of <= **one));
            longer.extend(moments.map(|moment| [&way[..], &[*moment]].concat()));
            if longer.len() > MAX_TRIED {
                return None;
            }
        }
        ways = longer;
    }
    Some(ways)
}

/// Observations whose signals are just beside the windows, absent, one more, or another in their
/// place.
fn beside(case: &Case, outcome: &Outcome, clusters: &[Cluster], end_ns: u64) -> Vec<Observation> {
    let mut all = Vec::new();
    let more = |all: &mut Vec<Observation>, outcome: &Outcome| {
        for (item, moment) in
            clusters.iter().flat_map(|one| one.moments.iter().map(|at| (one.window.item, *at)))
        {
            let mut other = outcome.clone();
            other.signals.push(Window { item, from_ns: moment, to_ns: moment });
            all.push(other.observation(case, |_, window| window.from_ns));
        }
    };
    more(&mut all, outcome);
    for (at, one) in outcome.signals.iter().enumerate() {
        let mut moments = Vec::new();
        moments.extend(one.from_ns.checked_sub(1));
        moments.extend((one.to_ns < end_ns).then_some(one.to_ns + 1));
        for moment in moments {
            all.push(outcome.observation(
                case,
                |of, window| {
                    if of == at { moment } else { window.from_ns }
                },
            ));
        }
        let mut other = outcome.clone();
        other.signals.remove(at);
        all.push(other.observation(case, |_, window| window.to_ns));
        more(&mut all, &other);
    }
    all
}
