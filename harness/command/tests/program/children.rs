//! Child processes, as a user starts them: `cmd:…` with every verb, and what becomes of those that
//! break down.

use crate::start::{Told, command, root};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

/// The Python that `python3` stands for: what finds one takes longer than the one itself where
/// several are installed.
fn python() -> &'static str {
    static PATH: OnceLock<String> = OnceLock::new();
    PATH.get_or_init(|| {
        let asked = ["-c", "import sys; print(sys.executable)"];
        let output = Command::new("python3").args(asked).output().expect("python3");
        assert!(output.status.success(), "python3: {output:?}");
        format!("'{}'", String::from_utf8(output.stdout).unwrap().trim())
    })
}

/// The program with a verb, a child's command line and more words.
fn started(folder: &Path, verb: &str, child: &str, more: &str) -> Command {
    let path = std::env::var("PATH").unwrap();
    let mut command = command(folder, verb, &[("PATH", &path)]);
    command.arg(format!("cmd:{child}")).args(more.split_whitespace());
    command
}

fn told(folder: &Path, verb: &str, child: &str, more: &str) -> Told {
    let output = started(folder, verb, child, more).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Told {
        code: output.status.code().unwrap(),
        out: text(&output.stdout),
        err: text(&output.stderr),
    }
}

fn sample() -> String {
    format!("{} '{}'", python(), root().join("adapters/samples/word_reader.py").display())
}

/// A child that says hello and then does what `rest` says.
fn script(folder: &Path, rest: &str) -> String {
    let begin = "import os, signal, sys, time\nsys.stdin.readline()\nprint('{\"protocol\":1,\
                 \"name\":\"x\",\"offers\":\"word-reader\",\"methods\":[\"shift_in\"],\
                 \"max_in_flight\":1}', flush=True)\n";
    fs::write(folder.join("child.py"), format!("{begin}{rest}\n")).unwrap();
    format!("{} child.py", python())
}

#[test]
fn a_right_sample_conforms_with_workers_and_without() {
    let folder = tempfile::tempdir().unwrap();
    let digests = ["", "--in-process"].map(|more| {
        let more = format!("--cases 60 --jobs 1 --format json {more}");
        let told = told(folder.path(), "check", &sample(), &more);
        assert_eq!(told.code, 0, "{}", told.err);
        let report = told.json();
        assert_eq!(report["verdict"], "conforms");
        assert!(report["skipped"].as_array().is_some_and(|list| !list.is_empty()), "{report}");
        report["digest"].clone()
    });
    assert_eq!(digests[0], digests[1]);
}

#[test]
fn a_fault_is_found_made_small_and_replayed() {
    let folder = tempfile::tempdir().unwrap();
    let child = format!("{} --fault done-a-word-early", sample());
    let more = "--cases 9 --jobs 1 --rule transfer.done";
    let check = told(folder.path(), "check", &child, more);
    assert_eq!(check.code, 1, "{}{}", check.out, check.err);
    let line = check.out.lines().find(|line| line.contains("trackproof replay ")).unwrap();
    let file = line.split_whitespace().nth(2).unwrap();
    for (child, code) in [(&child, 1), (&sample(), 0)] {
        let told = told(folder.path(), &format!("replay {file}"), child, "");
        assert_eq!(told.code, code, "{}{}", told.out, told.err);
    }
}

#[test]
fn the_list_of_faults_is_one_as_the_command_prints_it() {
    let script = root().join("adapters/samples/word_reader.py");
    let output = Command::new("python3").arg(script).arg("--faults").output().unwrap();
    let list: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let faults = list[0]["faults"].as_array().unwrap();
    assert!(faults.len() >= 6, "{list}");
    for fault in faults {
        for rule in fault["rules"].as_array().unwrap() {
            assert!(trackproof::rules::Rule::find(rule.as_str().unwrap()).is_some(), "{rule}");
        }
        assert!(fault["sentence"].as_str().unwrap().ends_with('.'), "{fault}");
    }
}

#[test]
fn a_stub_in_python_is_skipped_in_full_and_judged_once_it_has_a_method() {
    let folder = tempfile::tempdir().unwrap();
    let init = crate::start::told(folder.path(), "init python mine");
    assert_eq!(init.code, 0, "{}", init.err);
    assert!(init.out.contains("check \"cmd:python3 mine/mine.py\""), "{}", init.out);
    assert!(init.out.contains("shift_in                  raw.contiguous"), "{}", init.out);
    let main = folder.path().join("mine/mine.py");
    let source = fs::read_to_string(&main).unwrap();
    assert!(!source.contains("@shift_in@") && source.contains("# Opens read: raw.contiguous,"));
    assert!(source.lines().all(|line| line.len() <= 100));
    let (child, more) = (format!("{} mine/mine.py", python()), "--cases 60 --jobs 1");
    let stub = told(folder.path(), "check", &child, more);
    assert_eq!(stub.code, 4, "{}{}", stub.out, stub.err);
    assert!(stub.out.contains("it has no read; "), "{}", stub.out);
    // With a method it is judged: a framer that counts sixteen from power-up on.
    let stub = "    @absent\n    def shift_in(self, bit):\n        return None";
    let framer = "    def shift_in(self, bit):\n        \
                  self.bits = (getattr(self, 'bits', 0) << 1 | bit) & 0xFFFF\n        \
                  self.count = (getattr(self, 'count', 0) + 1) % 16\n        \
                  return None if self.count else self.bits";
    assert!(source.contains(stub), "{source}");
    fs::write(&main, source.replacen(stub, framer, 1)).unwrap();
    let judged = told(folder.path(), "check", &child, more);
    assert_eq!(judged.code, 0, "{}{}", judged.out, judged.err);
    assert!(!judged.out.contains("it has no read; "), "{}", judged.out);
}

