//! Slots: every number of a case, to read and to write in one way.

use super::requests::{set_words, words};
use trackproof_contract::{Case, ChangeClear, Operation, WriteSource};

/// One number of a case.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Slot {
    Access,
    SpinUp(usize),
    Protected(usize),
    ChangeClear(usize),
    Cylinder(usize),
    StartBit(usize),
    TrackCylinder(usize),
    TrackSide(usize),
    Lines(usize),
    SyncWord(usize),
    Words(usize),
    /// Words that a copy leaves out.
    Skip(usize),
    /// The sync word that a copy is aligned to.
    Align(usize),
    /// The read that is copied.
    Copied(usize),
    Wait(usize),
    First(usize),
    Interval(usize),
    StallFrom(usize, usize),
    StallLength(usize, usize),
}

impl Slot {
    /// Whether the number is a time.
    pub(super) const fn is_time(self) -> bool {
        matches!(
            self,
            Self::Access
                | Self::SpinUp(_)
                | Self::Wait(_)
                | Self::First(_)
                | Self::Interval(_)
                | Self::StallFrom(..)
                | Self::StallLength(..)
        )
    }

    /// The number; 0 where the case has no such slot.
    pub(super) fn get(self, case: &Case) -> u64 {
        let drive = |d: usize| &case.bench.drives[d];
        match self {
            Self::Access => u64::from(case.bench.access_ns),
            Self::SpinUp(d) => drive(d).spin_up_ns,
            Self::Protected(d) => u64::from(drive(d).write_protected),
            Self::ChangeClear(d) => u64::from(drive(d).change_clear != ChangeClear::Step),
            Self::Cylinder(d) => u64::from(drive(d).cylinder),
            Self::StartBit(d) => u64::from(drive(d).start_bit),
            Self::TrackCylinder(t) => u64::from(case.tracks[t].cylinder),
            Self::TrackSide(t) => u64::from(case.tracks[t].side),
            Self::Lines(i) => match &case.program[i] {
                Operation::Select { mask: value }
                | Operation::Motor { mask: value }
                | Operation::Side { side: value }
                | Operation::Output { value } => u64::from(*value),
                _ => 0,
            },
            Self::SyncWord(i) => match &case.program[i] {
                Operation::SyncWord { word } => *word,
                _ => 0,
            },
            Self::Wait(i) => match &case.program[i] {
                Operation::Wait { ns } => *ns,
                _ => 0,
            },
            Self::Words(i) => words(&case.program[i], case.profile.word_bits),
            Self::Skip(i) | Self::Align(i) | Self::Copied(i) => match &case.program[i] {
                Operation::Write {
                    source: WriteSource::Copy { transfer, align, skip, .. },
                    ..
                } => match self {
                    Self::Skip(_) => u64::from(*skip),
                    Self::Align(_) => align.unwrap_or(0),
                    _ => u64::from(*transfer),
                },
                _ => 0,
            },
            Self::First(i)
            | Self::Interval(i)
            | Self::StallFrom(i, _)
            | Self::StallLength(i, _) => match case.program[i].service() {
                Some(service) => match self {
                    Self::First(_) => service.first_ns,
                    Self::Interval(_) => service.interval_ns,
                    Self::StallFrom(_, s) => service.stalls[s].from_ns,
                    Self::StallLength(_, s) => service.stalls[s].length_ns,
                    _ => 0,
                },
                None => 0,
            },
        }
    }

