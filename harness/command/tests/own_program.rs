//! A program as a Rust implementer writes it: its implementations are isolated like any other, since
//! the program starts itself again.
//!
//! This file is that program and the test of it in one: started with a verb it is the program,
//! else the test, which starts it.

use std::process::{Command, ExitCode};
use trackproof_command::{Registry, run};
use trackproof_contract::{
    Action, Capabilities, Capability, DiskSubsystem, Event, Item, Observation, Observed, RigError,
    Setup, Status,
};

/// What a controller does when its host selects a drive.
#[derive(Clone, Copy)]
enum Then {
    Nothing,
    Panics,
    Aborts,
    Hangs,
    Exits,
}

/// A controller that can be polled for a line that is never driven.
struct Mine(Then);

impl DiskSubsystem for Mine {
    fn capabilities(&self) -> Capabilities {
        Capabilities::of(&[Capability::StatusBusy])
    }

    fn power_up(&mut self, _: Setup<'_>) -> Result<(), RigError> {
        Ok(())
    }

    fn run(&mut self, events: &[Event], out: &mut Observation) -> Result<(), RigError> {
        println!("standard output is nobody's but the report's");
        for event in events {
            match (event.action, self.0) {
                (Action::PollStatus, _) => {
                    let item = Item::Status(Status::default());
                    out.items.push(Observed { at_ns: event.at_ns, item });
                }
                (Action::Select(1), Then::Panics) => panic!("as the test wants it"),
                (Action::Select(1), Then::Aborts) => std::process::abort(),
                (Action::Select(1), Then::Exits) => std::process::exit(1),
                (Action::Select(1), Then::Hangs) => loop {
                    std::thread::park();
                },
                _ => {}
            }
        }
        Ok(())
    }
}

fn registry() -> Registry {
    Registry::new()
        .with("well", || Mine(Then::Nothing))
        .with("panics", || Mine(Then::Panics))
        .with("aborts", || Mine(Then::Aborts))
        .with("hangs", || Mine(Then::Hangs))
        .with("exits", || Mine(Then::Exits))
}

fn main() -> ExitCode {
    if std::env::args().nth(1).is_some_and(|word| ["check", "replay", "worker"].contains(&&*word)) {
        return run(registry());
    }
    // Whoever lists tests is told of none.
    if !std::env::args().any(|word| word == "--list") && cfg!(unix) {
        whatever_a_registered_implementation_does_is_told();
    }
    ExitCode::SUCCESS
}

/// This program with these words, in a folder: exit code, standard output.
fn started(folder: &std::path::Path, line: &str) -> (Option<i32>, String) {
    let program = std::env::current_exe().unwrap();
    let mut command = Command::new(program);
    command.args(line.split(' ')).env_clear().current_dir(folder);
    let output = command.output().unwrap();
    (output.status.code(), String::from_utf8(output.stdout).unwrap())
}

fn whatever_a_registered_implementation_does_is_told() {
    let folder = tempfile::tempdir().unwrap();
    for (name, code, kind) in [
        ("well", 0, None),
        ("panics", 1, Some("panicked")),
        ("aborts", 1, Some("aborted")),
        ("hangs", 1, Some("endless")),
        ("exits", 1, Some("exited")),
    ] {
        let line = format!("check rust:{name} --cases 900 --case-time 1s --format json");
        let (ended, out) = started(folder.path(), &line);
        assert_eq!(ended, Some(code), "{name}: {out}");
        let report: serde_json::Value = serde_json::from_str(&out).unwrap();
        let found = report["findings"][0]["kind"].as_str();
        assert_eq!(found, kind, "{name}: {report}");
        if let Some(file) = report["findings"][0]["case"].as_str() {
            let (ended, out) = started(folder.path(), &format!("replay {file} rust:{name}"));
            assert_eq!(ended, Some(1), "{name}: {out}");
            let (ended, _) = started(folder.path(), &format!("replay {file} rust:well"));
            assert_ne!(ended, Some(1), "{name}");
        }
    }
    // A panic is caught without workers too, and told alike.
    let line = "check rust:panics --cases 200 --format json";
    let isolated = started(folder.path(), line);
    let inside = started(folder.path(), &format!("{line} --in-process"));
    let (_, report) = inside.1.rsplit_once("report's\n").unwrap();
    assert_eq!((isolated.0, isolated.1.as_str()), (inside.0, report));
}
