//! Departures from the text that are tried as hypotheses: what controllers do wrong that no profile
//! allows, each with the rule that it breaks, its kind and a sentence.

use trackproof_contract::Profile;
use trackproof_model::reader::supposition::{Blind, Delay, Kept, Occasion, Supposition, Which};

/// Moduli of the bit phases that a comparator may look at alone.
const MODULI: [u32; 4] = [2, 4, 8, 16];

/// Numbers of words behind which a counter may slip: what a burst, a buffer or a page holds.
const SEAMS: [u32; 9] = [2, 3, 4, 8, 16, 32, 64, 128, 256];

/// Channel bits behind an abort in which requests may be lost.
const DEAF_BITS: [u32; 8] = [1, 2, 4, 8, 16, 32, 64, 128];

/// Channel bits by which a write at the index may begin late.
const LATE_BITS: [u32; 8] = [1, 2, 4, 8, 15, 16, 31, 32];

/// Every departure that is tried, the most telling first.
pub(super) fn departures(profile: &Profile) -> impl Iterator<Item = Supposition> {
    let word_bits = u32::from(profile.word_bits);
    let blind = MODULI
        .into_iter()
        .flat_map(|modulus| (0..modulus).map(move |residue| Blind::Phases { modulus, residue }))
        .chain([Blind::Index])
        .map(Supposition::Blind);
    let kept = [Kept::Word, Kept::Switch, Kept::Fifo, Kept::Counter, Kept::Byte, Kept::Error];
    let kept = kept.map(Supposition::ResetKeeps);
    let deaf = DEAF_BITS.map(|bits| Supposition::DeafBehindAbort { bits });
    let late = [Which::Word, Which::Switch, Which::Both].into_iter().flat_map(move |which| {
        (2..=2 * word_bits)
            .step_by(2)
            .map(Delay::Bits)
            .chain([Delay::NextWord, Delay::NextRequest])
            .map(move |delay| Supposition::LateChange { which, delay })
    });
    let late_at_index = LATE_BITS.map(|bits| Supposition::LateAtIndex { bits });
    let half = (word_bits / 2) as i16;
    let slips = move |bits: &'static [i16], at: Occasion| {
        bits.iter()
            .copied()
            .chain([half, -half])
            .filter(move |bits| at != Occasion::Index || *bits > 0)
            .map(move |bits| Supposition::Slip { at, bits })
    };
    let matched = [Occasion::Start, Occasion::Realign, Occasion::Match, Occasion::Index];
    let slips_at_match = matched.into_iter().flat_map(move |at| slips(&[1, -1, 2, -2], at));
    // Of a lost word any part may be gone.
    let most = word_bits as i16 - 1;
    let slips_at_overrun = (1..=most)
        .flat_map(|bits| [-bits, bits])
        .map(|bits| Supposition::Slip { at: Occasion::Overrun, bits });
    let slips_between = SEAMS.into_iter().flat_map(move |every| {
        [true, false].into_iter().flat_map(move |raw| {
            [1, -1].map(|bits| Supposition::Slip { at: Occasion::Words { every, raw }, bits })
        })
    });
    blind
        .chain([Supposition::AlwaysOn, Supposition::MatchTwice, Supposition::StaleTurn])
        .chain(kept)
        .chain(deaf)
        .chain(late_at_index)
        .chain(late)
        .chain(slips_at_match)
        .chain(slips_at_overrun)
        .chain(slips_between)
}

/// The rule that a departure breaks, the finding's kind, and how the implementation behaves.
pub(super) fn departure(supposition: Supposition) -> (&'static str, &'static str, String) {
    match supposition {
        Supposition::None | Supposition::MediaAlone => {
            ("transfer.count", "none", "nothing were wrong".into())
        }
        Supposition::Blind(Blind::Phases { modulus, residue }) => (
            "sync.phase",
            "some-phases-only",
            format!(
                "only every {modulus}th channel bit, number {residue} of them, could end a match"
            ),
        ),
        Supposition::Blind(Blind::Index) => {
            ("sync.wrap", "no-match-at-the-index", "no match could lie across the index".into())
        }
        Supposition::AlwaysOn => (
            "raw.indifferent",
            "comparator-never-off",
            "hardware sync could not be switched off".into(),
        ),
        Supposition::LateChange { which, delay } => {
            let what = match which {
                Which::Word => "a changed sync word",
                Which::Switch => "hardware sync, switched on or off,",
                Which::Both => "a changed sync word, or hardware sync switched on or off,",
            };
            let when = match delay {
                Delay::Bits(bits) => format!("only {bits} channel bits later"),
                Delay::NextWord => "only at the next word boundary".into(),
                Delay::NextRequest => "only with the next request".into(),
            };
            ("sync.change", "late-change", format!("{what} took effect {when}"))
        }
        Supposition::Slip { at, bits } => slip(at, bits),
        Supposition::MatchTwice => (
            "sync.double",
            "match-delivered-twice",
            "a match on a word boundary were delivered twice".into(),
        ),
        Supposition::StaleTurn => (
            "write.words",
            "old-data-read",
            "a turn went by before what was written could be read".into(),
        ),
        Supposition::LateAtIndex { bits } => (
            "write.start",
            "late-at-the-index",
            format!("a write at the index began {bits} channel bits late"),
        ),
        Supposition::DeafBehindAbort { bits } => (
            "transfer.rearm",
            "lost-behind-an-abort",
            format!("a request less than {bits} channel bits behind an abort were lost"),
        ),
        Supposition::ResetKeeps(kept) => {
            let (kind, what) = match kept {
                Kept::Word => ("keeps-the-sync-word", "the sync word"),
                Kept::Switch => ("keeps-hardware-sync", "hardware sync"),
                Kept::Fifo => ("keeps-words", "the words in the FIFO"),
                Kept::Counter => ("keeps-the-word-counter", "the word counter"),
                Kept::Byte => ("keeps-a-byte", "the byte port"),
                Kept::Error => ("keeps-the-error", "the error bit"),
            };
            ("reset.clean", kind, format!("a reset left {what} as it was"))
        }
    }
}

fn slip(at: Occasion, bits: i16) -> (&'static str, &'static str, String) {
    let (rule, kind, when) = match at {
        Occasion::Start => ("sync.phase", "slips-at-the-start", "at the match that starts a read"),
        Occasion::Realign => {
            ("sync.realign", "slips-at-a-match", "at a match that realigns a running read")
        }
        Occasion::Match => ("sync.phase", "slips-at-every-match", "at every match"),
        Occasion::Index => ("raw.contiguous", "slips-at-the-index", "at the index"),
        Occasion::Overrun => ("transfer.stall", "loses-part-of-a-word", "where a word is lost"),
        Occasion::Words { every, raw } => {
            let raw = if raw { "raw " } else { "" };
            return (
                "raw.contiguous",
                "slips-between-words",
                format!("behind every {every}th {raw}word {}", moved(bits)),
            );
        }
    };
    (rule, kind, format!("{when} {}", moved(bits)))
}

/// How the word boundaries move.
fn moved(bits: i16) -> String {
    let (count, way) = (bits.unsigned_abs(), if bits > 0 { "later" } else { "earlier" });
    let plural = if count == 1 { "" } else { "s" };
    format!("the word boundaries moved {count} channel bit{plural} {way}")
}
