//! Triage: the short list in the morning. Settled findings in groups, the likeliest faults first,
//! each with a guess at its cause.
//!
//! Findings are of one group when they break the same rule, show it in the same way and their
//! smallest programs ask for the same things: one fault often breaks a rule in several ways. What is
//! far rarer than another group, shows in the same way and asks for all that it asks for and more
//! is taken for the same fault in other surroundings. These are guesses as well, so a group lists all
//! its cases.

mod signatures;

use crate::campaign::Finding;
use crate::cause::Cause;
use crate::rules::{Level, Rule};
use crate::settle::Showing;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use trackproof_contract::{Case, Operation, Speed, Start};

/// So many times as frequent a group must be to take in another one.
const FAR_RARER: u64 = 50;

/// What of a settled finding tells which others are likely to come of the same fault.
#[derive(Debug, Clone)]
pub struct Symptom {
    /// The rule.
    pub rule: &'static Rule,
    /// How it is broken.
    pub kind: &'static str,
    pub(crate) showing: Showing,
    /// Whether its name rests on what explains it.
    pub explained: bool,
    /// What its program asks for, in words.
    pub shape: String,
    /// A sentence on the likely cause.
    pub likely: String,
}

impl Symptom {
    /// That of a settled finding.
    #[must_use]
    pub fn of(finding: &Finding) -> Self {
        Self {
            rule: finding.rule,
            kind: finding.kind,
            showing: match finding.deviation() {
                Some(deviation) => Showing::of(deviation),
                None if finding.misreading().is_some() => Showing::ChannelBits,
                None => Showing::Nothing,
            },
            explained: finding.cause.explains(),
            shape: shape(&finding.case),
            likely: likely(finding),
        }
    }
}

/// Findings that are likely to come of one fault.
#[derive(Debug, Clone)]
pub struct Group {
    /// The rule that they break.
    pub rule: &'static Rule,
    /// How the most frequent of them breaks it.
    pub kind: &'static str,
    /// What their smallest programs ask for, in words.
    pub shape: String,
    /// The places of the findings in the list that was given, the most frequent first.
    pub findings: Vec<usize>,
    /// Cases that they stand for.
    pub cases: u64,
    /// A sentence on the likely cause.
    pub likely: String,
}

/// Groups settled findings, each given with the number of cases that it stands for.
///
/// Order: rules of level `must` first; then what has an explanation before what only has a place;
/// then by the number of cases.
#[must_use]
pub fn groups<'a>(settled: impl IntoIterator<Item = (&'a Symptom, u64)>) -> Vec<Group> {
    let settled: Vec<(&Symptom, u64)> = settled.into_iter().collect();
    let mut by_key: BTreeMap<(&str, Showing, &str), Vec<usize>> = BTreeMap::new();
    for (place, (one, _)) in settled.iter().enumerate() {
        by_key.entry((one.rule.id, one.showing, &one.shape)).or_default().push(place);
    }
    let mut groups: Vec<(Showing, Group)> = by_key
        .into_iter()
        .map(|((_, showing, shape), mut findings)| {
            findings.sort_by_key(|place| (Reverse(settled[*place].1), *place));
            let first = settled[findings[0]].0;
            let cases = findings.iter().map(|place| settled[*place].1).sum();
            let (rule, kind, likely) = (first.rule, first.kind, first.likely.clone());
            (showing, Group { rule, kind, shape: shape.into(), findings, cases, likely })
        })
        .collect();
    groups.sort_by_key(|(_, group)| (Reverse(group.cases), group.rule.id));
    let mut kept: Vec<(Showing, Group)> = Vec::new();
    for (showing, group) in groups {
        match kept.iter_mut().find(|(of, other)| *of == showing && takes_in(other, &group)) {
            Some((_, other)) => {
                other.findings.extend(group.findings);
                other.cases += group.cases;
            }
            None => kept.push((showing, group)),
        }
    }
    let mut groups: Vec<Group> = kept.into_iter().map(|(_, group)| group).collect();
    groups.sort_by_key(|group| {
        let explained = settled[group.findings[0]].0.explained;
        (group.rule.level != Level::Must, !explained, Reverse(group.cases), group.rule.id)
    });
    groups
}

/// Whether a rare group is likely to be a frequent one in other surroundings.
fn takes_in(frequent: &Group, rare: &Group) -> bool {
    let asks = |group: &Group, thing: &str| group.shape.split(", ").any(|one| one == thing);
    frequent.cases >= rare.cases * FAR_RARER
        && frequent.shape.split(", ").all(|thing| asks(rare, thing))
}

