//! What is read of recordings that are right, odd, and wrong.

use super::{Edges, Told};
use crate::{CaptureError, Map};
use trackproof_contract::DriveLine::{self, Select, Step, WriteData, WriteGate};
use trackproof_contract::LineEvent::{self, Becomes, Transition};
use trackproof_contract::LineState::{Active, Inactive, Unknown};

const MAP: &str = "
channel_bit_ns = 2000
[[line]]
line = 'write-gate'
signal = 'gate'
active = 'low'
[[line]]
line = 'write-data'
signal = 'top.data'
active = 'low'
[[line]]
line = 'select'
drive = 1
signal = 'selects[1]'
active = 'high'
";

const HEADER: &str = "$date today $end $timescale 1 ns $end $scope module top $end
$var wire 1 ! gate $end $var wire 1 # data $end $var reg 4 % selects [3:0] $end
$var real 64 & volts $end $upscope $end $enddefinitions $end\n";

type Seen = (u64, DriveLine, LineEvent);

fn read(map: &str, text: &str) -> Result<(Vec<Seen>, Told), CaptureError> {
    let map = Map::parse(map, "m.toml")?;
    let mut edges = Edges::new(text.as_bytes(), "a.vcd", &map)?;
    let mut seen = Vec::new();
    for edge in &mut edges {
        let edge = edge?;
        seen.push((edge.ns, edge.line, edge.event));
    }
    Ok((seen, edges.told()))
}

fn behind_header(text: &str) -> (Vec<Seen>, Told) {
    read(MAP, &format!("{HEADER}{text}")).unwrap()
}

#[test]
fn edges_come_in_order_with_their_meaning() {
    let text = "#0 $dumpvars 1! 1# b0000 % r1.5 & $end #100 0! b10 % #150 0# #200 1# #350 1!";
    let (seen, told) = behind_header(text);
    let expected = [
        (0, WriteGate, Becomes(Inactive)),
        (0, WriteData, Becomes(Inactive)),
        (0, Select(1), Becomes(Inactive)),
        (100, WriteGate, Becomes(Active)),
        (100, Select(1), Becomes(Active)),
        (150, WriteData, Transition),
        (350, WriteGate, Becomes(Inactive)),
    ];
    assert_eq!(seen, expected);
    assert_eq!(told, Told { end_ns: 350, changes: 8, ..Told::default() });
}

#[test]
fn each_edge_may_be_a_transition() {
    let map = MAP.replace("signal = 'top.data'", "signal = 'data'\ntransition = 'each-edge'");
    let (seen, _) = read(&map, &format!("{HEADER}#0 0# #10 1# #30 0# #30 1#")).unwrap();
    // What lasts no time is not seen.
    assert_eq!(seen, [(0, WriteData, Becomes(Inactive)), (10, WriteData, Transition)]);
}

#[test]
fn unknown_values_are_told_and_no_edges() {
    let (seen, told) = behind_header("#0 0# #10 x# #20 1# #30 z! #40 bx % #50 b1z %");
    let expected = [
        (0, WriteData, Becomes(Inactive)),
        (10, WriteData, Becomes(Unknown)),
        (20, WriteData, Becomes(Inactive)),
        (50, Select(1), Becomes(Active)),
    ];
    assert_eq!(seen, expected);
    assert_eq!((told.unknown, told.silent), (1, vec![WriteGate]));
}

#[test]
fn a_recording_that_breaks_off_is_read_up_to_there() {
    for (text, line) in
        [("#0 0!\n#90 1!\n#1", 6), ("#0 0!\n#90 1!\n1", 6), ("#0 0!\n#90 1!\nb01", 6)]
    {
        let (seen, told) = behind_header(text);
        assert_eq!(seen.len(), 2, "{text}");
        assert_eq!((told.cut_short, told.end_ns), (Some(line), 90), "{text}");
    }
    let (seen, told) = behind_header("#0 0! #90 1!");
    assert_eq!((seen.len(), told.cut_short), (2, None));
}

