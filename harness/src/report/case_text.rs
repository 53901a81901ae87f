//! A case in words: one line an operation, then what is recorded.

use super::phrase::{count, grouped, grouped_by_four, micros, operation, time};
use trackproof_contract::{
    Case, ChangeClear, ChannelBits, ChannelKind, DriveBench, Medium, SectorLayout, Track,
};

/// Longest track that is shown whole; a minimised one is far shorter.
const SHOWN_BITS: usize = 512;

/// Longest track that is shown bit by bit.
const SPELT_BITS: usize = 128;

/// Most operations that are shown.
const SHOWN_OPERATIONS: usize = 200;

/// The program, a line an operation: when it happens, and what it is.
pub(super) fn program(case: &Case) -> Vec<String> {
    let mut now_ns = 0;
    let mut lines = Vec::new();
    for step in &case.program {
        lines.push(format!("{:>10} µs  {}", micros(now_ns), operation(step, &case.profile)));
        now_ns += case.duration_ns(step);
    }
    if lines.len() > SHOWN_OPERATIONS {
        let left = lines.len() - SHOWN_OPERATIONS;
        lines.truncate(SHOWN_OPERATIONS);
        lines.push(format!(
            "              … and {} more; the case file has them",
            grouped(left as u64)
        ));
    }
    lines.push(format!("{:>10} µs  end", micros(now_ns)));
    lines
}

/// The drives and what is recorded for them.
pub(super) fn media(case: &Case) -> Vec<String> {
    let mut lines = Vec::new();
    for (number, drive) in case.bench.drives.iter().enumerate() {
        lines.push(bench(number, drive, u64::from(case.profile.channel_bit_ns)));
        let mut tracks =
            case.tracks.iter().filter(|track| usize::from(track.drive) == number).peekable();
        if tracks.peek().is_none() {
            lines.push("  nothing recorded: all zeros".into());
        }
        for track in tracks {
            lines.extend(recorded(track));
        }
    }
    lines
}

fn bench(number: usize, drive: &DriveBench, bit_ns: u64) -> String {
    let mut text = format!(
        "drive {number}: a turn of {} ({}), channel bit {} comes under the head at time 0; head on \
         cylinder {}",
        count(u64::from(drive.turn_bits), "channel bit"),
        time(u64::from(drive.turn_bits) * bit_ns),
        grouped(u64::from(drive.start_bit)),
        drive.cylinder
    );
    if drive.write_protected {
        text.push_str("; write-protected");
    }
    if drive.spin_up_ns > 0 {
        text.push_str(&format!("; ready {} after the motor's start", time(drive.spin_up_ns)));
    }
    if drive.change_clear == ChangeClear::Select {
        text.push_str("; the change line is cleared by deselection");
    }
    text
}

fn recorded(track: &Track) -> Vec<String> {
    let bits = track.medium.track();
    let (what, unit) = match &track.medium {
        Medium::ChannelBits { kind: ChannelKind::Image, .. } => {
            ("from the index on".into(), "channel bit")
        }
        Medium::ChannelBits { kind: ChannelKind::Real, .. } => {
            ("a real medium, from the index on".into(), "channel bit")
        }
        medium => (image(medium), "data bit"),
    };
    let mut lines = vec![format!("  cylinder {}, side {}, {what}:", track.cylinder, track.side)];
    lines.extend(bit_rows(bits, unit));
    lines
}

/// Bits in rows: digits where there are few, else hex, and no more than a screen of it.
pub(super) fn bit_rows(bits: &ChannelBits, unit: &str) -> Vec<String> {
    let mut lines = Vec::new();
    if bits.len() <= SPELT_BITS {
        lines.extend(rows(bits, bits.len(), 32, |from, to| {
            let signs = (from..to).map(|bit| if bits.get(bit) { '1' } else { '0' });
            format!("{:<39}  {}", grouped_by_four(signs), hex(bits, from, to))
        }));
    } else {
        let shown = bits.len().min(SHOWN_BITS);
        lines.extend(rows(bits, shown, 128, |from, to| hex(bits, from, to)));
    }
    if bits.len() > SHOWN_BITS {
        let left = grouped((bits.len() - SHOWN_BITS) as u64);
        lines.push(format!("      … and {left} more {unit}s; the case file has them"));
    }
    lines
}

/// An image in words, up to its data.
fn image(medium: &Medium) -> String {
    let Some(layout) = medium.layout() else { return "unknown".into() };
    let sectors = count(layout.sectors() as u64, "sector");
    let bytes = count(layout.sector_bytes() as u64, "byte");
    let how = match layout {
        SectorLayout::SoftSector {
            gap_4a_bytes, gap_1_bytes, gap_2_bytes, gap_3_bytes, ..
        } => {
            let index = match gap_4a_bytes {
                0 => "no index mark".into(),
                gap => format!("gap 4a {gap}"),
            };
            format!(
                "soft-sector, {index}, gap 1 {gap_1_bytes}, gap 2 {gap_2_bytes}, gap 3 \
                 {gap_3_bytes}"
            )
        }
        _ => "full-track".into(),
    };
    format!("an image of {sectors} of {bytes} ({how}), the data of its sectors")
}

