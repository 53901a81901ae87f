//! Settling a finding: shown again by a fresh rig, minimised, and named by what its smallest case
//! shows.
//!
//! In a large random case a fault shows in surroundings that have nothing to do with it, and is
//! named by them. So a finding is minimised first under the name that it was found by; then every
//! single reduction is tried once more, and where one still deviates in the same way of showing
//! (words, a byte, a signal, the same status bit), though under another name, the surroundings
//! were not needed and the smaller case's name is the better one. What has one explanation, and
//! what settles under one name, is one finding.
//!
//! A finding that a fresh rig does not show alone is tried behind the cases that its rig had run
//! before; it then keeps the fewest that it needs, and stays as it is. At last several fresh rigs
//! must show it, one after the other.

mod again;
mod showing;
mod stopped;
mod witness;

pub use again::{execute, glance};
pub(crate) use showing::Showing;

use crate::campaign::{CampaignError, Evidence, Finding, RigFactory};
use crate::cause::Cause;
use crate::examine::{Examined, Examiner, Shown};
use crate::minimise::{Limits, Outcome, minimise, single_reductions};
use crate::verdict::Verdict;
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use trackproof_contract::{Case, Operation, RigError};
use trackproof_model::separator::judged::Before;

/// Rule and kind.
type Name = (&'static str, &'static str);

/// A finding that a fresh rig has shown again, with its smallest case.
#[derive(Debug, Clone)]
pub struct Settled {
    /// The finding; its case is the smallest that was found, its index that of the case it was
    /// first seen in.
    pub finding: Finding,
    /// The names, rule and kind, that it had in the campaign: it stands for all of them.
    pub first_names: Vec<(&'static str, &'static str)>,
    /// Whether nothing smaller is left to try; false when the bound on executions came first.
    pub minimised: bool,
    /// Executions used.
    pub executions: u64,
    /// The simplest case next to it that conforms.
    pub nearest_passing: Option<Case>,
}

impl Settled {
    /// A finding of which nothing smaller was tried.
    pub(crate) const fn as_it_is(finding: Finding) -> Self {
        Self {
            finding,
            first_names: Vec::new(),
            minimised: false,
            executions: 0,
            nearest_passing: None,
        }
    }
}

/// What became of a campaign's findings.
#[derive(Debug, Clone, Default)]
pub struct Settlement {
    /// Findings, one a rule and kind: those with an explanation first, in case order.
    pub settled: Vec<Settled>,
    /// Findings that a fresh rig did not show again.
    pub not_reproducible: Vec<Finding>,
    /// Findings that were shown again and not pursued: others of their kind are more frequent, and
    /// may be their cause.
    pub set_aside: Vec<Finding>,
}

/// Findings in cases that write, of those that nothing explains, that are pursued: the most
/// frequent ones. One fault of writing goes by a dozen names in large cases, where it spoils what
/// is written and read later; making each of them small takes minutes and tells nothing new.
const WRITING_PURSUED: usize = 3;

/// A finding that nothing explains is not pursued either where so many times as many cases have an
/// explanation: it is likelier that its own case is one of them, with something more in it, than
/// that it shows something else.
const SELDOM: u64 = 20;

