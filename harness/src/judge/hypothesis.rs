//! Hypotheses: what the implementation may be doing instead.
//!
//! A deviation is best named by what would explain it. Each hypothesis changes one thing about the
//! case or the observation, a key of the profile, the number of words asked for, the order of two
//! words, and the same observation is judged again. If all of it is allowed then, the
//! implementation behaves just as the hypothesis says, wherever the deviation happened to show.

use super::departure::{departure, departures};
use crate::rules::Rule;
use crate::verdict::Deviation;
use trackproof_contract::{
    Action, Case, Event, Item, KEYS, Observation, Operation, Profile, Start, Status,
};
use trackproof_model::reader::rejection::Mismatch;
use trackproof_model::reader::supposition::Supposition;

/// One thing that may be otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Hypothesis {
    /// A key of the profile has another value.
    Key {
        /// The key.
        key: String,
        /// Its value.
        value: String,
    },
    /// The implementation departs from the text in a way that no profile has.
    Departs(Supposition),
    /// The bytes of every word are exchanged.
    BytesExchanged,
    /// The bits of every word come in the other order.
    BitsReversed,
    /// Every transfer of more than one word is for one less.
    AllShort,
    /// Every transfer is for one word more.
    AllLong,
    /// The transfer is for one word more.
    WordMore,
    /// The transfer is for one word less.
    WordLess,
    /// The word and the next one are exchanged.
    Exchanged,
    /// The request had come earlier.
    Earlier {
        /// By this many channel bits.
        bits: u32,
    },
}

/// The keys that hypotheses try, the values they try, and the rule that tells those from others.
const KEY_HYPOTHESES: &[(&str, &[&str], &str)] = &[
    ("straddle", &["allowed"], "sync.source"),
    ("realign", &["first", "never", "every"], "sync.realign"),
    ("start_match", &["deliver", "drop"], "sync.start"),
    ("misaligned_match", &["realign-drop", "realign-deliver", "ignore"], "sync.realign"),
    ("aligned_match", &["word", "drop"], "sync.double"),
    ("partial", &["drop", "pad-low", "finish"], "sync.realign"),
    ("refractory", &["0", "7", "15", "16"], "sync.overlap"),
    ("latch_words", &["1", "2"], "raw.fresh"),
    ("counter", &["free-running", "zeroed-at-start"], "raw.contiguous"),
    ("read_join", &["no", "yes"], "transfer.split"),
    ("sync_on_live", &["realign", "next-transfer"], "sync.change"),
    ("sync_off_waiting", &["start", "wait"], "sync.change"),
    ("sync_write", &["whole", "halves"], "sync.change"),
    ("flag_when_off", &["no", "yes"], "sync.flag"),
    ("flag", &["level", "latched-clear-on-read", "latched-clear-on-start", "event"], "sync.flag"),
    ("byte", &["channel-8", "data-8"], "byte.poll"),
    ("overrun", &["lose-new", "lose-old", "stop"], "transfer.stall"),
    ("error_flag", &["none", "sticky", "per-transfer"], "transfer.stall"),
    ("read_done", &["last-stored", "last-completed"], "transfer.done"),
    ("start_busy", &["ignore", "replace", "error"], "transfer.rearm"),
    ("zero_words", &["none", "maximum"], "transfer.count"),
    ("reset_clears_register", &["no", "yes"], "reset.clean"),
    ("no_drive_read", &["zeros", "ones", "nothing"], "select.answer"),
    ("underrun", &["repeat", "zeros", "close-gate", "hold"], "transfer.stall"),
    ("write_done", &["last-fetched", "last-bit", "gate-off"], "transfer.done"),
    ("index_edge", &["leading", "trailing"], "write.start"),
    ("tail_pulse", &["no", "yes"], "write.guard"),
    ("write_join", &["no", "yes"], "transfer.split"),
    ("first_context", &["0", "1", "last"], "clock.context"),
];

