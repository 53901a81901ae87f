//! Starts the program as a user does, for every test of this folder.

use std::env::consts::{DLL_PREFIX, DLL_SUFFIX};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// The workspace's folder.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// The program with these words, in a folder; no variable of the surroundings reaches it.
pub(crate) fn command(folder: &Path, line: &str, variables: &[(&str, &str)]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_trackproof"));
    command.args(line.split_whitespace()).env_clear();
    command.envs(variables.iter().copied()).current_dir(folder);
    command
}

/// Starts the program and waits for its end.
pub(crate) fn run(folder: &Path, line: &str, variables: &[(&str, &str)]) -> Output {
    command(folder, line, variables).output().unwrap()
}

/// What a run wrote and its exit code.
pub(crate) struct Told {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Told {
    /// Standard output as JSON.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|why| panic!("{why}: {}", self.out))
    }
}

/// Starts the program without variables, waits, and gives what it told.
pub(crate) fn told(folder: &Path, line: &str) -> Told {
    let output = run(folder, line, &[]);
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    let code = output.status.code().unwrap_or_else(|| panic!("{line}: {}: {err}", output.status));
    Told { code, out, err }
}

/// A folder with the smallest adapter there is, compiled with these names defined, and its file.
pub(crate) fn library(definitions: &[(&str, &str)]) -> (TempDir, String) {
    let folder = tempfile::tempdir().unwrap();
    let name = format!("{DLL_PREFIX}minimal{DLL_SUFFIX}");
    let abi = root().join("adapters/c-abi");
    let compiler = std::env::var("CC").unwrap_or_else(|_| "cc".into());
    let output = Command::new(&compiler)
        .args(["-std=c11", "-O1", "-fPIC", "-shared", "-I"])
        .arg(abi.join("include"))
        .arg(abi.join("tests/abi/minimal.c"))
        .args(definitions.iter().map(|(name, text)| format!("-D{name}={text}")))
        .arg("-o")
        .arg(folder.path().join(&name))
        .output()
        .unwrap_or_else(|error| panic!("{compiler}: {error}"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    (folder, name)
}
