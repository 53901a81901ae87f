//! What is wrong with a medium after a run, or with the stream of an image-backed track, and the
//! rule that names it.
//!
//! A written track is compared as a whole: what stands where a write should have been tells what
//! the controller did instead. Each answer is tested in turn, the most particular first.

use crate::verdict::{Edit, MediumSides};
use trackproof_contract::{
    Case, ChannelBits, Medium, Observation, Operation, Recording, WriteUnit,
};
use trackproof_model::layout::FieldKind;
use trackproof_model::reader::acceptor::Acceptor;
use trackproof_model::reader::worlds::{Laid, MediumDifference};
use trackproof_model::reader::writing::Written;
use trackproof_model::recorded::Recorded;
use trackproof_model::search::Pattern;

/// Bits by which a write is looked for before and behind its place.
const NEAR_BITS: i64 = 64;

/// Bits that must stand somewhere for what was written to have moved there.
const LEAST_COMPARED: i64 = 8;

/// A rule's id and a kind.
pub(super) type Name = (&'static str, &'static str);

/// Names what is wrong with the media after a run.
pub(super) fn name(
    acceptor: &Acceptor,
    case: &Case,
    observation: &Observation,
    difference: MediumDifference,
) -> Name {
    let writes = acceptor.writes();
    let compared = |number: usize| {
        let (due, shown) = (acceptor.tracks().get(number)?, observation.media.get(number)?);
        let shown = shown.medium.track();
        Some(Compared { case, number, due, shown })
    };
    let Some(track) = compared(difference.track) else { return ("gate.quiet", "changed-medium") };
    // What came to a track that it was not for is missing where it should be.
    let stray = (0..case.tracks.len())
        .filter(|number| !writes.iter().any(|(_, laid)| laid.track == Some(*number)))
        .filter_map(compared)
        .find(|track| track.due.difference(&observation.media[track.number].medium).is_some());
    if let Some(stray) = stray {
        return stray.without_a_write(&writes, observation);
    }
    let here = writes.iter().rev().find(|(_, laid)| laid.track == Some(track.number));
    let Some((written, laid)) = here else { return track.without_a_write(&writes, observation) };
    if track.due.image().is_some() {
        return track.of_an_image(written, laid);
    }
    track.of_a_write(written, laid)
}

/// Bits shown before the first wrong one, and in all.
const BITS_BEFORE: usize = 16;
const BITS_SHOWN: usize = 48;

/// The stretch about the first wrong bit.
pub(super) fn sides(
    acceptor: &Acceptor,
    observation: &Observation,
    difference: MediumDifference,
) -> Option<MediumSides> {
    let MediumDifference { track, bit: first, count: wrong } = difference;
    let due = acceptor.tracks().get(track)?;
    let got = observation.media.get(track)?.medium.track();
    let (stored, image) = match due.image() {
        Some(image) => (&image.sectors, true),
        None => (&due.stream, false),
    };
    let from = first.saturating_sub(BITS_BEFORE);
    let bits = (stored.len() - from).min(BITS_SHOWN);
    let write = acceptor.writes().iter().rev().find_map(|(written, laid)| {
        if laid.track != Some(track) {
            return None;
        }
        let behind = (first + laid.turn).checked_sub(laid.cell)? % laid.turn;
        let inside = image || behind < laid.bits.len();
        inside.then_some(written.transfer)
    });
    Some(MediumSides {
        track,
        first,
        wrong,
        from,
        bits,
        due: stored.window(from, bits),
        free: if image { 0 } else { due.free_window(from, bits) },
        got: got.window(from, bits),
        write,
    })
}

/// A track that is not as it should be.
struct Compared<'a> {
    case: &'a Case,
    number: usize,
    due: &'a Recorded,
    shown: &'a ChannelBits,
}

