//! Vectors: exported, compiled as users do, and linked with right and faulty controllers in C that
//! need no trackproof.

use crate::start::{Told, root, told};
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::{Arc, Mutex};
use tempfile::TempDir;

/// Vectors of the exports here: enough for most faults, and quick to compile.
const COUNT: u32 = 150;

struct Export {
    /// None of one that tests share: it stays in the build's folder for temporary things.
    _folder: Option<TempDir>,
    place: PathBuf,
    told: Told,
}

impl Export {
    /// An export of this test's own.
    fn of(words: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().to_owned();
        Self { _folder: Some(folder), told: export(&place, words), place }
    }

    /// One that is made once, for all tests that ask for it; it is not to be changed.
    fn shared(profile: &str) -> Arc<Self> {
        static SHARED: Mutex<BTreeMap<String, Arc<Export>>> = Mutex::new(BTreeMap::new());
        let mut shared = SHARED.lock().unwrap_or_else(|poison| poison.into_inner());
        let made = shared.entry(profile.to_owned()).or_insert_with(|| {
            let place = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("vectors-{profile}"));
            let _ = std::fs::remove_dir_all(&place);
            std::fs::create_dir_all(&place).unwrap();
            let told = export(&place, &format!("--profile {profile}"));
            Arc::new(Self { _folder: None, place, told })
        });
        Arc::clone(made)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.place.join("out").join(name)
    }

    fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    fn json(&self) -> Value {
        serde_json::from_str(&self.text("vectors.json")).unwrap()
    }

    /// Compiles the vectors with the sources of a sample, from a folder that has nothing else.
    fn linked_with(&self, sample: &str, folder: &TempDir) -> PathBuf {
        let object = folder.path().join("vectors.o");
        let strict = ["-std=c99", "-pedantic", "-Wall", "-Wextra", "-Werror", "-c"];
        compile(Command::new(compiler()).args(strict).arg(self.path("vectors.c")), &object);
        let program = folder.path().join("check");
        let sources = std::fs::read_dir(root().join("adapters/samples").join(sample)).unwrap();
        let sources = sources.map(|entry| entry.unwrap().path());
        let mut command = Command::new(compiler());
        command.args(["-std=c11", "-O1", "-I"]).arg(self.path("")).arg(object);
        command.args(sources.filter(|path| path.extension().is_some_and(|end| end == "c")));
        compile(&mut command, &program);
        program
    }
}

/// Exports into `out` in a folder.
fn export(place: &Path, words: &str) -> Told {
    let told = told(place, &format!("vectors export out --count {COUNT} {words}"));
    assert_eq!(told.code, 0, "{}", told.err);
    told
}

fn compiler() -> String {
    std::env::var("CC").unwrap_or_else(|_| "cc".into())
}

fn compile(command: &mut Command, target: &Path) {
    let output = command.arg("-o").arg(target).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

fn run(program: &Path, words: &[&str]) -> (Option<i32>, String) {
    let Output { status, stdout, stderr } = Command::new(program).args(words).output().unwrap();
    let text = String::from_utf8(stdout).unwrap() + &String::from_utf8_lossy(&stderr);
    (status.code(), text)
}

/// The rules in the ids of what failed.
fn failed(text: &str) -> Vec<String> {
    let ids = text.lines().filter_map(|line| line.strip_prefix("FAILED "));
    ids.map(|id| id.rsplit_once('-').unwrap().0.to_owned()).collect()
}

/// The faults of a sample that its own profile shows, each with the rules that may name it.
fn faults(sample: &str) -> BTreeMap<String, Vec<String>> {
    let list = told(&root(), "samples --format json").json();
    let samples = list.as_array().unwrap();
    let of = samples.iter().find(|one| one["name"] == sample).unwrap();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    of["faults"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|fault| fault["under"].as_object().is_none_or(serde_json::Map::is_empty))
        .map(|fault| {
            let rules = fault["rules"].as_array().unwrap().iter().map(text).collect();
            (text(&fault["name"]), rules)
        })
        .collect()
}

/// The right sample agrees with all vectors; of its faults so many are caught, and so many of them
/// by a vector of a rule that may name them.
fn tells_faults(sample: &str, source: &str, least_caught: usize, least_named: usize) {
    let folder = tempfile::tempdir().unwrap();
    let program = Export::shared(sample).linked_with(source, &folder);
    let (code, text) = run(&program, &[]);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("vectors agree, 0 do not; 0 more were not run"), "{text}");
    let (mut missed, mut misnamed) = (Vec::new(), Vec::new());
    let faults = faults(sample);
    for (fault, rules) in &faults {
        let (code, text) = run(&program, &[fault]);
        let found = failed(&text);
        assert_eq!(code, Some(i32::from(!found.is_empty())), "{fault}: {text}");
        if found.is_empty() {
            missed.push(fault);
        } else if !found.iter().any(|rule| rules.contains(rule)) {
            misnamed.push(fault);
        }
    }
    let caught = faults.len() - missed.len();
    let named = caught - misnamed.len();
    let count = faults.len();
    assert!(
        caught >= least_caught && named >= least_named,
        "{caught} of {count} caught, {named} named; missed: {missed:?}; misnamed: {misnamed:?}"
    );
}

#[test]
fn the_right_sync_dma_agrees_and_most_of_its_faults_do_not() {
    tells_faults("sync-dma", "sync_dma", 50, 40);
}

#[test]
fn the_right_byte_stream_agrees_and_most_of_its_faults_do_not() {
    tells_faults("byte-stream", "byte_stream", 10, 8);
}

