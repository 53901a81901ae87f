//! README's first example is the file in `examples`, which is compiled, and it is judged.

use crate::start::root;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Where cargo puts the examples that it builds beside these tests.
fn example(name: &str) -> PathBuf {
    let test = std::env::current_exe().unwrap();
    let profile = test.parent().and_then(Path::parent).expect("target/PROFILE/deps/TEST");
    profile.join("examples").join(format!("{name}{}", std::env::consts::EXE_SUFFIX))
}

#[test]
fn the_readmes_first_example_is_compiled_short_and_has_one_method() {
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    let file = root().join("harness/command/examples/word_reader.rs");
    let file = std::fs::read_to_string(file).unwrap();
    let code = file.split_once("#![forbid(unsafe_code)]\n\n").expect("attributes").1;
    let first = readme.split("```").find_map(|part| part.strip_prefix("rust\n")).unwrap();
    assert_eq!(first, code);
    assert!(code.lines().count() < 40);
    let methods = code.lines().filter(|line| line.starts_with("    fn ")).count();
    assert_eq!(methods, 1);
}

#[test]
fn the_example_is_judged_by_what_it_has_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new(example("word_reader"))
        .args(["check", "rust:mine", "--cases", "400"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    for line in [
        "it has no hardware-sync; ",
        "it has no fifo of its own, ours is lent to it; not held to transfer.count",
        "Verdict  conforms",
    ] {
        assert!(text.contains(line), "{line}: {text}");
    }
    assert!(!text.contains("not held to raw.contiguous"), "{text}");
}