impl Compared<'_> {
    /// No write was to leave anything on the track.
    fn without_a_write(&self, writes: &[(&Written, &Laid)], observation: &Observation) -> Name {
        let drive = usize::from(self.case.tracks[self.number].drive);
        if self.case.bench.drives[drive].write_protected {
            return ("write.refused", "protected-medium-written");
        }
        if writes.iter().any(|(written, laid)| written.begun > 0 && !stands(laid, observation)) {
            return ("write.target", "wrong-place");
        }
        // One that still waits has begun, unless the gate has but flashed.
        let requests =
            self.case.program.iter().filter(|one| matches!(one, Operation::Write { .. }));
        let word_bits = usize::from(self.case.profile.word_bits);
        let wrong = self.due.difference(&observation.media[self.number].medium);
        if requests.count() > writes.len() && wrong.is_some_and(|(_, count)| count > word_bits / 2)
        {
            return ("write.start", "without-a-cause");
        }
        ("gate.quiet", "written-without-a-write")
    }

    /// An image-backed track that was written on.
    fn of_an_image(&self, written: &Written, laid: &Laid) -> Name {
        let longer = laid.bits.len() > laid.turn;
        match (written.cut_short, longer) {
            (true, _) => ("write.abort", "sector-changed"),
            (false, true) => ("write.wrap", "wrong-sector"),
            (false, false) => ("write.words", "wrong-sector"),
        }
    }

    /// A track of channel bits that was written on.
    fn of_a_write(&self, written: &Written, laid: &Laid) -> Name {
        let word_bits = usize::from(self.case.profile.word_bits);
        let wrong: Vec<usize> = self.wrong_cells(laid);
        let length = laid.bits.len();
        let Some(&first) = wrong.first() else { return ("write.guard", "changed") };
        let turns = |cell: usize| length.saturating_sub(cell + 1) / laid.turn * laid.turn;
        // Of a write longer than a turn the last turn is what stands there.
        let inside: Vec<usize> =
            wrong.iter().filter(|cell| **cell < length).map(|cell| cell + turns(*cell)).collect();
        if inside.is_empty() {
            return self.outside(written, laid, &wrong);
        }
        // What was there may be what the first turn lays.
        if self.first_turn_stands(laid) {
            return ("write.wrap", "longer-than-a-turn");
        }
        if self.unchanged(laid, 0, length) {
            return ("write.words", "not-written");
        }
        let underrun = written.first_underrun();
        let fed = underrun.is_none_or(|underrun| inside.iter().all(|cell| *cell < underrun));
        if let Some(name) = self.of_clock_bits(laid, &inside).filter(|_| fed) {
            return name;
        }
        if length > laid.turn {
            return ("write.wrap", "longer-than-a-turn");
        }
        if let Some(name) = self.moved(written, laid) {
            return name;
        }
        if underrun.is_some_and(|underrun| first + word_bits >= underrun) {
            return ("transfer.stall", "wrong-fill");
        }
        let to_index = laid.turn - laid.cell;
        if first < length && first + 1 >= to_index && to_index < length {
            return ("write.wrap", "wrong-behind-the-index");
        }
        // Where the gate closed before the end the medium is as it was.
        let stops = first + word_bits >= length && self.unchanged(laid, first, length);
        match (stops, written.cut_short) {
            (true, true) => ("write.abort", "closed-early"),
            (true, false) => ("write.words", "last-word-lost"),
            _ if self.case.profile.write_unit == WriteUnit::DataBytes => {
                ("write.words", "wrong-data")
            }
            _ => ("write.verbatim", "changed-bits"),
        }
    }

    /// Bits that differ behind the write's end or before its begin.
    fn outside(&self, written: &Written, laid: &Laid, wrong: &[usize]) -> Name {
        let word_bits = usize::from(self.case.profile.word_bits);
        let length = laid.bits.len();
        if wrong.iter().all(|cell| self.in_sync_word(laid, *cell)) {
            return ("write.neighbour", "sync-word-changed");
        }
        let half = laid.turn.saturating_sub(length) / 2;
        let behind = wrong.iter().any(|cell| *cell >= length && cell - length < half);
        match (behind, written.cut_short) {
            (true, true) => ("write.abort", "gate-open-too-long"),
            (true, false) if written.starved => ("transfer.stall", "gate-open-too-long"),
            (true, false)
                if wrong.iter().all(|cell| *cell < length + 2 * word_bits)
                    && wrong.iter().any(|cell| *cell >= length + 4) =>
            {
                ("write.words", "one-word-too-many")
            }
            (true, false) => ("write.guard", "changed-behind"),
            (false, _) => ("write.guard", "changed-before"),
        }
    }

    /// Whether a cell, counted from the write's begin, is one of a sync word that the write was to
    /// leave as it was: without it nobody finds the sector behind it.
    fn in_sync_word(&self, laid: &Laid, cell: usize) -> bool {
        let sync = Pattern::of(&self.case.profile, self.case.profile.default_sync_word());
        let turn = laid.turn;
        let (length, at) = (laid.bits.len(), laid.cell + cell);
        (0..sync.width.min(cell + 1)).any(|back| {
            let begin = (at + turn - back % turn) % turn;
            let outside = cell - back >= length && cell - back + sync.width <= turn;
            outside && sync.equals(self.due.stream.cyclic_window(begin, sync.width))
        })
    }

    /// The cells that differ, counted from the write's begin round the turn.
    fn wrong_cells(&self, laid: &Laid) -> Vec<usize> {
        let mut wrong: Vec<usize> = (0..self.shown.len())
            .filter(|cell| {
                self.due.free_window(*cell, 1) == 0
                    && self.shown.get(*cell) != self.due.stream.get(*cell)
            })
            .map(|cell| (cell + laid.turn - laid.cell) % laid.turn)
            .collect();
        wrong.sort_unstable();
        wrong
    }

    /// Whether the medium is as it was before the case in the cells of the write from one to
    /// another.
    fn unchanged(&self, laid: &Laid, from: usize, to: usize) -> bool {
        let Medium::ChannelBits { track: before, .. } = &self.case.tracks[self.number].medium
        else {
            return false;
        };
        let to = to.min(from + laid.turn);
        (from..to).step_by(64).all(|at| {
            let count = (to - at).min(64);
            let cell = (laid.cell + at) % laid.turn;
            let changed = before.cyclic_window(cell, count) ^ self.shown.cyclic_window(cell, count);
            changed & !self.due.free_window(cell, count) == 0
        })
    }

    /// Whether of a write longer than a turn the first turn stands there, and not the last.
    fn first_turn_stands(&self, laid: &Laid) -> bool {
        laid.bits.len() > laid.turn
            && (0..laid.turn).all(|behind| {
                let cell = (laid.cell + behind) % laid.turn;
                self.due.free_window(cell, 1) != 0 || self.shown.get(cell) == laid.bits.get(behind)
            })
    }

    /// What was to be written stands there, but begins elsewhere or lacks words.
    fn moved(&self, written: &Written, laid: &Laid) -> Option<Name> {
        let word_bits = usize::from(self.case.profile.word_bits) as i64;
        let length = laid.bits.len() as i64;
        // Cells of the guards are left out; a row of equal bits fits anywhere and tells nothing.
        let fits = |shift: i64| {
            let (from, to) = (0.max(-shift), length - shift.max(0));
            let at = |cell: i64| (laid.cell as i64 + cell).rem_euclid(laid.turn as i64) as usize;
            let (mut compared, mut ones) = (0, 0);
            for cell in (from..to).filter(|cell| self.due.free_window(at(*cell), 1) == 0) {
                let due = laid.bits.get((cell + shift) as usize);
                if self.shown.get(at(cell)) != due {
                    return false;
                }
                compared += 1;
                ones += i64::from(due);
            }
            compared >= LEAST_COMPARED.min(length / 2) && ones > 0 && ones < compared
        };
        let shift = (1..=NEAR_BITS.max(2 * word_bits))
            .flat_map(|shift| [-shift, shift])
            .find(|shift| fits(*shift))?;
        Some(match shift {
            _ if shift == word_bits => ("write.words", "first-word-lost"),
            _ if shift > 0 && shift % word_bits == 0 => ("write.words", "words-lost"),
            _ if shift < 0 && shift % word_bits == 0 && written.begun > 1 => {
                ("write.words", "word-inserted")
            }
            _ if shift < 0 => ("write.start", "too-late"),
            _ => ("write.start", "too-early"),
        })
    }

    /// Clock bits that a controller has made of data bytes, if nothing else is wrong.
    fn of_clock_bits(&self, laid: &Laid, wrong: &[usize]) -> Option<Name> {
        let word_bits = usize::from(self.case.profile.word_bits);
        let lead = usize::from(self.case.profile.gate_lead);
        let clock = |cell: &usize| *cell >= lead && (*cell - lead).is_multiple_of(2);
        if self.case.profile.write_unit != WriteUnit::DataBytes || !wrong.iter().all(clock) {
            return None;
        }
        let word = |cell: usize| cell - (cell - lead) % word_bits;
        let begins_word = |cell: &usize| *cell == word(*cell);
        let mark = |begin: usize| self.is_mark(laid, begin);
        let behind_mark =
            |cell: &usize| begins_word(cell) && *cell > lead && mark(cell - word_bits);
        Some(if wrong.iter().all(|cell| mark(word(*cell))) {
            ("mark.pattern", "wrong-clock-bit")
        } else if wrong.iter().all(behind_mark) {
            ("clock.idempotent", "wrong-behind-a-mark")
        } else if wrong.iter().all(begins_word) {
            ("clock.context", "lost-between-words")
        } else if wrong.iter().all(|cell| !laid.bits.get(*cell)) {
            ("run.length", "too-close")
        } else {
            ("clock.rule", "wrong-clock-bit")
        })
    }

    /// Whether the written word that begins at a cell leaves out a clock bit that the code has.
    fn is_mark(&self, laid: &Laid, begin: usize) -> bool {
        let end = begin + usize::from(self.case.profile.word_bits);
        let lead = usize::from(self.case.profile.gate_lead);
        let bit = |cell: usize| cell < laid.bits.len() && laid.bits.get(cell);
        (begin..end).step_by(2).any(|clock| {
            // What the first clock bit supposes before it is the profile's.
            let between_zeros = clock > lead && !bit(clock - 1) && !bit(clock + 1);
            !bit(clock) && (self.case.profile.recording == Recording::Fm || between_zeros)
        })
    }
}

