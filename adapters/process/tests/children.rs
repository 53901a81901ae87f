//! Children that break the protocol, die, hang or flood: each comes to its class, in bounded time
//! and memory, and nothing of it is left.

mod interpreter;

use interpreter::python;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};
use tempfile::TempDir;
use trackproof_contract::{
    Bench, Case, ChangeClear, DriveBench, Observation, Operation, Profile, Rig, RigError, Stop,
};
use trackproof_process::{Limits, Offer, Process, ProcessRig, StartError};

/// A child that says a right hello, with `answer(line)` to be filled in.
const BEGIN: &str = r#"
import os, signal, sys, time
def send(text):
    sys.stdout.write(text + "\n")
    sys.stdout.flush()
def right(line):
    number = line[len('{"id":'):line.index(",")]
    return '{"id":%s,"observation":{"items":[{"at_ns":0,"item":{"Status":0}}]}}' % number
sys.stdin.readline()
send('{"protocol":1,"name":"x","offers":"controller","capabilities":["read"],"max_in_flight":1}')
"#;

const LIMITS: Limits = Limits {
    start: Duration::from_secs(20),
    case: Some(Duration::from_millis(700)),
    end: Duration::from_millis(200),
};

fn process(folder: &TempDir, script: &str, limits: Limits) -> Process {
    let path = folder.path().join("child.py");
    fs::write(&path, script).unwrap();
    Process::new(&format!("{} '{}'", python(), path.display()), limits).unwrap()
}

fn refused(script: &str, limits: Limits) -> String {
    let folder = tempfile::tempdir().unwrap();
    match process(&folder, script, limits).start() {
        Err(StartError::Child { why }) => why,
        other => panic!("{script}: {other:?}"),
    }
}

/// A child that has said hello and then does what `rest` says.
fn greeted(folder: &TempDir, rest: &str) -> Box<ProcessRig> {
    match process(folder, &format!("{BEGIN}{rest}"), LIMITS).start().unwrap() {
        Offer::Controller(rig) => rig,
        other => panic!("{other:?}"),
    }
}

/// A case that asks for one status.
fn case() -> Case {
    let drive = DriveBench {
        turn_bits: 64,
        start_bit: 0,
        cylinder: 0,
        write_protected: false,
        spin_up_ns: 0,
        change_clear: ChangeClear::Step,
    };
    Case {
        profile: Profile::sync_dma(),
        bench: Bench { access_ns: 100, drives: vec![drive] },
        tracks: Vec::new(),
        program: vec![Operation::PollStatus],
        flux: None,
    }
}

fn run(rig: &mut ProcessRig) -> Result<Observation, RigError> {
    let mut observation = Observation::new();
    rig.run(&case(), &mut observation).map(|()| observation)
}

/// What comes of a case on a child that does what `rest` says.
fn came(rest: &str) -> RigError {
    let folder = tempfile::tempdir().unwrap();
    run(&mut greeted(&folder, rest)).expect_err(rest)
}

fn broken(rest: &str) -> String {
    match came(rest) {
        RigError::Protocol { why } => why,
        other => panic!("{rest}: {other:?}"),
    }
}

#[test]
fn a_right_child_is_asked_again_and_again() {
    let folder = tempfile::tempdir().unwrap();
    let mut rig = greeted(&folder, "for line in sys.stdin: send(right(line))");
    assert_eq!(rig.hello().name, "x");
    for _ in 0..50 {
        assert_eq!(run(&mut rig).unwrap().items.len(), 1);
    }
    rig.reset().unwrap();
    assert!(run(&mut rig).is_ok(), "a new child says id 0 again");
}

#[test]
fn what_is_no_program_is_an_error_of_the_command_line() {
    for line in ["", "  ", "'a", "/no/such/program", "/etc/passwd"] {
        let started = Process::new(line, LIMITS).and_then(|process| process.start().map(|_| ()));
        assert!(matches!(started, Err(StartError::Command { .. })), "{line}: {started:?}");
    }
}

#[test]
fn a_child_that_does_not_say_hello_is_none() {
    let why = refused("print('good morning')", LIMITS);
    assert!(why.contains("its hello is none") && why.contains("`good morning`"), "{why}");
    let why = refused("import sys; print('dear me', file=sys.stderr); sys.exit(3)", LIMITS);
    assert!(why.contains("ended before its hello") && why.contains("exit code 3"), "{why}");
    assert!(why.ends_with("| dear me"), "{why}");
    let why = refused("import os; os.abort()", LIMITS);
    assert!(why.contains("SIGABRT"), "{why}");
    let why = refused(&BEGIN.replace("\"protocol\":1", "\"protocol\":9"), LIMITS);
    assert!(why.contains("names 9 protocol; this version speaks 1"), "{why}");
    let why = refused("print('x' * 3_000_000)", LIMITS);
    assert!(why.contains("longer than the 1048576 bytes"), "{why}");
    let begun = Instant::now();
    let short = Limits { start: Duration::from_millis(300), ..LIMITS };
    let why = refused("import time; time.sleep(60)", short);
    assert!(why.contains("had not said hello after 0.3 s"), "{why}");
    assert!(begun.elapsed() < Duration::from_secs(20));
}

