//! Which one rule a deviation gets: a table, not code in many places.
//!
//! The first row that fits names the rule. `rules --attribution` prints it, a test stands behind
//! each row.

use super::place::Place;
use crate::rules::Rule;
use crate::verdict::Edit;
use trackproof_contract::Status;
use trackproof_model::reader::rejection::{Mismatch, Rejection};

/// What deviates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Topic {
    /// A word has the wrong value.
    Word,
    /// A word is missing.
    NoWord,
    /// A word came that was not due.
    ExtraWord,
    /// A word came after its transfer had ended.
    LateWord,
    /// The byte's value.
    Byte,
    /// The byte's flag says new for a byte that was seen before.
    ByteAgain,
    /// The byte's flag says seen before for a new byte.
    ByteUnflagged,
    /// The completion signal or status bit.
    Done,
    /// The busy bit.
    Busy,
    /// The error bit.
    Error,
    /// The match flag or signal.
    Flag,
    /// The report of a refused request.
    Refused,
    /// A drive line.
    Line,
    /// A medium after the run. What is written there names the rule (`written.rs`), not the place.
    Media,
}

/// One row: where it holds, and the rule and kind that it gives.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    /// What deviates.
    pub topic: Topic,
    /// What must hold of the place.
    pub place: Place,
    /// The edits that it is for, by name; empty for any.
    pub edits: &'static [&'static str],
    /// The rule.
    pub rule: &'static str,
    /// The kind; empty for the edit's name.
    pub kind: &'static str,
}

const ANY: Place = Place::NONE;

const fn row(
    topic: Topic,
    place: Place,
    edits: &'static [&'static str],
    rule: &'static str,
    kind: &'static str,
) -> Row {
    Row { topic, place, edits, rule, kind }
}

use Topic::{
    Busy, Byte, ByteAgain, ByteUnflagged, Done, Error, ExtraWord, Flag, LateWord, Line, Media,
    NoWord, Refused, Word,
};

