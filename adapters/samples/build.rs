//! Compiles each sample's C sources into a shared library, for the crate to embed.

use std::env;
use std::fs;
use std::path::PathBuf;

/// The samples' folders.
const SAMPLES: [&str; 5] = [WHOLE, "byte_stream", "separator", "hostile", "flaky"];

/// The controller that the shells are around.
const WHOLE: &str = "sync_dma";

/// Samples that end their process or change their mind, around a whole controller.
const SHELLS: [&str; 2] = ["hostile", "flaky"];

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-changed=../c-abi/include/trackproof.h");
    for sample in SAMPLES {
        println!("cargo:rerun-if-changed={sample}");
        if let Err(why) = compile(sample) {
            eprintln!("adapters/samples/{sample}: {why}");
            std::process::exit(1);
        }
    }
}

/// The C files of a sample, in the order of their names.
fn sources(sample: &str) -> Result<Vec<PathBuf>, String> {
    let mut sources = Vec::new();
    for entry in fs::read_dir(sample).map_err(|error| error.to_string())? {
        let path = entry.map_err(|error| error.to_string())?.path();
        if path.extension().is_some_and(|extension| extension == "c") {
            sources.push(path);
        }
    }
    sources.sort();
    Ok(sources)
}

fn compile(sample: &str) -> Result<(), String> {
    let output = PathBuf::from(env::var_os("OUT_DIR").ok_or("cargo set no OUT_DIR")?)
        .join(format!("{sample}.library"));
    let compiler = cc::Build::new().try_get_compiler().map_err(missing)?;
    if compiler.is_like_msvc() {
        return Err(format!(
            "the C compiler found is {}, but the samples are built with the options of cc; \
             set CC to a compiler that does, such as clang",
            compiler.path().display()
        ));
    }
    let mut command = compiler.to_command();
    command.args(["-std=c11", "-O2", "-fPIC", "-shared", "-fvisibility=hidden"]);
    command.args(["-Wall", "-Wextra", "-pedantic", "-I../c-abi/include", "-o"]);
    command.arg(&output).args(sources(sample)?);
    if SHELLS.contains(&sample) {
        // The shell has the one exported name, so what is inside gets another.
        command.arg("-Dtp_adapter_entry=sync_dma_entry").args(sources(WHOLE)?);
    }
    let result = command
        .output()
        .map_err(|error| missing(format!("{}: {error}", compiler.path().display())))?;
    let said = String::from_utf8_lossy(&result.stderr);
    if !result.status.success() {
        return Err(format!("the C compiler refused it ({}):\n{said}", result.status));
    }
    for line in said.lines() {
        println!("cargo:warning={line}");
    }
    Ok(())
}

fn missing(error: impl std::fmt::Display) -> String {
    format!(
        "no C compiler could be started: {error}; the samples are written in C: install a C11 \
         compiler as `cc`, or set CC to one, or leave the feature `samples` out"
    )
}
