//! Metamorphic relations: another case that must fare alike, whatever the model says.
//!
//! A deviation that goes away when something that should not matter is taken out of the case is
//! named by that: the relation's rule, not the place where it happened to show.

use crate::rules::Rule;
use serde::{Deserialize, Serialize};
use trackproof_contract::{Case, Operation, Start};

/// What is changed between two cases that must fare alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Relation {
    /// Unrelated outputs are left out.
    Output,
    /// Status reads are left out. Harmless to all but a match flag that they clear.
    Poll,
    /// The other drives stay at rest.
    Drives,
    /// Medium, index and start are turned together.
    Rotation {
        /// By this many channel bits.
        bits: u32,
    },
    /// The program begins later.
    Shift {
        /// By this many turns of drive 0.
        turns: u32,
    },
}

impl Relation {
    /// The rule that a broken relation breaks.
    #[must_use]
    pub fn rule(self) -> &'static Rule {
        let id = match self {
            Self::Output => "apart.output",
            Self::Poll => "apart.poll",
            Self::Drives => "apart.drives",
            Self::Rotation { .. } => "apart.rotation",
            Self::Shift { .. } => "time.shift",
        };
        Rule::find(id).expect("relations name rules of the catalogue")
    }

    /// The related case, or none when the relation changes nothing of this one.
    ///
    /// `upto` is the operation at which the case deviates: later ones, and that one, stay.
    #[must_use]
    pub fn apply(self, case: &Case, upto: usize) -> Option<Case> {
        match self {
            Self::Output => {
                without(case, upto, |operation| matches!(operation, Operation::Output { .. }))
            }
            Self::Poll => {
                without(case, upto, |operation| matches!(operation, Operation::PollStatus))
            }
            Self::Drives => one_drive(case, upto),
            Self::Rotation { bits } => rotated(case, bits),
            Self::Shift { turns } => shifted(case, turns),
        }
    }
}

/// The case with operations of a kind replaced by the time that they take.
fn without(case: &Case, upto: usize, is: fn(&Operation) -> bool) -> Option<Case> {
    let mut related = case.clone();
    let mut changed = false;
    for operation in related.program.iter_mut().take(upto) {
        if is(operation) {
            *operation = Operation::Wait { ns: u64::from(case.bench.access_ns) };
            changed = true;
        }
    }
    changed.then_some(related)
}

/// The case in which only the drive that is selected at `upto` ever has a turn.
fn one_drive(case: &Case, upto: usize) -> Option<Case> {
    let selected = |upto: usize| {
        case.program.iter().take(upto).rev().find_map(|operation| match operation {
            Operation::Select { mask } => Some(*mask),
            _ => None,
        })
    };
    let kept = selected(upto).filter(|mask| *mask != 0)?;
    let mut related = case.clone();
    let mut changed = false;
    let mut away = false;
    for operation in related.program.iter_mut().take(upto) {
        let rest = match operation {
            Operation::Select { mask } => {
                let back = std::mem::replace(&mut away, *mask != kept);
                changed |= away;
                // The way back from a drive that never had its turn is no change of drives.
                away || back
            }
            Operation::Motor { mask } => {
                changed |= *mask & !kept != 0;
                *mask &= kept;
                false
            }
            Operation::Wait { .. } => false,
            _ => away,
        };
        if rest {
            *operation = Operation::Wait { ns: u64::from(case.bench.access_ns) };
        }
    }
    // The kept drive must have been selected at all.
    let first = case.program.iter().position(|op| *op == Operation::Select { mask: kept })?;
    related.program[first] = Operation::Select { mask: kept };
    changed.then_some(related)
}

/// The whole world turned: the head meets the same bits at the same times.
fn rotated(case: &Case, bits: u32) -> Option<Case> {
    let mut related = case.clone();
    let mut changed = false;
    for (number, drive) in related.bench.drives.iter_mut().enumerate() {
        let by = bits % drive.turn_bits;
        changed |= by != 0;
        drive.start_bit = (drive.start_bit + drive.turn_bits - by) % drive.turn_bits;
        for track in related.tracks.iter_mut().filter(|track| usize::from(track.drive) == number) {
            let turned = track.medium.track().rotated(by as usize);
            *track.medium.track_mut() = turned;
        }
    }
    (changed && !starts_at_index(case)).then_some(related)
}

/// Whether a read of the case begins at the index.
pub(crate) fn starts_at_index(case: &Case) -> bool {
    case.program
        .iter()
        .any(|operation| matches!(operation, Operation::Read { start: Start::Index, .. }))
}

/// The program begun some turns of drive 0 later, every platter as it was.
fn shifted(case: &Case, turns: u32) -> Option<Case> {
    let mut related = case.clone();
    let cells = u64::from(case.bench.drives.first()?.turn_bits) * u64::from(turns);
    for drive in &mut related.bench.drives {
        let turn = u64::from(drive.turn_bits);
        drive.start_bit = ((u64::from(drive.start_bit) + turn - cells % turn) % turn) as u32;
    }
    let ns = cells * u64::from(case.profile.channel_bit_ns);
    related.program.insert(0, Operation::Wait { ns });
    related.validate().is_ok().then_some(related)
}
