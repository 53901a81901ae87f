//! Bad input: each is one clear error on standard error that says what and where, nothing on
//! standard output, and the documented exit code.
//!
//! What `command_line.rs` looks at is not looked at here again.

use crate::start::{command, library, run};
use std::path::Path;
use std::process::Output;

/// Usage, configuration, or a file that cannot be read or written.
const USAGE: i32 = 2;
/// The adapter did not start or broke its protocol.
const ADAPTER: i32 = 7;

/// A valid case file.
const CASE: &str = include_str!("../../../tests/fixtures/case-format-1.json");

/// The one error of a run that ends with `code`. A line before it may name the variable that it
/// comes from, and clap's advice may come after it.
fn one_error(output: &Output, code: i32, line: &str) -> String {
    let said = String::from_utf8(output.stderr.clone()).expect("text");
    assert_eq!(output.status.code(), Some(code), "{line}: {said}");
    let begins = |line: &&str| line.starts_with("error: ") || line.starts_with("trackproof: ");
    let names_variable = |line: &&str| line.starts_with("trackproof: the environment variable ");
    let errors = said.lines().filter(begins).filter(|line| !names_variable(line)).count();
    assert_eq!(errors, 1, "{line}: {said}");
    assert!(!said.contains("panicked") && !said.contains('\u{1b}'), "{line}: {said}");
    said
}

/// A run of the program in `folder` ends with `code`, no output, and one error with these words.
fn refused(folder: &Path, line: &str, variables: &[(&str, &str)], code: i32, words: &[&str]) {
    let output = run(folder, line, variables);
    let said = one_error(&output, code, line);
    assert_eq!(String::from_utf8_lossy(&output.stdout), "", "{line}");
    for word in words {
        assert!(said.contains(word), "{line}: no `{word}` in: {said}");
    }
}

/// As [`refused`], in an empty folder and without variables, for usage.
fn bad_usage(line: &str, words: &[&str]) {
    refused(tempfile::tempdir().unwrap().path(), line, &[], USAGE, words);
}

#[test]
fn flags_with_bad_values_are_named_with_the_value() {
    for (flag, value, word) in [
        ("--seed", "x", "invalid digit"),
        ("--seed", "-1", "invalid digit"),
        ("--seed", "18446744073709551616", "too large"),
        ("--cases", "many", "invalid digit"),
        ("--cases", "-5", "invalid digit"),
        ("--cases", "1.5", "invalid digit"),
        ("--jobs", "0", "1..=1024"),
        ("--jobs", "1025", "1..=1024"),
        ("--jobs", "two", "invalid digit"),
        ("--for", "10d", "60s, 10m or 8h"),
        ("--for", "0s", "at least 1s"),
        ("--for", "9999h", "at most 8760h"),
        ("--rule", "sync.start,sync.never", "there is sync.start"),
        ("--format", "yaml", "human, json"),
    ] {
        let line = format!("check sample:sync-dma {flag} {value}");
        let value = value.rsplit(',').next().unwrap();
        bad_usage(&line, &[flag, &format!("'{value}'"), word]);
    }
}

#[test]
fn command_lines_that_are_none_say_what_is_missing_or_too_much() {
    bad_usage("check", &["<IMPL>", "Usage: trackproof check"]);
    bad_usage("frobnicate", &["'frobnicate'", "Usage: trackproof"]);
    bad_usage("check sample:sync-dma --colour", &["'--colour'"]);
    bad_usage("replay none.json", &["<IMPL>"]);
    bad_usage("check sample:", &["nothing after `sample:`"]);
    bad_usage("check sample:sync-dma+flag-lags+none", &["no fault `none`", "flag-lags"]);
    bad_usage("minimise none.json sample:sync-dma", &["none.json: cannot open"]);
}

#[test]
fn variables_with_bad_values_are_named_with_the_value() {
    let folder = tempfile::tempdir().unwrap();
    for (variable, value, word) in [
        ("TRACKPROOF_SEED", "0x1f", "invalid digit"),
        ("TRACKPROOF_SEED", "18446744073709551616", "too large"),
        ("TRACKPROOF_CASES", "many", "invalid digit"),
        ("TRACKPROOF_CASES", "1e6", "invalid digit"),
        ("TRACKPROOF_JOBS", "1025", "1..=1024"),
        ("TRACKPROOF_FOR", "10 minutes", "60s, 10m or 8h"),
    ] {
        let named = format!("variable {variable} has a bad value");
        let words = [named.as_str(), &format!("'{value}'"), word];
        refused(folder.path(), "check sample:sync-dma", &[(variable, value)], USAGE, &words);
    }
}

