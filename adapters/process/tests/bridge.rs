//! A controller in C, once in this process and once in a child that speaks the protocol: the same
//! cases come to the same observations, and every line on the way fits `schema.json`.
//!
//! The child is this program with other arguments, for it has nothing in common with the side that
//! is tested but the contract's forms.

mod interpreter;
mod lifted;

use interpreter::python;
use lifted::rig;
use serde_json::{Value, json};
use std::fs;
use std::io::{BufRead, Write};
use std::path::Path;
use std::process::ExitCode;
use trackproof::generate::Generator;
use trackproof::lift;
use trackproof_contract::{Capabilities, Capability, Case, Observation, Profile, Rig};
use trackproof_process::SCHEMA;

/// Cases that both sides run.
const CASES: u64 = 2_000;

/// Cases whose lines are held against the schema, and among how many they are looked for.
const TOLD: usize = 100;
const TOLD_OF: u64 = 2_000;

/// What Python shifts in in some milliseconds, in nanoseconds.
const SHORT_NS: u64 = 8_000_000;

/// A track encoder: the stream is a gap alone, which is enough to be a stream.
const ENCODER: &str = r#"
from trackproof_child import TrackEncoder, run
class Gap(TrackEncoder):
    def encode(self, image):
        return ("1001001001010100" * (image.turn_bits // 16 + 1))[: image.turn_bits]
run(Gap)
"#;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, word, faults @ ..] = &arguments[..]
        && word == "speak"
    {
        speak(faults);
        return ExitCode::SUCCESS;
    }
    for (name, test) in [
        ("a_child_gives_what_its_controller_gives_in_this_process", parity as fn()),
        ("every_line_of_a_whole_controller_fits_the_schema", whole_lines),
        ("every_line_of_a_part_fits_the_schema", part_lines),
        ("the_schema_knows_every_name_of_the_contract", names),
        ("the_schema_refuses_what_no_line_may_be", refused),
    ] {
        println!("test {name} ...");
        test();
    }
    ExitCode::SUCCESS
}

/// The child: the sample `sync-dma`, with faults.
fn speak(faults: &[String]) {
    let faults: Vec<&str> = faults.iter().map(String::as_str).collect();
    let open = trackproof_samples::find("sync-dma").unwrap().open(&faults).unwrap();
    let mut rig = open.rig().unwrap();
    let can = rig.capabilities().without(Capability::Fifo);
    let names: Vec<&str> = can.iter().map(Capability::name).collect();
    let mut out = std::io::stdout();
    let mut send = |line: Value| writeln!(out, "{line}").unwrap();
    for line in std::io::stdin().lock().lines() {
        let mut message: Value = serde_json::from_str(&line.unwrap()).unwrap();
        if message.get("protocol").is_some() {
            send(json!({
                "protocol": 1, "name": "sync-dma", "offers": "controller", "capabilities": names,
                "profile": null, "max_in_flight": 1,
            }));
            continue;
        }
        let case: Case = serde_json::from_value(message["case"].take()).unwrap();
        let mut observation = Observation::new();
        match rig.run(&case, &mut observation) {
            Ok(()) => send(json!({"id": message["id"], "observation": observation})),
            Err(error) => send(json!({"id": message["id"], "failed": error.to_string()})),
        }
    }
}

fn this_program() -> String {
    format!("'{}'", std::env::current_exe().unwrap().display())
}

fn cases(can: Capabilities, count: u64) -> impl Iterator<Item = Case> {
    let mut generator = Generator::limited_to(Profile::sync_dma(), can);
    (0..count)
        .map(move |index| generator.case(3, index))
        .filter(move |case| can.missing(case.needs()).is_empty())
}

fn parity() {
    for fault in ["", "late-after-realign", "image-without-clock"] {
        let faults: Vec<&str> = Some(fault).into_iter().filter(|fault| !fault.is_empty()).collect();
        let open = trackproof_samples::find("sync-dma").unwrap().open(&faults).unwrap();
        let mut inside = open.rig().unwrap();
        let mut child = rig(&format!("{} speak {fault}", this_program()));
        assert_eq!(child.capabilities(), inside.capabilities());
        assert_eq!(child.profile(), inside.profile());
        let (mut here, mut there) = (Observation::new(), Observation::new());
        let mut compared = 0;
        for case in cases(inside.capabilities(), CASES) {
            inside.run(&case, &mut here).unwrap();
            child.run(&case, &mut there).unwrap();
            assert_eq!(here, there, "{fault}: case {compared}");
            compared += 1;
        }
        assert_eq!(compared, CASES);
    }
}

/// Runs cases on a child whose lines are written down on the way, and holds them all to the schema.
fn told(line: &str, longest_ns: u64, folder: &Path) -> (Vec<Value>, Vec<Value>) {
    let path = |name: &str| folder.join(name).display().to_string();
    let script = format!("tee '{}' | {line} | tee '{}'", path("to"), path("from"));
    let mut child = rig(&format!("sh -c {}", shell_word(&script)));
    let mut observation = Observation::new();
    let (can, lent) = (child.capabilities(), child.lent());
    let told = |case: &Case| case.end_ns() < longest_ns && !case.asks_only(lent);
    for case in cases(can, TOLD_OF).filter(told).take(TOLD) {
        child.run(&case, &mut observation).unwrap();
    }
    drop(child);
    let lines = |name| -> Vec<Value> {
        let text = fs::read_to_string(folder.join(name)).unwrap();
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    };
    let (to, from) = (lines("to"), lines("from"));
    assert!(to.len() > 20 && to.len() == from.len(), "{} and {} lines", to.len(), from.len());
    let (to_schema, from_schema) = (schema("to-child"), schema("from-child"));
    for (schema, lines) in [(&to_schema, &to), (&from_schema, &from)] {
        for line in lines {
            if let Err(error) = schema.validate(line) {
                panic!("{error} at {}", error.instance_path());
            }
        }
    }
    (to, from)
}

fn shell_word(text: &str) -> String {
    format!("'{}'", text.replace('\'', r"'\''"))
}

/// The part of the schema of that name.
fn schema(name: &str) -> jsonschema::Validator {
    let mut schema: Value = serde_json::from_str(SCHEMA).unwrap();
    schema.as_object_mut().unwrap().remove("oneOf");
    schema["$ref"] = json!(format!("#/$defs/{name}"));
    jsonschema::validator_for(&schema).unwrap()
}

fn whole_lines() {
    let folder = tempfile::tempdir().unwrap();
    let (to, from) = told(&format!("{} speak", this_program()), u64::MAX, folder.path());
    // All that there is went over the pipes.
    let text = |lines: &[Value]| serde_json::to_string(lines).unwrap();
    let (to, from) = (text(&to), text(&from));
    for name in ["\"copy\":", "\"words\":", "soft-sector", "full-track", "\"real\"", "slack_max"] {
        assert!(to.contains(name), "no {name}");
    }
    for name in ["\"Word\":", "\"Byte\":", "\"Status\":", "\"Done\"", "\"image\":"] {
        assert!(from.contains(name), "no {name}");
    }
}

fn part_lines() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let reader = here.join("../samples/word_reader.py");
    let folder = tempfile::tempdir().unwrap();
    let (to, from) = told(&format!("{} '{}'", python(), reader.display()), SHORT_NS, folder.path());
    let calls: std::collections::BTreeSet<&str> = to
        .iter()
        .filter_map(|line| line["calls"].as_array())
        .flatten()
        .map(|call| call["call"].as_str().unwrap())
        .collect();
    assert_eq!(calls.len(), 11, "{calls:?}");
    assert!(from.iter().any(|line| line["came"].as_array().is_some_and(|came| !came.is_empty())));

    let script = folder.path().join("gap.py");
    fs::write(&script, ENCODER).unwrap();
    let kit = here.join("python");
    let (kit, script) = (kit.display(), script.display());
    let line = format!("env PYTHONPATH='{kit}' {} '{script}'", python());
    let (to, _) = told(&line, u64::MAX, folder.path());
    assert!(to.iter().any(|line| line["images"].is_array()));

    let separator = here.join("tests/separator.py");
    let line = format!("env PYTHONPATH='{kit}' {} '{}'", python(), separator.display());
    let (to, from) = told(&line, u64::MAX, folder.path());
    assert!(to.iter().any(|line| line["transitions_ns"].is_array()));
    assert!(from.iter().any(|line| line["separated"].is_object()));
}

