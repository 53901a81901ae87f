//! Recordings of the drive lines: written by an independent library, by a simulator, and by nobody.

use crate::start::{Told, root, told};
use std::fs;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;
use trackproof::report;
use trackproof_contract::{ChannelBits, Recording};
use trackproof_model::code::{Before, Mark, encode};
use vcd::{IdCode, TimescaleUnit, Value, Writer};

const BIT_NS: u64 = 2_000;
const GATE_NS: u64 = 2_000_000;

const MAP: &str = "
code = 'mfm'
cell_ns = 4000
[[line]]
line = 'select'
drive = 0
signal = 'bus.select[0]'
active = 'high'
[[line]]
line = 'select'
drive = 1
signal = 'bus.select[1]'
active = 'high'
[[line]]
line = 'side'
signal = 'side'
active = 'low'
[[line]]
line = 'write-gate'
signal = 'gate'
active = 'low'
[[line]]
line = 'write-data'
signal = 'data'
active = 'low'
";

/// Signals of a recording, in the order in which they are declared.
const SIGNALS: [(&str, u32); 4] = [("select", 2), ("side", 1), ("gate", 1), ("data", 1)];

/// A recording as a list of changes: time, signal, value.
#[derive(Clone)]
struct Recorded(Vec<(u64, usize, u64)>);

impl Recorded {
    /// Drive 0 is selected and the transitions at these times are written.
    fn write(times: &[u64]) -> Self {
        let mut changes = vec![(0, 0, 0), (0, 1, 1), (0, 2, 1), (0, 3, 1), (1_000_000, 0, 1)];
        changes.push((GATE_NS, 2, 0));
        for ns in times {
            changes.extend([(*ns, 3, 0), (*ns + 400, 3, 1)]);
        }
        changes.push((times.last().unwrap() + BIT_NS, 2, 1));
        Self(changes)
    }

    /// The dump, by the crate `vcd`.
    fn dump(&self) -> Vec<u8> {
        let mut changes = self.0.clone();
        changes.sort_by_key(|change| change.0);
        let mut text = Vec::new();
        let mut writer = Writer::new(&mut text);
        writer.timescale(1, TimescaleUnit::NS).unwrap();
        writer.add_module("bus").unwrap();
        let codes: Vec<IdCode> =
            SIGNALS.iter().map(|(name, width)| writer.add_wire(*width, name).unwrap()).collect();
        writer.upscope().unwrap();
        writer.enddefinitions().unwrap();
        let mut now = None;
        for (ns, signal, value) in changes {
            if now != Some(ns) {
                writer.timestamp(ns).unwrap();
                now = Some(ns);
            }
            if SIGNALS[signal].1 == 1 {
                writer.change_scalar(codes[signal], Value::from(value == 1)).unwrap();
            } else {
                let bits = [1, 0].map(|bit| Value::from(value >> bit & 1 == 1));
                writer.change_vector(codes[signal], bits).unwrap();
            }
        }
        text
    }
}

/// The times of a sector's transitions, and of its channel bits the first.
fn sector() -> (Vec<u64>, ChannelBits) {
    let mut bits = ChannelBits::new();
    encode(Recording::Mfm, Before::Zero, &[0; 12], &mut bits);
    for _ in 0..3 {
        bits.push(u64::from(Mark::MFM_A1.channel_bits()), 16);
    }
    encode(Recording::Mfm, Before::One, &[0xfb, 0x00, 0x11, 0x22, 0x4e, 0x4e], &mut bits);
    let ones = (0..bits.len()).filter(|bit| bits.get(*bit));
    (ones.map(time).collect(), bits)
}

fn time(bit: usize) -> u64 {
    GATE_NS + 1_000 + bit as u64 * BIT_NS
}

/// A folder with a recording and a map, judged.
fn judged(dump: &[u8], map: &str, more: &str) -> Told {
    let folder = folder(dump, map);
    told(folder.path(), &format!("capture a.vcd --map map.toml {more}"))
}

fn folder(dump: &[u8], map: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.vcd"), dump).unwrap();
    fs::write(folder.path().join("map.toml"), map).unwrap();
    folder
}