/// Settles findings, each on rigs of its own, on `jobs` threads.
///
/// `each` hears of every one as it is settled; `over` is asked before each execution whether to
/// stop there: a finding is then given as small as it has got. What comes out does not depend on
/// `jobs`, as long as it is never over.
///
/// # Errors
/// When the implementation cannot be made, or a run cannot be trusted.
pub fn settle(
    findings: Vec<Finding>,
    factory: &RigFactory<'_>,
    jobs: usize,
    executions: u32,
    over: &(dyn Fn() -> bool + Sync),
    each: &(dyn Fn(&Settled) + Sync),
) -> Result<Settlement, CampaignError> {
    let mut settlement = Settlement::default();
    let start = || factory.rig().map_err(CampaignError::Start);
    let at = |index: u64| move |error| CampaignError::Run { index, error };
    let deviates = |finding: &&Finding| finding.stop().is_none() && finding.case.flux.is_none();
    let trial = match findings.iter().find(deviates) {
        Some(first) => {
            Some(Examiner::new(start()?).trial(&first.case.profile).map_err(at(first.index))?)
        }
        None => None,
    };
    let examiner = || {
        let rig = start()?;
        Ok::<_, CampaignError>(match &trial {
            Some(trial) => Examiner::tried(rig, trial.clone()),
            None => Examiner::new(rig),
        })
    };

    let shown = on_threads(jobs, &findings, &|finding| {
        if finding.stop().is_some() {
            return Ok(Some(finding.clone()));
        }
        match shown_again(finding.clone(), &mut examiner()?, over).map_err(at(finding.index))? {
            None if over() => Ok(Some(finding.clone())),
            None => again::behind_others(factory, finding, &|| over()),
            alone => Ok(alone),
        }
    })?;
    // What goes by one name now is one finding: its first case stands for all.
    let mut named: BTreeMap<Name, (Finding, Vec<Name>)> = BTreeMap::new();
    for (finding, shown) in findings.into_iter().zip(shown) {
        let Some(shown) = shown else {
            settlement.not_reproducible.push(finding);
            continue;
        };
        let (cases, name) = (shown.cases, finding.name());
        named
            .entry(shown.name())
            .and_modify(|(first, names)| {
                first.cases += cases;
                names.push(name);
            })
            .or_insert_with(|| (shown, vec![name]));
    }
    let mut left: Vec<_> = named.into_values().collect();
    left.sort_by_key(|(finding, _)| (finding.index, finding.rule.id, finding.kind));
    settlement.set_aside = set_aside(&mut left);
    let results = on_threads(jobs, &left, &|(finding, _)| {
        let limits = Limits { executions, deadline: Some(&|| over()) };
        let settled = if finding.stop().is_some() {
            stopped::settle(factory, finding, limits)?
        } else if finding.earlier.is_some() || over() {
            Some(Settled::as_it_is(finding.clone()))
        } else {
            smallest(finding.clone(), &mut examiner()?, limits).map_err(at(finding.index))?
        };
        match settled {
            Some(settled) if again::steady(factory, &settled.finding, &|| over())? => {
                each(&settled);
                Ok(Some(settled))
            }
            _ => Ok(None),
        }
    })?;
    let mut by_name: BTreeMap<Name, Settled> = BTreeMap::new();
    for ((finding, names), settled) in left.into_iter().zip(results) {
        match settled {
            Some(settled) => {
                let kept = by_name.entry(settled.finding.name()).or_insert(settled);
                kept.first_names.extend(names);
            }
            None => settlement.not_reproducible.push(finding),
        }
    }
    settlement.set_aside.retain(|one| !by_name.contains_key(&one.name()));
    settlement.settled = by_name.into_values().collect();
    settlement.settled.sort_by_key(|Settled { finding, .. }| {
        let first = (!finding.cause.explains(), needs_disturbance(finding));
        (first, finding.index, finding.rule.id)
    });
    Ok(settlement)
}

/// Whether it takes flux with something in it that is none. What a separator also makes wrong
/// without that is the likelier cause.
fn needs_disturbance(finding: &Finding) -> bool {
    let before = finding.misreading().map(|found| found.misread.stretch.before);
    before == Some(Before::Disturbance)
}

/// Takes out the findings that are not pursued.
fn set_aside(findings: &mut Vec<(Finding, Vec<Name>)>) -> Vec<Finding> {
    let open = |finding: &Finding| {
        finding.stop().is_none() && finding.case.flux.is_none() && !finding.cause.explains()
    };
    let of_writing = |finding: &Finding| {
        let writes = |one: &Operation| matches!(one, Operation::Write { .. });
        finding.case.program.iter().any(writes)
    };
    let place = |finding: &Finding| (Reverse(finding.cases), finding.index, finding.name());
    let all = || findings.iter().map(|(finding, _)| finding);
    let explained: u64 = all().filter(|one| one.cause.explains()).map(|one| one.cases).sum();
    let mut by_frequency: Vec<_> =
        all().filter(|one| open(one) && of_writing(one)).map(place).collect();
    by_frequency.sort_unstable();
    let last = by_frequency.get(WRITING_PURSUED - 1).copied();
    let aside = |finding: &Finding| {
        open(finding)
            && (finding.cases * SELDOM < explained
                || of_writing(finding) && last.is_some_and(|last| place(finding) > last))
    };
    findings.extract_if(.., |(finding, _)| aside(finding)).map(|(finding, _)| finding).collect()
}