#[test]
fn answers_that_are_none_break_the_protocol() {
    for (rest, part) in [
        ("sys.stdin.readline(); send('{]')", "its answer to case 0 is none"),
        ("sys.stdin.readline(); send('[1]')", "is none"),
        ("sys.stdin.readline(); send('')", "is none"),
        ("sys.stdin.readline(); send('{\"id\":7}')", "has the id 7"),
        ("send('{\"id\":1}'); time.sleep(60)", "its answer to case 0"),
        ("sys.stdin.readline(); send('{\"id\":0}')", "has no `observation`"),
        (
            "send(right(sys.stdin.readline()).replace('\"at_ns\":0', '\"at_ns\":5'))",
            "has no answer",
        ),
        (
            "send(right(sys.stdin.readline()).replace('{\"Status\":0}', '\"Done\"'))",
            "has no answer",
        ),
        (
            "send(right(sys.stdin.readline()).replace('Status', 'Stature'))",
            "unknown variant `Stature`",
        ),
        ("sys.stdin.readline(); os.close(1); time.sleep(60)", "closed its standard output"),
        ("sys.stdin.readline(); sys.stdout.write('\\x1b[2J\\n'); time.sleep(60)", "\u{fffd}[2J"),
    ] {
        let why = broken(rest);
        assert!(why.contains(part), "{rest}: {why}");
    }
}

#[test]
fn a_line_without_end_is_read_no_further_than_a_case_can_need() {
    let begun = Instant::now();
    let folder = tempfile::tempdir().unwrap();
    let script = format!(
        "{BEGIN}sys.stdin.readline()\nfor _ in range(1024): sys.stdout.write('x' * (1 << 20))"
    );
    let patient = Limits { case: None, ..LIMITS };
    let Ok(Offer::Controller(mut rig)) = process(&folder, &script, patient).start() else {
        panic!("it says hello")
    };
    let Err(RigError::Protocol { why }) = run(&mut rig) else { panic!("a gigabyte is no answer") };
    assert!(why.contains("is longer than the 8"), "{why}");
    assert!(begun.elapsed() < Duration::from_secs(30));
}

#[test]
fn what_it_cannot_run_it_may_say_and_live() {
    let folder = tempfile::tempdir().unwrap();
    let rest = "for at, line in enumerate(sys.stdin): \
                send(right(line) if at else '{\"id\":0,\"failed\":\"no such profile\"}')";
    let mut rig = greeted(&folder, rest);
    match run(&mut rig) {
        Err(RigError::Implementation { why, .. }) => assert!(why.contains("no such profile")),
        other => panic!("{other:?}"),
    }
    assert!(run(&mut rig).is_ok());
}

#[test]
fn a_child_that_ends_in_a_case_stops_and_its_last_words_are_kept() {
    for (rest, stop) in [
        ("sys.stdin.readline(); sys.exit(3)", Stop::Exited { code: 3 }),
        ("sys.exit(0)", Stop::Exited { code: 0 }),
        (
            "sys.stdin.readline(); sys.stdout.write('{\"id\"'); sys.exit(4)",
            Stop::Exited { code: 4 },
        ),
        ("sys.stdin.readline(); os.abort()", Stop::Aborted),
        (
            "sys.stdin.readline(); os.kill(os.getpid(), signal.SIGSEGV)",
            Stop::Crashed { signal: "SIGSEGV" },
        ),
        ("os.kill(os.getpid(), signal.SIGKILL)", Stop::Killed { signal: "SIGKILL" }),
    ] {
        assert_eq!(came(rest), RigError::Stopped(stop), "{rest}");
    }
    let folder = tempfile::tempdir().unwrap();
    let mut rig = greeted(&folder, "sys.stdin.readline(); undefined_name");
    assert_eq!(run(&mut rig), Err(RigError::Stopped(Stop::Exited { code: 1 })));
    let words = rig.last_words().unwrap();
    assert!(words.contains("  | NameError: name 'undefined_name'"), "{words}");
    assert_eq!(rig.last_words(), None, "told once");
}