/// The table, most particular first.
pub static ROWS: &[Row] = &[
    // Words of an ended transfer.
    row(LateWord, Place::ABORT, &[], "transfer.quiet", "word-after-abort"),
    row(LateWord, Place::RESET, &[], "reset.clean", "word-after-reset"),
    row(LateWord, Place::COMPLETED, &[], "transfer.count", "too-many-words"),
    // Words while the transfer still waits.
    row(
        ExtraWord,
        Place::WAITING.and(Place::CHANGE).and(Place::SYNC_ON),
        &[],
        "sync.change",
        "early-start",
    ),
    row(ExtraWord, Place::WAITING.and(Place::STRADDLE), &[], "sync.source", "early-start"),
    row(ExtraWord, Place::WAITING.and(Place::RESET), &[], "reset.clean", "early-start"),
    row(ExtraWord, Place::WAITING.and(Place::NEAR_MATCH), &[], "sync.start", "early-start"),
    row(ExtraWord, Place::WAITING.and(Place::OVERLAP), &[], "sync.overlap", "early-start"),
    row(ExtraWord, Place::WAITING, &[], "sync.none", "early-start"),
    // Late service.
    row(ExtraWord, Place::OVERRUN, &[], "transfer.stall", "extra-word"),
    row(NoWord, Place::OVERRUN, &[], "transfer.stall", "missing-word"),
    row(Word, Place::OVERRUN, &[], "transfer.stall", "wrong-loss"),
    // The setting was changed, and not long ago.
    row(Word, Place::CHANGE, &[], "sync.change", ""),
    row(NoWord, Place::CHANGE, &[], "sync.change", ""),
    row(ExtraWord, Place::CHANGE, &[], "sync.change", ""),
    // The order inside and between words.
    row(Word, ANY, &["swapped-words", "swapped-bytes"], "transfer.order", ""),
    // The first word.
    row(Word, Place::FIRST, &["stale-word"], "raw.fresh", ""),
    row(Word, Place::FIRST.and(Place::RESET), &[], "reset.clean", ""),
    row(NoWord, Place::FIRST.and(Place::RESET), &[], "reset.clean", "no-start"),
    row(ExtraWord, Place::FIRST.and(Place::RESET), &[], "reset.clean", "extra-word"),
    row(NoWord, Place::REALIGNED, &[], "sync.realign", ""),
    row(Word, Place::FIRST.and(Place::OFF_MATCH), &[], "raw.indifferent", ""),
    row(NoWord, Place::FIRST.and(Place::OFF_MATCH), &[], "raw.indifferent", ""),
    row(
        NoWord,
        Place::FIRST.and(Place::MATCH_START).and(Place::STRADDLE),
        &[],
        "sync.source",
        "no-start",
    ),
    row(
        NoWord,
        Place::FIRST.and(Place::MATCH_START).and(Place::OVERLAP),
        &[],
        "sync.overlap",
        "no-start",
    ),
    row(
        NoWord,
        Place::FIRST.and(Place::MATCH_START).and(Place::WRAP),
        &[],
        "sync.wrap",
        "no-start",
    ),
    row(
        NoWord,
        Place::FIRST.and(Place::MATCH_START).and(Place::CHANGE),
        &[],
        "sync.change",
        "no-start",
    ),
    row(NoWord, Place::FIRST.and(Place::MATCH_START), &[], "sync.phase", "no-start"),
    row(NoWord, Place::FIRST.and(Place::LATE), &[], "raw.contiguous", "late-start"),
    row(NoWord, Place::FIRST.and(Place::LATER), &[], "transfer.rearm", "no-start"),
    row(Word, Place::FIRST.and(Place::MATCH_START).and(Place::OVERLAP), &[], "sync.overlap", ""),
    row(
        Word,
        Place::FIRST.and(Place::MATCH_START).and(Place::DOUBLE),
        &["repeated-word", "dropped-word", "inserted-word"],
        "sync.double",
        "",
    ),
    row(Word, Place::FIRST.and(Place::MATCH_START).and(Place::WRAP), &[], "sync.wrap", ""),
    row(
        Word,
        Place::FIRST.and(Place::MATCH_START),
        &["dropped-word", "inserted-word", "repeated-word"],
        "sync.start",
        "",
    ),
    row(Word, Place::FIRST.and(Place::MATCH_START), &["slipped-words"], "sync.phase", ""),
    row(Word, Place::FIRST.and(Place::MATCH_START).and(Place::STRADDLE), &[], "sync.source", ""),
    row(Word, Place::FIRST.and(Place::MATCH_START).and(Place::CHANGE), &[], "sync.change", ""),
    row(Word, Place::FIRST.and(Place::MATCH_START), &[], "sync.phase", ""),
    // After a match in a running read.
    row(Word, Place::AFTER_MATCH.and(Place::REALIGNED), &["slipped-words"], "sync.realign", ""),
    row(Word, Place::SYNC_ON.and(Place::OVERLAP), &[], "sync.overlap", ""),
    row(NoWord, Place::SYNC_ON.and(Place::OVERLAP), &[], "sync.overlap", ""),
    row(ExtraWord, Place::SYNC_ON.and(Place::OVERLAP), &[], "sync.overlap", ""),
    row(Word, Place::SYNC_ON.and(Place::DOUBLE), &[], "sync.double", ""),
    row(NoWord, Place::SYNC_ON.and(Place::DOUBLE), &[], "sync.double", ""),
    row(ExtraWord, Place::SYNC_ON.and(Place::DOUBLE), &[], "sync.double", ""),
    row(Word, Place::AFTER_MATCH.and(Place::STRADDLE), &[], "sync.source", ""),
    row(Word, Place::AFTER_MATCH.and(Place::CHANGE), &[], "sync.change", ""),
    row(Word, Place::AFTER_MATCH, &[], "sync.realign", ""),
    row(NoWord, Place::AFTER_MATCH, &[], "sync.realign", ""),
    row(ExtraWord, Place::AFTER_MATCH, &[], "sync.realign", ""),
    // With hardware sync off.
    row(Word, Place::OFF_MATCH, &[], "raw.indifferent", ""),
    row(NoWord, Place::OFF_MATCH, &[], "raw.indifferent", ""),
    row(ExtraWord, Place::OFF_MATCH, &[], "raw.indifferent", ""),
    // Elsewhere.
    row(Word, Place::MATCH_START.and(Place::WRAP), &[], "sync.wrap", ""),
    row(ExtraWord, Place::MATCH_START.and(Place::WRAP), &[], "sync.wrap", ""),
    row(NoWord, Place::MATCH_START.and(Place::WRAP), &[], "sync.wrap", ""),
    row(Word, Place::WRAP, &[], "raw.contiguous", ""),
    row(ExtraWord, Place::WRAP, &[], "raw.contiguous", ""),
    row(NoWord, Place::WRAP, &[], "raw.contiguous", ""),
    row(Word, Place::SYNC_ON.and(Place::STRADDLE), &[], "sync.source", ""),
    row(Word, Place::SYNC_ON.and(Place::CHANGE), &[], "sync.change", ""),
    row(Word, ANY, &["dropped-word", "repeated-word", "inserted-word"], "transfer.count", ""),
    row(NoWord, Place::FIRST, &[], "transfer.count", "no-start"),
    row(NoWord, ANY, &[], "raw.contiguous", ""),
    row(ExtraWord, ANY, &[], "raw.contiguous", ""),
    row(Word, ANY, &[], "raw.contiguous", ""),
    // Bytes.
    row(ByteUnflagged, Place::OFF_MATCH, &[], "byte.poll", "never-flagged"),
    row(ByteUnflagged, Place::JUST_COMPLETE, &[], "poll.atomic", "flag-of-another-moment"),
    row(ByteUnflagged, ANY, &[], "byte.poll", "never-flagged"),
    row(ByteAgain, ANY, &[], "byte.poll", "shown-twice"),
    row(Byte, ANY, &[], "byte.poll", "wrong-byte"),
    // Signals and status.
    row(Done, Place::RESET, &[], "reset.clean", ""),
    row(Done, ANY, &[], "transfer.done", ""),
    row(Refused, ANY, &[], "transfer.rearm", ""),
    row(Busy, Place::RESET, &[], "reset.clean", "wrong-busy"),
    row(Busy, ANY, &[], "transfer.rearm", "wrong-busy"),
    row(Error, Place::RESET, &[], "reset.clean", "wrong-error"),
    row(Error, ANY, &[], "transfer.stall", "wrong-error"),
    row(Flag, Place::RESET, &[], "reset.clean", ""),
    row(Flag, ANY, &[], "sync.flag", ""),
    row(Line, ANY, &[], "select.answer", "wrong-line"),
    row(LateWord, ANY, &[], "transfer.quiet", ""),
    row(Media, ANY, &[], "gate.quiet", "changed-medium"),
];