/// The keys whose numbers hypotheses try, the rule that tells those from others, and the kind.
const NUMBER_HYPOTHESES: &[(&str, &str, &str)] = &[
    ("fifo_words", "transfer.stall", "like-other-fifo-words"),
    ("sync_mask", "sync.start", "like-other-sync-mask"),
    ("match_to_write", "write.start", "like-other-match-to-write"),
    ("lost_tail", "write.words", "like-other-lost-tail"),
];

/// Other values of those keys: a word of the FIFO or a bit of the comparator more or less, a start
/// some bits away, any part of the last word.
fn other_numbers(profile: &Profile) -> impl Iterator<Item = (&'static str, String)> {
    let fifo = [-1, 1].map(|by| ("fifo_words", i64::from(profile.fifo_words) + by));
    let start = [1, -1, 2, -2, 8, -8, 16, -16];
    let start = start.map(|by| ("match_to_write", i64::from(profile.match_to_write) + by));
    let tail = (0..i64::from(profile.word_bits)).map(|bits| ("lost_tail", bits));
    let numbers = fifo.into_iter().chain(start).chain(tail);
    let numbers = numbers.map(|(key, number)| (key, number.to_string()));
    let (bits, mask) = (profile.register_bits, profile.sync_mask);
    let masks = (0..bits).map(move |bit| ("sync_mask", format!("{:x}", mask ^ 1 << bit)));
    numbers.chain(masks)
}

impl Hypothesis {
    /// Every hypothesis about an implementation as such, the most telling first.
    #[must_use]
    pub fn of_implementation(profile: &Profile) -> Vec<Self> {
        let mut all: Vec<Self> = Vec::new();
        for (key, values, _) in KEY_HYPOTHESES {
            let own = KEYS.iter().find(|one| one.name == *key).map(|one| one.text(profile));
            all.extend(
                values
                    .iter()
                    .filter(|value| own.as_deref() != Some(*value))
                    .map(|value| Self::Key { key: (*key).into(), value: (*value).into() }),
            );
        }
        all.extend(departures(profile).map(Self::Departs));
        all.extend(other_numbers(profile).filter_map(|(key, value)| {
            let known = Profile::key(key).ok()?;
            let other = known.set_text(&mut profile.clone(), &value).is_ok();
            (other && known.text(profile) != value).then(|| Self::Key { key: key.into(), value })
        }));
        all.extend([Self::BytesExchanged, Self::BitsReversed, Self::AllShort, Self::AllLong]);
        all
    }

    /// What the model is to suppose, beside the profile.
    #[must_use]
    pub const fn supposition(&self) -> Supposition {
        match self {
            Self::Departs(supposition) => *supposition,
            _ => Supposition::None,
        }
    }

    /// Every hypothesis about one transfer.
    #[must_use]
    pub fn of_transfer(profile: &Profile) -> Vec<Self> {
        let reach = u32::from(profile.register_bits) + 2;
        [Self::Exchanged, Self::WordLess, Self::WordMore]
            .into_iter()
            .chain((1..=reach).map(|bits| Self::Earlier { bits }))
            .collect()
    }