#[test]
fn profiles_that_are_none_are_named_with_the_place() {
    let folder = tempfile::tempdir().unwrap();
    let line = |name: &str| format!("check sample:sync-dma --profile {name}");
    let words = ["`none.toml`", "sync-dma, byte-stream"];
    refused(folder.path(), &line("none.toml"), &[], USAGE, &words);
    let wrong: [(&str, &str, &[&str]); 5] = [
        (
            "key.toml",
            "partial = \"drop\"\nwords = 3\n",
            &["key.toml:2:1: ", "`words`", "word_bits"],
        ),
        ("value.toml", "partial = \"keep\"", &["value.toml:1:11: ", "`keep`", "drop | pad-low"]),
        ("base.toml", "base = \"mine\"", &["base.toml:1:8: ", "`base`", "sync-dma or byte-stream"]),
        ("syntax.toml", "partial =", &["syntax.toml:1:"]),
        (
            "together.toml",
            "fifo_words = 0",
            &["together.toml: ", "`fifo_words` is 0", "1 and 1024"],
        ),
    ];
    for (name, text, words) in wrong {
        std::fs::write(folder.path().join(name), text).unwrap();
        refused(folder.path(), &line(name), &[], USAGE, words);
    }
}

#[test]
fn a_folder_that_cannot_be_made_is_one_error_and_the_report_is_not_lost() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("taken"), "").unwrap();
    let mut folders = vec!["taken/out"];
    if Path::new("/proc").exists() {
        folders.push("/proc/out");
    }
    for out in folders {
        let line = format!("check sample:sync-dma --cases 20 --format json --out {out}");
        let output = run(folder.path(), &line, &[]);
        let said = one_error(&output, USAGE, &line);
        assert!(said.contains(&format!("{out}: the folder cannot be made")), "{said}");
        assert!(said.contains("--out"), "{said}");
        let report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(report["cases"], 20);
    }
}

#[test]
#[cfg(target_os = "linux")]
fn standard_output_that_cannot_be_written_is_one_error() {
    let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
    let output = command(Path::new("."), "samples", &[]).stdout(full).output().unwrap();
    let said = one_error(&output, USAGE, "samples");
    assert!(said.contains("standard output cannot be written"), "{said}");
}

/// The valid case file with one piece of text replaced.
fn changed(from: &str, to: &str) -> String {
    assert!(CASE.contains(from), "{from}");
    CASE.replacen(from, to, 1)
}

#[test]
fn a_valid_case_file_is_not_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("case.json"), CASE).unwrap();
    let output = run(folder.path(), "replay case.json sample:sync-dma", &[]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn case_files_that_are_none_are_named_with_place_and_value() {
    let folder = tempfile::tempdir().unwrap();
    let half = &CASE[..CASE.len() / 2];
    let colours = changed("\"note\"", "\"\\u001b[31m\": 1, \"note\"");
    for (text, words) in [
        (String::new(), vec!["case.json:1:1: ", "cut short"]),
        ("rule = sync.none\n".into(), vec!["case.json:1:1: ", "not JSON"]),
        ("\u{0}\u{0}\u{0}".into(), vec!["case.json:1:1: ", "not JSON"]),
        (half.into(), vec!["case.json:", "cut short"]),
        ("{}".into(), vec!["case.json: format: missing", "no case file"]),
        ("[1]".into(), vec!["case.json:1:"]),
        ("[".repeat(200_000), vec!["case.json:1:"]),
        (changed("\"format\": 1", "\"format\": 2"), vec!["\"format\" is 2,", "newer trackproof"]),
        (changed("\"note\"", "\"weather\": 1, \"note\""), vec!["case.json:", "`weather`"]),
        (colours, vec!["case.json:", "\\u{1b}[31m"]),
        (changed("\"op\": \"abort\"", "\"op\": \"erase\""), vec!["case.json:", "`erase`"]),
        (changed("\"op\": \"abort\"", "\"op\": \"abort\", \"n\": 1"), vec!["case.json:", "`n`"]),
        (changed("\"4489a0\"", "\"4489a\""), vec!["case.json:", "6 hex digits", "has 5"]),
        (changed("\"4489a0\"", "\"4489g0\""), vec!["case.json:", "no hex digit"]),
        (changed("\"bits\": 20", "\"bits\": 200"), vec!["case.json:", "50 hex digits", "has 6"]),
        (changed("\"bits\": 20", "\"bits\": 4000000000"), vec!["case.json:", "800000"]),
        (
            changed("\"turn_bits\": 20", "\"turn_bits\": 0"),
            vec!["case.json: case.bench.drives[0].turn_bits: 0", "1 and 800000"],
        ),
        (changed("\"words\": 3", "\"words\": 70000"), vec!["case.program[6]: 70000", "65535"]),
        (changed("\"sync.phase\"", "\"../up\""), vec!["case.json: rule: `../up`"]),
    ] {
        std::fs::write(folder.path().join("case.json"), text).unwrap();
        for verb in ["replay", "minimise"] {
            let line = format!("{verb} case.json sample:sync-dma");
            refused(folder.path(), &line, &[], USAGE, &words);
        }
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is written");
}

#[test]
fn a_case_file_without_end_is_refused_unread() {
    let folder = tempfile::tempdir().unwrap();
    // Sparse: a tebibyte that takes no room.
    let file = std::fs::File::create(folder.path().join("case.json")).unwrap();
    file.set_len(1 << 40).or_else(|_| file.set_len(1 << 30)).unwrap();
    let words = ["case.json: larger than 67108864 bytes"];
    refused(folder.path(), "replay case.json sample:sync-dma", &[], USAGE, &words);
    if Path::new("/dev/zero").exists() {
        let words = ["/dev/zero: larger than 67108864 bytes"];
        refused(folder.path(), "replay /dev/zero sample:sync-dma", &[], USAGE, &words);
    }
}

#[test]
fn a_case_that_another_profile_does_not_allow_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("case.json"), CASE).unwrap();
    std::fs::write(folder.path().join("short.toml"), "max_words = 2").unwrap();
    let line = "replay case.json sample:sync-dma --profile short.toml";
    let words = ["case.json: under profile short", "program[6]: 3 words", "`max_words` is 2"];
    refused(folder.path(), line, &[], USAGE, &words);
}

