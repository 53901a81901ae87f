//! `adapter check`: whole glue is whole, however wrong the controller; broken glue is named.

use crate::start::{library, told};

/// Each drill's outcome, and why.
fn drills(folder: &std::path::Path, line: &str) -> (i32, Vec<(String, String, String)>) {
    let told = told(folder, &format!("adapter check {line} --format json"));
    let json = told.json();
    let text = |value: &serde_json::Value| value.as_str().unwrap_or("").to_owned();
    let rows = json["drills"].as_array().unwrap_or_else(|| panic!("{}", told.out));
    let row =
        |row: &serde_json::Value| (text(&row["drill"]), text(&row["outcome"]), text(&row["why"]));
    let verdict = if told.code == 0 { "whole" } else { "broken" };
    assert_eq!(json["verdict"], verdict);
    (told.code, rows.iter().map(row).collect())
}

#[test]
fn whole_glue_is_whole_however_wrong_the_controller_is() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["sample:sync-dma", "sample:sync-dma+late-after-realign+last-word-lost"] {
        let (code, rows) = drills(folder.path(), name);
        assert_eq!(code, 0, "{rows:?}");
        assert!(rows.iter().all(|(_, outcome, _)| outcome == "ok"), "{rows:?}");
        assert_eq!(rows.len(), 9);
    }
    let human = told(folder.path(), "adapter check sample:sync-dma");
    assert!(human.out.contains("  twice     ok       A case gives the same"), "{}", human.out);
    assert!(human.out.contains("whole (exit code 0: the glue is whole"), "{}", human.out);
}

#[test]
fn a_small_controller_is_drilled_in_what_it_has() {
    let (folder, file) = library(&[]);
    let (code, rows) = drills(folder.path(), &format!("lib:{file}"));
    assert_eq!(code, 0, "{rows:?}");
    for (drill, outcome, why) in rows {
        let due = if drill == "echo" { "skipped" } else { "ok" };
        assert_eq!(outcome, due, "{drill}: {why}");
    }
}

#[test]
fn what_is_no_implementation_is_usage() {
    let folder = tempfile::tempdir().unwrap();
    for (line, error) in [
        ("adapter check lib:none.so", "no such file"),
        ("adapter check rust:none", "no implementation of its own"),
        ("adapter check sample:sync-dma+none", "has no fault"),
        ("adapter", "Usage"),
    ] {
        let told = told(folder.path(), line);
        assert_eq!(told.code, 2, "{line}: {}", told.err);
        assert!(told.err.contains(error), "{line}: {}", told.err);
    }
}

#[test]
fn each_kind_of_broken_glue_breaks_the_drill_that_is_for_it() {
    for (name, text, drill, why) in [
        ("ENTRY_RESULT", "0", "entry", "null"),
        ("CREATE", "return NULL;", "entry", "not today"),
        ("POWER_UP", "return TP_FAIL;", "power-up", "not today"),
        ("RUN", "abort();", "power-up", "ended without an answer"),
        ("RUN", "for(;;);", "power-up", "within 2 s"),
        ("RUN", "return 17;", "power-up", "`run` returned 17"),
        ("ITEMS_A_DRAIN", "0u", "form", "TP_MORE with 0 items"),
        // Counts what is left and not what it gave, once it cannot give all.
        ("DRAIN", "if(code==TP_MORE)*count=capacity+1;", "pieces", "its capacity was 1"),
        // Remembers something from case to case.
        ("RUN", "static int n; if (++n % 5 == 0) return TP_FAIL;", "form", "not today"),
    ] {
        let (folder, file) = library(&[(name, text)]);
        let (code, rows) = drills(folder.path(), &format!("lib:{file} --deadline 2s"));
        assert_eq!(code, 7, "{name}={text}: {rows:?}");
        let row = rows.iter().find(|row| row.0 == drill).unwrap();
        assert_eq!(row.1, "broken", "{name}={text}: {rows:?}");
        assert!(row.2.contains(why), "{name}={text}: {rows:?}");
    }
}
