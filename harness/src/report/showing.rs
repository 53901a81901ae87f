//! How a deviation shows itself: what was allowed at that moment and what came instead, in words.

use super::phrase::{count, hex};
use crate::verdict::{Deviation, Edit};
use trackproof_contract::{ByteUnit, Case, Item, Observation, Status};
use trackproof_model::reader::rejection::Mismatch;
use trackproof_model::reader::state::{Phase, State};
use trackproof_model::reader::writing::WritePhase;
use trackproof_model::tape::Tape;

/// Both sides at the first difference.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Sides {
    pub(super) allowed: String,
    pub(super) got: String,
}

/// What was allowed and what came, for any deviation.
pub(super) fn sides(
    case: &Case,
    deviation: &Deviation,
    observation: &Observation,
    tape: &Tape,
) -> Sides {
    let word_bits = case.profile.word_bits;
    let sides = |allowed: &str, got: &str| Sides { allowed: allowed.into(), got: got.into() };
    let seen = observation.items.get(deviation.rejection.item).map(|seen| seen.item);
    let word = |word: Option<u64>| word.map_or("no word".into(), |word| hex(word, word_bits));
    let got_word = word(deviation.got.first().copied());
    let allowed_word = word(deviation.expected.first().map(|word| word.value));
    match deviation.rejection.mismatch {
        Mismatch::WordValue => sides(&allowed_word, &got_word),
        Mismatch::WordMissing => sides(&allowed_word, "no word"),
        Mismatch::WordExtra => sides("no word: none was waiting", &got_word),
        Mismatch::WordAfterEnd => sides("no word: that read does not run", &got_word),
        Mismatch::ByteValue | Mismatch::ByteFlagSet | Mismatch::ByteFlagClear => {
            byte(case, deviation, seen, tape)
        }
        Mismatch::StatusBits { bits } => {
            let Some(Item::Status(status)) = seen else { return sides("another status", "none") };
            let allowed = Status::from_bits(status.to_bits() ^ bits.0);
            Sides { allowed: allowed.to_string(), got: status.to_string() }
        }
        Mismatch::DoneMissing => sides("the completion signal, by now", "no signal"),
        Mismatch::DoneExtra => sides("no completion signal now", "the completion signal"),
        Mismatch::RefusedMissing => sides("the request reported refused, by now", "no report"),
        Mismatch::RefusedExtra => sides("no request to refuse", "a request reported refused"),
        Mismatch::MatchSignalMissing => sides("the match signal, by now", "no signal"),
        Mismatch::MatchSignalExtra => sides("no match now", "the match signal"),
        Mismatch::Media(_) => sides("the medium as the writes leave it", "another content"),
    }
}

fn byte(case: &Case, deviation: &Deviation, seen: Option<Item>, tape: &Tape) -> Sides {
    let flag = |fresh: bool| if fresh { "new" } else { "seen before" };
    let Some(Item::Byte { value, fresh }) = seen else {
        return Sides { allowed: "another byte".into(), got: "none".into() };
    };
    let allowed = match deviation.rejection.mismatch {
        Mismatch::ByteValue => {
            let byte_bits = usize::from(case.profile.byte_bits());
            match deviation.rejection.state.newest_byte(byte_bits) {
                Some(end) => {
                    let byte = byte_of(case.profile.byte, tape.window(end, byte_bits));
                    let fresh =
                        deviation.rejection.state.has_new_byte(byte_bits, case.profile.byte_port);
                    format!("{byte:02x}, {}", flag(fresh))
                }
                None => "no byte yet".into(),
            }
        }
        _ => format!("{value:02x}, {}", flag(!fresh)),
    };
    Sides { allowed, got: format!("{value:02x}, {}", flag(fresh)) }
}

/// The byte of a stretch of channel bits: they themselves, or every second, the data bits.
fn byte_of(unit: ByteUnit, channel: u64) -> u64 {
    match unit {
        ByteUnit::Channel8 => channel & 0xff,
        ByteUnit::Data8 => (0..8).map(|bit| (channel >> (2 * bit) & 1) << bit).sum(),
    }
}

