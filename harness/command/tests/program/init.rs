//! `init`: what it writes compiles, is skipped in full, and says what each method would open.

use crate::start::{root, told};
use std::path::Path;
use std::process::{Command, Output};

/// `cargo run -- check rust:mine` in the folder, built beside these tests. Not for release: what it
/// depends on is built with other features than here, and that takes a third of the time.
fn cargo_check(folder: &Path, line: &str) -> Output {
    let test = std::env::current_exe().unwrap();
    let target = test.ancestors().nth(3).expect("target/PROFILE/deps/TEST");
    Command::new(env!("CARGO"))
        .args(["run", "--offline", "--quiet", "--"])
        .args(line.split(' '))
        .env("CARGO_TARGET_DIR", target)
        .env("CARGO_PROFILE_DEV_DEBUG", "0")
        .env("CARGO_INCREMENTAL", "0")
        .current_dir(folder)
        .output()
        .unwrap()
}

fn code_and_text(output: &Output) -> (Option<i32>, String) {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout) + &text(&output.stderr))
}

#[test]
fn a_rust_stub_compiles_and_is_judged_once_it_has_a_method() {
    let folder = tempfile::tempdir().unwrap();
    let init = told(folder.path(), "init rust mine");
    assert_eq!(init.code, 0, "{}", init.err);
    assert!(init.out.contains("cargo run --release -- check rust:mine"), "{}", init.out);
    assert!(init.out.contains("shift_in                  raw.contiguous"), "{}", init.out);
    let mine = folder.path().join("mine");
    let main = mine.join("src/main.rs");
    let source = std::fs::read_to_string(&main).unwrap();
    assert!(!source.contains('@'), "{source}");
    assert!(source.contains("// Opens read: raw.contiguous,"), "{source}");
    assert!(source.lines().all(|line| line.len() <= 100));

    let (code, text) = code_and_text(&cargo_check(&mine, "check rust:mine --cases 100"));
    assert_eq!(code, Some(4), "{text}");
    assert!(text.contains("it has no read; ") && text.contains("not held to"), "{text}");

    let stub =
        "_bit: bool) -> Result<Option<u64>, SeamError> {\n        Err(SeamError::NotSupported)";
    let zeros = "_bit: bool) -> Result<Option<u64>, SeamError> {\n        Ok(Some(0))";
    assert!(source.contains(stub));
    std::fs::write(&main, source.replacen(stub, zeros, 1)).unwrap();
    let (code, text) = code_and_text(&cargo_check(&mine, "check rust:mine --cases 100"));
    assert_eq!(code, Some(1), "{text}");
}

#[test]
fn a_c_stub_compiles_without_a_warning_and_nothing_is_judged() {
    let folder = tempfile::tempdir().unwrap();
    let init = told(folder.path(), "init c mine");
    assert_eq!(init.code, 0, "{}", init.err);
    assert!(init.out.contains("make -C mine && trackproof check lib:mine/libmine.so"));
    assert!(init.out.contains("byte-port                 byte.poll, poll.atomic"), "{}", init.out);
    let mine = folder.path().join("mine");
    let source = std::fs::read_to_string(mine.join("mine.c")).unwrap();
    assert!(!source.contains('@') && source.lines().all(|line| line.len() <= 100), "{source}");
    let header = root().join("adapters/c-abi/include/trackproof.h");
    let header = std::fs::read_to_string(header).unwrap();
    assert_eq!(std::fs::read_to_string(mine.join("trackproof.h")).unwrap(), header);

    let make = Command::new("make").args(["CFLAGS=-Werror", "-C"]).arg(&mine).output().unwrap();
    let (code, text) = code_and_text(&make);
    assert_eq!(code, Some(0), "{text}");
    let check = told(folder.path(), "check lib:mine/libmine.so --cases 500");
    assert_eq!(check.code, 4, "{}", check.err);
    assert!(check.out.contains("it has no read; "), "{}", check.out);
}

#[test]
fn the_stub_of_each_part_compiles_without_a_warning_and_nothing_is_judged() {
    let folder = tempfile::tempdir().unwrap();
    for (part, method, capability) in [
        ("word-reader", "poll_byte                 byte.poll, poll.atomic", "it has no read; "),
        ("track-writer", "begin_cell                clock.rule, ", "it has no write; "),
        (
            "track-encoder",
            "encode                    clock.present, layout.fields",
            "it has no image-drives; ",
        ),
        (
            "data-separator",
            "advance                   separator.legal, separator.recover",
            "it has no separator yet; ",
        ),
    ] {
        let init = told(folder.path(), &format!("init c --part {part} {part}"));
        assert_eq!(init.code, 0, "{}", init.err);
        let next = format!("make -C {part} && trackproof check lib:{part}/libmine.so");
        assert!(init.out.contains(&next) && init.out.contains(method), "{}", init.out);
        let mine = folder.path().join(part);
        let source = std::fs::read_to_string(mine.join("mine.c")).unwrap();
        assert!(!source.contains('@') && source.lines().all(|line| line.len() <= 100), "{source}");
        let make = Command::new("make").args(["CFLAGS=-Werror", "-C"]).arg(&mine).output().unwrap();
        assert!(make.status.success(), "{}", String::from_utf8_lossy(&make.stderr));
        let check = told(folder.path(), &format!("check lib:{part}/libmine.so --cases 300"));
        assert_eq!(check.code, 4, "{}{}", check.out, check.err);
        assert!(check.out.contains(capability), "{}", check.out);
    }
    let python = told(folder.path(), "init python --part word-reader other");
    assert_eq!(python.code, 2, "{}", python.out);
    assert!(python.err.contains("--part is for `init c`"), "{}", python.err);
}

#[test]
fn nothing_that_is_there_is_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("full")).unwrap();
    std::fs::write(folder.path().join("full/mine.c"), "mine").unwrap();
    std::fs::write(folder.path().join("file"), "").unwrap();
    for (line, error) in [
        ("init c full", "full: the folder is not empty; name a folder that is new or empty"),
        ("init rust full", "the folder is not empty"),
        ("init c file", "file: "),
        ("init basic new", "invalid value 'basic'"),
    ] {
        let told = told(folder.path(), line);
        assert_eq!(told.code, 2, "{line}");
        assert!(told.err.contains(error), "{line}: {}", told.err);
    }
    assert_eq!(std::fs::read_to_string(folder.path().join("full/mine.c")).unwrap(), "mine");
    std::fs::create_dir(folder.path().join("empty")).unwrap();
    assert_eq!(told(folder.path(), "init c empty").code, 0);
}