#[test]
fn libraries_that_are_none_are_named_with_what_is_missing() {
    let folder = tempfile::tempdir().unwrap();
    refused(folder.path(), "check lib:none.so", &[], USAGE, &["none.so: no such file"]);
    std::fs::write(folder.path().join("text.so"), "no library").unwrap();
    let words = ["text.so: cannot be opened as a shared library"];
    refused(folder.path(), "check lib:text.so", &[], ADAPTER, &words);
    for (definition, words) in [
        (("ENTRY_NAME", "other_entry"), ["exports no `tp_adapter_entry`", "visible"]),
        (("ENTRY_RESULT", "NULL"), ["returned null", "major number 1"]),
        (("TABLE_MAJOR", "2"), ["`abi_major` is 2", "1 was asked for"]),
        (("TABLE_BYTES", "3"), ["`struct_size` is 3", "sizeof(tp_adapter)"]),
        (("DRAIN_FUNCTION", "NULL"), ["no `drain`", "must have"]),
        (("CREATE", "return NULL;"), ["`create(null)` returned null", "not today"]),
        (("PROFILE", "values[TP_KEY_PARTIAL]=3;return 0;"), ["`partial`", "pad-low"]),
    ] {
        let (folder, name) = library(&[definition]);
        let line = format!("check lib:{name} --cases 20");
        let words = [name.as_str(), words[0], words[1]];
        refused(folder.path(), &line, &[], ADAPTER, &words);
    }
}

#[test]
fn libraries_that_break_their_word_in_a_run_are_named_with_case_and_value() {
    for (definition, words) in [
        (("POWER_UP", "return TP_FAIL;"), ["refused `power_up`", "not today"]),
        (("DRAIN", "code=TP_MORE;*count=0;"), ["TP_MORE with 0 items", "at least 1"]),
        (
            (
                "DRAIN",
                "*count=capacity;code=TP_MORE;\
                 for(uint64_t i=0;i<capacity;i++)items[i]=(tp_item){.kind=TP_ITEM_MATCH};",
            ),
            ["items", "1000000 signals"],
        ),
        (("DRAIN", "*count=capacity+1;"), ["`drain` gave 4097 items", "capacity was 4096"]),
        (("DRAIN", "code=99;"), ["`drain` returned 99", "1 (more items)"]),
        (
            ("DRAIN", "items[0]=(tp_item){.at_ns=~0ull,.kind=TP_ITEM_DONE};*count=1;"),
            ["malformed", "past the program's end"],
        ),
    ] {
        // Long tracks are none of this adapter's business: without this it would refuse them.
        let power = ("POWER_UP", "return TP_OK;");
        let both = [power, definition];
        let definitions = if definition.0 == power.0 { &both[1..] } else { &both[..] };
        let (folder, name) = library(definitions);
        let line = format!("check lib:{name} --cases 200 --jobs 1");
        let words = ["case ", "says nothing about the controller", words[0], words[1]];
        refused(folder.path(), &line, &[], ADAPTER, &words);
    }
}
