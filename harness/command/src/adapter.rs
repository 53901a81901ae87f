//! `adapter check`: is the glue whole? Each drill runs in a process of its own, so that one that
//! crashes or hangs is a broken drill and no more.

use crate::Exit;
use crate::arguments::{Adapter, AdapterVerb, DrillArgs, Format};
use crate::failure::Failure;
use crate::implementation::Subject;
use crate::output;
use crate::registry::Registry;
use serde::{Deserialize, Serialize};
use std::fmt::Write;
use std::io::Read;
use std::process::{Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};
use trackproof::campaign::MakeRigs;
use trackproof::drill::{DRILLS, Drill, Drilled, Outcome};

/// From look to look at a drill that runs.
const LOOK: Duration = Duration::from_millis(5);

/// Most that is kept of what a drill writes to its standard output.
const MAX_OUTPUT_BYTES: u64 = 1 << 20;

/// What a drill's process begins its last line with, for the implementation may print too.
const MARK: &str = "\u{1}drill ";

/// A drill and what came of it.
#[derive(Debug, Serialize)]
struct Row {
    drill: &'static str,
    outcome: &'static str,
    /// What was done, what came, what is allowed; or why it was skipped.
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<String>,
}

/// All of them.
#[derive(Debug, Serialize)]
struct Report {
    implementation: String,
    verdict: &'static str,
    drills: Vec<Row>,
}

/// What a drill's process tells.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Told {
    Ok,
    Broken(String),
    Skipped(String),
    /// The implementation is none: nothing that a drill could tell.
    Usage(String),
}

/// Runs the verb.
pub(crate) fn adapter(adapter: &Adapter, registry: &Registry) -> Result<Exit, Failure> {
    let AdapterVerb::Check(check) = &adapter.verb;
    match &check.drill {
        Some(name) => drill_here(check, name, registry),
        None => drill_all(check),
    }
}

/// Runs one drill in this process and tells what came of it.
fn drill_here(check: &DrillArgs, name: &str, registry: &Registry) -> Result<Exit, Failure> {
    let drill = Drill::find(name)
        .ok_or_else(|| Failure::usage(format!("--drill {name}: there is no such drill")))?;
    let told = match Subject::inside(&check.implementation, None, None, registry) {
        Err(failure) if failure.exit == Exit::Usage => Told::Usage(failure.text),
        Err(failure) => Told::Broken(failure.text),
        Ok(subject) => {
            let make = || subject.rig();
            let in_pieces = || subject.rig_in_pieces();
            let in_pieces = subject.has_pieces().then_some(&in_pieces as _);
            match drill.run(&Drilled { make: &make, in_pieces }) {
                Outcome::Ok => Told::Ok,
                Outcome::Broken(why) => Told::Broken(why),
                Outcome::Skipped(why) => Told::Skipped(why),
            }
        }
    };
    let text = serde_json::to_string(&told).expect("text is JSON");
    output::print(&format!("\n{MARK}{text}\n"))?;
    Ok(Exit::Conforms)
}

/// Runs every drill, each in a process of its own.
fn drill_all(check: &DrillArgs) -> Result<Exit, Failure> {
    let mut drills = Vec::new();
    let mut unstarted = None;
    for drill in DRILLS {
        let (outcome, why) = match &unstarted {
            Some(why) => ("skipped", Some(String::clone(why))),
            None => match drill_apart(check, drill)? {
                Told::Ok => ("ok", None),
                Told::Skipped(why) => ("skipped", Some(why)),
                Told::Broken(why) => ("broken", Some(why)),
                Told::Usage(text) => return Err(Failure::usage(text)),
            },
        };
        if drill.name == "entry" && outcome == "broken" {
            unstarted = Some("it did not start".to_owned());
        }
        drills.push(Row { drill: drill.name, outcome, why });
    }
    let broken = drills.iter().any(|row| row.outcome == "broken");
    let exit = if broken { Exit::Adapter } else { Exit::Conforms };
    let verdict = if broken { "broken" } else { "whole" };
    let report = Report { implementation: check.implementation.to_string(), verdict, drills };
    match check.format.is {
        Format::Json => output::print_json(&report)?,
        Format::Human => output::print(&human(&report, exit))?,
    }
    Ok(exit)
}

/// Runs one drill in a process of its own.
fn drill_apart(check: &DrillArgs, drill: &Drill) -> Result<Told, Failure> {
    let cannot = |error: std::io::Error| {
        Failure::usage(format!("the drill `{}` cannot be started: {error}", drill.name))
    };
    let program = std::env::current_exe().map_err(cannot)?;
    let mut child = Command::new(program)
        .args(["adapter", "check", "--drill", drill.name])
        .arg(check.implementation.to_string())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(cannot)?;
    let pipe = child.stdout.take();
    let reader = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        if let Some(mut pipe) = pipe {
            // What is beyond the limit is read and dropped, so that the drill can end.
            let _ = pipe.by_ref().take(MAX_OUTPUT_BYTES).read_to_end(&mut bytes);
            let _ = std::io::copy(&mut pipe, &mut std::io::sink());
        }
        bytes
    });
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().map_err(cannot)? {
            break Some(status);
        }
        if begun.elapsed() >= check.deadline {
            let _ = child.kill();
            let _ = child.wait();
            break None;
        }
        std::thread::sleep(LOOK);
    };
    let Some(status) = status else {
        let seconds = check.deadline.as_secs();
        return Ok(Told::Broken(format!(
            "it did not come to an end within {seconds} s (--deadline)"
        )));
    };
    let bytes = reader.join().unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes);
    let told = text.lines().rev().find_map(|line| line.strip_prefix(MARK));
    Ok(told.and_then(|line| serde_json::from_str(line).ok()).unwrap_or_else(|| {
        Told::Broken(format!("its process ended without an answer: {}", ended(status)))
    }))
}

fn ended(status: ExitStatus) -> String {
    format!("{status}; what it wrote to standard error is above")
}

fn human(report: &Report, exit: Exit) -> String {
    let style = output::style();
    let mut text = format!("{}\n", style.strong(&format!("the glue of {}", report.implementation)));
    for (row, drill) in report.drills.iter().zip(DRILLS) {
        let outcome = match row.outcome {
            "ok" => style.right("ok     "),
            "broken" => style.wrong("broken "),
            _ => "skipped".to_owned(),
        };
        // Writing to a String cannot fail.
        let _ = writeln!(text, "  {:<9} {outcome}  {}", row.drill, drill.sentence);
        if let Some(why) = &row.why {
            let _ = writeln!(text, "                     {why}");
        }
    }
    let says = match exit {
        Exit::Adapter => "the glue is broken; nothing is said about the controller",
        _ => "the glue is whole; `check` asks about the controller",
    };
    let _ = writeln!(text, "{} (exit code {}: {says})", style.strong(report.verdict), exit.code());
    text
}