/// Rows of so many bits, each with the number of its first.
fn rows(
    bits: &ChannelBits,
    shown: usize,
    each: usize,
    row: impl Fn(usize, usize) -> String,
) -> Vec<String> {
    (0..shown)
        .step_by(each)
        .map(|from| {
            let text = row(from, (from + each).min(bits.len()));
            format!("    {from:>6}  {}", text.trim_end())
        })
        .collect()
}

/// Hex in groups of sixteen bits; a last group that is shorter ends in zeros that are no bits.
fn hex(bits: &ChannelBits, from: usize, to: usize) -> String {
    let groups: Vec<String> = (from..to)
        .step_by(16)
        .map(|at| {
            let there = (to - at).min(16);
            let word = bits.window(at, there) << (16 - there);
            format!("{word:04x}")[..there.div_ceil(4)].to_owned()
        })
        .collect();
    groups.join(" ")
}

#[cfg(test)]
mod tests {
    use super::{hex, media, program, recorded};
    use trackproof_contract::{
        Bench, Case, ChangeClear, ChannelBits, DriveBench, Medium, Operation, Profile,
        SectorLayout, Track,
    };

    #[test]
    fn a_case_is_told_with_its_times_and_its_bits() {
        let drive = DriveBench {
            turn_bits: 20,
            start_bit: 3,
            cylinder: 1,
            write_protected: false,
            spin_up_ns: 0,
            change_clear: ChangeClear::Step,
        };
        let bits = ChannelBits::from_bytes(&[0x44, 0x89, 0x50], 20);
        let case = Case {
            profile: Profile::sync_dma(),
            bench: Bench { access_ns: 500, drives: vec![drive] },
            tracks: vec![Track {
                drive: 0,
                cylinder: 1,
                side: 0,
                medium: Medium::image_bits(bits),
            }],
            program: vec![
                Operation::Motor { mask: 1 },
                Operation::Wait { ns: 1_000_000 },
                Operation::Abort,
            ],
            flux: None,
        };
        assert_eq!(
            program(&case).join("\n"),
            "         0 µs  motor on: drive 0\n       0.5 µs  wait 1 000 µs\n   1 000.5 µs  abort\n     \
             1 001 µs  end"
        );
        assert_eq!(
            media(&case).join("\n"),
            "drive 0: a turn of 20 channel bits (40 µs), channel bit 3 comes under the head at time \
             0; head on cylinder 1\n  cylinder 1, side 0, from the index on:\n         0  0100 0100 \
             1000 1001 0101                 4489 5"
        );
    }

    #[test]
    fn a_track_says_what_it_is_of() {
        let told = |medium| recorded(&Track { drive: 0, cylinder: 1, side: 1, medium })[0].clone();
        assert_eq!(
            told(Medium::real_bits(ChannelBits::zeros(4))),
            "  cylinder 1, side 1, a real medium, from the index on:"
        );
        let layout = SectorLayout::FullTrack { sectors: 1, sector_bytes: 2 };
        assert_eq!(
            told(Medium::Image { layout, sectors: ChannelBits::zeros(16) }),
            "  cylinder 1, side 1, an image of 1 sector of 2 bytes (full-track), the data of its \
             sectors:"
        );
        let layout = SectorLayout::SoftSector {
            sectors: 9,
            size_code: 2,
            gap_4a_bytes: 0,
            gap_1_bytes: 50,
            gap_2_bytes: 22,
            gap_3_bytes: 80,
        };
        let sectors = ChannelBits::zeros(9 * 512 * 8);
        let track =
            Track { drive: 0, cylinder: 0, side: 0, medium: Medium::Image { layout, sectors } };
        let lines = recorded(&track);
        assert_eq!(
            lines[0],
            "  cylinder 0, side 0, an image of 9 sectors of 512 bytes (soft-sector, no index mark, \
             gap 1 50, gap 2 22, gap 3 80), the data of its sectors:"
        );
        assert_eq!(
            lines.last().unwrap(),
            "      … and 36 352 more data bits; the case file has them"
        );
    }

    #[test]
    fn a_last_group_shows_no_digit_that_holds_no_bit() {
        let bits = ChannelBits::from_bytes(&[0x44, 0x89, 0xff], 18);
        assert_eq!(hex(&bits, 0, 18), "4489 c");
    }
}