/// Rule and time of all findings of a recording.
fn findings(recorded: &Recorded) -> Vec<(String, u64)> {
    let run = judged(&recorded.dump(), MAP, "--format json");
    let json = run.json();
    let findings = json["findings"].as_array().expect("findings");
    assert_eq!(run.code, i32::from(!findings.is_empty()), "{}", run.err);
    findings
        .iter()
        .map(|one| (one["rule"].as_str().unwrap().to_owned(), one["ns"].as_u64().unwrap()))
        .collect()
}

#[test]
fn a_right_write_conforms() {
    let (times, _) = sector();
    let run = judged(&Recorded::write(&times).dump(), MAP, "");
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{}", run.out);
    for part in ["open 1 time", "3 marks among them", "drive.step          skipped"] {
        assert!(run.out.contains(part), "no `{part}` in {}", run.out);
    }
}

#[test]
fn each_fault_is_named_by_rule_and_time() {
    let (times, bits) = sector();
    // The last clock bit between two zeros of the byte 00 behind the data mark.
    let clock = (0..bits.len()).step_by(2).filter(|bit| bits.get(*bit)).find(|bit| *bit > 256);
    let clock = time(clock.unwrap());
    let without: Vec<u64> = times.iter().copied().filter(|ns| *ns != clock).collect();
    assert_eq!(findings(&Recorded::write(&without)), [("clock.rule".into(), clock)]);

    let right = Recorded::write(&times);
    let with = |changes: &[(u64, usize, u64)]| {
        let mut recorded = right.clone();
        recorded.0.extend(changes);
        findings(&recorded)
    };
    assert_eq!(with(&[]), []);
    let one = |rule: &str, ns: u64| vec![(rule.to_owned(), ns)];
    assert_eq!(with(&[(GATE_NS - 50_000, 1, 0)]), one("transfer.hold", GATE_NS));
    assert_eq!(with(&[(GATE_NS + 90_000, 1, 0)]), one("write.steady", GATE_NS + 90_000));
    assert_eq!(with(&[(1_500_000, 0, 0)]), one("gate.quiet", GATE_NS));
    assert_eq!(with(&[(1_500_000, 0, 3), (1_500_500, 0, 1)]), one("select.break-first", 1_500_000));
    assert_eq!(with(&[(1_500_000, 0, 3), (1_600_000, 0, 1)]), one("select.exclusive", 1_500_000));
    let late: Vec<u64> = times.iter().map(|ns| ns + 800 * u64::from(*ns > time(300))).collect();
    let first = late.iter().copied().find(|ns| *ns > time(300)).unwrap();
    assert_eq!(findings(&Recorded::write(&late)), one("write.cadence", first));
}

#[test]
fn a_finding_shows_the_bits_and_does_not_accuse_the_controller_alone() {
    let (times, bits) = sector();
    let clock = (0..bits.len()).step_by(2).filter(|bit| bits.get(*bit)).find(|bit| *bit > 256);
    let clock = time(clock.unwrap());
    let without: Vec<u64> = times.iter().copied().filter(|ns| *ns != clock).collect();
    let run = judged(&Recorded::write(&without).dump(), MAP, "");
    assert_eq!(run.code, 1);
    let lines: Vec<&str> = run.out.lines().collect();
    let at = lines.iter().position(|line| line.trim() == "^").expect("a mark below the bits");
    let column = lines[at].find('^').unwrap();
    let sign = |line: &str| line.as_bytes()[column];
    assert_eq!((sign(lines[at - 2]), sign(lines[at - 1])), (b'1', b'0'), "{}", run.out);
    assert!(lines[at - 2].starts_with("   expected") && lines[at - 1].starts_with("   got"));
    assert!(run.out.contains("The recording has no words of the host"), "{}", run.out);
}