/// Whether what a write has laid stands where it should, its two ends apart.
fn stands(laid: &Laid, observation: &Observation) -> bool {
    let Some(shown) = laid.track.and_then(|track| observation.media.get(track)) else {
        return false;
    };
    let Medium::ChannelBits { track, .. } = &shown.medium else { return true };
    let length = laid.bits.len().min(laid.turn);
    let margin = 16.min(length / 4);
    (margin..length - margin).all(|at| {
        laid.bits.get(laid.bits.len() - length + at)
            == track.get((laid.cell + laid.bits.len() - length + at) % laid.turn)
    })
}

/// A word that was read with another value than the track has.
#[derive(Debug, Clone, Copy)]
pub(super) struct WrongWord {
    /// Where it ends on the tape.
    pub(super) end: usize,
    /// How many of its bits come from the tape.
    pub(super) bits: usize,
    /// The wrong ones among them.
    pub(super) wrong: u64,
    /// The bits as they came.
    pub(super) got: u64,
    /// What the words look like beside the right ones.
    pub(super) edit: Edit,
    /// The sync word, while hardware sync is off and makes nothing of it.
    pub(super) unused_sync: Option<Pattern>,
}

impl WrongWord {
    /// Its name, if it is what the track gives that is wrong, not how it is read.
    pub(super) fn name(&self, acceptor: &Acceptor) -> Option<Name> {
        if self.is_old(acceptor) {
            return Some(("write.words", "old-data-read"));
        }
        // Words may be lost or shifted by the reader; then what stands on the track is right.
        if !matches!(self.edit, Edit::Substituted | Edit::Foreign | Edit::Slipped(_)) {
            return None;
        }
        self.of_stream(acceptor).or_else(|| {
            self.sync_word_changed(acceptor).then_some(("raw.equal", "sync-word-changed"))
        })
    }

