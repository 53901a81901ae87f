//! Compiles each sample's C source into a shared library, for the crate to embed.

use std::env;
use std::path::PathBuf;

/// The samples' sources, without `.c`.
const SOURCES: [&str; 1] = ["sync_dma"];

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-changed=../c-abi/include/trackproof.h");
    for source in SOURCES {
        println!("cargo:rerun-if-changed={source}.c");
        if let Err(why) = compile(source) {
            eprintln!("adapters/samples/{source}.c: {why}");
            std::process::exit(1);
        }
    }
}

fn compile(source: &str) -> Result<(), String> {
    let output = PathBuf::from(env::var_os("OUT_DIR").ok_or("cargo set no OUT_DIR")?)
        .join(format!("{source}.library"));
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
    command.args(["-Wall", "-Wextra", "-I../c-abi/include", "-o"]);
    command.arg(&output).arg(format!("{source}.c"));
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
