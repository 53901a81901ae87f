//! Inferring a controller's choices: which profile allows all that it does.
//!
//! Cases are run once and judged again and again, each time by a profile with one choice changed,
//! until no change explains more of what came back. Cases made for the profile that is left then
//! say whether it holds, and every value that it might have had instead is tried on all of them:
//! the case that refuses it is named, and a value that none refuses stays open.

mod evidence;
mod moves;

use crate::campaign::{CampaignError, RigFactory};
use crate::rules::Rule;
use evidence::{Evidence, Weight};
use moves::{Move, moves};
use trackproof_contract::{KEYS, Key, Profile};

/// Cases that changes are first tried on: of those that do not fit, the first ones.
const FOCUS: usize = 48;

/// Changes that are tried on all cases: those that explain most of the first ones.
const FINALISTS: usize = 8;

/// How often cases are made for the profile that is left, and it is changed again.
const STAGES: u64 = 5;

/// What is asked.
#[derive(Debug, Clone)]
pub struct Question {
    /// The profiles that the search may begin with; it takes the one that fits best.
    pub bases: Vec<(String, Profile)>,
    /// The profile that the implementation is run with, if it declares one; else that of the base.
    pub declared: Option<Profile>,
    /// The seed of the first cases; later ones have the next seeds.
    pub seed: u64,
    /// Cases of each stage.
    pub cases: u64,
    /// Threads for judging.
    pub jobs: usize,
}

/// A case by which something was settled: the same for the same question and implementation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CaseOf {
    /// The seed.
    pub seed: u64,
    /// The index.
    pub index: u64,
}

/// What was found of one key.
#[derive(Debug, Clone)]
pub struct Choice {
    /// The key.
    pub key: &'static Key,
    /// Its value.
    pub value: String,
    /// Its value in the base.
    pub base: String,
    /// Values that it cannot have, each with the first case that refuses it.
    pub refused: Vec<(String, CaseOf)>,
    /// Values that it might have as well: no case tells them apart.
    pub open: Vec<String>,
    /// Whether it was not searched, for it is not the controller's to choose.
    pub given: bool,
}

impl Choice {
    /// Whether it is another value than the base's.
    #[must_use]
    pub fn differs(&self) -> bool {
        self.value != self.base
    }
}

/// What no choice explains: a deviation from the profile that was found.
#[derive(Debug, Clone)]
pub struct Contradiction {
    /// The rule, by the place alone.
    pub rule: &'static Rule,
    /// How.
    pub kind: &'static str,
    /// In how many cases.
    pub cases: u64,
    /// The first of them.
    pub first: CaseOf,
}

/// The answer.
#[derive(Debug, Clone)]
pub struct Inferred {
    /// The base's name.
    pub base_name: String,
    /// The base.
    pub base: Profile,
    /// The profile that explains most.
    pub profile: Profile,
    /// Every key, in their order.
    pub choices: Vec<Choice>,
    /// Cases that were judged.
    pub cases: u64,
    /// Of those, the ones that the profile allows.
    pub allowed: u64,
    /// What it does not allow, the most frequent first.
    pub contradictions: Vec<Contradiction>,
    /// Whether it was ended before all was tried, from outside or by an implementation that stops
    /// again and again.
    pub cut: bool,
}

/// Infers. `over` says whether nobody waits any more; `told` hears what is done, in words.
///
/// # Errors
/// When the implementation cannot be made, or a run cannot be trusted.
pub fn infer(
    question: &Question,
    factory: &RigFactory<'_>,
    over: &(dyn Fn() -> bool + Sync),
    told: &dyn Fn(&str),
) -> Result<Inferred, CampaignError> {
    let changes = moves();
    let search = Search { question, factory, over, told, changes: &changes };
    let (base_name, base, mut evidence) = search.begin()?;
    let mut profile = base.clone();
    for stage in 1..=STAGES {
        profile = search.climb(profile, &base, &evidence);
        if (over)() {
            break;
        }
        told(&format!("run {} cases made for it", question.cases));
        let fresh = search.observe(&profile, question.seed + stage)?;
        let holds = evidence.weigh(&profile).fits_all() && fresh.weigh(&profile).fits_all();
        // What was lent to a part of a controller went by the profile of that time.
        evidence = match &question.declared {
            Some(_) => evidence.and(fresh),
            None => fresh,
        };
        if holds || stage == STAGES {
            break;
        }
    }
    told("try every other value");
    let choices = search.settle(&profile, &base, &evidence);
    let (allowed, contradictions) = evidence.contradictions(&profile);
    let (cases, cut) = (evidence.cases(), (over)() || evidence.is_short());
    Ok(Inferred { base_name, base, profile, choices, cases, allowed, contradictions, cut })
}

struct Search<'a> {
    question: &'a Question,
    factory: &'a RigFactory<'a>,
    over: &'a (dyn Fn() -> bool + Sync),
    told: &'a dyn Fn(&str),
    changes: &'a [Move],
}