fn names() {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let defs = &schema["$defs"];
    let keys: Vec<&String> = defs["profile"]["properties"].as_object().unwrap().keys().collect();
    let mut ours: Vec<&str> = trackproof_contract::KEYS.iter().map(|key| key.name).collect();
    ours.sort_unstable();
    assert_eq!(keys, ours);
    let required = defs["whole-profile"]["allOf"][1]["required"].as_array().unwrap();
    assert_eq!(required.len(), ours.len());
    let of_controllers = |one: &&Capability| **one != Capability::Separator;
    let capabilities: Vec<&str> =
        Capability::ALL.iter().filter(of_controllers).map(|one| one.name()).collect();
    assert_eq!(defs["hello"]["properties"]["capabilities"]["items"]["enum"], json!(capabilities));
    let mut methods: Vec<&str> =
        lift::word_reader::METHODS.iter().map(|(method, _)| *method).collect();
    methods.sort_unstable();
    let listed = &defs["hello"]["properties"]["methods"]["items"]["enum"];
    let mut listed: Vec<&str> =
        listed.as_array().unwrap().iter().map(|name| name.as_str().unwrap()).collect();
    listed.sort_unstable();
    assert_eq!(listed, methods);
}

fn refused() {
    let (to, from) = (schema("to-child"), schema("from-child"));
    for line in [
        json!({"protocol": 2}),
        json!({"id": -1, "calls": [], "profile": {}}),
        json!({"id": 0, "images": [{"cylinder": 0}]}),
        json!({"id": 0, "case": {"profile": {}, "bench": {}, "tracks": [], "program": []}}),
    ] {
        assert!(!to.is_valid(&line), "{line}");
    }
    for line in [
        json!({"id": 0}),
        json!({"id": 0, "observation": {"items": [{"at_ns": 1, "item": "Undone"}]}}),
        json!({"id": 0, "came": [{"at": 0, "item": {"Word": {"transfer": 0}}}]}),
        json!({"id": 0, "streams": [{"bits": 8, "hex": "FG"}]}),
        json!({"protocol": 1, "name": "x", "offers": "toaster", "max_in_flight": 1}),
    ] {
        assert!(!from.is_valid(&line), "{line}");
    }
    assert!(from.is_valid(&json!({"id": 0, "failed": "why", "more": 1})));
}
