//! Showing a finding again: on a fresh rig, alone, or behind the cases that it needs.

use crate::campaign::{CampaignError, CaseTime, Earlier, Finding, RigFactory};
use crate::examine::{Examined, Examiner};
use crate::verdict::Verdict;
use trackproof_contract::{Case, RigError, Stop};

/// Fresh rigs that must all show a finding before it is reported: a fault of one run in three
/// passes as steady once in 6 561 times.
const STEADY: u32 = 8;

/// The same for a hang, which takes its time at each: it was tried twice by then.
const STEADY_HANG: u32 = 1;

/// Runs a case on a fresh rig, behind the cases that it needs, and names what deviates by its place
/// alone. None where one of the earlier cases has the implementation stop.
///
/// # Errors
/// When the implementation cannot be made, or a run cannot be trusted.
pub fn glance(
    factory: &RigFactory<'_>,
    case: &Case,
    index: u64,
    earlier: Option<Earlier>,
    time: CaseTime,
) -> Result<Option<(Examiner, Examined)>, CampaignError> {
    let at = |error| CampaignError::Run { index, error };
    let mut rig = factory.rig_within(time).map_err(CampaignError::Start)?;
    if let Some(earlier) = earlier {
        match earlier.run_on(&mut *rig, case) {
            Ok(()) => {}
            Err(RigError::Stopped(_)) => return Ok(None),
            Err(error) => return Err(at(error)),
        }
    }
    let mut examiner = Examiner::new(rig);
    let examined = examiner.glance(case).map_err(at)?;
    Ok(Some((examiner, examined)))
}

/// Runs a finding's case on a fresh rig, as far as it can be: alone it is named by what explains
/// it, behind others by its place.
///
/// # Errors
/// As [`glance`].
pub fn execute(
    factory: &RigFactory<'_>,
    finding: &Finding,
) -> Result<Option<(Examiner, Examined)>, CampaignError> {
    let Finding { case, index, earlier, .. } = finding;
    let time = time_of(finding);
    if earlier.is_some() || finding.stop().is_some() {
        return glance(factory, case, *index, *earlier, time);
    }
    let at = |error| CampaignError::Run { index: *index, error };
    let mut examiner = Examiner::new(factory.rig_within(time).map_err(CampaignError::Start)?);
    let examined = examiner.examine(case).map_err(at)?;
    Ok(Some((examiner, examined)))
}

/// A hang is given twice the time.
pub(super) fn time_of(finding: &Finding) -> CaseTime {
    match finding.stop() {
        Some(Stop::Endless { .. }) => CaseTime::Twice,
        _ => CaseTime::Usual,
    }
}

/// Whether fresh rigs show it one after the other that something is wrong with a finding's case.
pub(super) fn steady(
    factory: &RigFactory<'_>,
    finding: &Finding,
    over: &dyn Fn() -> bool,
) -> Result<bool, CampaignError> {
    let time = time_of(finding);
    for _ in 0..if time == CaseTime::Twice { STEADY_HANG } else { STEADY } {
        // What was shown until then stands.
        if over() {
            break;
        }
        let again = glance(factory, &finding.case, finding.index, finding.earlier, time)?;
        let wrong = again.is_some_and(|(_, examined)| match examined.verdict {
            Verdict::Stops(_) => finding.stop().is_some(),
            Verdict::Deviates(_) | Verdict::Misreads(_) => finding.stop().is_none(),
            _ => false,
        });
        if !wrong {
            return Ok(false);
        }
    }
    Ok(true)
}

/// A finding that does not show alone, with the fewest earlier cases behind which a fresh rig shows
/// it; none where it does not behind all of them either.
pub(super) fn behind_others(
    factory: &RigFactory<'_>,
    finding: &Finding,
    over: &dyn Fn() -> bool,
) -> Result<Option<Finding>, CampaignError> {
    let Some(all) = finding.earlier else { return Ok(None) };
    let time = time_of(finding);
    let shows = |count: u64| {
        let earlier = Some(all.last(count));
        let again = glance(factory, &finding.case, finding.index, earlier, time)?;
        Ok(again.and_then(|(_, examined)| finding.same(&examined).then_some(examined)))
    };
    let Some(mut shown) = shows(all.count)? else { return Ok(None) };
    let (mut too_few, mut enough) = (0, all.count);
    while enough - too_few > 1 && !over() {
        let count = too_few + (enough - too_few) / 2;
        match shows(count)? {
            Some(examined) => (shown, enough) = (examined, count),
            None => too_few = count,
        }
    }
    let mut found = Finding::new(finding.index, finding.case.clone(), shown);
    found.earlier = Some(all.last(enough));
    Ok(Some(found))
}
