//! What a deviation's name rests on.

use crate::judge::Place;
use crate::relation::{Relation, starts_at_index};
use crate::verdict::Deviation;
use trackproof_contract::{Case, MAX_TRACK_BITS};
use trackproof_model::tape::REGISTER;

pub use crate::judge::Hypothesis;

/// What a deviation's name rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// Where it shows: a row of the table. Circumstances that were tried and made no difference
    /// are left out of the place.
    Place {
        /// Those circumstances.
        idle: Place,
    },
    /// It goes away with something that should not matter.
    Relation(Relation),
    /// It goes away when the index is elsewhere on the turn.
    Index,
    /// The implementation behaves as a hypothesis says.
    Hypothesis(Hypothesis),
}

impl Cause {
    /// The relation that is broken, if it is one.
    #[must_use]
    pub const fn relation(&self) -> Option<Relation> {
        match self {
            Self::Relation(relation) => Some(*relation),
            _ => None,
        }
    }

    /// What it says, in a sentence; none when it only says where the deviation shows.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        match self {
            Self::Place { .. } => None,
            Self::Relation(relation) => Some(format!(
                "it goes away {}",
                match relation {
                    Relation::Output => "without the outputs, which have nothing to do with it",
                    Relation::Poll => "without the status reads, which are harmless",
                    Relation::Drives => "when only the one drive has a turn",
                    Relation::Rotation { .. } => "when medium and index are turned together",
                    Relation::Shift { .. } => "when the program begins whole turns later",
                }
            )),
            Self::Index => Some("it goes away when the index is elsewhere on the turn".into()),
            Self::Hypothesis(hypothesis) => Some(hypothesis.sentence()),
        }
    }

    /// Whether it explains the deviation, and does not just say where it shows.
    #[must_use]
    pub const fn explains(&self) -> bool {
        !matches!(self, Self::Place { .. })
    }
}

/// Cases with the index elsewhere, for a deviation that shows close to it: turned so that the bits
/// concerned begin or end there, or half a turn away; where nothing is recorded, with a turn so
/// long that the index does not come.
pub(crate) fn other_indexes(case: &Case, deviation: &Deviation) -> Vec<Case> {
    let Some(drive) = case.bench.drives.first() else { return Vec::new() };
    let turn = drive.turn_bits;
    let state = &deviation.rejection.state;
    let end = state.fifo.first().map_or(state.pos, |entry| entry.end);
    let word = usize::from(case.profile.word_bits);
    let width = usize::from(case.profile.register_bits);
    let concerned = [end, end.saturating_sub(word), end.saturating_sub(word + width), state.base];
    let mut turns: Vec<u32> = concerned
        .into_iter()
        .filter_map(|position| position.checked_sub(REGISTER))
        .map(|cell| ((u64::from(drive.start_bit) + cell as u64) % u64::from(turn)) as u32)
        .chain([turn / 2, turn / 3])
        .filter(|bits| bits % turn != 0)
        .collect();
    turns.dedup();
    let mut cases: Vec<Case> =
        turns.into_iter().filter_map(|bits| Relation::Rotation { bits }.apply(case, 0)).collect();
    // Where a read begins at the index, it would not begin at all.
    if case.tracks.is_empty() && !starts_at_index(case) {
        let mut far = case.clone();
        for drive in &mut far.bench.drives {
            drive.turn_bits = MAX_TRACK_BITS as u32;
            drive.start_bit = 1;
        }
        cases.push(far);
    }
    cases
}