    /// Whether it could have anything to do with what deviates.
    #[must_use]
    pub fn concerns(&self, deviation: &Deviation) -> bool {
        let mismatch = deviation.rejection.mismatch;
        let words = matches!(
            mismatch,
            Mismatch::WordValue
                | Mismatch::WordMissing
                | Mismatch::WordExtra
                | Mismatch::WordAfterEnd
        );
        let byte = matches!(
            mismatch,
            Mismatch::ByteValue | Mismatch::ByteFlagSet | Mismatch::ByteFlagClear
        );
        let status = |bit: Status| {
            matches!(mismatch, Mismatch::StatusBits { bits }
            if bits.status().has(bit))
        };
        let flag = mismatch.is_match_flag();
        let done =
            status(Status::DONE) || matches!(mismatch, Mismatch::DoneExtra | Mismatch::DoneMissing);
        // Words that were read wrong may be written, and a read that ends early lets a write in.
        let media = matches!(mismatch, Mismatch::Media(_));
        match self {
            Self::Key { key, .. } => match key.as_str() {
                "flag" | "flag_when_off" => flag,
                "straddle" => words || byte || flag,
                "byte" => byte,
                "error_flag" => status(Status::ERROR),
                "read_done" | "write_done" => done,
                "sync_mask" => words || flag || done || media,
                "start_busy" | "zero_words" => !byte && !flag,
                "realign" | "misaligned_match" | "refractory" => !flag,
                // Other words in the FIFO show in the error bit and in done as well.
                _ => words || done || media || status(Status::ERROR),
            },
            // The byte port is not compared when the word counter is supposed to slip.
            Self::Departs(Supposition::Slip { .. }) => words || status(Status::ERROR),
            Self::Departs(_) => true,
            Self::AllShort | Self::AllLong => words || done || media || status(Status::ERROR),
            Self::WordMore | Self::WordLess => words || done || status(Status::ERROR),
            Self::BytesExchanged => media || mismatch == Mismatch::WordValue,
            Self::BitsReversed => mismatch == Mismatch::WordValue,
            Self::Exchanged => mismatch == Mismatch::WordValue,
            // A word that does not come speaks for no earlier request.
            Self::Earlier { .. } => {
                words && mismatch != Mismatch::WordMissing || status(Status::ERROR)
            }
        }
    }