#[test]
fn what_is_not_there_is_not_judged() {
    let (times, _) = sector();
    let right = Recorded::write(&times);
    // Nothing happens: exit code 4.
    let rest = Recorded(right.0[..4].to_vec());
    assert_eq!(judged(&rest.dump(), MAP, "").code, 4);
    // Write data is unknown for most of the write: exit code 3.
    let text = String::from_utf8(right.dump()).unwrap();
    let half = text.len() / 2;
    let from = half + text[half..].find("\n#").unwrap();
    let code = text.lines().find(|line| line.contains(" data ")).unwrap();
    let code = code.split_whitespace().nth(3).unwrap();
    let unknown: String = text[from..]
        .lines()
        .map(|line| match line.strip_suffix(code) {
            Some("0" | "1") => format!("x{code}\n"),
            _ => format!("{line}\n"),
        })
        .collect();
    let run = judged((text[..from].to_owned() + &unknown).as_bytes(), MAP, "");
    assert_eq!(run.code, 3, "{}", run.out);
    assert!(run.out.contains("Too little could be judged: write data is known"), "{}", run.out);
    // One that breaks off is judged up to there, and says so.
    let cut = &text.as_bytes()[..from + 3];
    let run = judged(cut, MAP, "");
    assert_eq!(run.code, 0, "{}", run.out);
    assert!(run.out.contains("breaks off inside of line"), "{}", run.out);
    assert!(run.out.contains("still open at the end"), "{}", run.out);
}

#[test]
fn bad_files_are_told_with_file_and_line() {
    let (times, _) = sector();
    let dump = Recorded::write(&times).dump();
    let text = String::from_utf8(dump.clone()).unwrap();
    for (dump, map, says) in [
        (&dump, "", "map.toml:1: the map has no [[line]]"),
        (&dump, &MAP.replace("'gate'", "'goat'"), "no signal `goat` for write-gate"),
        (&dump, &MAP.replace("[1]", "[2]"), "it has 2 bits, and none of number 2"),
        (&dump, &MAP.replace("mfm", "rll"), "map.toml:2: the code `rll`"),
        (&b"\x7fELF\x02\x01".to_vec(), MAP, "a.vcd:1: unexpected character"),
        (&Vec::new(), MAP, "a.vcd:1: the recording ends inside its header"),
        (&text.replace("1 ns", "1 ms").into_bytes(), MAP, "too coarse for these lines"),
        (&text.replace("#2000000", "#20").into_bytes(), MAP, "time goes backwards"),
        (&text.as_bytes()[..60].to_vec(), MAP, "ends inside its header"),
    ] {
        let run = judged(dump, map, "");
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{says}");
        assert!(run.err.contains(says), "no `{says}` in {}", run.err);
        assert_eq!(run.err.lines().count(), 1, "{}", run.err);
    }
    let folder = folder(&dump, MAP);
    for (line, says) in [
        ("capture a.vcd", "--map"),
        ("capture none.vcd --map map.toml", "none.vcd: the recording cannot be read"),
        ("capture a.vcd --map none.toml", "none.toml: the map cannot be read"),
        ("capture a.vcd --map a.vcd", "a.vcd:1: "),
        ("capture . --map map.toml", ".: cannot be read"),
    ] {
        let run = told(folder.path(), line);
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{line}: {}", run.err);
        assert!(run.err.contains(says), "{line}: {}", run.err);
    }
}

/// Records the sample in Verilog by the script that users read.
fn recorded(folder: &Path, fault: &[&str]) -> String {
    let file = folder.join(format!("{}.vcd", fault.join("")));
    let script = root().join("adapters/rtl/recording/record.sh");
    let output = Command::new("bash").arg(script).args(fault).arg(&file).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    file.display().to_string()
}

#[test]
fn a_core_in_verilog_is_judged_by_its_recording() {
    let folder = tempfile::tempdir().unwrap();
    let map = root().join("adapters/rtl/recording/map.toml");
    let judged = |file: &str| {
        told(folder.path(), &format!("capture {file} --map {} --format json", map.display()))
    };
    let run = judged(&recorded(folder.path(), &[]));
    assert_eq!(run.code, 0, "{} {}", run.out, run.err);
    // bench.v gives 296 bytes; the last cell, a 0 behind a 1, has no transition.
    let written = format!("{} written, 3 marks", report::count(296 * 16 - 2, "channel bit"));
    assert!(run.out.contains(&written), "no `{written}` in {}", run.out);

    let run = judged(&recorded(folder.path(), &["--fault", "clock-ignores-data-behind"]));
    let json = run.json();
    let first = &json["findings"][0];
    assert_eq!((run.code, first["rule"].as_str()), (1, Some("clock.rule")), "{}", run.out);
    // The first byte is 4E, data bits 01…: the second cell's clock bit is too many, and the first
    // transition is the first cell's.
    assert_eq!((&first["kind"], &first["channel_bit"]), (&"clock-bit-too-many".into(), &2.into()));
}
