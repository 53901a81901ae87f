//! The house keeps its shape: who may know whom, and where `unsafe` may stand.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ has a parent").to_owned()
}

fn metadata() -> Value {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--no-deps", "--format-version", "1", "--offline"])
        .current_dir(root())
        .output()
        .expect("cargo metadata runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("cargo metadata prints JSON")
}

/// Each crate of the workspace, and those of the workspace that it uses outside its own tests.
fn uses() -> BTreeMap<String, BTreeSet<String>> {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().expect("packages");
    let name = |package: &Value| package["name"].as_str().expect("a name").to_owned();
    let ours: BTreeSet<String> = packages.iter().map(name).collect();
    packages
        .iter()
        .map(|package| {
            let uses = package["dependencies"]
                .as_array()
                .expect("dependencies")
                .iter()
                .filter(|dependency| dependency["kind"].as_str() != Some("dev"))
                .map(name)
                .filter(|dependency| ours.contains(dependency))
                .collect();
            (name(package), uses)
        })
        .collect()
}

#[test]
fn every_crate_knows_only_the_rooms_below_it() {
    let allowed: &[(&str, &[&str])] = &[
        ("trackproof-contract", &[]),
        ("trackproof-model", &["trackproof-contract"]),
        ("trackproof-c-abi", &["trackproof-contract"]),
        ("trackproof-process", &["trackproof-contract"]),
        ("trackproof-capture", &["trackproof-contract"]),
        ("trackproof-samples", &["trackproof-contract", "trackproof-c-abi"]),
        ("trackproof", &["trackproof-contract", "trackproof-model"]),
        (
            "trackproof-command",
            &[
                "trackproof",
                "trackproof-contract",
                "trackproof-model",
                "trackproof-c-abi",
                "trackproof-process",
                "trackproof-capture",
                "trackproof-samples",
            ],
        ),
        (
            "trackproof-fuzz",
            &[
                "trackproof",
                "trackproof-contract",
                "trackproof-model",
                "trackproof-c-abi",
                "trackproof-samples",
            ],
        ),
    ];
    for (crate_name, uses) in uses() {
        if crate_name == "trackproof-tests" {
            continue;
        }
        let (_, may) = allowed
            .iter()
            .find(|(name, _)| *name == crate_name)
            .unwrap_or_else(|| panic!("{crate_name} is new: say here what it may know"));
        for used in uses {
            assert!(may.contains(&used.as_str()), "{crate_name} must not know {used}");
        }
    }
}

#[test]
fn the_contract_drags_nothing_into_an_implementers_build() {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().expect("packages");
    let contract = packages.iter().find(|package| package["name"] == "trackproof-contract");
    for dependency in contract.expect("the contract")["dependencies"].as_array().expect("a list") {
        assert_eq!(dependency["optional"], true, "{} is not optional", dependency["name"]);
    }
}

/// Fuzz targets are binaries as well, but of no default member: `cargo run` does not see them.
#[test]
fn the_command_is_the_only_binary_that_cargo_runs() {
    let metadata = metadata();
    let default = metadata["workspace_default_members"].as_array().expect("default members");
    let binaries: Vec<&str> = metadata["packages"]
        .as_array()
        .expect("packages")
        .iter()
        .filter(|package| default.contains(&package["id"]))
        .flat_map(|package| package["targets"].as_array().expect("targets"))
        .filter(|target| target["kind"][0] == "bin")
        .filter_map(|target| target["name"].as_str())
        .collect();
    assert_eq!(binaries, ["trackproof"]);
}

fn rust_files(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder of the project") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or("");
        if path.is_dir() && name != "target" && !name.starts_with('.') {
            rust_files(&path, files);
        } else if name.ends_with(".rs") {
            files.push(path);
        }
    }
}

/// Loading a library, the counters of the fuzzer, a counting allocator: nothing else needs it.
const UNSAFE_PLACES: [&str; 3] = ["adapters/c-abi/", "fuzz/src/counters.rs", "harness/benches/"];

#[test]
fn unsafe_stands_in_three_places_only() {
    let mut files = Vec::new();
    rust_files(&root(), &mut files);
    assert!(files.len() > 50, "the walk found {} files", files.len());
    for file in files {
        let place =
            file.strip_prefix(root()).expect("below the root").to_string_lossy().into_owned();
        let text = std::fs::read_to_string(&file).expect("a source file");
        let code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
        let word = concat!("un", "safe");
        let uses = code
            .flat_map(|line| line.split(|c: char| !c.is_alphanumeric() && c != '_'))
            .filter(|token| *token == word)
            .count();
        let may = UNSAFE_PLACES.iter().any(|allowed| place.starts_with(allowed));
        assert!(uses == 0 || may, "{place} has `{word}` {uses} times");
    }
}
