//! Vectors against the judge, on what the samples show, right and with every fault: what is listed is
//! allowed, and what is allowed is listed.

use trackproof::judge::Judge;
use trackproof::vectors::{Corpus, MAX_COUNT, Plan};
use trackproof::verdict::Verdict;
use trackproof_contract::{Observation, Profile, Rig};
use trackproof_samples::find;
use trackproof_tests::profile::with;

/// Seed 11 has reads of no words one after the other, whose done signals overlap.
const SEED: u64 = 11;

fn corpus(profile: Profile, seed: u64, cases: u64) -> Corpus {
    let name = "a test's".into();
    Corpus::make(Plan { profile, profile_name: name, seed, cases, count: MAX_COUNT as usize })
}

/// Holds list and judge together on all that a sample shows; how often it was not allowed.
fn agree(sample: &str, faults: &[&str], corpus: &Corpus) -> usize {
    let open = find(sample).expect("a sample").open(faults).expect("it opens");
    let mut rig = open.rig().expect("a rig");
    let capabilities = rig.capabilities();
    let (mut judge, mut seen, mut wrong) = (Judge::new(), Observation::new(), 0);
    for vector in &corpus.vectors {
        assert!(vector.note().shows_in_cases(), "{}", vector.id());
        rig.run(&vector.case, &mut seen).expect("an observation");
        let listed = vector.allows(&seen, capabilities);
        match judge.judge(&vector.case, &seen, capabilities) {
            Verdict::Conforms => assert!(
                listed,
                "{sample} {faults:?}: {} of {:?} lists {:?}, but not {seen:?}",
                vector.id(),
                vector.case.program,
                vector.outcomes
            ),
            Verdict::Deviates(deviation) => {
                wrong += 1;
                assert!(
                    !listed,
                    "{sample} {faults:?}: {} lists what breaks {}: {seen:?}",
                    vector.id(),
                    deviation.rule.id
                );
            }
            _ => {}
        }
    }
    wrong
}

fn with_every_fault(sample: &str, cases: u64) {
    let corpus = corpus(Profile::built_in(sample).expect("a profile"), SEED, cases);
    assert!(corpus.vectors.len() > cases as usize / 5, "{} vectors", corpus.vectors.len());
    assert_eq!(agree(sample, &[], &corpus), 0);
    let faults = &find(sample).expect("a sample").faults;
    let shown = faults.iter().filter(|one| agree(sample, &[&one.name], &corpus) > 0).count();
    assert!(shown > faults.len() / 2, "{shown} of {} faults show", faults.len());
}

#[test]
fn what_sync_dma_shows_is_listed_where_it_is_allowed() {
    with_every_fault("sync-dma", 300);
}

#[test]
fn what_byte_stream_shows_is_listed_where_it_is_allowed() {
    with_every_fault("byte-stream", 300);
}

#[test]
fn other_profiles_are_listed_as_well() {
    for values in [
        [("flag", "latched-clear-on-read"), ("slack_max", "9"), ("overrun", "stop")],
        [("flag", "event"), ("latch_words", "2"), ("misaligned_match", "realign-deliver")],
        [("partial", "finish"), ("start_busy", "replace"), ("read_done", "last-completed")],
        [("write_done", "last-bit"), ("lost_tail", "5"), ("underrun", "hold")],
        [("start_busy", "error"), ("no_drive_read", "nothing"), ("sync_write", "halves")],
    ] {
        let profile = with(Profile::sync_dma(), &values);
        let corpus = corpus(profile, SEED, 100);
        assert!(corpus.vectors.len() >= 10, "{values:?}: {} vectors", corpus.vectors.len());
        assert_eq!(agree("sync-dma", &[], &corpus), 0, "{values:?}");
    }
}

#[test]
#[ignore = "long suite: 12 seeds of both profiles"]
fn right_samples_agree_with_vectors_of_any_seed() {
    for seed in 1..=12 {
        for sample in ["sync-dma", "byte-stream"] {
            let corpus = corpus(Profile::built_in(sample).expect("a profile"), seed, 300);
            assert_eq!(agree(sample, &[], &corpus), 0, "{sample}, seed {seed}");
        }
    }
}