/// Names the rule and the kind of a rejection, and says whether its place is nowhere special.
pub(super) fn name(
    rejection: &Rejection,
    place: Place,
    edit: Edit,
) -> (&'static Rule, &'static str, bool) {
    let (topic, own_kind) = topic(rejection.mismatch);
    let row = ROWS
        .iter()
        .find(|row| {
            row.topic == topic
                && place.has(row.place)
                && (row.edits.is_empty() || row.edits.contains(&edit.name()))
        })
        .expect("each topic has a row for any place");
    let kind = match (row.kind, own_kind) {
        ("", "") => edit.name(),
        ("", own) => own,
        (kind, _) => kind,
    };
    let words = matches!(topic, Word | NoWord | ExtraWord);
    let rule = Rule::find(row.rule).expect("rows name rules of the catalogue");
    (rule, kind, words && (row.place == ANY || row.place == Place::FIRST))
}

fn topic(mismatch: Mismatch) -> (Topic, &'static str) {
    match mismatch {
        Mismatch::WordValue => (Word, ""),
        Mismatch::WordMissing => (NoWord, ""),
        Mismatch::WordExtra => (ExtraWord, ""),
        Mismatch::WordAfterEnd => (LateWord, ""),
        Mismatch::ByteValue => (Byte, "wrong-byte"),
        Mismatch::ByteFlagSet => (ByteAgain, ""),
        Mismatch::ByteFlagClear => (ByteUnflagged, ""),
        Mismatch::DoneMissing => (Done, "missing"),
        Mismatch::DoneExtra => (Done, "not-due"),
        Mismatch::RefusedMissing => (Refused, "not-reported"),
        Mismatch::RefusedExtra => (Refused, "wrongly-refused"),
        Mismatch::MatchSignalMissing => (Flag, "missing-signal"),
        Mismatch::MatchSignalExtra => (Flag, "extra-signal"),
        Mismatch::Media(_) => (Media, ""),
        Mismatch::StatusBits { bits } => {
            let bits = bits.status();
            let any = |mask: Status| bits.to_bits() & mask.to_bits() != 0;
            if any(Status::MATCH) {
                (Flag, "wrong-flag")
            } else if any(Status::DONE) {
                (Done, "wrong-status")
            } else if any(Status::BUSY) {
                (Busy, "")
            } else if any(Status::ERROR) {
                (Error, "")
            } else {
                (Line, "")
            }
        }
    }
}
