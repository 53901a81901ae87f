//! Both sides of a deviating read beside each other: words in hex, the first difference in
//! channel bits.

use super::phrase::{bits, count, grouped, grouped_by_four, hex, request};
use super::style::Style;
use crate::verdict::{Deviation, MediumSides};
use similar::{Algorithm, DiffOp, capture_diff_slices};
use trackproof_contract::Case;
use trackproof_model::reader::rejection::Mismatch;

/// What stands where a side has no word.
const NO_WORD: &str = "no word";

/// A line of the comparison: what was allowed, what came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Row {
    allowed: Option<u64>,
    got: Option<u64>,
}

/// The comparison of a deviation's words. `before` are the right words just before.
pub(super) fn words(
    deviation: &Deviation,
    before: &[u64],
    word_bits: u16,
    style: Style,
) -> Vec<String> {
    let taken = deviation
        .rejection
        .state
        .transfer
        .filter(|transfer| Some(transfer.id) == deviation.transfer)
        .map_or(before.len() as u64, |transfer| u64::from(transfer.taken));
    let mut number = taken - (before.len() as u64).min(taken);
    let same = before.iter().map(|word| Row { allowed: Some(*word), got: Some(*word) });
    let first = before.len();
    let all: Vec<Row> = same.chain(rows(deviation)).collect();
    let text = |word: Option<u64>| word.map_or(NO_WORD.into(), |word| hex(word, word_bits));
    let mut lines = vec![format!("    {:>10}  {:<18}{}", "", "allowed", "got")];
    for (place, row) in all.iter().enumerate() {
        // Numbers count the words of the side that has one there.
        number += 1;
        let label = format!("word {}", grouped(number));
        let (mut allowed, mut got) = (format!("{:<18}", text(row.allowed)), text(row.got));
        if row.allowed != row.got {
            (allowed, got) = (style.right(&allowed), style.wrong(&got));
        }
        let (mark, note) = if place == first {
            (style.strong("→"), style.strong("   first difference"))
        } else {
            (" ".into(), String::new())
        };
        lines.push(format!("  {mark} {label:>10}  {allowed}{got}{note}"));
    }
    if deviation.rejection.mismatch == Mismatch::WordValue
        && let (Some(allowed), Some(got)) = (deviation.expected.first(), deviation.got.first())
    {
        lines.extend(channel_bits(allowed.value, allowed.free, *got, word_bits, style));
    }
    lines
}

/// Both sides of a medium about its first wrong bit.
pub(super) fn medium(case: &Case, sides: &MediumSides, style: Style) -> Vec<String> {
    let Some(track) = case.tracks.get(sides.track) else { return Vec::new() };
    let unit = if track.medium.layout().is_some() { "data bit" } else { "channel bit" };
    let place = |bit: u64, sign: char| if sides.due >> bit & 1 == 1 { '1' } else { sign };
    let all = || (0..sides.bits as u64).rev();
    let due = all().map(|bit| if sides.free >> bit & 1 == 1 { '*' } else { place(bit, '0') });
    let got = all().map(|bit| if sides.got >> bit & 1 == 1 { '1' } else { '0' });
    let wrong = (sides.due ^ sides.got) & !sides.free;
    let marks = all().map(|bit| if wrong >> bit & 1 == 1 { '^' } else { ' ' });
    let mut lines = vec![
        format!(
            "    drive {}, cylinder {}, side {}: {} wrong, the first is {unit} {} of {}",
            track.drive,
            track.cylinder,
            track.side,
            count(sides.wrong as u64, "bit"),
            grouped(sides.first as u64),
            grouped(track.medium.track().len() as u64),
        ),
        format!("    from {unit} {} on", grouped(sides.from as u64)),
        format!("  {} allowed  {}", style.strong("→"), style.right(&grouped_by_four(due))),
        format!("    got      {}", style.wrong(&grouped_by_four(got))),
        format!("             {}", style.strong(grouped_by_four(marks).trim_end())),
    ];
    if sides.free != 0 {
        lines.push("             * a bit that nothing rests on".into());
    }
    if let Some(write) = sides.write {
        lines.push(format!("    the first wrong bit is one of {}", request(case, write)));
    }
    lines
}