#[test]
fn an_export_is_the_same_each_time_and_replaces_the_one_before() {
    let (first, again) = (Export::of(""), Export::shared("sync-dma"));
    for name in ["vectors.json", "vectors.c", "README.txt", "trackproof.h"] {
        assert!(first.text(name) == again.text(name), "{name}");
        assert!(first.told.out.contains(name), "{}", first.told.out);
    }
    let line = "vectors export out --count 7 --seed 6";
    assert_eq!(told(&first.place, line).code, 0);
    let json = first.json();
    let vectors = json["vectors"].as_array().unwrap();
    assert_eq!(vectors.len(), 7);
    assert_eq!(std::fs::read_dir(first.path("")).unwrap().count(), 4, "nothing else is left");
    let ids: Vec<&str> = vectors.iter().map(|one| one["id"].as_str().unwrap()).collect();
    assert!(ids.is_sorted());
    for one in vectors {
        assert!(first.text("vectors.c").contains(one["id"].as_str().unwrap()));
        assert!(one["id"].as_str().unwrap().starts_with(one["rule"].as_str().unwrap()));
        assert!(!one["allowed"].as_array().unwrap().is_empty());
        assert!(!one["catches"].as_str().unwrap().is_empty());
    }
}

#[test]
fn a_failure_says_what_was_expected_and_one_vector_can_be_run_alone() {
    let folder = tempfile::tempdir().unwrap();
    let program = Export::shared("sync-dma").linked_with("sync_dma", &folder);
    let (code, text) = run(&program, &["late-after-realign"]);
    assert_eq!(code, Some(1));
    let id = text.lines().find_map(|line| line.strip_prefix("FAILED sync.realign-")).unwrap();
    let id = format!("sync.realign-{id}");
    let (code, alone) = run(&program, &["late-after-realign", &id]);
    assert_eq!(code, Some(1));
    for part in ["expected", "got", "word", "there for sync.realign: ", "catches", "effect"] {
        assert!(alone.contains(part), "{part}: {alone}");
    }
    assert!(alone.contains("0 of 1 vectors agree, 1 do not"), "{alone}");
    assert_eq!(run(&program, &["", &id]).0, Some(0), "without the fault it agrees");
    let (code, none) = run(&program, &["", "sync.realign-none"]);
    assert_eq!(code, Some(2), "nothing was judged: {none}");
    let (code, text) = run(&program, &["no-such-fault"]);
    assert_eq!(code, Some(2));
    assert!(text.contains("create() gives no controller: create: out of memory, or"), "{text}");
}

#[test]
fn a_controller_of_another_profile_or_that_can_do_nothing_is_not_judged() {
    let (export, folder) = (Export::shared("byte-stream"), tempfile::tempdir().unwrap());
    let stub = |more: &str, functions: &str| {
        format!(
            "#include \"trackproof.h\"\n#include <stddef.h>\n\
             static int made;\n\
             static void *create(const char *o) {{ (void)o; return &made; }}\n\
             static void destroy(void *s) {{ (void)s; }}\n\
             static uint64_t can(void *s) {{ (void)s; return 0; }}\n{more}\
             static const tp_adapter t = {{ sizeof(tp_adapter), 1, 2, \"stub\", create, destroy, \
             can, {functions} }};\n\
             const tp_adapter *tp_adapter_entry(uint32_t m) {{ return m == 1 ? &t : NULL; }}\n"
        )
    };
    let nothing = "NULL, up, run, drain, NULL, NULL, NULL";
    let functions = "static int32_t up(void *s, const tp_setup *u) { (void)s; (void)u; return 0; }\n\
         static int32_t run(void *s, const tp_event *e, uint64_t n)\n\
         { (void)s; (void)e; (void)n; return 0; }\n\
         static int32_t drain(void *s, tp_item *i, uint64_t n, uint64_t *c)\n\
         { (void)s; (void)i; (void)n; *c = 0; return 0; }\n";
    let declared = "static int32_t profile(void *s, int64_t *v, uint32_t n)\n\
         { (void)s; (void)n; v[TP_KEY_FIFO_WORDS] = 9; return TP_OK; }\n";
    let other = nothing.replacen("NULL", "profile", 1);
    for (more, list, says) in [
        (functions.to_owned(), nothing, "the controller cannot do what they need"),
        (
            format!("{functions}{declared}"),
            other.as_str(),
            "the profile key fifo_words = 9, the vectors are for 1",
        ),
    ] {
        let source = folder.path().join("stub.c");
        std::fs::write(&source, stub(&more, list)).unwrap();
        let program = folder.path().join("stub");
        let mut command = Command::new(compiler());
        command.args(["-std=c99", "-I"]).arg(export.path(""));
        command.arg(export.path("vectors.c")).arg(source);
        compile(&mut command, &program);
        let (code, text) = run(&program, &[]);
        assert!(text.contains(says), "{text}");
        // Polls need no capability: a controller that does not answer them is wrong.
        let polls = text.contains("FAILED");
        assert_eq!(code, Some(if polls { 1 } else { 2 }), "{text}");
    }
}

#[test]
fn what_cannot_be_exported_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("file"), "").unwrap();
    for (line, says) in [
        ("vectors export file", "file: cannot be written"),
        ("vectors export file/below", "file/below: cannot be written"),
        ("vectors export out --profile none", "none"),
        ("vectors export out --count 0", "1..=2000"),
        ("vectors export out --seed x", "invalid digit"),
        ("vectors export", "<DIR>"),
        ("vectors", "Usage"),
    ] {
        let told = told(folder.path(), line);
        assert_eq!((told.code, told.out.as_str()), (2, ""), "{line}: {}", told.err);
        assert!(told.err.contains(says), "{line}: {}", told.err);
    }
    assert!(!folder.path().join("out").exists());
}