    /// Whether every wrong bit is what stood there before the case wrote. A turn may be stale in
    /// part, and a word may lie on it more than once, so the right ones may be new.
    fn is_old(&self, acceptor: &Acceptor) -> bool {
        let Self { end, bits, wrong, got, edit, .. } = *self;
        let unwritten = acceptor.unwritten_tape();
        let shifted = matches!(edit, Edit::Slipped(_));
        let old = || (unwritten.window(end, bits) ^ got) & wrong == 0;
        !shifted && wrong != 0 && end <= unwritten.len() && old()
    }

    /// Whether nothing but one bit of a sync word came wrong where hardware sync is off: software
    /// sync then misses what hardware sync finds. A word that another match has moved differs in
    /// more.
    fn sync_word_changed(&self, acceptor: &Acceptor) -> bool {
        let Self { end, wrong, edit, unused_sync, .. } = *self;
        let one = wrong.is_power_of_two() && matches!(edit, Edit::Substituted | Edit::Foreign);
        let Some(sync) = unused_sync.filter(|_| one) else { return false };
        let behind = end - wrong.trailing_zeros() as usize;
        let tape = acceptor.tape();
        (behind..(behind + sync.width).min(tape.len() + 1))
            .any(|behind| sync.equals(tape.window(behind, sync.width)))
    }