impl Search<'_> {
    /// The base that fits best, with what it is judged on.
    fn begin(&self) -> Result<(String, Profile, Evidence), CampaignError> {
        let mut best: Option<(Weight, String, Profile, Evidence)> = None;
        for (name, base) in &self.question.bases {
            (self.told)(&format!("run {} cases made for {name}", self.question.cases));
            let evidence = self.observe(base, self.question.seed)?;
            let weight = evidence.weigh(base);
            if best.as_ref().is_none_or(|(most, ..)| weight.share() > most.share()) {
                best = Some((weight, name.clone(), base.clone(), evidence));
            }
        }
        let (_, name, base, evidence) = best.expect("a question has a base");
        (self.told)(&format!("begin with {name}"));
        Ok((name, base, evidence))
    }

    fn observe(&self, profile: &Profile, seed: u64) -> Result<Evidence, CampaignError> {
        let rig = self.factory.rig().map_err(CampaignError::Start)?;
        let run_as = self.question.declared.as_ref().unwrap_or(profile);
        let cases = 0..self.question.cases;
        Evidence::observe(rig, profile, run_as, seed, cases, self.question.jobs, self.over)
    }

    /// Changes a profile as long as a change explains more; then takes back what is not needed.
    fn climb(&self, mut profile: Profile, base: &Profile, evidence: &Evidence) -> Profile {
        let mut weight = evidence.weigh(&profile);
        loop {
            if weight.fits_all() || (self.over)() {
                break;
            }
            let tried: Vec<(&Move, Profile)> = self.tried(&profile);
            let profiles: Vec<&Profile> = tried.iter().map(|(_, profile)| profile).collect();
            let focus = weight.first_misfits(FOCUS);
            let before = evidence.weigh_some(&[&profile], &focus)[0];
            let sums = evidence.weigh_some(&profiles, &focus);
            let mut better: Vec<usize> = (0..tried.len()).filter(|at| sums[*at] > before).collect();
            // Stable: of those that explain as much the first one.
            better.sort_by_key(|at| std::cmp::Reverse(sums[*at]));
            let least = weight.sum();
            for at in better.into_iter().take(FINALISTS) {
                let Some(other) = tried[at].0.apply(&profile) else { continue };
                let heavier = evidence.weigh(&other);
                if heavier.sum() <= weight.sum() {
                    continue;
                }
                for key in other.differences(&profile) {
                    let (value, fit) = (key.text(&other), heavier.fitting());
                    let cases = evidence.cases();
                    (self.told)(&format!("{} = {value}: {fit} of {cases} cases fit", key.name));
                }
                (profile, weight) = (other, heavier);
            }
            if weight.sum() == least {
                break;
            }
        }
        self.take_back(profile, base, evidence)
    }

    /// Every change of a profile that gives another one, and that.
    fn tried(&self, profile: &Profile) -> Vec<(&Move, Profile)> {
        let apply = |change| Some((change, Move::apply(change, profile)?));
        self.changes.iter().filter_map(apply).collect()
    }

    /// Gives keys their base's value again, or a narrower one, where that explains as much.
    fn take_back(&self, mut profile: Profile, base: &Profile, evidence: &Evidence) -> Profile {
        let mut sum = evidence.weigh(&profile).sum();
        let differing: Vec<&'static Key> = profile.differences(base).collect();
        for key in differing {
            let mut without = profile.clone();
            let set = key.set_code(&mut without, key.code(base));
            if set.is_ok() && without.validate().is_ok() {
                let other = evidence.weigh(&without).sum();
                if other >= sum {
                    (profile, sum) = (without, other);
                    continue;
                }
            }
            let narrower = self.changes.iter().filter(|it| it.widens && it.concerns(key));
            for change in narrower {
                let Some(other) = change.apply(&profile) else { continue };
                if key.code(&other) >= key.code(&profile) {
                    continue;
                }
                if evidence.weigh(&other).sum() >= sum {
                    profile = other;
                    break;
                }
            }
        }
        profile
    }

    /// What is sure of every key, and what stays open.
    fn settle(&self, profile: &Profile, base: &Profile, evidence: &Evidence) -> Vec<Choice> {
        let tried = self.tried(profile);
        let profiles: Vec<&Profile> = tried.iter().map(|(_, profile)| profile).collect();
        let refusals = evidence.first_refusals(profile, &profiles);
        let choice = |key: &'static Key| {
            let given = moves::GIVEN.contains(&key.name);
            let of_key =
                || tried.iter().zip(&refusals).filter(|((it, _), _)| it.concerns(key) && !given);
            let text = |(change, other): &(&Move, Profile)| change.text(other);
            Choice {
                key,
                value: key.text(profile),
                base: key.text(base),
                refused: of_key()
                    .filter_map(|(one, refusal)| refusal.map(|case| (text(one), case)))
                    .collect(),
                open: of_key().filter(|(_, it)| it.is_none()).map(|(one, _)| text(one)).collect(),
                given,
            }
        };
        KEYS.iter().map(choice).collect()
    }
}
