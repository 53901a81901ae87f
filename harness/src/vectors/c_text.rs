//! `vectors.c`: the vectors as tables, and a program that runs them through `tp_adapter`.
//!
//! The program itself stands in `check.c`; names of the C interface are written as names, so that
//! its header gives them their numbers.

use super::outcome::{Outcome, Wanted, Window};
use super::{Corpus, Vector};
use crate::case_file::MODEL;
use crate::rules::{RULES, Rule};
use std::collections::BTreeSet;
use std::fmt::Write;
use trackproof_contract::{
    Action, ChangeClear, ChannelBits, ChannelKind, Direction, Event, Item, KEYS, Medium, Operation,
    SectorLayout, Start, Track, WriteSource, timeline,
};

/// The part that is the same for all vectors.
const PROGRAM: &str = include_str!("check.c");

/// Where the tables go.
const TABLES: &str = "/* @tables@ */\n";

/// Columns of a line of a table.
const COLUMNS: usize = 100;

/// The file's text.
pub(super) fn text(corpus: &Corpus) -> String {
    let mut tables = String::new();
    let plan = &corpus.plan;
    let _ = writeln!(
        tables,
        "/* Made by trackproof {MODEL}: profile {}, seed {}. */\n\n#define VECTOR_COUNT {}\n",
        plan.profile_name,
        plan.seed,
        corpus.vectors.len()
    );
    let values = KEYS.iter().map(|key| key.code(&plan.profile).to_string());
    array(&mut tables, "int64_t", "profile_values", values);
    let names = KEYS.iter().map(|key| quoted(key.name));
    array(&mut tables, "char *const", "profile_keys", names);
    let used: BTreeSet<&str> = corpus.vectors.iter().map(|one| one.rule).collect();
    let notes: Vec<&Rule> = RULES.iter().filter(|rule| used.contains(rule.id)).collect();
    let rows = notes.iter().map(|rule| {
        let texts = [rule.id, rule.sentence, rule.catches, rule.effect].map(quoted);
        format!("\n    {{{}}}", texts.join(",\n     "))
    });
    array(&mut tables, "note", "notes", rows);
    let mut rows = Vec::new();
    for (number, vector) in corpus.vectors.iter().enumerate() {
        let note = notes.iter().position(|rule| rule.id == vector.rule).unwrap_or(0);
        rows.push(vector_tables(&mut tables, number, vector, note));
    }
    // A table of nothing is none in C.
    if rows.is_empty() {
        rows.push("{0}".into());
    }
    array(&mut tables, "vector", "vectors", rows.into_iter().map(|row| format!("\n    {row}")));
    PROGRAM.replace(TABLES, &tables)
}

/// A table of constants, broken into lines; nothing where there are no elements.
fn array(text: &mut String, of: &str, name: &str, elements: impl Iterator<Item = String>) -> usize {
    let mut body = String::from("   ");
    let (mut count, mut column) = (0, 3);
    for element in elements {
        let width = element.len() + 2;
        if column + width > COLUMNS && count > 0 {
            body.push_str("\n   ");
            column = 3;
        }
        let _ = write!(body, " {element},");
        column += width;
        count += 1;
    }
    if count > 0 {
        let _ = writeln!(text, "static const {of} {name}[] = {{\n{body}\n}};");
    }
    count
}

