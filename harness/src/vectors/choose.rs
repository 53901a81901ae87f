//! Choosing: of many candidates those that tell the most faults apart, a few for each rule.

use super::Vector;
use super::draw::{Candidate, Goal};
use crate::rules::RULES;
use std::collections::BTreeMap;

/// Adds to a candidate's events, so that short ones are preferred and not by too much.
const BASE_EVENTS: u64 = 80;

/// Vectors that each rule gets first, if there are candidates; then the most telling ones follow.
const FOR_EACH_RULE: usize = 3;

/// Takes the candidates that tell the most that no vector tells yet. What was told often counts less
/// and less.
pub(super) fn choose(pool: Vec<Candidate>, count: usize) -> Vec<Vector> {
    let mut pool: Vec<Option<Candidate>> = pool.into_iter().map(Some).collect();
    let mut told: BTreeMap<Goal, u64> = BTreeMap::new();
    let mut vectors = Vec::new();
    let in_cases = || RULES.iter().filter(|rule| rule.shows_in_cases());
    let mut turns = (0..FOR_EACH_RULE).flat_map(|_| in_cases().map(|rule| rule.id));
    while vectors.len() < count {
        let turn = turns.next();
        let gains = pool.iter().enumerate().filter_map(|(at, candidate)| {
            let (rule, gain) = gain(candidate.as_ref()?, turn, &told)?;
            Some((gain, at, rule))
        });
        // The first of equals.
        let Some((_, at, rule)) = gains.max_by_key(|(gain, at, _)| (*gain, usize::MAX - at)) else {
            if turn.is_some() {
                continue;
            }
            break;
        };
        let Some(candidate) = pool[at].take() else { break };
        for (goal, of) in candidate.goals {
            // What is told about another rule than the vector's own counts half.
            *told.entry(goal).or_default() += if of.is_none_or(|of| of == rule) { 2 } else { 1 };
        }
        vectors.push(Vector { rule, ..candidate.vector });
    }
    vectors
}

/// What a candidate adds to what is told, and about which rule the most of it is: the one of
/// `turn` if there is one, else the most telling. None if it says nothing of it.
fn gain(
    candidate: &Candidate,
    turn: Option<&'static str>,
    told: &BTreeMap<Goal, u64>,
) -> Option<(&'static str, u64)> {
    let mut about: BTreeMap<&'static str, u64> = BTreeMap::new();
    let mut beside = 0;
    for (goal, of) in &candidate.goals {
        let times = told.get(goal).copied().unwrap_or(0);
        let weight: u64 = match goal {
            Goal::Hypothesis(_) => 1 << 24,
            Goal::NearMiss(..) => 1 << 23,
            Goal::NearMissAt(..) => 1 << 18,
            Goal::Feature(_) => 1 << 14,
        };
        let worth = weight / (1 + times * times);
        match of {
            Some(rule) => *about.entry(rule).or_default() += worth,
            None => beside += worth,
        }
    }
    let best = about
        .iter()
        .filter(|(rule, _)| turn.is_none_or(|turn| turn == **rule))
        .max_by_key(|(_, worth)| **worth)?;
    let others = about.values().sum::<u64>() - best.1;
    let all = best.1 + (others + beside) / 16;
    (*best.1 > 0).then(|| (*best.0, all * 256 / (BASE_EVENTS + candidate.events as u64)))
}