/// What the words look like beside the right ones.
pub(super) fn edit(edit: Edit) -> Option<String> {
    Some(match edit {
        Edit::None => return None,
        Edit::Dropped(number) => format!("{} lost", count(number.into(), "word")),
        Edit::Repeated => "the word before came once more".into(),
        Edit::Stale => "a word from before the transfer came first".into(),
        Edit::Inserted => "a word that belongs nowhere, the next ones are right".into(),
        Edit::Swapped => "two words changed places".into(),
        Edit::BytesSwapped => "the bytes of each word are swapped".into(),
        Edit::Slipped(slip) => format!(
            "the words of a place {} {}",
            count(slip.unsigned_abs().into(), "channel bit"),
            if slip > 0 { "later" } else { "earlier" }
        ),
        Edit::Substituted => "one word is wrong, the next ones are right".into(),
        Edit::Missing => "a word was waiting and was not given".into(),
        Edit::Extra => "a word came where none was due".into(),
        Edit::Foreign => "nothing on the track close by".into(),
    })
}

/// What the controller was at just before, as the closest state of the model has it.
pub(super) fn state(state: &State, case: &Case) -> String {
    let word_bits = usize::from(case.profile.word_bits);
    let sync = if state.setting.on { "on" } else { "off" };
    let mut text = format!(
        "hardware sync {sync}, sync word {}; {} past a word boundary; ",
        hex(state.setting.word, case.profile.register_bits),
        count(state.phase(word_bits) as u64, "channel bit")
    );
    match (state.transfer, &state.writing) {
        (Some(transfer), _) => {
            let phase = match transfer.phase {
                Phase::WaitMatch => "waits for a match",
                Phase::WaitIndex(_) => "waits for the index",
                Phase::Running => "runs",
            };
            text.push_str(&format!(
                "read {} {phase}, {} of {} taken, {} in the FIFO",
                transfer.id + 1,
                transfer.taken,
                count(transfer.words.into(), "word"),
                state.fifo.len()
            ));
        }
        (None, Some(write)) => text.push_str(&format!(
            "write {} {}, {} of {} fetched, {} in the FIFO",
            write.id + 1,
            writing(write.phase),
            write.fetched,
            count(write.words.into(), "word"),
            write.fetched - write.begun.min(write.fetched)
        )),
        (None, None) => text.push_str("no transfer under way"),
    }
    text
}

/// What a write does.
pub(super) const fn writing(phase: WritePhase) -> &'static str {
    match phase {
        WritePhase::WaitWord => "waits for its first word",
        WritePhase::WaitMatch => "waits for a match",
        WritePhase::WaitIndex(_) => "waits for the index",
        WritePhase::Due(..) => "is about to open the gate",
        WritePhase::Open(_) => "has the gate open",
        WritePhase::Ending(..) | WritePhase::Cut(..) => "is about to close the gate",
        WritePhase::Owed(_) => "has closed the gate ahead of its last owed bit",
    }
}

#[cfg(test)]
mod tests {
    use super::{byte_of, edit};
    use crate::verdict::Edit;
    use trackproof_contract::ByteUnit;

    #[test]
    fn a_data_byte_is_every_second_channel_bit() {
        // A1 with a missing clock is 4489 (SA810/860 OEM manual, fig. 6-7).
        assert_eq!(byte_of(ByteUnit::Data8, 0x4489), 0xa1);
        assert_eq!(byte_of(ByteUnit::Channel8, 0x4489), 0x89);
    }

    #[test]
    fn a_slip_says_how_far_and_which_way() {
        assert_eq!(edit(Edit::Slipped(-1)).unwrap(), "the words of a place 1 channel bit earlier");
        assert_eq!(edit(Edit::Dropped(2)).unwrap(), "2 words lost");
        assert_eq!(edit(Edit::None), None);
    }
}