    /// What is wrong with the stream of an image-backed track, if the word comes from one.
    fn of_stream(&self, acceptor: &Acceptor) -> Option<Name> {
        let Self { end, bits, wrong, got, edit, .. } = *self;
        let from = end.checked_sub(bits)?;
        let pass = acceptor.tape().pass_at(from)?;
        let image = acceptor.tracks().get(pass.track?)?.image()?;
        let track = trackproof_model::image::lay_out(image, pass.turn)?;
        let cell = |place: usize| pass.cell_at(from + place);
        let places: Vec<usize> =
            (0..bits).filter(|place| wrong >> (bits - 1 - place) & 1 == 1).collect();
        let field = |cell: usize| {
            let place =
                track.fields.partition_point(|field| field.start_bit <= cell).checked_sub(1)?;
            track.fields.get(place)
        };
        let clocks = places.iter().all(|place| cell(*place).is_multiple_of(2));
        if !clocks {
            let kinds: Vec<FieldKind> = places
                .iter()
                .filter_map(|place| field(cell(*place)).map(|field| field.kind))
                .collect();
            let all = |wanted: &[FieldKind]| kinds.iter().all(|kind| wanted.contains(kind));
            return if !matches!(edit, Edit::Substituted | Edit::Foreign) {
                None
            } else if all(&[FieldKind::DataCheck, FieldKind::AddressCheck]) {
                Some(("layout.fields", "wrong-check"))
            } else if all(&[FieldKind::Address]) {
                Some(("layout.fields", "wrong-header"))
            } else {
                None
            };
        }
        let marks = track.special_bytes();
        let in_mark = |cell: usize| marks.iter().any(|mark| (*mark..*mark + 16).contains(&cell));
        if places.iter().all(|place| in_mark(cell(*place))) {
            return Some(("mark.pattern", "ordinary-clock"));
        }
        if places.iter().all(|place| cell(*place) == 0) {
            return Some(("clock.context", "lost-at-the-index"));
        }
        if places.iter().all(|place| cell(*place).is_multiple_of(16)) {
            return Some(("clock.context", "lost-between-bytes"));
        }
        let come = |one: u64| places.iter().all(|place| got >> (bits - 1 - place) & 1 == one);
        Some(if come(0) {
            ("clock.present", "missing-clock-bits")
        } else if come(1) {
            ("run.length", "too-close")
        } else {
            ("clock.rule", "wrong-clock-bit")
        })
    }
}
