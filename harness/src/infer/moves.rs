//! The changes of a profile that are worth trying.

use trackproof_contract::{KEYS, Key, Profile};

/// Keys that are not the controller's to choose, or that nothing in channel bits can tell: they stay
/// as they are in the base.
pub(super) const GIVEN: [&str; 9] = [
    "recording",
    "channel_bit_ns",
    "sync_mask",
    "service",
    "max_words",
    "splice_guard",
    "window",
    "rate_limit",
    "lock_bits",
];

/// Keys of one number and the numbers that are tried.
const NUMBERS: &[(&str, &[i64])] = &[
    ("word_bits", &[8, 16, 32]),
    ("latch_words", &[0, 1, 2, 3, 4]),
    ("fifo_words", &[1, 2, 3, 4, 5, 6, 7, 8, 12, 16]),
    ("poll_jitter", &[0, 100, 500, 1_000]),
    ("done_latency", &[0, 1, 2, 3, 4, 8, 16, 32, 64]),
    ("match_jitter", &[0, 1, 2, 4, 8]),
    ("abort_to_gate", &[0, 1, 2, 4, 8, 16]),
];

/// Keys whose numbers are tried one by one, and the last of them.
const COUNTED: &[(&str, i64)] =
    &[("refractory", 40), ("gate_lead", 32), ("match_to_write", 40), ("lost_tail", 15)];

/// Keys that are the least and the greatest of something, and the last number that is tried.
const SPANS: &[(&str, &str, i64)] =
    &[("slack_min", "slack_max", 32), ("gate_off_min", "gate_off_max", 16)];

/// How much wider than one number a span may be.
const WIDTHS: [i64; 6] = [0, 1, 2, 4, 8, 16];

/// Values that only permit more: of two that explain as much, the other one is taken.
const WIDER: [(&str, &str); 3] =
    [("sync_write", "halves"), ("straddle", "allowed"), ("no_drive_read", "noise")];

/// Keys of which a greater number only permits more.
const TOLERANCES: [&str; 6] =
    ["slack_max", "poll_jitter", "done_latency", "match_jitter", "gate_off_max", "abort_to_gate"];

/// One change of a profile.
#[derive(Debug, Clone)]
pub(super) struct Move {
    settings: Vec<(&'static Key, i64)>,
    /// Whether it is of those that only permit more.
    pub(super) widens: bool,
}

impl Move {
    fn of(settings: &[(&'static str, i64)]) -> Self {
        let key = |name| Profile::key(name).expect("a key of the contract");
        let settings: Vec<_> = settings.iter().map(|(name, code)| (key(name), *code)).collect();
        let widens = settings.iter().any(|(key, code)| {
            let mut profile = Profile::sync_dma();
            key.set_code(&mut profile, *code).is_ok()
                && WIDER.contains(&(key.name, key.text(&profile).as_str()))
                || TOLERANCES.contains(&key.name)
        });
        Self { settings, widens }
    }

    /// Whether it sets this key.
    pub(super) fn concerns(&self, key: &Key) -> bool {
        self.settings.iter().any(|(of, _)| of.name == key.name)
    }

    /// The value that it gives its keys, as text.
    pub(super) fn text(&self, profile: &Profile) -> String {
        let settings = self.settings.iter().filter(|(key, _)| !GIVEN.contains(&key.name));
        settings.map(|(key, _)| key.text(profile)).collect::<Vec<_>>().join("..")
    }

    /// A profile with this change; none where nothing changes, or that would be no profile.
    pub(super) fn apply(&self, profile: &Profile) -> Option<Profile> {
        let mut changed = profile.clone();
        for (key, code) in &self.settings {
            key.set_code(&mut changed, *code).ok()?;
        }
        (changed != *profile && changed.validate().is_ok()).then_some(changed)
    }
}

/// All changes, those that only permit more behind the others, and of those the least first.
pub(super) fn moves() -> Vec<Move> {
    let mut moves = Vec::new();
    for key in KEYS.iter().filter(|key| !GIVEN.contains(&key.name) && key.allowed().contains('|')) {
        let values = key.allowed().split('|').count() as i64;
        moves.extend((0..values).map(|code| Move::of(&[(key.name, code)])));
    }
    // A register of another width compares all of it.
    for bits in [8, 16, 32] {
        moves.push(Move::of(&[("register_bits", bits), ("sync_mask", (1 << bits) - 1)]));
    }
    for (name, numbers) in NUMBERS {
        moves.extend(numbers.iter().map(|number| Move::of(&[(name, *number)])));
    }
    for (name, last) in COUNTED {
        moves.extend((0..=*last).map(|number| Move::of(&[(name, number)])));
    }
    for (least, greatest, last) in SPANS {
        for width in WIDTHS {
            moves.extend(
                (0..=last - width).map(|from| Move::of(&[(least, from), (greatest, from + width)])),
            );
        }
    }
    moves.sort_by_key(|change| change.widens);
    moves
}

#[cfg(test)]
mod tests {
    use super::{COUNTED, GIVEN, NUMBERS, SPANS, moves};
    use trackproof_contract::{KEYS, Profile};

    #[test]
    fn every_key_is_searched_or_given() {
        let searched = moves();
        for key in KEYS {
            let moved = searched
                .iter()
                .any(|change| change.settings.iter().any(|(of, _)| of.name == key.name));
            let mask = key.name == "sync_mask";
            assert_eq!(moved && !mask, !GIVEN.contains(&key.name), "{}", key.name);
        }
    }

    #[test]
    fn the_tables_name_keys_and_every_change_is_a_profile_of_some_base() {
        let names =
            NUMBERS.iter().map(|(name, _)| name).chain(COUNTED.iter().map(|(name, _)| name));
        for name in names.chain(SPANS.iter().flat_map(|(least, greatest, _)| [least, greatest])) {
            assert!(Profile::key(name).is_ok(), "{name}");
        }
        let wide = Profile { word_bits: 32, ..Profile::sync_dma() };
        for change in moves() {
            let bases = [Profile::sync_dma(), Profile::byte_stream(), wide.clone()];
            let has = |base| change.settings.iter().all(|(key, code)| key.code(base) == *code);
            let fits = bases.iter().any(|base| has(base) || change.apply(base).is_some());
            assert!(fits, "{change:?}");
        }
    }
}
