//! Events, on their way to the library.

use crate::raw;
use trackproof_contract::{Action, Direction, Event, Start};

/// The event as C has it; `None` for an action that this version of the header has no number for.
/// `given_words` is how many words were handed over for the write, if the event is one.
pub(crate) fn encode(event: &Event, given_words: u64) -> Option<raw::Event> {
    use raw::*;
    let (kind, transfer, a, b) = match event.action {
        Action::Select(mask) => (TP_SELECT, 0, mask.into(), 0),
        Action::Motor(mask) => (TP_MOTOR, 0, mask.into(), 0),
        Action::Side(side) => (TP_SIDE, 0, side.into(), 0),
        Action::Step(Direction::In) => (TP_STEP, 0, 0, 0),
        Action::Step(Direction::Out) => (TP_STEP, 0, 1, 0),
        Action::SyncWord(word) => (TP_SYNC_WORD, 0, 0, word),
        Action::HardwareSync(on) => (TP_HARDWARE_SYNC, 0, on.into(), 0),
        Action::Read { transfer, words, start } => {
            (TP_READ, transfer, start_number(start), words.into())
        }
        Action::Write { transfer, start } => (TP_WRITE, transfer, start_number(start), given_words),
        Action::Service { transfer } => (TP_SERVICE, transfer, 0, 0),
        Action::Abort => (TP_ABORT, 0, 0, 0),
        Action::PollStatus => (TP_POLL_STATUS, 0, 0, 0),
        Action::PollByte => (TP_POLL_BYTE, 0, 0, 0),
        Action::Output(value) => (TP_OUTPUT, 0, value.into(), 0),
        Action::Reset => (TP_RESET, 0, 0, 0),
        Action::End => (TP_END, 0, 0, 0),
        _ => return None,
    };
    Some(raw::Event { at_ns: event.at_ns, kind, transfer, a, reserved: 0, b })
}

/// When a transfer starts, as C has it.
pub(crate) const fn start_number(start: Start) -> u32 {
    match start {
        Start::Now => raw::TP_START_NOW,
        Start::Match => raw::TP_START_MATCH,
        Start::Index => raw::TP_START_INDEX,
    }
}

#[cfg(test)]
mod tests {
    use super::encode;
    use crate::raw;
    use trackproof_contract::{Action, Direction, Event, Start};

    #[test]
    fn every_action_has_its_number_and_its_values() {
        let read = Action::Read { transfer: 2, words: 70_000, start: Start::Index };
        for (action, kind, transfer, a, b) in [
            (Action::Select(4), 0, 0, 4, 0),
            (Action::Motor(15), 1, 0, 15, 0),
            (Action::Side(1), 2, 0, 1, 0),
            (Action::Step(Direction::In), 3, 0, 0, 0),
            (Action::Step(Direction::Out), 3, 0, 1, 0),
            (Action::SyncWord(1 << 63), 4, 0, 0, 1 << 63),
            (Action::HardwareSync(true), 5, 0, 1, 0),
            (read, 6, 2, 2, 70_000),
            (Action::Write { transfer: 4, start: Start::Match }, 14, 4, 1, 9),
            (Action::Service { transfer: 3 }, 7, 3, 0, 0),
            (Action::Abort, 8, 0, 0, 0),
            (Action::PollStatus, 9, 0, 0, 0),
            (Action::PollByte, 10, 0, 0, 0),
            (Action::Output(9), 11, 0, 9, 0),
            (Action::Reset, 12, 0, 0, 0),
            (Action::End, 13, 0, 0, 0),
        ] {
            let expected = raw::Event { at_ns: 5, kind, transfer, a, reserved: 0, b };
            assert_eq!(encode(&Event { at_ns: 5, action, operation: 0 }, 9), Some(expected));
        }
    }
}
