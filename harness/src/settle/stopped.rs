//! Settling a case that the implementation stops in: no judge is asked, only whether it comes back.

use super::Settled;
use super::again::{behind_others, glance, time_of};
use crate::campaign::{CampaignError, CaseTime, Finding, RigFactory};
use crate::minimise::{Limits, Minimised, Outcome, minimise};
use crate::verdict::Verdict;
use trackproof_contract::{Observation, RigError};

/// Shows a stop again and makes its case small; none when it does not show again.
pub(super) fn settle(
    factory: &RigFactory<'_>,
    finding: &Finding,
    limits: Limits<'_>,
) -> Result<Option<Settled>, CampaignError> {
    let over = || limits.deadline.is_some_and(|over| over());
    let time = time_of(finding);
    let Some(alone) = stops(factory, finding, time)? else {
        return Ok(behind_others(factory, finding, &over)?.map(Settled::as_it_is));
    };
    // A hang takes all its time at each trial, so it is made small with little, if that will do.
    let ways: &[CaseTime] = match time {
        CaseTime::Twice => &[CaseTime::Hundredth, CaseTime::Usual],
        _ => &[CaseTime::Usual],
    };
    for way in ways {
        let small = smallest(factory, &alone, limits, *way)?;
        let mut finding = alone.clone();
        finding.case = small.case;
        if let Some(finding) = stops(factory, &finding, time)? {
            return Ok(Some(Settled {
                minimised: small.complete,
                executions: small.executions.into(),
                nearest_passing: small.nearest_passing,
                ..Settled::as_it_is(finding)
            }));
        }
    }
    Ok(Some(Settled::as_it_is(alone)))
}

/// The finding as a fresh rig shows it alone; none when that comes back.
fn stops(
    factory: &RigFactory<'_>,
    finding: &Finding,
    time: CaseTime,
) -> Result<Option<Finding>, CampaignError> {
    let again = glance(factory, &finding.case, finding.index, None, time)?;
    Ok(again.and_then(|(_, examined)| match examined.verdict {
        Verdict::Stops(stop) => Some(Finding::stopped(finding.index, finding.case.clone(), stop)),
        _ => None,
    }))
}

fn smallest(
    factory: &RigFactory<'_>,
    finding: &Finding,
    limits: Limits<'_>,
    time: CaseTime,
) -> Result<Minimised, CampaignError> {
    let mut rig = factory.rig_within(time).map_err(CampaignError::Start)?;
    let (capabilities, lent) = (rig.capabilities(), rig.lent());
    let mut observation = Observation::new();
    let mut failed = None;
    let small = minimise(&finding.case, limits, &mut |case| {
        let is_run = capabilities.missing(case.needs()).is_empty() && !case.asks_only(lent);
        if failed.is_some() || !is_run {
            return Outcome::Other;
        }
        match rig.run(case, &mut observation) {
            Err(RigError::Stopped(stop)) if stop.kind() == finding.kind => Outcome::Same,
            Err(RigError::Stopped(_)) => Outcome::Other,
            Ok(()) => Outcome::Passes,
            Err(error) => {
                failed = Some(error);
                Outcome::Other
            }
        }
    });
    match failed {
        Some(error) => Err(CampaignError::Run { index: finding.index, error }),
        None => Ok(small),
    }
}