/// Does `work` on every item, on `jobs` threads; the results in the items' order.
fn on_threads<I: Sync, T: Send>(
    jobs: usize,
    items: &[I],
    work: &(dyn Fn(&I) -> Result<T, CampaignError> + Sync),
) -> Result<Vec<T>, CampaignError> {
    let next = AtomicUsize::new(0);
    let some = || {
        let mut done = Vec::new();
        loop {
            let place = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(place) else { return Ok(done) };
            done.push((place, work(item)?));
        }
    };
    let mut results = Vec::new();
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..jobs.max(1)).map(|_| scope.spawn(some)).collect();
        for thread in threads {
            let done = thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?;
            results.extend(done);
        }
        Ok::<(), CampaignError>(())
    })?;
    results.sort_by_key(|(place, _)| *place);
    Ok(results.into_iter().map(|(_, result)| result).collect())
}

/// Shows a finding again and names it by what explains it; none when the rig does not show it. Its
/// name stays as it is when it is over: an explanation takes dozens of runs.
fn shown_again(
    mut finding: Finding,
    examiner: &mut Examiner,
    over: &dyn Fn() -> bool,
) -> Result<Option<Finding>, RigError> {
    if !finding.same(&examiner.glance(&finding.case)?) {
        return Ok(None);
    }
    if over() {
        finding.earlier = None;
        return Ok(Some(finding));
    }
    let examined = examiner.examine(&finding.case)?;
    if !adopt(&mut finding, examined) {
        return Ok(None);
    }
    Ok(Some(told(&finding, examiner)?.unwrap_or(finding)))
}

/// The case in which the media tell what is wrong with them, where nothing else explains a finding
/// and they tell more than its own case does.
fn told(finding: &Finding, examiner: &mut Examiner) -> Result<Option<Finding>, RigError> {
    let Some(seen) = finding.deviation().filter(|_| !finding.cause.explains()) else {
        return Ok(None);
    };
    let told = examiner.written_tells(&finding.case, seen)?;
    Ok(told.and_then(|(case, examined)| {
        let by_content = matches!(&examined.verdict, Verdict::Deviates(told) if told.by_content);
        by_content.then(|| Finding {
            cases: finding.cases,
            ..Finding::new(finding.index, case, examined)
        })
    }))
}

/// Makes one finding small; none when the rig stops showing it.
fn smallest(
    mut finding: Finding,
    examiner: &mut Examiner,
    limits: Limits<'_>,
) -> Result<Option<Settled>, RigError> {
    let mut executions = 0;
    let mut asked = false;
    loop {
        let mut error = None;
        let minimised =
            minimise(&finding.case, limits, &mut |case| match examiner.shows(case, &finding) {
                Ok(Shown::Same) => Outcome::Same,
                Ok(Shown::Nothing) => Outcome::Passes,
                Ok(Shown::Other) => Outcome::Other,
                Err(why) => {
                    error.get_or_insert(why);
                    Outcome::Other
                }
            });
        if let Some(error) = error {
            return Err(error);
        }
        executions += u64::from(minimised.executions);
        let name = finding.name();
        let smaller = minimised.case != finding.case;
        finding.case = minimised.case;
        let examined = examiner.examine(&finding.case)?;
        if !adopt(&mut finding, examined) {
            return Ok(None);
        }
        // In the smaller case something else may be the first to explain it, or to be seen. Media
        // are asked once: what they tell is a larger case, and this is to end.
        if smaller && name != finding.name() {
            if !asked {
                asked = true;
                finding = told(&finding, examiner)?.unwrap_or(finding);
            }
            continue;
        }
        let better = match clearer(&finding, examiner, limits, &mut executions)? {
            None => better_name(&finding, examiner, limits, &mut executions)?,
            clearer => clearer,
        };
        match better {
            Some(better) => finding = better,
            None => {
                return Ok(Some(Settled {
                    finding,
                    first_names: Vec::new(),
                    minimised: minimised.complete,
                    executions,
                    nearest_passing: minimised.nearest_passing,
                }));
            }
        }
    }
}

/// Takes on the name and the evidence of its case's examination; false when that conforms.
fn adopt(finding: &mut Finding, examined: Examined) -> bool {
    let Some((rule, kind)) = examined.verdict.name() else { return false };
    finding.evidence = match examined.verdict {
        Verdict::Deviates(deviation) => Evidence::Deviation(deviation),
        Verdict::Misreads(misreading) => Evidence::Misreading(misreading),
        _ => return false,
    };
    (finding.rule, finding.kind) = (rule, kind);
    finding.earlier = None;
    finding.cause = examined.cause;
    true
}