    /// The rule that is broken when the hypothesis holds.
    #[must_use]
    pub fn rule(&self) -> &'static Rule {
        let id = match self {
            Self::Key { key, .. } => {
                let named = KEY_HYPOTHESES.iter().map(|(name, _, rule)| (name, rule));
                let numbers = NUMBER_HYPOTHESES.iter().map(|(name, rule, _)| (name, rule));
                let known = named.chain(numbers).find(|(name, _)| *name == key);
                known.map_or("transfer.count", |(_, rule)| rule)
            }
            Self::Departs(supposition) => departure(*supposition).0,
            Self::AllShort | Self::AllLong | Self::WordMore | Self::WordLess => "transfer.count",
            Self::Exchanged | Self::BytesExchanged | Self::BitsReversed => "transfer.order",
            Self::Earlier { .. } => "sync.start",
        };
        Rule::find(id).expect("hypotheses name rules of the catalogue")
    }

    /// The finding's kind.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Key { key, value } => NUMBER_HYPOTHESES
                .iter()
                .find(|(name, _, _)| name == key)
                .map_or_else(|| key_kind(key, value), |(_, _, kind)| *kind),
            Self::Departs(supposition) => departure(*supposition).1,
            Self::AllLong | Self::WordMore => "one-word-more",
            Self::AllShort | Self::WordLess => "one-word-less",
            Self::Exchanged => "words-exchanged",
            Self::BytesExchanged => "bytes-exchanged",
            Self::BitsReversed => "bits-reversed",
            Self::Earlier { .. } => "match-before-request",
        }
    }

    /// What it says, in a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        match self {
            Self::Key { key, value } => {
                format!("the implementation behaves as a profile with {key} = {value} would")
            }
            Self::Departs(supposition) => {
                format!("the implementation behaves as if {}", departure(*supposition).2)
            }
            Self::AllShort => "every transfer of more than one word is for one word less".into(),
            Self::AllLong => "every transfer is for one word more".into(),
            Self::WordMore => {
                "the implementation behaves as if one word more were asked for".into()
            }
            Self::WordLess => {
                "the implementation behaves as if one word less were asked for".into()
            }
            Self::Exchanged => "all is right when this word and the next are exchanged".into(),
            Self::BytesExchanged => {
                "all is right when the bytes of every word are exchanged".into()
            }
            Self::BitsReversed => {
                "all is right when the bits of every word are taken the other way round".into()
            }
            Self::Earlier { bits } => format!(
                "the implementation behaves as if the request had come {bits} channel bits earlier"
            ),
        }
    }

    /// Case and observation as a hypothesis about the implementation has them; none where they
    /// cannot be so.
    #[must_use]
    pub fn of_all(&self, case: &Case, observation: &Observation) -> Option<(Case, Observation)> {
        let (mut case, mut observation) = (case.clone(), observation.clone());
        match self {
            Self::Key { key, value } => {
                Profile::key(key).ok()?.set_text(&mut case.profile, value).ok()?;
            }
            Self::BytesExchanged => {
                for seen in &mut observation.items {
                    if let Item::Word { value, .. } = &mut seen.item {
                        *value = match case.profile.word_bits {
                            16 => u64::from((*value as u16).swap_bytes()),
                            32 => u64::from((*value as u32).swap_bytes()),
                            _ => return None,
                        };
                    }
                }
            }
            Self::BitsReversed => {
                for seen in &mut observation.items {
                    if let Item::Word { value, .. } = &mut seen.item {
                        *value = value.reverse_bits() >> (64 - u32::from(case.profile.word_bits));
                    }
                }
            }
            Self::AllShort | Self::AllLong => {
                for operation in &mut case.program {
                    match operation {
                        Operation::Read { words: 0, .. } => {}
                        Operation::Read { words, .. } if *self == Self::AllLong => *words += 1,
                        Operation::Read { words, .. } => *words = (*words - 1).max(1),
                        _ => {}
                    }
                }
            }
            _ => {}
        }
        case.validate().ok()?;
        Some((case, observation))
    }

    /// The case and the observation as the hypothesis has them; none where it changes nothing or
    /// cannot be.
    #[must_use]
    pub fn apply(
        &self,
        case: &Case,
        observation: &Observation,
        deviation: &Deviation,
        event: &Event,
    ) -> Option<(Case, Observation)> {
        let (mut case, mut observation) = self.of_all(case, observation)?;
        match self {
            Self::Key { .. }
            | Self::Departs(_)
            | Self::BytesExchanged
            | Self::BitsReversed
            | Self::AllShort
            | Self::AllLong => {}
            Self::WordMore | Self::WordLess => {
                let Operation::Read { words, .. } = subject(&mut case, deviation, event)? else {
                    return None;
                };
                *words = if *self == Self::WordMore { *words + 1 } else { words.checked_sub(1)? };
                // None would mean something else.
                if *words == 0 {
                    return None;
                }
                case.validate().ok()?;
            }
            Self::Exchanged => observation = exchanged(&observation, deviation)?,
            Self::Earlier { bits } => {
                let by_ns = u64::from(*bits) * u64::from(case.profile.channel_bit_ns);
                let index = index_of(&case, deviation, event)?;
                let Operation::Read { start: Start::Match, .. } = case.program.get(index)? else {
                    return None;
                };
                let Some(Operation::Wait { ns }) = case.program[..index].last_mut() else {
                    return None;
                };
                *ns = ns.checked_sub(by_ns)?;
                if let Operation::Read { service, .. } = &mut case.program[index] {
                    service.first_ns += by_ns;
                    for stall in &mut service.stalls {
                        stall.from_ns += by_ns;
                    }
                }
                case.program.insert(index + 1, Operation::Wait { ns: by_ns });
            }
        }
        Some((case, observation))
    }
}

/// The observation with the wrong word and the transfer's next one exchanged.
pub(crate) fn exchanged(observation: &Observation, deviation: &Deviation) -> Option<Observation> {
    if deviation.rejection.mismatch != Mismatch::WordValue {
        return None;
    }
    let transfer = deviation.transfer?;
    let mut places = (deviation.rejection.item..observation.items.len()).filter(|place| {
        matches!(observation.items[*place].item, Item::Word { transfer: of, .. } if of == transfer)
    });
    let (one, other) = (places.next()?, places.next()?);
    let (first, second) = (observation.items[one].item, observation.items[other].item);
    if first == second {
        return None;
    }
    let mut exchanged = observation.clone();
    exchanged.items[one].item = second;
    exchanged.items[other].item = first;
    Some(exchanged)
}