/// A name of an array, or null where it has no elements.
fn pointer(name: &str, count: usize) -> String {
    if count == 0 { "NULL".into() } else { name.into() }
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

fn bytes(text: &mut String, name: &str, bits: &ChannelBits) -> String {
    let bytes = bits.to_bytes();
    let count = array(text, "uint8_t", name, bytes.iter().map(|byte| format!("0x{byte:02x}")));
    pointer(name, count)
}

/// Writes a vector's tables and gives its row.
fn vector_tables(text: &mut String, number: usize, vector: &Vector, note: usize) -> String {
    let case = &vector.case;
    let _ = writeln!(text, "\n/* {} */", vector.id());
    let drives = case.bench.drives.iter().map(|drive| {
        format!(
            "{{{}, {}, {}, {}, {}, {}, 0}}",
            drive.turn_bits,
            drive.start_bit,
            drive.cylinder,
            u8::from(drive.write_protected),
            drive.spin_up_ns,
            u8::from(drive.change_clear == ChangeClear::Select)
        )
    });
    let drives = array(text, "tp_drive", &format!("v{number}_drives"), drives);
    let mut tracks = Vec::new();
    for (at, track) in case.tracks.iter().enumerate() {
        let content = track.medium.track();
        let name = bytes(text, &format!("v{number}_track{at}"), content);
        let Track { drive, cylinder, side, .. } = track;
        tracks.push(format!("{{{drive}, {cylinder}, {side}, {}, {name}}}", content.len()));
    }
    let forms = case.tracks.iter().map(|track| form(&track.medium));
    array(text, "tp_form", &format!("v{number}_forms"), forms);
    let tracks = array(text, "tp_track", &format!("v{number}_tracks"), tracks.into_iter());
    let gifts = gifts(text, number, case);
    let mut events = Vec::new();
    timeline(case, &mut events);
    let rows = events.iter().map(|event| event_row(event, &gifts.counts));
    let events = array(text, "tp_event", &format!("v{number}_events"), rows);
    let outcomes: Vec<String> = vector
        .outcomes
        .iter()
        .enumerate()
        .map(|(at, outcome)| outcome_row(text, &format!("v{number}_{at}"), outcome, case))
        .collect();
    let count = array(text, "outcome", &format!("v{number}_outcomes"), outcomes.into_iter());
    let needs = vector.needs().to_bits();
    let name = |what: &str, count| pointer(&format!("v{number}_{what}"), count);
    format!(
        "{{\"{}\", {note}, 0x{needs:x}, {drives}, {}, {tracks}, {}, {}, {events}, {}, {}, {}, \
         {count}, {}}}",
        vector.id(),
        name("drives", drives),
        name("tracks", tracks),
        name("forms", tracks),
        name("events", events),
        gifts.counts.len(),
        name("gifts", gifts.counts.len()),
        name("outcomes", count)
    )
}

/// The words of writes, by the numbers of their transfers.
struct Gifts {
    counts: Vec<(u32, usize)>,
}

fn gifts(text: &mut String, number: usize, case: &trackproof_contract::Case) -> Gifts {
    let width = usize::from(case.profile.word_bits);
    let requests = case.program.iter().filter(|one| one.is_request());
    let (mut counts, mut rows) = (Vec::new(), Vec::new());
    for (transfer, request) in requests.enumerate() {
        let Operation::Write { source: WriteSource::Words(bits), .. } = request else { continue };
        let words =
            (0..bits.len()).step_by(width).map(|at| format!("0x{:x}", bits.window(at, width)));
        let name = format!("v{number}_words{transfer}");
        let count = array(text, "uint64_t", &name, words);
        rows.push(format!("{{{transfer}, {count}, {}}}", pointer(&name, count)));
        counts.push((transfer as u32, count));
    }
    array(text, "gift", &format!("v{number}_gifts"), rows.into_iter());
    Gifts { counts }
}

fn form(medium: &Medium) -> String {
    match medium {
        Medium::ChannelBits { kind: ChannelKind::Real, .. } => {
            "{TP_FORM_REAL, 0, 0, 0, 0, 0, 0, 0, 0, 0}".into()
        }
        Medium::Image { layout, .. } => {
            let (name, numbers) = match *layout {
                SectorLayout::SoftSector {
                    size_code,
                    gap_4a_bytes,
                    gap_1_bytes,
                    gap_2_bytes,
                    gap_3_bytes,
                    ..
                } => (
                    "TP_LAYOUT_SOFT_SECTOR",
                    [size_code.into(), gap_4a_bytes, gap_1_bytes, gap_2_bytes, gap_3_bytes],
                ),
                _ => ("TP_LAYOUT_FULL_TRACK", [0; 5]),
            };
            let [size_code, gap_4a, gap_1, gap_2, gap_3] = numbers;
            format!(
                "{{TP_FORM_SECTORS, {name}, {}, {}, {size_code}, {gap_4a}, {gap_1}, {gap_2}, \
                 {gap_3}, 0}}",
                layout.sectors(),
                layout.sector_bytes()
            )
        }
        _ => "{TP_FORM_IMAGE, 0, 0, 0, 0, 0, 0, 0, 0, 0}".into(),
    }
}

fn event_row(event: &Event, gifts: &[(u32, usize)]) -> String {
    let start = |start: Start| match start {
        Start::Now => "TP_START_NOW",
        Start::Match => "TP_START_MATCH",
        Start::Index => "TP_START_INDEX",
    };
    let row = |kind: &str, transfer: u32, a: &str, b: &str| {
        format!("{{{}, {kind}, {transfer}, {a}, 0, {b}}}", event.at_ns)
    };
    let plain = |kind: &str, a: u8| row(kind, 0, &a.to_string(), "0");
    match event.action {
        Action::Select(mask) => plain("TP_SELECT", mask),
        Action::Motor(mask) => plain("TP_MOTOR", mask),
        Action::Side(side) => plain("TP_SIDE", side),
        Action::Step(direction) => plain("TP_STEP", u8::from(direction == Direction::Out)),
        Action::SyncWord(word) => row("TP_SYNC_WORD", 0, "0", &format!("0x{word:x}")),
        Action::HardwareSync(on) => plain("TP_HARDWARE_SYNC", on.into()),
        Action::Read { transfer, words, start: at } => {
            row("TP_READ", transfer, start(at), &words.to_string())
        }
        Action::Write { transfer, start: at } => {
            let count = gifts.iter().find(|gift| gift.0 == transfer).map_or(0, |gift| gift.1);
            row("TP_WRITE", transfer, start(at), &count.to_string())
        }
        Action::Service { transfer } => row("TP_SERVICE", transfer, "0", "0"),
        Action::Abort => plain("TP_ABORT", 0),
        Action::PollStatus => plain("TP_POLL_STATUS", 0),
        Action::PollByte => plain("TP_POLL_BYTE", 0),
        Action::Output(value) => plain("TP_OUTPUT", value),
        Action::Reset => plain("TP_RESET", 0),
        Action::End => plain("TP_END", 0),
        // Operations are the contract's; a new one needs a line here.
        _ => unreachable!("an action that the C interface has"),
    }
}

fn outcome_row(
    text: &mut String,
    name: &str,
    outcome: &Outcome,
    case: &trackproof_contract::Case,
) -> String {
    let items =
        array(text, "wanted_item", &format!("{name}_items"), outcome.items.iter().map(item_row));
    let signals = array(
        text,
        "wanted_signal",
        &format!("{name}_signals"),
        outcome.signals.iter().map(signal_row),
    );
    let mut media = Vec::new();
    for (at, ((bits, free), track)) in outcome.media.iter().zip(&case.tracks).enumerate() {
        if free.is_none() && bits == track.medium.track() {
            continue;
        }
        let content = bytes(text, &format!("{name}_medium{at}"), bits);
        let free = free
            .as_ref()
            .map_or_else(|| "NULL".into(), |free| bytes(text, &format!("{name}_free{at}"), free));
        media.push(format!("{{{at}, {content}, {free}}}"));
    }
    let media = array(text, "wanted_medium", &format!("{name}_media"), media.into_iter());
    let pointer = |what: &str, count| pointer(&format!("{name}_{what}"), count);
    format!(
        "{{{items}, {}, {signals}, {}, {media}, {}}}",
        pointer("items", items),
        pointer("signals", signals),
        pointer("media", media)
    )
}

fn item_row(wanted: &Wanted) -> String {
    let (kind, transfer, flag, value) = match wanted.item {
        Item::Word { transfer, value } => ("TP_ITEM_WORD", transfer, 0, value),
        Item::Byte { value, fresh } => ("TP_ITEM_BYTE", 0, fresh.into(), value.into()),
        Item::Status(status) => ("TP_ITEM_STATUS", 0, 0_u32, status.to_bits().into()),
        // Signals stand in a table of their own.
        _ => unreachable!("an answer is a word, a byte or a status"),
    };
    format!(
        "{{{}, {kind}, {transfer}, {flag}, 0x{value:x}, 0x{:x}}}",
        wanted.at_ns, wanted.compared
    )
}

fn signal_row(window: &Window) -> String {
    let (kind, transfer) = match window.item {
        Item::Refused { transfer } => ("TP_ITEM_REFUSED", transfer),
        Item::Match => ("TP_ITEM_MATCH", 0),
        _ => ("TP_ITEM_DONE", 0),
    };
    let Window { from_ns, to_ns, .. } = *window;
    format!("{{{kind}, {transfer}, {from_ns}, {to_ns}}}")
}