/// A sentence on the likely cause of a finding; never as certain.
#[must_use]
pub fn likely(finding: &Finding) -> String {
    let may = signatures::of(finding.rule.id, finding.kind);
    let may = may.unwrap_or(finding.rule.catches);
    match &finding.cause {
        Cause::Place { .. } => format!("perhaps {may}"),
        cause => match cause.sentence() {
            Some(sentence) => format!("perhaps {may}; {sentence}"),
            None => format!("perhaps {may}"),
        },
    }
}

/// What a finding's program asks for, each thing once: drives and time are in every program.
fn shape(case: &Case) -> String {
    let mut asked: BTreeSet<&str> = case.program.iter().filter_map(asks).collect();
    if let Some(flux) = &case.flux {
        asked.insert(match flux.speed {
            Speed::Even { .. } => "flux at an even speed",
            Speed::Step { .. } => "a step of speed",
            Speed::Ramp { .. } => "a ramp of speed",
            Speed::Sinusoid { .. } => "a swinging speed",
        });
    }
    if asked.is_empty() { "nothing".into() } else { Vec::from_iter(asked).join(", ") }
}

const fn asks(operation: &Operation) -> Option<&'static str> {
    Some(match operation {
        Operation::Read { start: Start::Match, .. } => "read at a match",
        Operation::Read { .. } => "read",
        Operation::Write { start: Start::Match, .. } => "write at a match",
        Operation::Write { .. } => "write",
        Operation::PollStatus => "status",
        Operation::PollByte => "byte",
        Operation::Output { .. } => "output",
        Operation::Abort => "abort",
        Operation::Reset => "reset",
        Operation::SyncWord { .. } => "sync word",
        Operation::Step { .. } => "step",
        // Drives, settings and time: what is asked for is asked of them.
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::{Group, Symptom, likely, shape};
    use crate::campaign::Finding;
    use crate::generate::Generator;
    use crate::rules::Rule;
    use trackproof_contract::{Operation, Profile};

    fn finding(rule: &str, kind: &'static str, program: Vec<Operation>) -> Finding {
        let mut case = Generator::new(Profile::sync_dma()).case(1, 0);
        case.program = program;
        Finding::told(0, case, Rule::find(rule).unwrap(), kind)
    }

    fn groups(settled: &[(Finding, u64)]) -> Vec<Group> {
        let symptoms: Vec<_> =
            settled.iter().map(|(one, cases)| (Symptom::of(one), *cases)).collect();
        super::groups(symptoms.iter().map(|(one, cases)| (one, *cases)))
    }

    #[test]
    fn one_rule_shown_alike_is_one_group_and_frequent_groups_come_first() {
        let reset = || vec![Operation::Select { mask: 1 }, Operation::Reset];
        let settled = [
            (finding("reset.clean", "stale-word", reset()), 3),
            (finding("reset.clean", "foreign-words", vec![Operation::Reset]), 5),
            (finding("reset.clean", "foreign-words", vec![Operation::Abort]), 1),
            (finding("transfer.done", "not-due", vec![]), 90),
        ];
        let groups = groups(&settled);
        let told: Vec<_> = groups.iter().map(|g| (g.rule.id, g.kind, g.cases)).collect();
        assert_eq!(
            told,
            [
                ("transfer.done", "not-due", 90),
                ("reset.clean", "foreign-words", 8),
                ("reset.clean", "foreign-words", 1)
            ]
        );
        assert_eq!(groups[1].findings, [1, 0]);
        assert_eq!(groups[0].shape, "nothing");
    }

    #[test]
    fn what_is_far_rarer_and_asks_for_more_is_taken_in() {
        let (poll, output) = (Operation::PollStatus, Operation::Output { value: 1 });
        let of = |kind, program: &[&Operation], cases| {
            let program = program.iter().copied().cloned().collect();
            (finding("sync.start", kind, program), cases)
        };
        let other = finding("sync.wrap", "no-start", vec![poll.clone(), output.clone()]);
        let settled = [of("late-start", &[&poll], 500), (other.clone(), 10)];
        assert_eq!(groups(&settled).len(), 1);
        assert_eq!(groups(&settled)[0].findings, [0, 1]);
        let settled = [of("late-start", &[&poll], 499), (other.clone(), 10)];
        assert_eq!(groups(&settled).len(), 2, "not so rare");
        let settled = [of("late-start", &[&poll, &Operation::Abort], 500), (other, 10)];
        assert_eq!(groups(&settled).len(), 2, "the frequent one asks for something else");
    }

    #[test]
    fn a_cause_is_told_as_a_guess() {
        let one = finding("sync.realign", "slipped-words", vec![Operation::PollStatus]);
        assert!(likely(&one).starts_with("perhaps the words are right but late"));
        assert_eq!(shape(&one.case), "status");
    }
}
