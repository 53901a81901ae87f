//! Parts of a controller out of a shared library: `lib:…` finds what it is, and every verb works.

use crate::start::{Told, command, root, told};
use serde_json::Value;
use std::env::consts::DLL_SUFFIX;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

/// A folder with a sample compiled as it is, `right`, and with a fault in it, `wrong`: `from` stands
/// in it once, and `to` in its place.
fn compiled(sample: &str, from: &str, to: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let source = root().join(format!("adapters/samples/parts/{sample}.c"));
    let text = std::fs::read_to_string(&source).unwrap();
    assert_eq!(text.matches(from).count(), 1, "{from} in {sample}");
    let wrong = folder.path().join("wrong.c");
    std::fs::write(&wrong, text.replace(from, to)).unwrap();
    compile(&source, &[], &folder.path().join(format!("right{DLL_SUFFIX}")));
    compile(&wrong, &[], &folder.path().join(format!("wrong{DLL_SUFFIX}")));
    folder
}

fn compile(source: &Path, definitions: &[(&str, &str)], target: &Path) {
    let compiler = std::env::var("CC").unwrap_or_else(|_| "cc".into());
    let output = Command::new(&compiler)
        .args(["-std=c11", "-O2", "-Wall", "-Wextra", "-Werror", "-fPIC", "-shared", "-I"])
        .arg(root().join("adapters/c-abi/include"))
        .args(definitions.iter().map(|(name, text)| format!("-D{name}={text}")))
        .arg(source)
        .arg("-o")
        .arg(target)
        .output()
        .unwrap_or_else(|error| panic!("{compiler}: {error}"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// A folder with the smallest parts there are, compiled with these names defined.
fn smallest(definitions: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let source = root().join("adapters/c-abi/tests/abi/parts.c");
    compile(&source, definitions, &folder.path().join(format!("parts{DLL_SUFFIX}")));
    folder
}

/// The rules of what a run found.
fn rules(told: &Told) -> Vec<String> {
    let findings = told.json()["findings"].as_array().unwrap().clone();
    findings.iter().map(|finding| finding["rule"].as_str().unwrap().to_owned()).collect()
}

/// The right library conforms, and the wrong one is accused by this rule.
fn is_told_apart(folder: &TempDir, cases: u32, rule: &str) {
    let line = |name| format!("check lib:{name}{DLL_SUFFIX} --cases {cases} --format json");
    let right = told(folder.path(), &line("right"));
    assert_eq!(right.code, 0, "{}{}", right.out, right.err);
    assert_eq!(right.json()["verdict"], "conforms");
    let wrong = told(folder.path(), &line("wrong"));
    assert_eq!(wrong.code, 1, "{}{}", wrong.out, wrong.err);
    assert_eq!(rules(&wrong), [rule], "{}", wrong.out);
}

#[test]
fn a_word_reader_in_c_conforms_and_a_word_late_after_a_misaligned_match_is_found() {
    let right = "r->counted = 0; /* misaligned_match";
    let wrong = "r->counted = r->counted && r->state == RUNS ? -1u : 0; /* misaligned_match";
    is_told_apart(&compiled("word_reader", right, wrong), 2_000, "sync.realign");
}

#[test]
fn a_track_writer_in_c_conforms_and_a_lost_last_bit_is_found() {
    let (right, wrong) = ("WRITES && w->bits == 0 &&", "WRITES && w->bits <= 1 &&");
    is_told_apart(&compiled("track_writer", right, wrong), 2_000, "write.words");
}

#[test]
fn a_track_encoder_in_c_conforms_and_a_clock_bit_that_forgets_the_byte_before_is_found() {
    let (right, wrong) = ("        before = t->bytes[i] & 1;", "        before = 0;");
    is_told_apart(&compiled("track_encoder", right, wrong), 2_000, "clock.context");
}

#[test]
fn every_verb_works_on_a_part_with_workers_and_without() {
    let folder = compiled("word_reader", "*word = r->fifo[0];", "*word = r->fifo[0] ^ 1;");
    let line = format!("check lib:right{DLL_SUFFIX} --cases 300 --format json");
    let isolated = told(folder.path(), &line);
    let inside = told(folder.path(), &format!("{line} --in-process"));
    assert_eq!((isolated.code, inside.code), (0, 0), "{}{}", isolated.err, inside.err);
    assert_eq!(isolated.out, inside.out);
    assert_eq!(isolated.json()["skipped"].as_array().unwrap().len(), 4, "{}", isolated.out);

    let glue = told(folder.path(), &format!("adapter check lib:wrong{DLL_SUFFIX}"));
    assert_eq!(glue.code, 0, "{}", glue.out);

    let line = format!("check lib:wrong{DLL_SUFFIX} --cases 60 --format json");
    let check = told(folder.path(), &line);
    assert_eq!(check.code, 1, "{}{}", check.out, check.err);
    let file = check.json()["findings"][0]["case"].as_str().unwrap().to_owned();
    for (name, code) in [("wrong", 1), ("right", 0)] {
        let again = told(folder.path(), &format!("replay {file} lib:{name}{DLL_SUFFIX}"));
        assert_eq!(again.code, code, "{}{}", again.out, again.err);
    }
    let minimise = format!("minimise {file} lib:wrong{DLL_SUFFIX} --out small --format json");
    let small = told(folder.path(), &minimise);
    assert_eq!((small.code, rules(&small).len()), (1, 1), "{}{}", small.out, small.err);

    let search = format!("overnight lib:wrong{DLL_SUFFIX} --for 5s --out night --jobs 1");
    let night = told(folder.path(), &search);
    assert_eq!(night.code, 1, "{}{}", night.out, night.err);
}

#[test]
fn a_part_that_crashes_or_hangs_stops_and_the_run_goes_on() {
    for (text, kind) in [("abort();", "aborted"), ("for (;;);", "endless")] {
        // Not when it is tried at the beginning, where it is asked for the first bit only.
        let text = format!("if (part->counted == 9) {text}");
        let folder = smallest(&[("SHIFT_IN", &text)]);
        let line = format!("check lib:parts{DLL_SUFFIX} --cases 130 --case-time 1s --format json");
        let told = told(folder.path(), &line);
        assert_eq!(told.code, 1, "{}", told.err);
        let finding = &told.json()["findings"][0];
        assert_eq!((&finding["rule"], &finding["kind"]), (&"stops".into(), &kind.into()));
    }
}

#[test]
fn a_part_that_breaks_its_word_is_no_verdict() {
    for (name, text, why) in [
        ("SHIFT_IN", "return 7;", "protocol: `shift_in` returned 7"),
        ("SHIFT_IN", "*word = 1 << 16; return TP_YES;", "the word 10000, wider than"),
        ("POLL_STATUS", "*driven = 0x100;", "*driven to 0x100"),
        ("POLL_BYTE", "*value = 256;", "*value to 256"),
        ("POWER_UP", "return TP_FAIL;", "refused `power_up`: not today"),
        ("CREATE", "return NULL;", "returned null: not today"),
        ("MAJOR", "2", "`abi_major` is 2"),
    ] {
        let folder = smallest(&[(name, text)]);
        let told = told(folder.path(), &format!("check lib:parts{DLL_SUFFIX} --cases 300"));
        assert_eq!(told.code, 7, "{name}={text}: {}{}", told.out, told.err);
        assert!(told.err.contains(why), "{name}={text}: {}", told.err);
    }
}

#[test]
fn of_a_library_that_is_several_things_one_can_be_named() {
    let folder = smallest(&[]);
    let check = |form: &str| {
        told(folder.path(), &format!("check {form}:parts{DLL_SUFFIX} --cases 60 --format json"))
    };
    let skipped =
        |told: &Told| -> Vec<Value> { told.json()["skipped"].as_array().unwrap().clone() };
    let (first, reader) = (check("lib"), check("lib+word-reader"));
    assert_eq!(skipped(&first), skipped(&reader));
    assert_ne!(skipped(&first), skipped(&check("lib+track-writer")));
    let none = check("lib+controller");
    assert_eq!(none.code, 7, "{}", none.err);
    assert!(none.err.contains("exports no `tp_adapter_entry`"), "{}", none.err);
    let wrong = check("lib+reader");
    assert_eq!(wrong.code, 2, "{}", wrong.err);
    assert!(wrong.err.contains("word-reader, track-writer, track-encoder"), "{}", wrong.err);
}

#[test]
fn the_readmes_word_reader_in_c_is_compiled_and_judged_by_what_it_has() {
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    let mut blocks = readme.split("```").filter_map(|part| part.strip_prefix("c\n"));
    let code = blocks.find(|code| code.contains("tp_word_reader_entry")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let source = folder.path().join("mine.c");
    std::fs::write(&source, code).unwrap();
    compile(&source, &[], &folder.path().join(format!("libmine{DLL_SUFFIX}")));
    let line = format!("check lib:./libmine{DLL_SUFFIX} --cases 400");
    let output = command(folder.path(), &line, &[]).output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.contains("it has no fifo of its own, ours is lent to it"), "{text}");
}
