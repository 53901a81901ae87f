//! Holds every size, offset, number and name of `include/trackproof.h` equal to the code's.

use crate::{HEADER, raw};
use std::collections::BTreeMap;
use std::io::Write;
use std::mem::{offset_of, size_of};
use std::process::{Command, Stdio};
use trackproof_contract::{Capability, KEYS, Profile, Service, Status};

/// Has the system's C compiler judge `text`, with the header before it.
fn compile(text: &str) {
    let compiler = std::env::var("CC").unwrap_or_else(|_| "cc".into());
    let mut child = Command::new(&compiler)
        .args(["-std=c11", "-Wall", "-Werror", "-fsyntax-only", "-x", "c", "-"])
        .stdin(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{compiler} does not start: {error}"));
    let input = child.stdin.take().expect("stdin was piped");
    { input }.write_all(format!("{HEADER}\n#include <stddef.h>\n{text}").as_bytes()).unwrap();
    assert!(child.wait().unwrap().success(), "{compiler} finds the layouts different");
}

macro_rules! layout {
    ($($c:ident = $rust:ident { $($field:ident),+ })+) => {
        concat_lines(&[$(
            format!("_Static_assert(sizeof({0}) == {1}, \"size of {0}\");",
                stringify!($c), size_of::<raw::$rust>()),
            $(format!("_Static_assert(offsetof({0}, {1}) == {2}, \"place of {0}.{1}\");",
                stringify!($c), stringify!($field), offset_of!(raw::$rust, $field)),)+
        )+])
    };
}

fn concat_lines(lines: &[String]) -> String {
    lines.join("\n")
}

#[test]
fn every_struct_lies_in_memory_as_c_has_it() {
    compile(&layout! {
        tp_profile = Profile { count, reserved, values }
        tp_drive = Drive {
            turn_bits, start_bit, cylinder, write_protected, spin_up_ns, change_clear, reserved
        }
        tp_track = Track { drive, cylinder, side, bit_count, bytes }
        tp_setup = Setup {
            struct_size, drive_count, profile, drives, tracks, track_count, reserved, forms
        }
        tp_form = Form {
            form, layout, sectors, sector_bytes, size_code, gap_4a_bytes, gap_1_bytes,
            gap_2_bytes, gap_3_bytes, reserved
        }
        tp_event = Event { at_ns, kind, transfer, a, reserved, b }
        tp_item = Item { at_ns, kind, transfer, flag, reserved, value }
        tp_adapter = Adapter {
            struct_size, abi_major, abi_minor, name, create, destroy, capabilities, profile,
            power_up, run, drain, last_error, give, show
        }
        tp_word_reader = WordReader {
            struct_size, abi_major, abi_minor, name, create, destroy, last_error, profile,
            power_up, shift_in, request, service, set_hardware_sync, source_changed,
            set_sync_word, index, abort, reset, poll_status, poll_byte, done_signal, match_signal
        }
        tp_track_writer = TrackWriter {
            struct_size, abi_major, abi_minor, name, create, destroy, last_error, profile,
            power_up, write, offer, begin_cell, is_busy, end_cell, index, abort, reset, done_signal
        }
        tp_track_encoder = TrackEncoder {
            struct_size, abi_major, abi_minor, name, create, destroy, last_error, encode
        }
        tp_data_separator = DataSeparator {
            struct_size, abi_major, abi_minor, name, create, destroy, last_error, profile,
            power_up, advance
        }
    });
}

/// A number of the header, with the comment behind it in one line.
struct Number {
    value: i64,
    comment: String,
}

/// Every `NAME = n` of an enumeration and every `#define NAME n`.
fn numbers() -> BTreeMap<String, Number> {
    let mut found = BTreeMap::new();
    let mut rest = HEADER;
    while let Some(at) = rest.find("TP_") {
        let before = &rest[..at];
        let defined = before.ends_with("#define ");
        let text = &rest[at..];
        let end = text.find(|c: char| !(c.is_ascii_uppercase() || c == '_')).unwrap_or(text.len());
        let (name, behind) = text.split_at(end);
        rest = behind;
        let value = if defined { behind.strip_prefix(' ') } else { behind.strip_prefix(" = ") };
        let Some(value) = value else { continue };
        let end = value.find([',', '\n', ' ', '}']).unwrap_or(value.len());
        let Some(number) = number(&value[..end]) else { continue };
        let comment = value[end..].trim_start_matches([',', ' ']);
        let comment = comment.strip_prefix("/*").and_then(|text| text.split_once("*/"));
        let comment = comment.map_or(String::new(), |(text, _)| {
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        });
        let old = found.insert(name.to_owned(), Number { value: number, comment });
        assert!(old.is_none(), "the header numbers {name} twice");
    }
    found
}

fn number(text: &str) -> Option<i64> {
    let text = text.trim_end_matches('u');
    text.strip_prefix("0x")
        .map_or_else(|| text.parse().ok(), |hex| i64::from_str_radix(hex, 16).ok())
}

/// The names of the code with their numbers, as the header has to spell them.
fn expected() -> BTreeMap<String, i64> {
    let shout =
        |name: &str| name.replace("track-00", "track-zero").replace('-', "_").to_uppercase();
    let mut all: BTreeMap<String, i64> =
        raw::NUMBERS.iter().map(|&(name, value)| (name.to_owned(), value)).collect();
    // The minor number is for libraries to give; nothing here reads it.
    all.insert("TP_ABI_MINOR".into(), 3);
    for (index, key) in KEYS.iter().enumerate() {
        all.insert(format!("TP_KEY_{}", shout(key.name)), index as i64);
    }
    all.insert("TP_KEY_COUNT".into(), KEYS.len() as i64);
    for one in Capability::ALL {
        all.insert(format!("TP_CAN_{}", shout(one.name())), *one as i64);
    }
    all.insert("TP_CAN_COUNT".into(), Capability::ALL.len() as i64);
    for (bit, name) in Status::NAMES {
        all.insert(format!("TP_STATUS_{}", shout(name)), i64::from(bit.to_bits()));
    }
    all
}

#[test]
fn every_number_of_the_header_is_the_codes_and_none_is_missing() {
    let header: BTreeMap<String, i64> =
        numbers().into_iter().map(|(name, number)| (name, number.value)).collect();
    assert_eq!(header, expected());
}

#[test]
fn the_values_of_choices_are_numbered_as_the_header_lists_them() {
    let header = numbers();
    let mut profile = Profile::sync_dma();
    let mut choices = 0;
    for key in KEYS.iter().filter(|key| key.name != "service") {
        let number = &header[&format!("TP_KEY_{}", key.name.to_uppercase())];
        let allowed = key.allowed();
        if !allowed.contains(" | ") {
            continue;
        }
        assert_eq!(number.comment, allowed.replace(" | ", ", "), "{}", key.name);
        for (code, name) in allowed.split(" | ").enumerate() {
            key.set_code(&mut profile, code as i64).unwrap();
            assert_eq!(key.text(&profile), name, "{}", key.name);
        }
        choices += 1;
    }
    assert!(choices > 20, "only {choices} choices were compared");
}

#[test]
fn a_service_is_numbered_as_the_header_says() {
    let number = &numbers()["TP_KEY_SERVICE"];
    assert_eq!(number.comment, "0: per-word; else period_ns * 65536 + count");
    let key = Profile::key("service").unwrap();
    let service = Service::Slots { period_ns: 64_000, count: 3 };
    assert_eq!(key.code(&Profile { service, ..Profile::sync_dma() }), 64_000 * 65_536 + 3);
    assert_eq!(key.code(&Profile { service: Service::PerWord, ..Profile::sync_dma() }), 0);
}