/// The index of the request that a deviation concerns.
fn index_of(case: &Case, deviation: &Deviation, event: &Event) -> Option<usize> {
    if let Action::Service { .. } = event.action {
        return Some(event.operation as usize);
    }
    let transfer = deviation.transfer? as usize;
    let mut requests = (0..case.program.len())
        .filter(|index| matches!(case.program[*index], Operation::Read { .. }));
    requests.nth(transfer)
}

/// The request that a deviation concerns; without one the last before it.
fn subject<'a>(
    case: &'a mut Case,
    deviation: &Deviation,
    event: &Event,
) -> Option<&'a mut Operation> {
    let index = index_of(case, deviation, event).or_else(|| {
        case.program
            .iter()
            .take(event.operation as usize + 1)
            .rposition(|operation| matches!(operation, Operation::Read { .. }))
    })?;
    case.program.get_mut(index)
}

/// Kinds are static words: one for each key and value there is a hypothesis for.
fn key_kind(key: &str, value: &str) -> &'static str {
    macro_rules! kinds {
        ($($key:literal, $value:literal => $kind:literal;)+) => {
            match (key, value) {
                $(($key, $value) => $kind,)+
                _ => "like-another-profile",
            }
        };
    }
    kinds! {
        "straddle", "allowed" => "like-straddle-allowed";
        "realign", "first" => "like-realign-first";
        "realign", "never" => "like-realign-never";
        "realign", "every" => "like-realign-every";
        "start_match", "deliver" => "like-start-match-deliver";
        "start_match", "drop" => "like-start-match-drop";
        "misaligned_match", "realign-drop" => "like-misaligned-match-realign-drop";
        "misaligned_match", "realign-deliver" => "like-misaligned-match-realign-deliver";
        "misaligned_match", "ignore" => "like-misaligned-match-ignore";
        "aligned_match", "word" => "like-aligned-match-word";
        "aligned_match", "drop" => "like-aligned-match-drop";
        "partial", "drop" => "like-partial-drop";
        "partial", "pad-low" => "like-partial-pad-low";
        "partial", "finish" => "like-partial-finish";
        "refractory", "0" => "like-refractory-0";
        "refractory", "7" => "like-refractory-7";
        "refractory", "15" => "like-refractory-15";
        "refractory", "16" => "like-refractory-16";
        "latch_words", "1" => "like-latch-words-1";
        "latch_words", "2" => "like-latch-words-2";
        "counter", "free-running" => "like-counter-free-running";
        "counter", "zeroed-at-start" => "like-counter-zeroed-at-start";
        "read_join", "no" => "like-read-join-no";
        "read_join", "yes" => "like-read-join-yes";
        "sync_on_live", "realign" => "like-sync-on-live-realign";
        "sync_on_live", "next-transfer" => "like-sync-on-live-next-transfer";
        "sync_off_waiting", "start" => "like-sync-off-waiting-start";
        "sync_off_waiting", "wait" => "like-sync-off-waiting-wait";
        "flag_when_off", "no" => "like-flag-when-off-no";
        "flag_when_off", "yes" => "like-flag-when-off-yes";
        "flag", "level" => "like-flag-level";
        "flag", "latched-clear-on-read" => "like-flag-latched-clear-on-read";
        "flag", "latched-clear-on-start" => "like-flag-latched-clear-on-start";
        "flag", "event" => "like-flag-event";
        "byte", "channel-8" => "like-byte-channel-8";
        "byte", "data-8" => "like-byte-data-8";
        "overrun", "lose-new" => "like-overrun-lose-new";
        "overrun", "lose-old" => "like-overrun-lose-old";
        "overrun", "stop" => "like-overrun-stop";
        "error_flag", "none" => "like-error-flag-none";
        "error_flag", "sticky" => "like-error-flag-sticky";
        "error_flag", "per-transfer" => "like-error-flag-per-transfer";
        "read_done", "last-stored" => "like-read-done-last-stored";
        "read_done", "last-completed" => "like-read-done-last-completed";
        "start_busy", "ignore" => "like-start-busy-ignore";
        "start_busy", "replace" => "like-start-busy-replace";
        "start_busy", "error" => "like-start-busy-error";
        "zero_words", "none" => "like-zero-words-none";
        "zero_words", "maximum" => "like-zero-words-maximum";
        "reset_clears_register", "no" => "like-reset-clears-register-no";
        "reset_clears_register", "yes" => "like-reset-clears-register-yes";
        "no_drive_read", "zeros" => "like-no-drive-read-zeros";
        "no_drive_read", "ones" => "like-no-drive-read-ones";
        "no_drive_read", "nothing" => "like-no-drive-read-nothing";
        "sync_write", "whole" => "like-sync-write-whole";
        "sync_write", "halves" => "like-sync-write-halves";
        "underrun", "repeat" => "like-underrun-repeat";
        "underrun", "zeros" => "like-underrun-zeros";
        "underrun", "close-gate" => "like-underrun-close-gate";
        "underrun", "hold" => "like-underrun-hold";
        "write_done", "last-fetched" => "like-write-done-last-fetched";
        "write_done", "last-bit" => "like-write-done-last-bit";
        "write_done", "gate-off" => "like-write-done-gate-off";
        "index_edge", "leading" => "like-index-edge-leading";
        "index_edge", "trailing" => "like-index-edge-trailing";
        "tail_pulse", "no" => "like-tail-pulse-no";
        "tail_pulse", "yes" => "like-tail-pulse-yes";
        "write_join", "no" => "like-write-join-no";
        "write_join", "yes" => "like-write-join-yes";
        "first_context", "0" => "like-first-context-0";
        "first_context", "1" => "like-first-context-1";
        "first_context", "last" => "like-first-context-last";
    }
}

