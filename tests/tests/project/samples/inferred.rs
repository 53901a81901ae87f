//! The choices of an implementation are found out by what it does alone.

use super::choosing::choosing;
use trackproof::infer::{Inferred, Question, infer};
use trackproof_contract::{Profile, Rig};
use trackproof_samples::OpenSample;
use trackproof_tests::profile::with;

const CASES: u64 = 60;

fn opened(faults: &[&str]) -> OpenSample {
    trackproof_samples::find("sync-dma").unwrap().open(faults).unwrap()
}

/// What is inferred of a sample that chooses `profile`, from a base.
fn inferred(sample: &OpenSample, profile: &Profile, base: Profile) -> Inferred {
    let question = Question {
        bases: vec![("base".to_owned(), base)],
        declared: None,
        seed: 1,
        cases: CASES,
        jobs: 2,
    };
    let factory = || Ok(Box::new(choosing(sample, profile)) as Box<dyn Rig>);
    infer(&question, &factory, &|| false, &|_| {}).unwrap()
}

#[test]
fn choices_other_than_the_bases_are_found() {
    let settings = [
        ("start_match", "deliver"),
        ("counter", "zeroed-at-start"),
        ("overrun", "lose-old"),
        ("fifo_words", "2"),
        ("flag", "latched-clear-on-read"),
        ("start_busy", "error"),
        ("underrun", "repeat"),
        ("match_to_write", "9"),
    ];
    let profile = with(Profile::sync_dma(), &settings);
    let found = inferred(&opened(&[]), &profile, Profile::sync_dma());
    let contradictions = found.contradictions.len();
    assert_eq!(contradictions, 0, "{:?}", found.contradictions);
    for (key, value) in settings {
        let choice = found.choices.iter().find(|choice| choice.key.name == key).unwrap();
        // Within the jitter of a match.
        let near = key == "match_to_write" && ["8", "9", "10"].contains(&choice.value.as_str());
        assert!(choice.value == value || near, "{key} = {}, not {value}", choice.value);
        assert!(choice.differs());
        assert!(!choice.refused.is_empty(), "{key}: nothing refuses another value");
    }
    // Nothing else is changed that the base explains as well.
    let others = found.choices.iter().filter(|choice| choice.differs()).count();
    assert_eq!(others, settings.len());
}

#[test]
fn a_profile_far_from_the_base_is_found_from_there() {
    let profile = Profile::byte_stream();
    let found = inferred(&opened(&[]), &profile, Profile::sync_dma());
    assert!(found.contradictions.is_empty(), "{:?}", found.contradictions);
    for choice in &found.choices {
        let due = choice.key.text(&profile);
        let open = choice.open.iter().any(|value| value.split("..").any(|part| part == due));
        assert!(choice.value == due || open, "{:?} is {}, not {due}", choice.key, choice.value);
    }
}

#[test]
fn what_no_choice_explains_is_told() {
    let base = Profile::sync_dma();
    let found = inferred(&opened(&["even-phase-only"]), &base, base.clone());
    assert!(!found.contradictions.is_empty());
    assert!(found.allowed < found.cases);
}
