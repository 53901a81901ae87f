//! Sudden ends: of the program, of a worker, by Ctrl-C. What was found is on disk and whole, no
//! worker stays behind, and no case is lost that came back.
#![cfg(target_os = "linux")]

use crate::start::command;
use rustix::process::{Pid, Signal, kill_process};
use std::fs;
use std::path::Path;
use std::process::{Child, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};
use tempfile::TempDir;
use trackproof::case_file::CaseFile;

/// Starts the program with its output kept.
fn start(folder: &Path, line: &str) -> Child {
    let mut command = command(folder, line, &[]);
    command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap()
}

/// The processes that a process has started and that live.
fn workers(of: u32) -> Vec<Pid> {
    let mut found = Vec::new();
    for entry in fs::read_dir("/proc").unwrap().flatten() {
        let Ok(stat) = fs::read_to_string(entry.path().join("stat")) else { continue };
        // The name in brackets may hold anything; behind it come state and parent.
        let Some((before, after)) = stat.rsplit_once(") ") else { continue };
        let mut fields = after.split(' ');
        if fields.next() == Some("Z") || fields.next() != Some(of.to_string().as_str()) {
            continue;
        }
        let number = before.split(' ').next().and_then(|number| number.parse().ok());
        found.extend(number.and_then(Pid::from_raw));
    }
    found
}

/// Waits until something holds, ten seconds at the most.
fn soon(mut holds: impl FnMut() -> bool) -> bool {
    let since = Instant::now();
    while since.elapsed() < Duration::from_secs(10) {
        if holds() {
            return true;
        }
        sleep(Duration::from_millis(5));
    }
    false
}

fn lives(process: Pid) -> bool {
    let stat = fs::read_to_string(format!("/proc/{}/stat", process.as_raw_nonzero()));
    stat.is_ok_and(|stat| stat.rsplit_once(") ").is_some_and(|(_, rest)| !rest.starts_with('Z')))
}

/// Every case file of the run, whole; how many there are.
fn whole_files(folder: &Path) -> usize {
    let Ok(files) = fs::read_dir(folder.join("trackproof-out")) else { return 0 };
    let mut cases = 0;
    for path in files.flatten().map(|entry| entry.path()) {
        if path.extension().is_some_and(|end| end == "json") {
            CaseFile::read(&path).unwrap_or_else(|error| panic!("{error}"));
            cases += 1;
        }
    }
    cases
}

/// Kills the program so many milliseconds after its workers are there.
fn kill_program(after_ms: u64) -> usize {
    let folder = TempDir::new().unwrap();
    let mut child = start(folder.path(), "check sample:sync-dma+done-twice --for 60s --jobs 2");
    let mut seen = Vec::new();
    assert!(soon(|| {
        seen = workers(child.id());
        !seen.is_empty()
    }));
    sleep(Duration::from_millis(after_ms));
    seen.extend(workers(child.id()));
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(soon(|| !seen.iter().any(|worker| lives(*worker))), "a worker stays behind");
    whole_files(folder.path())
}

/// Kills a worker at a random point of a run; its report.
fn kill_worker(after_ms: u64) -> (Option<i32>, serde_json::Value) {
    let folder = TempDir::new().unwrap();
    let child = start(folder.path(), "check sample:sync-dma --cases 600 --jobs 2 --format json");
    assert!(soon(|| !workers(child.id()).is_empty()));
    sleep(Duration::from_millis(after_ms));
    if let Some(worker) = workers(child.id()).first() {
        // It may have ended by itself.
        let _ = kill_process(*worker, Signal::KILL);
    }
    let output = child.wait_with_output().unwrap();
    whole_files(folder.path());
    let report = serde_json::from_slice(&output.stdout).unwrap();
    (output.status.code(), report)
}

/// Whether a run whose worker was killed says so, loses no case, and does not blame the controller.
fn killed_worker_is_told(after_ms: u64) {
    let (code, report) = kill_worker(after_ms);
    match code {
        Some(6) => {
            let killed = &report["not_reproducible"][0];
            assert_eq!((&killed["rule"], &killed["kind"]), (&"stops".into(), &"killed".into()));
        }
        // It came too late, or hit a worker that only said what there is.
        Some(0 | 7) => {}
        code => panic!("{code:?}: {report}"),
    }
    assert_eq!(report["cases"], 600, "after {after_ms} ms");
    assert_eq!(report["findings"], serde_json::json!([]));
}

/// Moments spread over a range, without a pattern.
fn moments(number: u64, below_ms: u64) -> impl Iterator<Item = u64> {
    (1..=number)
        .map(move |n| n.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 16)
        .map(move |n| n % below_ms)
}

#[test]
fn what_was_found_is_whole_after_the_program_is_killed() {
    let found: usize = moments(4, 1_500).map(kill_program).sum();
    assert!(found > 0);
}

#[test]
fn a_killed_worker_costs_no_case_and_is_no_deviation() {
    for after_ms in moments(4, 400) {
        killed_worker_is_told(after_ms + 30);
    }
}

#[test]
#[ignore = "long suite: 100 kills"]
fn a_hundred_kills_lose_nothing() {
    let found: usize = moments(50, 4_000).map(kill_program).sum();
    assert!(found > 25);
    for after_ms in moments(50, 1_500) {
        killed_worker_is_told(after_ms + 30);
    }
}

fn interrupted(line: &str, by: Signal) -> Output {
    let folder = TempDir::new().unwrap();
    let child = start(folder.path(), line);
    assert!(soon(|| !workers(child.id()).is_empty()));
    sleep(Duration::from_millis(700));
    kill_process(Pid::from_child(&child), by).unwrap();
    child.wait_with_output().unwrap()
}

#[test]
fn ctrl_c_gives_a_partial_report_also_while_the_controller_hangs() {
    for (implementation, signal, code) in [
        ("sync-dma", Signal::INT, 130),
        ("sync-dma", Signal::TERM, 143),
        ("sync-dma", Signal::HUP, 129),
        ("hostile+loops-for-ever", Signal::INT, 130),
    ] {
        let line = format!("check sample:{implementation} --for 60s --jobs 2 --format json");
        let output = interrupted(&line, signal);
        assert_eq!(output.status.code(), Some(code), "{line}");
        let report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(report["verdict"], "interrupted");
    }
}