#[test]
fn the_glue_of_a_child_is_drilled() {
    let folder = tempfile::tempdir().unwrap();
    // A framer that never completes a word; none of the drills asks whether that is right.
    let rest = "for line in sys.stdin: print('{\"id\":%s,\"came\":[]}' % line[6:line.index(',')], \
                flush=True)";
    let whole = told(folder.path(), "adapter check", &script(folder.path(), rest), "");
    assert_eq!(whole.code, 0, "{}", whole.out);
    let broken = told(folder.path(), "adapter check", "true", "");
    assert_eq!(broken.code, 7, "{}", broken.out);
    assert!(broken.out.contains("ended before its hello"), "{}", broken.out);
}

#[test]
fn what_is_no_program_is_a_usage_error() {
    let folder = tempfile::tempdir().unwrap();
    for child in ["/no/such/program", "'python3", "  "] {
        for more in ["", "--in-process"] {
            let told = told(folder.path(), "check", child, more);
            assert_eq!(told.code, 2, "{child}: {}", told.err);
        }
    }
}

#[test]
fn glue_that_is_broken_says_nothing_about_the_controller() {
    let folder = tempfile::tempdir().unwrap();
    let told = told(folder.path(), "check", "sh -c 'echo dear me >&2; exit 3'", "--cases 9");
    assert_eq!((told.code, told.out.as_str()), (7, ""), "{}", told.err);
    assert!(told.err.contains("exit code 3") && told.err.contains("  | dear me"), "{}", told.err);
    for (rest, part) in [
        ("sys.stdin.readline(); print('{]', flush=True); time.sleep(60)", "is none"),
        ("sys.stdin.readline(); print('{\"id\":9}', flush=True); time.sleep(60)", "has the id 9"),
        (
            "sys.stdin.readline(); print('{\"id\":0,\"came\":[{\"at\":1,\"item\":\"Done\"}]}')",
            "gives none",
        ),
        ("sys.stdin.readline()\nwhile True: sys.stdout.write('x' * (1 << 20))", "is longer than"),
    ] {
        let child = script(folder.path(), rest);
        for more in ["", "--in-process"] {
            let more = format!("--cases 30 --jobs 1 {more}");
            // Nobody has room for a gigabyte.
            let program = env!("CARGO_BIN_EXE_trackproof");
            let line = format!("ulimit -v 1500000; exec '{program}' check \"cmd:{child}\" {more}");
            let mut limited = Command::new("sh");
            let output = limited.args(["-c", &line]).current_dir(folder.path()).output().unwrap();
            let error = String::from_utf8_lossy(&output.stderr).into_owned();
            assert_eq!(output.status.code(), Some(7), "{rest}: {error}");
            assert!(error.contains(part), "{rest}: {error}");
            assert!(error.contains("says nothing about the controller"), "{error}");
        }
    }
}

#[test]
fn a_child_that_ends_in_a_case_is_a_finding_and_its_last_words_are_shown_once() {
    let folder = tempfile::tempdir().unwrap();
    let child = script(folder.path(), "sys.stdin.readline(); undefined_name");
    let told = told(folder.path(), "check", &child, "--cases 30 --jobs 1 --format json");
    assert_eq!(told.code, 1, "{}", told.err);
    let finding = &told.json()["findings"][0];
    assert_eq!((&finding["rule"], &finding["kind"]), (&"stops".into(), &"exited".into()));
    let shown = told.err.matches("| NameError: name 'undefined_name'").count();
    assert_eq!(shown, 1, "{}", told.err);
}

#[cfg(target_os = "linux")]
#[test]
fn a_child_that_hears_nothing_is_ended_with_what_it_started() {
    let folder = tempfile::tempdir().unwrap();
    let child = script(
        folder.path(),
        "signal.signal(signal.SIGTERM, signal.SIG_IGN)\nos.fork()\nopen('pids', 'a').write('%d\\n' \
         % os.getpid())\nsys.stdin.readline()\ntime.sleep(600)",
    );
    let more = "--cases 30 --jobs 1 --case-time 1s --format json";
    let endless = told(folder.path(), "check", &child, more);
    assert_eq!(endless.code, 1, "{}", endless.err);
    assert_eq!(endless.json()["findings"][0]["kind"], "endless");
    all_gone(folder.path());

    // Nobody is left to end it: the program and its worker are killed.
    fs::remove_file(folder.path().join("pids")).unwrap();
    let more = "--cases 30 --jobs 1 --case-time 60s";
    let mut program = started(folder.path(), "check", &child, more);
    let mut program = program.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let pids = folder.path().join("pids");
    let since = Instant::now();
    while fs::read_to_string(&pids).unwrap_or_default().lines().count() < 2 {
        assert!(since.elapsed() < Duration::from_secs(30), "it does not start");
        std::thread::sleep(Duration::from_millis(20));
    }
    program.kill().unwrap();
    program.wait().unwrap();
    all_gone(folder.path());
}

/// Waits until none of the processes in the file lives.
fn all_gone(folder: &Path) {
    let pids = fs::read_to_string(folder.join("pids")).unwrap();
    let since = Instant::now();
    for pid in pids.lines() {
        loop {
            let stat = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
            if stat.is_empty() || stat.contains(") Z ") {
                break;
            }
            assert!(since.elapsed() < Duration::from_secs(10), "{pid} lives: {stat}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}
