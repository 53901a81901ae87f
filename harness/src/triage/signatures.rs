//! The table of fault signatures: what a deviation of a rule and kind mostly comes of, and where to
//! look first. From the rules' own texts and the samples' faults; guesses, and told as such.

/// A row: rule, kind (`*` for any), what it may be. The first row that fits counts.
pub(super) const SIGNATURES: &[(&str, &str, &str)] = &[
    (
        "sync.realign",
        "slipped-words",
        "the words are right but late from the second sync on: look at where the bit counter is reset, and whether in the match's own bit",
    ),
    (
        "sync.realign",
        "*",
        "a match inside a running read is not taken as the profile says: look at what resets the bit counter once a transfer runs",
    ),
    (
        "sync.phase",
        "no-start",
        "matches at some bit phases are not seen: look at whether every bit or only every second one, or whole bytes, are compared",
    ),
    (
        "sync.phase",
        "slipped-words",
        "the first word begins a bit early or late: look at the order of compare, shift and counter reset within one bit",
    ),
    (
        "sync.phase",
        "*",
        "the word boundary does not follow the match: look at what phase the first word is framed at",
    ),
    (
        "sync.start",
        "early-start",
        "something that is almost a sync word starts the transfer: look at the width and the mask of the comparator",
    ),
    (
        "sync.start",
        "like-start-match-*",
        "the matching word is counted when it should not be, or the other way round: look at when the FIFO begins to take words",
    ),
    (
        "sync.start",
        "*",
        "the transfer begins a word early or late: look at whether the matching word itself is pushed",
    ),
    (
        "sync.wrap",
        "*",
        "something is reset at the index: look at shift register, bit counter and comparator where the track wraps",
    ),
    (
        "sync.double",
        "*",
        "two syncs in a row are not taken as the profile says: look at how a match on a word boundary is treated",
    ),
    (
        "sync.overlap",
        "*",
        "a match soon after a match is treated otherwise than the profile says: look for a lock-out time or a cleared shift register",
    ),
    (
        "sync.none",
        "*",
        "a read that waits delivers without a match: look at time-outs and at what else can start a transfer",
    ),
    (
        "sync.change",
        "*",
        "a changed sync word or switch acts late, or not on a transfer that waits: look at where the setting is latched",
    ),
    (
        "sync.flag",
        "*",
        "the match flag is set or cleared at another moment than the profile says: look at what clears it",
    ),
    (
        "sync.source",
        "*",
        "bits of two sources make a match: look at whether the shift register is emptied when select or side changes",
    ),
    (
        "raw.contiguous",
        "like-counter-*",
        "the bit counter is reset where the profile has it run on, or the other way round: look at what a request resets",
    ),
    (
        "raw.contiguous",
        "late-start",
        "a raw read waits for something: look at whether the comparator still gates it with hardware sync off",
    ),
    (
        "raw.contiguous",
        "*",
        "a bit is lost or doubled inside raw words: look at seams, that is buffer borders, the track's end, and the hand-over between words",
    ),
    (
        "raw.indifferent",
        "*",
        "the comparator still acts though hardware sync is off: look at where its switch is tested",
    ),
    (
        "raw.fresh",
        "*",
        "something is left over from before the request: look at what a request clears (FIFO, shift register, word ready)",
    ),
    (
        "raw.equal",
        "*",
        "words of marks are altered on the way: look for code that repairs or masks sync words",
    ),
    (
        "byte.poll",
        "shown-twice",
        "the flag of a new byte is not cleared by the read that took it: look at what else clears it, and when",
    ),
    (
        "byte.poll",
        "never-flagged",
        "a byte comes without its flag: look at a poll in the very bit in which a byte completes",
    ),
    (
        "byte.poll",
        "*",
        "the byte port holds another byte than the last one: look at which bits it takes and when",
    ),
    (
        "poll.atomic",
        "*",
        "byte and flag are read at two moments: look at whether the poll takes both in one step",
    ),
    (
        "transfer.count",
        "too-many-words",
        "the word counter is tested too late: look at where it is counted down, at the push or at the pop",
    ),
    (
        "transfer.count",
        "*",
        "the length is off by one, or counted where words are dropped: look at the word counter's start value",
    ),
    (
        "transfer.split",
        "*",
        "two reads in a row do not join as the profile says: look at what the second request resets",
    ),
    (
        "transfer.order",
        "bits-reversed",
        "the first channel bit comes lowest in the word: look at which way the shift register shifts",
    ),
    (
        "transfer.order",
        "*",
        "words or their bytes change places: look at byte order, and at the FIFO's pointers when it is full",
    ),
    (
        "transfer.rearm",
        "wrong-busy",
        "busy is shown at the wrong time: look at which of acceptance, start and end set and clear it",
    ),
    (
        "transfer.rearm",
        "*",
        "a request close to another transfer's end is lost or taken twice: look at the state between last word and done",
    ),
    (
        "transfer.stall",
        "wrong-error",
        "an overrun or underrun is not reported as the profile says: look at what sets and clears the error bit",
    ),
    (
        "transfer.stall",
        "wrong-fill",
        "an underrun fills with something else, or not for whole words: look at what the serialiser takes from an empty FIFO",
    ),
    (
        "transfer.stall",
        "gate-open-too-long",
        "the gate stays open behind the last word that was there: look at when the empty FIFO is seen, at the word's begin or its end",
    ),
    (
        "transfer.stall",
        "*",
        "late service loses the wrong words, or parts of words: look at which end of the full FIFO is dropped",
    ),
    (
        "transfer.done",
        "not-due",
        "completion is signalled twice or too early: look at whether it is an edge or a level, and at which counter drives it",
    ),
    (
        "transfer.done",
        "*",
        "completion is signalled at another event than the profile says: look at last word completed against last word taken",
    ),
    (
        "transfer.quiet",
        "*",
        "a word comes after the end: look at what abort does to a word that is complete and waits",
    ),
    (
        "select.answer",
        "*",
        "status shows lines of a drive that is not selected, or of one line too late: look at what the line multiplexer is switched by",
    ),
    (
        "apart.output",
        "*",
        "an unrelated output shares a register or an address with something that matters: look at its decoding",
    ),
    (
        "apart.poll",
        "*",
        "reading the status has a side effect: look at what a status read clears or acknowledges",
    ),
    (
        "apart.drives",
        "*",
        "one drive's state acts on another: look for state that should exist once a drive",
    ),
    (
        "apart.rotation",
        "*",
        "something counts from power-up, not from the medium: look for counters that the rotation should not reach",
    ),
    (
        "time.shift",
        "*",
        "something counts from power-up and overflows or drifts: look for counters without end",
    ),
    (
        "reset.clean",
        "word-after-reset",
        "words survive a reset: look at whether the FIFO is emptied",
    ),
    (
        "reset.clean",
        "*",
        "a reset leaves something as it was: look at settings, FIFO, flags and waiting requests, one by one",
    ),
    (
        "clock.present",
        "*",
        "sectors are streamed without their clock bits: look at what the drive's encoder puts between data bits",
    ),
    (
        "clock.context",
        "lost-at-the-index",
        "the first clock bit behind the wrap does not know the last data bit before it: look at the encoder's start value",
    ),
    (
        "clock.context",
        "*",
        "the last data bit is forgotten at a border of byte, word or write: look at the state that the encoder carries over",
    ),
    (
        "clock.idempotent",
        "*",
        "the bit behind a mark is encoded as if the mark were an ordinary byte: look at what the encoder keeps of it",
    ),
    (
        "clock.rule",
        "*",
        "clock bits do not follow their two neighbours: look at the rule itself, and at bytes and words taken apart",
    ),
    (
        "run.length",
        "*",
        "there are clock bits too many, so transitions stand too close: look at the clock rule for ones",
    ),
    (
        "mark.pattern",
        "*",
        "marks have their ordinary clock bits, or miss another one: look at which bit of the clock byte is left out",
    ),
    (
        "layout.fields",
        "wrong-check",
        "a check is computed over other bytes or from another start value: look at whether the marks are part of it",
    ),
    (
        "layout.fields",
        "*",
        "headers are not those of the layout: look at order and numbering of the fields",
    ),
    (
        "write.words",
        "first-word-lost",
        "the gate opens before the first word has come, or the first word is popped twice: look at the serialiser's first load",
    ),
    (
        "write.words",
        "last-word-lost",
        "the gate closes when the last word is fetched and not when it is written: look at what ends a write",
    ),
    (
        "write.words",
        "one-word-too-many",
        "the serialiser runs one word on: look at what ends a write, and at the word behind the last",
    ),
    (
        "write.words",
        "old-data-read",
        "a drive streams what it had before the write: look at whether its stream is made anew",
    ),
    (
        "write.words",
        "*",
        "written words are lost, doubled or altered: look at the path from FIFO to serialiser",
    ),
    (
        "write.verbatim",
        "*",
        "channel bits are changed on the way to the medium: look for encoding where words are to be taken as they are",
    ),
    (
        "write.start",
        "without-a-cause",
        "the gate opens at a match or an index that should not count: look at what arms it, and since when",
    ),
    (
        "write.start",
        "*",
        "the gate opens a bit or more early or late: look at the delay between start event and serialiser",
    ),
    (
        "write.wrap",
        "*",
        "a write does not go over the index: look at what the index resets while the gate is open",
    ),
    (
        "write.guard",
        "changed-before",
        "the gate is open before the first bit: look at gate and data, which must switch together",
    ),
    ("write.guard", "*", "the gate stays open behind the last bit: look at what closes it"),
    (
        "write.neighbour",
        "*",
        "a sync word outside of the write is damaged: look at where the gate opens and closes against the words",
    ),
    (
        "write.target",
        "*",
        "the write goes to another drive, side or cylinder: look at whether the lines are latched before they have changed",
    ),
    (
        "write.refused",
        "*",
        "a write goes through where it must not: look at whether write protect gates the gate itself",
    ),
    (
        "write.abort",
        "closed-early",
        "an abort closes the gate earlier than it was asked to: look at what else ends a write",
    ),
    (
        "write.abort",
        "*",
        "an abort waits for the word's end: look at whether it reaches the gate or only the word counter",
    ),
    (
        "gate.quiet",
        "*",
        "the gate opens though nobody asked for it: look at its value while modes and drives change",
    ),
    (
        "transfer.hold",
        "*",
        "the gate does not wait for select or side: look at what starts it, and whether that knows when they arrive",
    ),
    (
        "write.steady",
        "*",
        "a steering line follows its register at once: look at whether the gate holds it back",
    ),
    (
        "write.cadence",
        "*",
        "the bit time breaks between words: look at what the serialiser waits for when a word ends",
    ),
    (
        "select.exclusive",
        "*",
        "an old select is not taken back: look at whether selects are one mask or bits of their own",
    ),
    (
        "select.break-first",
        "*",
        "the new select comes before the old one goes: look at the order in which the lines are written",
    ),
    (
        "drive.step",
        "*",
        "step and direction are too close, or too short: look at what times the pulse, and at the clock it counts",
    ),
    (
        "drive.index",
        "*",
        "turns are lost or have another length: look at what counts a turn while a transfer runs",
    ),
    (
        "stops",
        "endless",
        "it waits for something that never comes: look at loops that end on a flag",
    ),
    (
        "separator.legal",
        "even-speed",
        "channel bits are wrong at a constant speed: look at how the number of cells in an interval is rounded, and at the longest and the shortest one",
    ),
    (
        "separator.legal",
        "pushed*",
        "transitions that neighbours push are taken for the next cell's: look at whether the window is centred, and how much of an error goes into the speed",
    ),
    (
        "separator.legal",
        "*",
        "it does not follow the speed: look at whether the speed is corrected at all, by how much, and at its limits",
    ),
    (
        "separator.recover",
        "behind-erased",
        "what it makes of a stretch without transitions stays with it: look at what becomes of phase and speed there",
    ),
    (
        "separator.recover",
        "*",
        "it does not let go of the old phase: look at how it begins anew behind an interval that is none",
    ),
    (
        "stops",
        "*",
        "memory or an invariant is broken: run the case under a sanitizer or a debugger",
    ),
];

/// What a deviation may be; none where the table has no row.
pub(super) fn of(rule: &str, kind: &str) -> Option<&'static str> {
    let fits = |pattern: &str| match pattern.strip_suffix('*') {
        Some(begin) => kind.starts_with(begin),
        None => kind == pattern,
    };
    SIGNATURES.iter().find(|(of, kinds, _)| *of == rule && fits(kinds)).map(|(_, _, may)| *may)
}

#[cfg(test)]
mod tests {
    use super::{SIGNATURES, of};
    use crate::rules::{RULES, Rule};

    #[test]
    fn every_rule_has_a_likely_cause_and_every_row_can_be_reached() {
        for rule in RULES {
            assert!(of(rule.id, "anything-else").is_some(), "{} has no row for any kind", rule.id);
        }
        for (place, (rule, kind, text)) in SIGNATURES.iter().enumerate() {
            assert!(Rule::find(rule).is_some(), "{rule} is no rule");
            let example = kind.replace('*', "anything-else");
            let first = SIGNATURES.iter().position(|(_, _, may)| of(rule, &example) == Some(*may));
            assert_eq!(first, Some(place), "{rule} {kind} is hidden by a row before it");
            assert!(text.contains(": look ") || text.contains(": run "), "{text}");
        }
    }
}