#[cfg(test)]
mod tests {
    use super::{Hypothesis, KEY_HYPOTHESES, NUMBER_HYPOTHESES, other_numbers};
    use trackproof_contract::Profile;

    #[test]
    fn every_key_and_value_exists_and_has_a_kind_of_its_own() {
        let mut kinds = std::collections::BTreeSet::new();
        for (key, values, _) in KEY_HYPOTHESES {
            for value in *values {
                let known = Profile::key(key).expect("a key of the profile");
                known.set_text(&mut Profile::sync_dma(), value).expect("a value of the key");
                let one = Hypothesis::Key { key: (*key).into(), value: (*value).into() };
                assert_eq!(one.kind(), format!("like-{key}-{value}").replace('_', "-"));
                assert!(kinds.insert(one.kind()), "{} twice", one.kind());
                assert!(!one.rule().sentence.is_empty());
            }
        }
    }

    #[test]
    fn every_number_is_another_value_of_a_key_with_a_rule_and_a_kind() {
        let profile = Profile { match_to_write: 20, ..Profile::sync_dma() };
        let all = Hypothesis::of_implementation(&profile);
        for (key, rule, kind) in NUMBER_HYPOTHESES {
            let values: Vec<_> = other_numbers(&profile).filter(|other| other.0 == *key).collect();
            let tried = all.iter().filter(|one| {
                matches!(one, Hypothesis::Key { key: of, .. } if of == key)
                    && (one.rule().id, one.kind()) == (*rule, *kind)
            });
            // A lost tail of 0 is what the profile has.
            let own = usize::from(*key == "lost_tail");
            assert_eq!(tried.count(), values.len() - own, "{key}: {values:?}");
        }
    }
}
