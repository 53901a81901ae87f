//! A moment of a case: what is under the head then, in words.

use super::phrase::{grouped, time};
use trackproof_contract::{Action, Case, Event};
use trackproof_model::drive::{Drives, Source};

/// What read data comes from at a moment, and where on the turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Moment {
    at_ns: u64,
    source: Source,
    /// The channel bit whose cell passes, and the bits of a turn.
    bit: Option<(u64, u64)>,
}

impl Moment {
    /// The moment of an event, its own effect not yet counted.
    pub(super) fn before(case: &Case, events: &[Event], event: usize) -> Self {
        let at_ns = events.get(event).map_or(0, |event| event.at_ns);
        Self::new(case, &events[..event.min(events.len())], at_ns)
    }

    /// Any moment: every event up to then has had its effect.
    pub(super) fn at(case: &Case, events: &[Event], at_ns: u64) -> Self {
        let passed = events.partition_point(|event| event.at_ns <= at_ns);
        Self::new(case, &events[..passed], at_ns)
    }

    fn new(case: &Case, passed: &[Event], at_ns: u64) -> Self {
        let mut drives = Drives::new(&case.bench);
        for event in passed {
            match event.action {
                Action::Select(mask) => drives.select(mask, &case.bench),
                Action::Motor(mask) => drives.motor(mask, event.at_ns),
                Action::Side(side) => drives.set_side(side),
                Action::Step(direction) => drives.step(direction, &case.bench),
                _ => {}
            }
        }
        let source = drives.source();
        let bit = match source {
            Source::Track { drive, .. } => case.bench.drives.get(usize::from(drive)).map(|drive| {
                let cell = at_ns / u64::from(case.profile.channel_bit_ns);
                let turn = u64::from(drive.turn_bits);
                ((u64::from(drive.start_bit) + cell) % turn, turn)
            }),
            Source::None => None,
        };
        Self { at_ns, source, bit }
    }

    /// In full: time, drive, cylinder, side and channel bit.
    pub(super) fn sentence(&self) -> String {
        match (self.source, self.bit) {
            (Source::Track { drive, cylinder, side }, Some((bit, turn))) => format!(
                "{}, drive {drive}, cylinder {cylinder}, side {side}, channel bit {} of {}",
                time(self.at_ns),
                grouped(bit),
                grouped(turn)
            ),
            _ => format!("{}, no drive gives read data", time(self.at_ns)),
        }
    }

    /// In short, for a table: `0:34`, drive and channel bit.
    pub(super) fn short(&self) -> String {
        match (self.source, self.bit) {
            (Source::Track { drive, .. }, Some((bit, _))) => format!("{drive}:{bit}"),
            _ => "none".into(),
        }
    }

    /// The channel bit whose cell passes.
    pub(super) const fn bit(&self) -> Option<(u64, u64)> {
        self.bit
    }
}
