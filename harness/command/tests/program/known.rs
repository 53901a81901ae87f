//! Known deviations and case files that are replayed first.

use crate::start::{Told, run, told};
use std::path::Path;

const FAULTY: &str = "check sample:sync-dma+flag-lags --cases 400 --jobs 2";

fn write_known(folder: &Path, name: &str, entries: &[(&str, &str, &str)]) {
    let entry = |(rule, kind, profile): &(&str, &str, &str)| {
        format!(
            "[[known]]\nrule = \"{rule}\"\nkind = \"{kind}\"\nprofile = \"{profile}\"\n\
             reason = \"the first board; mended in the second\"\n"
        )
    };
    std::fs::write(folder.join(name), entries.iter().map(entry).collect::<String>()).unwrap();
}

fn json(folder: &Path, line: &str) -> (Told, serde_json::Value) {
    let told = told(folder, &format!("{line} --format json"));
    let value = told.json();
    (told, value)
}

#[test]
fn a_known_deviation_is_no_failure_and_what_it_masks_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    let (all, report) = json(folder.path(), FAULTY);
    assert_eq!(all.code, 1);
    let findings = report["findings"].as_array().unwrap();
    let names: Vec<(&str, &str, &str)> = findings
        .iter()
        .map(|one| (one["rule"].as_str().unwrap(), one["kind"].as_str().unwrap(), "sync-dma"))
        .collect();
    write_known(folder.path(), "all.toml", &names);
    let (masked, report) = json(folder.path(), &format!("{FAULTY} --known all.toml"));
    assert_eq!((masked.code, &report["verdict"]), (0, &"conforms".into()), "{}", masked.err);
    assert_eq!(report["findings"], serde_json::json!([]));
    assert_eq!(report["known"].as_array().unwrap().len(), names.len());
    assert!(report["known"][0]["cases"].as_u64() > Some(0), "{report}");
    let human = told(folder.path(), &format!("{FAULTY} --known all.toml"));
    assert!(human.out.contains("  Known    "), "{}", human.out);
    assert!(human.out.contains("the first board; mended in the second"), "{}", human.out);

    // Another kind or profile is another deviation.
    let (rule, kind, _) = names[0];
    write_known(folder.path(), "other.toml", &[(rule, kind, "byte-stream")]);
    assert_eq!(told(folder.path(), &format!("{FAULTY} --known other.toml")).code, 1);
}

#[test]
fn a_known_deviation_that_does_not_occur_is_an_end_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    write_known(folder.path(), "known.toml", &[("sync.flag", "wrong-flag", "sync-dma")]);
    let line = "check sample:sync-dma --cases 200 --known known.toml";
    let (gone, report) = json(folder.path(), line);
    assert_eq!((gone.code, &report["verdict"]), (5, &"known-gone".into()), "{}", gone.err);
    assert_eq!(report["known_gone"][0]["rule"], "sync.flag");
    assert!(told(folder.path(), line).out.contains("is known and did not occur"));
    // A failure is more.
    let line = "check sample:sync-dma+done-twice --cases 200 --known known.toml";
    assert_eq!(told(folder.path(), line).code, 1);
}

#[test]
fn a_file_of_known_deviations_that_names_nothing_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    write_known(folder.path(), "known.toml", &[("sync.never", "wrong-flag", "sync-dma")]);
    for (line, word) in [
        ("check sample:sync-dma --known known.toml", "known.toml:1: no rule `sync.never`"),
        ("check sample:sync-dma --known none.toml", "none.toml: the known deviations"),
        ("check sample:sync-dma --regressions none", "none: the case files cannot be listed"),
    ] {
        let told = told(folder.path(), line);
        assert_eq!((told.code, told.out.as_str()), (2, ""), "{line}");
        assert!(told.err.contains(word), "{line}: {}", told.err);
    }
}

#[test]
fn case_files_are_replayed_first_also_where_the_campaign_finds_nothing() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(told(folder.path(), &format!("{FAULTY} --out kept")).code, 1);
    let (bad, report) =
        json(folder.path(), "check sample:sync-dma+flag-lags --cases 1 --regressions kept --out o");
    assert_eq!(bad.code, 1, "{}", bad.err);
    let deviating = report["regressions"]["deviating"].as_array().unwrap();
    assert!(deviating.iter().any(|one| one["rule"] == "sync.flag"), "{report}");
    let variables = [("TRACKPROOF_REGRESSIONS", "kept")];
    let good = run(folder.path(), "check sample:sync-dma --cases 40 --format json", &variables);
    assert_eq!(good.status.code(), Some(0));
    let report: serde_json::Value = serde_json::from_slice(&good.stdout).unwrap();
    assert_eq!(report["regressions"]["conform"].as_u64(), Some(deviating.len() as u64));
    let line = "check sample:sync-dma --profile byte-stream --cases 40 --regressions kept";
    let other = told(folder.path(), line);
    assert!(other.out.contains("are of another profile and were not run"), "{}", other.out);
    // What is known stays known when it is replayed.
    let name = (deviating[0]["rule"].as_str().unwrap(), deviating[0]["kind"].as_str().unwrap());
    write_known(folder.path(), "known.toml", &[(name.0, name.1, "sync-dma")]);
    let line = format!("{FAULTY} --regressions kept --known known.toml");
    let (_, report) = json(folder.path(), &line);
    assert_eq!(report["regressions"]["known"], 1);
}