/// The rows from the first difference on.
fn rows(deviation: &Deviation) -> Vec<Row> {
    // A free bit is whatever came; a place where both sides agree is no difference.
    let allowed: Vec<u64> = deviation
        .expected
        .iter()
        .enumerate()
        .map(|(place, word)| match deviation.got.get(place) {
            Some(got) if (got ^ word.value) & !word.free == 0 => *got,
            _ => word.value,
        })
        .collect();
    let got = deviation.got.as_slice();
    match deviation.rejection.mismatch {
        Mismatch::WordAfterEnd => {
            got.iter().map(|word| Row { allowed: None, got: Some(*word) }).collect()
        }
        // The time of the word is what is wrong: whatever its value, it stands alone.
        Mismatch::WordExtra => {
            let first = Row { allowed: None, got: got.first().copied() };
            let rest = aligned(&allowed, got.get(1..).unwrap_or(&[]));
            std::iter::once(first).chain(rest).collect()
        }
        Mismatch::WordMissing => {
            let first = Row { allowed: allowed.first().copied(), got: None };
            let rest = aligned(allowed.get(1..).unwrap_or(&[]), got);
            std::iter::once(first).chain(rest).collect()
        }
        _ => aligned(&allowed, got),
    }
}

/// Both sequences with equal words in one row.
fn aligned(allowed: &[u64], got: &[u64]) -> Vec<Row> {
    let mut rows = Vec::new();
    for op in capture_diff_slices(Algorithm::Myers, allowed, got) {
        let (old, new) = (op.old_range(), op.new_range());
        let paired = matches!(op, DiffOp::Equal { .. } | DiffOp::Replace { .. });
        let length = old.len().max(new.len());
        debug_assert!(paired || old.is_empty() || new.is_empty());
        rows.extend((0..length).map(|place| Row {
            allowed: allowed[old.clone()].get(place).copied(),
            got: got[new.clone()].get(place).copied(),
        }));
    }
    // Where one side ends, its missing words say nothing: the report shows a few words of each.
    while rows.len() > 1
        && rows.last().is_some_and(|row| row.allowed.is_none() || row.got.is_none())
    {
        rows.pop();
    }
    rows
}

/// The channel bits of two words, the differing ones marked.
fn channel_bits(allowed: u64, free: u64, got: u64, word_bits: u16, style: Style) -> Vec<String> {
    let sign = |bit: u16| if (allowed ^ got) & !free & 1 << bit == 0 { ' ' } else { '^' };
    let marks = grouped_by_four((0..word_bits).rev().map(sign));
    let shown = |bit: u16| match (free >> bit & 1, allowed >> bit & 1) {
        (1, _) => '*',
        (_, 1) => '1',
        _ => '0',
    };
    let allowed = grouped_by_four((0..word_bits).rev().map(shown));
    let mut lines = vec![
        String::new(),
        format!("    {:>10}  allowed  {}", "its bits", style.right(&allowed)),
        format!("    {:>10}  got      {}", "", style.wrong(&bits(got, word_bits))),
        format!("    {:>10}           {}", "", style.strong(marks.trim_end())),
    ];
    if free != 0 {
        lines.push(format!("    {:>10}           * a bit that nothing rests on", ""));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::{Row, aligned, channel_bits};
    use crate::report::Style;

    fn row(allowed: u64, got: u64) -> Row {
        let some = |word| (word != 0).then_some(word);
        Row { allowed: some(allowed), got: some(got) }
    }

    #[test]
    fn a_dropped_word_leaves_the_others_in_line() {
        assert_eq!(
            aligned(&[1, 2, 3, 4], &[2, 3, 4, 5]),
            [row(1, 0), row(2, 2), row(3, 3), row(4, 4)]
        );
    }

    #[test]
    fn the_first_row_stays_even_where_one_side_has_nothing() {
        assert_eq!(aligned(&[1], &[]), [row(1, 0)]);
        assert!(aligned(&[], &[]).is_empty());
    }

    #[test]
    fn differing_bits_are_marked_and_free_ones_are_none() {
        let lines = channel_bits(0b1010_0000, 0b1, 0b1000_0001, 8, Style::Plain);
        assert_eq!(lines[1], "      its bits  allowed  1010 000*");
        assert_eq!(lines[2], "                got      1000 0001");
        assert_eq!(lines[3], "                           ^");
        assert!(lines[4].contains("nothing rests on"));
    }
}
