//! The drives around the controller and the host's pace.

use super::choices::Choices;
use super::frame::Frame;
use trackproof_contract::{Bench, ChangeClear, DriveBench, MAX_CYLINDER};

/// Draws a bench into `bench` and keeps its memory.
pub(super) fn draw(bench: &mut Bench, frame: &Frame, choices: &mut impl Choices) {
    bench.access_ns = draw_access(frame.cell_ns, choices) as u32;
    bench.drives.clear();
    for turn_bits in &frame.turn_bits[..frame.drives] {
        let start_bit = match choices.below(4) {
            0 => 0,
            // The index comes within two words.
            1 => turn_bits - 1 - choices.below((2 * frame.word_bits).min(*turn_bits)),
            _ => choices.below(*turn_bits),
        };
        let cylinder = match choices.weighted(&[4, 3, 1]) {
            0 => 0,
            1 => choices.between(1, 3),
            _ => choices.between(4, u64::from(MAX_CYLINDER)),
        };
        bench.drives.push(DriveBench {
            turn_bits: *turn_bits as u32,
            start_bit: start_bit as u32,
            cylinder: cylinder as u8,
            write_protected: choices.chance(1, if frame.writes { 10 } else { 4 }),
            spin_up_ns: draw_spin_up(frame, choices),
            change_clear: choices.pick(&[ChangeClear::Step, ChangeClear::Select]),
        });
    }
}

/// Access times that put operations at the bit ends, at the same place of every bit, or anywhere.
fn draw_access(cell_ns: u64, choices: &mut impl Choices) -> u64 {
    match choices.weighted(&[3, 2, 2, 2, 2, 2, 4]) {
        0 => 500,
        1 => 0,
        2 => 100,
        3 => 1_000,
        4 => cell_ns,
        5 => cell_ns / 2,
        _ => choices.below(2 * cell_ns) | 1,
    }
}

fn draw_spin_up(frame: &Frame, choices: &mut impl Choices) -> u64 {
    match choices.weighted(&[4, 3, 3, 1]) {
        0 => 0,
        1 => choices.below(frame.span_ns()),
        2 => choices.between(1, 8 * frame.word_ns()),
        // Longer than any program here: never ready.
        _ => 500_000_000,
    }
}
