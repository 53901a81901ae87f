//! The timeline: a program with every time worked out, service by service.
//!
//! Host and controller never negotiate: when each operation and each service happens follows from
//! the case alone. Implementation and model both walk this one list.

use crate::{Case, Direction, Operation, Service, Start};

/// What happens to the controller at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Action {
    /// The select lines become this mask.
    Select(u8),
    /// The motor lines become this mask.
    Motor(u8),
    /// The side line becomes this.
    Side(u8),
    /// One step pulse.
    Step(Direction),
    /// The sync word becomes this.
    SyncWord(u64),
    /// Hardware sync is on from now on, or off.
    HardwareSync(bool),
    /// A request to read.
    Read {
        /// The number of this transfer: 0 for the program's first request.
        transfer: u32,
        /// How many words.
        words: u32,
        /// When it begins.
        start: Start,
    },
    /// A request to write.
    Write {
        /// The number of this transfer, counted together with the reads.
        transfer: u32,
        /// When it begins.
        start: Start,
    },
    /// The bus is the controller's to move one word of that transfer; void when that transfer
    /// does not run or no word waits.
    Service {
        /// The transfer's number.
        transfer: u32,
    },
    /// The running or waiting transfer ends.
    Abort,
    /// The status is read: exactly one status item answers.
    PollStatus,
    /// The byte port is read: exactly one byte item answers.
    PollByte,
    /// The unrelated output becomes this.
    Output(u8),
    /// The controller is reset.
    Reset,
    /// The program ends here; nothing happens but that time has come so far.
    End,
}

/// An action and its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Event {
    /// When, in nanoseconds from the case's begin.
    pub at_ns: u64,
    /// What.
    pub action: Action,
    /// The index of the operation in the program that it comes from; the program's length at the
    /// end.
    pub operation: u32,
}

/// Works out a case's events, in the order in which they happen, into `events`.
///
/// Shape: sorted by time; at one moment the services of earlier transfers come first, then the
/// operations in the program's order, a new transfer's own services right after its request. The
/// last event is [`Action::End`]. `events` is emptied first and keeps its memory.
pub fn timeline(case: &Case, events: &mut Vec<Event>) {
    events.clear();
    let end_ns = case.end_ns();
    let mut at_ns = 0;
    let mut transfer = 0;
    for (index, operation) in case.program.iter().enumerate() {
        let operation_index = index as u32;
        let action = match operation {
            Operation::Wait { .. } => None,
            Operation::Select { mask } => Some(Action::Select(*mask)),
            Operation::Motor { mask } => Some(Action::Motor(*mask)),
            Operation::Side { side } => Some(Action::Side(*side)),
            Operation::Step { direction } => Some(Action::Step(*direction)),
            Operation::SyncWord { word } => Some(Action::SyncWord(*word)),
            Operation::HardwareSync { on } => Some(Action::HardwareSync(*on)),
            Operation::Read { words, start, .. } => {
                transfer += 1;
                Some(Action::Read { transfer: transfer - 1, words: *words, start: *start })
            }
            Operation::Write { start, .. } => {
                transfer += 1;
                Some(Action::Write { transfer: transfer - 1, start: *start })
            }
            Operation::Abort => Some(Action::Abort),
            Operation::PollStatus => Some(Action::PollStatus),
            Operation::PollByte => Some(Action::PollByte),
            Operation::Output { value } => Some(Action::Output(*value)),
            Operation::Reset => Some(Action::Reset),
        };
        events.extend(action.map(|action| Event { at_ns, action, operation: operation_index }));
        if let Some(service) = operation.service() {
            let (interval_ns, each) = match case.profile.service {
                Service::PerWord => (service.interval_ns, 1),
                Service::Slots { period_ns, count } => (u64::from(period_ns), count),
            };
            let mut after_ns = service.first_ns;
            while at_ns.saturating_add(after_ns) <= end_ns {
                let stalled = service.stalls.iter().find(|stall| {
                    after_ns >= stall.from_ns && after_ns - stall.from_ns < stall.length_ns
                });
                if let Some(stall) = stalled {
                    // On to the first service after the stall, in the same rhythm.
                    let over_ns = stall.from_ns + stall.length_ns - after_ns;
                    after_ns += over_ns.div_ceil(interval_ns) * interval_ns;
                    continue;
                }
                let event = Event {
                    at_ns: at_ns + after_ns,
                    action: Action::Service { transfer: transfer - 1 },
                    operation: operation_index,
                };
                events.extend(std::iter::repeat_n(event, usize::from(each)));
                after_ns += interval_ns;
            }
        }
        at_ns += case.duration_ns(operation);
    }
    events.push(Event { at_ns: end_ns, action: Action::End, operation: case.program.len() as u32 });
    // In place, so that a campaign allocates nothing here. At one moment the earlier operation's
    // events come first, a request before its own services.
    events.sort_unstable_by_key(|event| {
        (event.at_ns, event.operation, matches!(event.action, Action::Service { .. }))
    });
}

#[cfg(test)]
mod tests {
    use super::{Action, timeline};
    use crate::{
        Bench, Case, ChangeClear, DriveBench, HostService, Operation, Profile, Stall, Start,
    };

    fn case(program: Vec<Operation>) -> Case {
        let drive = DriveBench {
            turn_bits: 64,
            start_bit: 0,
            cylinder: 0,
            write_protected: false,
            spin_up_ns: 0,
            change_clear: ChangeClear::Step,
        };
        Case {
            profile: Profile::sync_dma(),
            bench: Bench { access_ns: 100, drives: vec![drive] },
            tracks: Vec::new(),
            program,
            flux: None,
        }
    }

    fn read(first_ns: u64, interval_ns: u64, stalls: Vec<Stall>) -> Operation {
        let service = HostService { first_ns, interval_ns, stalls };
        Operation::Read { words: 1, start: Start::Now, service }
    }

    fn times(case: &Case) -> Vec<(u64, Action)> {
        let mut events = Vec::new();
        timeline(case, &mut events);
        events.iter().map(|event| (event.at_ns, event.action)).collect()
    }

    #[test]
    fn a_service_comes_before_an_operation_of_its_moment_but_for_a_new_request() {
        let case = case(vec![read(0, 100, vec![]), Operation::PollStatus, Operation::Abort]);
        let read_action = Action::Read { transfer: 0, words: 1, start: Start::Now };
        let service = Action::Service { transfer: 0 };
        assert_eq!(
            times(&case),
            [
                (0, read_action),
                (0, service),
                (100, service),
                (100, Action::PollStatus),
                (200, service),
                (200, Action::Abort),
                (300, service),
                (300, Action::End),
            ]
        );
    }

    #[test]
    fn a_stall_takes_services_out_and_keeps_the_rhythm() {
        let stall = Stall { from_ns: 150, length_ns: 300 };
        let case = case(vec![read(100, 100, vec![stall]), Operation::Wait { ns: 600 }]);
        let services: Vec<u64> = times(&case)
            .into_iter()
            .filter(|(_, action)| matches!(action, Action::Service { .. }))
            .map(|(at_ns, _)| at_ns)
            .collect();
        assert_eq!(services, [100, 500, 600, 700]);
    }
}
