//! The budget of a case: how many events it may have and how long it may last.
//!
//! Patterns keep to it by themselves nearly always; what is over it is made smaller here, the
//! least telling things first.

use super::spare::Spare;
use trackproof_contract::{Case, MAX_EVENTS, MAX_PROGRAM_NS, Operation, Service};

/// Makes a case keep to `events` events if waits and service rhythm allow it, and to the limits of
/// every case in any event.
pub(super) fn keep(case: &mut Case, events: u64, word_ns: u64, spare: &mut Spare) {
    if within(case, events) {
        return;
    }
    for operation in &mut case.program {
        if let Some(service) = operation.service_mut() {
            service.interval_ns = service.interval_ns.max(word_ns);
        }
    }
    while !within(case, events) && halve_waits(case) {}
    while !within(case, MAX_EVENTS as u64) {
        let Some(operation) = case.program.pop() else {
            return;
        };
        spare.reclaim_operation(operation);
    }
}

/// Whether a case has at most that many events, stalls not taken off, and lasts no longer than a
/// case may.
fn within(case: &Case, events: u64) -> bool {
    let end_ns = case.end_ns();
    if end_ns > MAX_PROGRAM_NS {
        return false;
    }
    let mut count = case.program.len() as u64 + 1;
    let mut now_ns = 0_u64;
    for operation in &case.program {
        if let Some(service) = operation.service() {
            let left_ns = end_ns.saturating_sub(now_ns.saturating_add(service.first_ns));
            let (interval_ns, each) = match case.profile.service {
                Service::PerWord => (service.interval_ns, 1),
                Service::Slots { period_ns, count } => (u64::from(period_ns), u64::from(count)),
            };
            count = count.saturating_add((left_ns / interval_ns + 1).saturating_mul(each));
        }
        now_ns += case.duration_ns(operation);
    }
    count <= events
}

/// Halves every wait; says whether there was any to halve.
fn halve_waits(case: &mut Case) -> bool {
    let mut halved = false;
    for operation in &mut case.program {
        if let Operation::Wait { ns } = operation
            && *ns > 1
        {
            *ns /= 2;
            halved = true;
        }
    }
    halved
}