#[test]
fn a_child_that_stopped_is_started_anew_for_the_next_case() {
    let folder = tempfile::tempdir().unwrap();
    let rest =
        "for at, line in enumerate(sys.stdin):\n    if at == 2: sys.exit(9)\n    send(right(line))";
    let mut rig = greeted(&folder, rest);
    for round in 0..3 {
        assert!(run(&mut rig).is_ok() && run(&mut rig).is_ok(), "round {round}");
        assert_eq!(run(&mut rig), Err(RigError::Stopped(Stop::Exited { code: 9 })));
    }
}

#[test]
fn a_child_that_does_not_answer_in_time_is_endless() {
    for rest in [
        "sys.stdin.readline(); time.sleep(60)",
        "time.sleep(60)",
        "sys.stdin.readline(); sys.stdout.write('{\"id\":0'); sys.stdout.flush(); time.sleep(60)",
        "sys.stdin.readline()\nwhile True: sys.stderr.write('x' * 4096)",
        "os.close(0); time.sleep(60)",
    ] {
        let begun = Instant::now();
        assert_eq!(came(rest), RigError::Stopped(Stop::Endless { limit_ms: 700 }), "{rest}");
        assert!(begun.elapsed() < Duration::from_secs(25), "{rest}: {:?}", begun.elapsed());
    }
}

#[test]
fn a_flood_on_standard_error_blocks_nobody_and_its_end_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let rest = "for at, line in enumerate(sys.stdin):\n    sys.stderr.write('x' * 3_000_000 + \
                'the end\\n')\n    send('?' if at == 3 else right(line))";
    let mut rig = greeted(&folder, rest);
    for _ in 0..3 {
        assert!(run(&mut rig).is_ok());
    }
    let Err(RigError::Protocol { why }) = run(&mut rig) else { panic!("the fourth is none") };
    assert!(why.contains("the last 4096 of 12"), "{why}");
    assert!(why.ends_with("xthe end") && why.len() < 5_000, "{why}");
}

/// Whether a process lives, by the number in a file.
fn lives(file: &Path) -> bool {
    let number = fs::read_to_string(file).unwrap();
    let stat = fs::read_to_string(format!("/proc/{}/stat", number.trim())).unwrap_or_default();
    !stat.is_empty() && !stat.contains(") Z ")
}

/// Whether a process ends soon: whoever is killed without being waited for takes a moment.
fn is_gone(file: &Path) -> bool {
    let since = Instant::now();
    while lives(file) && since.elapsed() < Duration::from_secs(5) {
        std::thread::sleep(Duration::from_millis(5));
    }
    !lives(file)
}

#[cfg(target_os = "linux")]
#[test]
fn whatever_a_child_started_ends_with_it_even_if_nobody_listens() {
    let folder = tempfile::tempdir().unwrap();
    let (child, other) = (folder.path().join("child"), folder.path().join("other"));
    let deaf = format!(
        "signal.signal(signal.SIGTERM, signal.SIG_IGN)\nsignal.signal(signal.SIGHUP, \
         signal.SIG_IGN)\nif os.fork() == 0:\n    open('{}', 'w').write(str(os.getpid()))\n    \
         time.sleep(600)\nopen('{}', 'w').write(str(os.getpid()))\nwhile not \
         (os.path.exists('{0}') and os.path.getsize('{0}')): time.sleep(0.01)\n",
        other.display(),
        child.display(),
    );
    // Numbers of earlier ones must not be taken for those of the next.
    let forget = || [&child, &other].map(|file| std::fs::remove_file(file).unwrap());
    let mut rig = greeted(&folder, &format!("{deaf}time.sleep(600)"));
    assert_eq!(run(&mut rig), Err(RigError::Stopped(Stop::Endless { limit_ms: 700 })));
    assert!(is_gone(&child) && is_gone(&other), "after a case without an answer");
    forget();

    // The child goes and leaves one behind that holds its pipes.
    let mut rig = greeted(&folder, &format!("{deaf}sys.stdin.readline(); os._exit(5)"));
    assert_eq!(run(&mut rig), Err(RigError::Stopped(Stop::Exited { code: 5 })));
    assert!(is_gone(&child) && is_gone(&other), "after the child's own end");
    forget();

    let mut rig =
        greeted(&folder, &format!("{deaf}send(right(sys.stdin.readline()))\ntime.sleep(600)"));
    assert!(run(&mut rig).is_ok());
    assert!(lives(&child) && lives(&other));
    drop(rig);
    assert!(is_gone(&child) && is_gone(&other), "after the last case");
}
