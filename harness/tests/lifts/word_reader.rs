//! Word readers on their lift: right ones are not accused, spoiled ones are.

use crate::checked::{check, rules_of};
use crate::small_reader::{SmallReader, Spoiled};
use std::sync::Arc;
use trackproof::campaign::Summary;
use trackproof::lift::word_reader;
use trackproof_contract::{Capabilities, Capability, Profile, SeamError, WordReader};

fn check_small(spoiled: Spoiled, cases: u64) -> Summary {
    let profile = Profile::sync_dma();
    check(&profile, cases, || word_reader::rig(Arc::new(move || SmallReader::new(spoiled))))
}

/// Hands out a word every W bits from power-up on, W being the profile's.
#[derive(Default)]
struct Framer {
    register: u64,
    counted: u16,
    word_bits: u16,
    /// Loses this bit of each 64.
    loses: Option<u64>,
    bits: u64,
}

impl WordReader for Framer {
    fn power_up(&mut self, profile: &Profile) -> Result<(), SeamError> {
        self.word_bits = profile.word_bits;
        Ok(())
    }

    fn shift_in(&mut self, bit: bool) -> Result<Option<u64>, SeamError> {
        self.bits += 1;
        if self.loses == Some(self.bits % 64) {
            return Ok(None);
        }
        self.register = self.register << 1 | u64::from(bit);
        self.counted = (self.counted + 1) % self.word_bits;
        let word = self.register & !(!0 << self.word_bits);
        Ok((self.counted == 0).then_some(word))
    }
}

fn check_framer(profile: &Profile, loses: Option<u64>) -> Summary {
    let make = move || Framer { loses, ..Framer::default() };
    check(profile, 1_500, || word_reader::rig(Arc::new(make)))
}

#[test]
fn a_right_reader_is_not_accused() {
    let summary = check_small(Spoiled::Nothing, 4_000);
    assert_eq!(rules_of(&summary), [""; 0]);
    assert!(summary.judged > 3_000, "{} judged", summary.judged);
    assert!(summary.compared.bytes > 100 && summary.compared.signals > 100);
    assert!(summary.compared.status_bits > 100 && summary.lent.is_empty());
    // It has every method but `match_signal`.
    let listed = word_reader::METHODS.iter().flat_map(|(_, list)| *list);
    let listed = listed.filter(|one| **one != Capability::MatchSignal);
    assert_eq!(summary.capabilities, listed.fold(Capabilities::NONE, |set, one| set.with(*one)));
}

#[test]
fn each_spoiled_reader_is_accused() {
    for (spoiled, rule) in [
        (Spoiled::NeverRealigns, "sync.realign"),
        (Spoiled::EvenPhasesOnly, "sync.phase"),
        (Spoiled::StraddlesSources, "sync.source"),
        (Spoiled::LosesOldest, "transfer.stall"),
        (Spoiled::DoneEarly, "transfer.done"),
        (Spoiled::AbortKeepsWords, "transfer.quiet"),
        (Spoiled::ResetKeepsSync, "reset.clean"),
    ] {
        let rules = rules_of(&check_small(spoiled, 2_000));
        assert!(rules.contains(&rule), "{spoiled:?}: {rules:?}");
    }
}

#[test]
fn a_framer_is_held_to_its_words_alone() {
    for profile in [
        Profile::sync_dma(),
        Profile { word_bits: 8, fifo_words: 1, ..Profile::sync_dma() },
        Profile { word_bits: 32, slack_min: 7, slack_max: 9, ..Profile::sync_dma() },
        Profile {
            overrun: trackproof_contract::Overrun::LoseOld,
            start_busy: trackproof_contract::StartBusy::Replace,
            ..Profile::sync_dma()
        },
        Profile { overrun: trackproof_contract::Overrun::Stop, ..Profile::sync_dma() },
    ] {
        let summary = check_framer(&profile, None);
        assert_eq!(rules_of(&summary), [""; 0], "{profile:?}");
        assert!(summary.judged > 20 && summary.words > 500, "{} judged", summary.judged);
        assert!(summary.beside > 0 && summary.skipped > 0);
        let skipped: Vec<&str> = summary.skipped_rules().map(|(rule, _)| rule.id).collect();
        for rule in ["transfer.count", "transfer.stall", "sync.start", "transfer.done"] {
            assert!(skipped.contains(&rule), "{skipped:?}");
        }
        assert!(!skipped.contains(&"raw.contiguous"));
    }
    let rules = rules_of(&check_framer(&Profile::sync_dma(), Some(33)));
    assert!(rules.contains(&"raw.contiguous"), "{rules:?}");
}

#[test]
fn what_is_not_there_is_not_judged() {
    struct Nothing;
    impl WordReader for Nothing {
        fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> {
            Err(SeamError::NotSupported)
        }
    }
    let make = || word_reader::rig(Arc::new(|| Nothing));
    assert!(!make().capabilities().has(Capability::Read));
    let summary = check(&Profile::sync_dma(), 500, make);
    assert!(summary.compared_nothing());
}

#[test]
fn a_reader_that_breaks_the_seams_rules_gets_no_verdict() {
    /// Says that its first `shift_in` is there, and that its second is not.
    #[derive(Default)]
    struct Fickle(bool);
    impl WordReader for Fickle {
        fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> {
            if std::mem::replace(&mut self.0, true) {
                return Err(SeamError::NotSupported);
            }
            Ok(None)
        }
    }
    struct Wide;
    impl WordReader for Wide {
        fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> {
            Ok(Some(1 << 16))
        }
    }
    struct Broken;
    impl WordReader for Broken {
        fn shift_in(&mut self, _: bool) -> Result<Option<u64>, SeamError> {
            Err(SeamError::failed("the glass is empty"))
        }
    }
    for (rig, why) in [
        (word_reader::rig(Arc::new(Fickle::default)), "always or never"),
        (word_reader::rig(Arc::new(|| Wide)), "10000, wider than the profile's 16 bits"),
        (word_reader::rig(Arc::new(|| Broken)), "`shift_in`: the glass is empty"),
    ] {
        let error = crate::checked::first_error(rig);
        assert!(error.contains(why), "{error}");
    }
}