    /// Sets the number; the caller keeps to values that are no larger than what was there, or
    /// leaves it to the case's own check to refuse them.
    pub(super) fn set(self, case: &mut Case, to: u64) {
        let small = |value: u64| u8::try_from(value).unwrap_or(u8::MAX);
        let medium = |value: u64| u32::try_from(value).unwrap_or(u32::MAX);
        match self {
            Self::Access => case.bench.access_ns = medium(to),
            Self::SpinUp(d) => case.bench.drives[d].spin_up_ns = to,
            Self::Protected(d) => case.bench.drives[d].write_protected = to != 0,
            Self::ChangeClear(d) => {
                let clear = if to == 0 { ChangeClear::Step } else { ChangeClear::Select };
                case.bench.drives[d].change_clear = clear;
            }
            Self::Cylinder(d) => case.bench.drives[d].cylinder = small(to),
            Self::StartBit(d) => case.bench.drives[d].start_bit = medium(to),
            Self::TrackCylinder(t) => case.tracks[t].cylinder = small(to),
            Self::TrackSide(t) => case.tracks[t].side = small(to),
            Self::Lines(i) => {
                if let Operation::Select { mask: value }
                | Operation::Motor { mask: value }
                | Operation::Side { side: value }
                | Operation::Output { value } = &mut case.program[i]
                {
                    *value = small(to);
                }
            }
            Self::SyncWord(i) => {
                if let Operation::SyncWord { word } = &mut case.program[i] {
                    *word = to;
                }
            }
            Self::Wait(i) => {
                if let Operation::Wait { ns } = &mut case.program[i] {
                    *ns = to;
                }
            }
            Self::Words(i) => {
                set_words(&mut case.program[i], case.profile.word_bits, medium(to));
            }
            Self::Skip(i) | Self::Align(i) | Self::Copied(i) => {
                if let Operation::Write {
                    source: WriteSource::Copy { transfer, align, skip, .. },
                    ..
                } = &mut case.program[i]
                {
                    match self {
                        Self::Skip(_) => *skip = medium(to),
                        Self::Align(_) => *align = Some(to),
                        _ => *transfer = medium(to),
                    }
                }
            }
            Self::First(i)
            | Self::Interval(i)
            | Self::StallFrom(i, _)
            | Self::StallLength(i, _) => {
                if let Some(service) = case.program[i].service_mut() {
                    match self {
                        Self::First(_) => service.first_ns = to,
                        Self::Interval(_) => service.interval_ns = to,
                        Self::StallFrom(_, s) => service.stalls[s].from_ns = to,
                        Self::StallLength(_, s) => service.stalls[s].length_ns = to,
                        _ => {}
                    }
                }
            }
        }
    }
}

/// Every number of the case, those of the bench first.
pub(super) fn slots(case: &Case) -> Vec<Slot> {
    let mut slots = vec![Slot::Access];
    for d in 0..case.bench.drives.len() {
        slots.extend([Slot::SpinUp(d), Slot::Protected(d), Slot::ChangeClear(d)]);
        slots.extend([Slot::Cylinder(d), Slot::StartBit(d)]);
    }
    for t in 0..case.tracks.len() {
        slots.extend([Slot::TrackCylinder(t), Slot::TrackSide(t)]);
    }
    for (i, operation) in case.program.iter().enumerate() {
        match operation {
            Operation::Wait { .. } => slots.push(Slot::Wait(i)),
            Operation::Select { .. }
            | Operation::Motor { .. }
            | Operation::Side { .. }
            | Operation::Output { .. } => slots.push(Slot::Lines(i)),
            Operation::SyncWord { .. } => slots.push(Slot::SyncWord(i)),
            _ => {}
        }
        if let Some(service) = operation.service() {
            slots.extend([Slot::Words(i), Slot::Interval(i), Slot::First(i)]);
            for s in 0..service.stalls.len() {
                slots.extend([Slot::StallLength(i, s), Slot::StallFrom(i, s)]);
            }
        }
        if let Operation::Write { source: WriteSource::Copy { align, .. }, .. } = operation {
            slots.extend([Slot::Skip(i), Slot::Copied(i)]);
            slots.extend(align.map(|_| Slot::Align(i)));
        }
    }
    slots
}

/// The times among the numbers.
pub(super) fn times(case: &Case) -> Vec<Slot> {
    slots(case).into_iter().filter(|slot| slot.is_time()).collect()
}

/// The channel bit's and the word's time.
pub(super) fn units(case: &Case) -> (u64, u64) {
    let bit_ns = u64::from(case.profile.channel_bit_ns.max(1));
    (bit_ns, bit_ns * u64::from(case.profile.word_bits))
}