/// A case close by that tells what a finding only hints at: a wrong medium behind a wrong read of
/// it, a wrong stream behind a match that does not come, wrong words behind a wrong byte, signal or
/// status bit. A write that came round may be wrong without that as well.
fn clearer(
    finding: &Finding,
    examiner: &mut Examiner,
    limits: Limits<'_>,
    executions: &mut u64,
) -> Result<Option<Finding>, RigError> {
    let Some(seen) = finding.deviation() else { return Ok(None) };
    let came_round = finding.rule.id == CAME_ROUND;
    if matches!(finding.cause, Cause::Hypothesis(_)) || seen.by_content && !came_round {
        return Ok(None);
    }
    examiner.glance(&finding.case)?;
    let upto = &examiner.judge().events()[..=seen.rejection.event];
    let deviating = upto.iter().map(|event| event.operation as usize).max().unwrap_or(0);
    let words = !finding.cause.explains() && Showing::of(seen) != Showing::Words && !came_round;
    let mut cases: Vec<(Witness, Case)> = Vec::new();
    let mut add = |of, more: Vec<Case>| cases.extend(more.into_iter().map(|case| (of, case)));
    add(Witness::Content, witness::with_media(&finding.case, deviating));
    if !came_round {
        // Of what the host asked for since, a write may cover what the read found.
        let own = upto.last().map_or(deviating, |event| event.operation as usize);
        add(Witness::Round, Vec::from_iter(witness::with_rest(&finding.case, own)));
    }
    if words {
        add(Witness::Words, witness::with_words(&finding.case, deviating));
    }
    for (of, case) in cases {
        if limits.deadline.is_some_and(|over| over()) {
            return Ok(None);
        }
        *executions += 1;
        let examined = examiner.examine(&case)?;
        if let Verdict::Deviates(deviation) = &examined.verdict
            && matches!(Showing::of(deviation), Showing::Words | Showing::Media)
            && (deviation.by_content || of == Witness::Words)
            && (deviation.rule.id != CAME_ROUND || of == Witness::Round)
        {
            return Ok(Some(Finding {
                cases: finding.cases,
                ..Finding::new(finding.index, case, examined)
            }));
        }
    }
    Ok(None)
}

/// What a case close by is to show: a wrong medium or stream, one that is wrong only where a write
/// comes round, or wrong words.
#[derive(Clone, Copy, PartialEq)]
enum Witness {
    Content,
    Round,
    Words,
}

/// The rule that a write on too short a turn breaks, whatever else is wrong with it.
const CAME_ROUND: &str = "write.wrap";

/// A smaller case that deviates in the same way of showing under another name.
fn better_name(
    finding: &Finding,
    examiner: &mut Examiner,
    limits: Limits<'_>,
    executions: &mut u64,
) -> Result<Option<Finding>, RigError> {
    let Some(seen) = finding.deviation() else {
        return plainer_flux(finding, examiner, limits, executions);
    };
    for case in single_reductions(&finding.case) {
        if limits.deadline.is_some_and(|over| over()) {
            return Ok(None);
        }
        *executions += 1;
        let examined = examiner.examine(&case)?;
        if let Verdict::Deviates(deviation) = &examined.verdict
            && Showing::of(deviation) == Showing::of(seen)
            && !finding.same(&examined)
            && (examined.cause.explains() || !finding.cause.explains())
            // What the content tells is better than where it showed.
            && (examined.cause.explains() || deviation.by_content || !seen.by_content)
            && deviation.rule.id != CAME_ROUND
            && (examined.cause.explains() || examiner.tells_the_same(&case, deviation)?)
        {
            return Ok(Some(Finding {
                cases: finding.cases,
                ..Finding::new(finding.index, case, examined)
            }));
        }
    }
    Ok(None)
}

/// Simpler flux that is misread too, though it goes by another name: not all of it was needed.
fn plainer_flux(
    finding: &Finding,
    examiner: &mut Examiner,
    limits: Limits<'_>,
    executions: &mut u64,
) -> Result<Option<Finding>, RigError> {
    if finding.case.flux.is_none() {
        return Ok(None);
    }
    for case in single_reductions(&finding.case) {
        if limits.deadline.is_some_and(|over| over()) {
            return Ok(None);
        }
        *executions += 1;
        let examined = examiner.glance(&case)?;
        if matches!(examined.verdict, Verdict::Misreads(_)) && !finding.same(&examined) {
            let found = Finding::new(finding.index, case, examined);
            return Ok(Some(Finding { cases: finding.cases, ..found }));
        }
    }
    Ok(None)
}