#[test]
fn glitches_go_where_the_map_says_so() {
    let text = "#0 1! 1# #100 0! #120 1! #500 0! #900 1!";
    let map = format!("glitch_ns = 50\n{MAP}");
    let (seen, told) = read(&map, &format!("{HEADER}{text}")).unwrap();
    let gate: Vec<u64> =
        seen.iter().filter(|edge| edge.1 == WriteGate).map(|edge| edge.0).collect();
    assert_eq!((gate, told.glitches), (vec![0, 500, 900], 1));
}

#[test]
fn changes_of_signals_that_are_not_declared_are_counted() {
    let (seen, told) = behind_header("#0 1! 1~ r2 & b1 ~");
    assert_eq!((seen.len(), told.undeclared), (1, 2));
}

#[test]
fn other_ticks_are_nanoseconds_too() {
    let header = HEADER.replace("1 ns", "100ps");
    let (seen, _) = read(MAP, &format!("{header}#0 1! #12345 0!")).unwrap();
    assert_eq!(seen[1].0, 1_234);
}

#[test]
fn lines_without_data_are_read_without_a_bit_time() {
    let map = "[[line]]\nline = 'step'\nsignal = 'gate'\nactive = 'high'\n";
    let (seen, _) = read(map, &(HEADER.replace("1 ns", "1 us") + "#5 1!")).unwrap();
    assert_eq!(seen, [(5_000, Step, Becomes(Active))]);
}

#[test]
fn what_is_no_recording_is_told_with_its_line() {
    let deep = "$scope module a $end ".repeat(65);
    let long = format!("$comment {} $end", "x".repeat(1 << 20));
    let mut wrong = Vec::new();
    for (text, line, says) in [
        (String::new(), 1, "ends inside its header"),
        ("hello\n".into(), 1, "unexpected character"),
        ("\u{0}\u{1}".into(), 1, "unexpected character"),
        (HEADER.replace("$timescale 1 ns $end", ""), 3, "no $timescale"),
        (HEADER.replace("1 ns", "7 ns"), 1, "1, 10 and 100"),
        (HEADER.replace("1 ns", "1 s"), 1, "at most 500 ns"),
        (HEADER.replace("1 ns", "1 parsec"), 1, "timescale"),
        (HEADER.replace("! gate", "! door"), 3, "no signal `gate` for write-gate"),
        (HEADER.replace("! gate", "! data"), 2, "is there twice"),
        (HEADER.replace("! gate", "! door"), 3, "it has top.door, top.data, top.selects"),
        (HEADER.replace("[3:0]", "[7:4]"), 2, "it has the bits 7 to 4, not 1"),
        (HEADER.replace("wire 1 !", "wire 2 !"), 2, "say which one"),
        (HEADER.replace("$upscope $end", "$upscope $end $upscope $end"), 3, "$upscope"),
        (HEADER.replace("$enddefinitions $end", "#0"), 3, "$enddefinitions is missing"),
        (deep, 1, "deeper than 64"),
        (long, 1, "longer than 1048576 bytes"),
        (format!("{HEADER}#9 1!\n#5 0!\n#6 1!"), 5, "from 9 to 5"),
        (format!("{HEADER}#18446744073709551615 1!"), 4, "past 1000000000000000 ns"),
        (format!("{HEADER}#99999999999999999999 1!"), 4, "number too large"),
        (format!("{HEADER}#0\n2!"), 5, "unexpected character"),
        (format!("{HEADER}$upscope $end"), 4, "behind $enddefinitions"),
        (format!("{HEADER}$dumpportson $end"), 4, "unknown command"),
        (format!("{HEADER}#0 r1 !"), 4, "a line is a bit"),
    ] {
        let told = read(MAP, &text).map(|_| ()).expect_err(says).to_string();
        if !told.starts_with(&format!("a.vcd:{line}: ")) || !told.contains(says) {
            wrong.push(format!("line {line}, `{says}`: {told}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
