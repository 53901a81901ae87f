//! Compiles the library whose returns the target `library_returns` chooses.

use std::path::PathBuf;

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-changed=returns");
    println!("cargo:rerun-if-changed=../adapters/c-abi/include/trackproof.h");
    if let Err(why) = compile() {
        eprintln!("fuzz/returns/returns.c: {why}");
        std::process::exit(1);
    }
}

fn compile() -> Result<(), String> {
    let folder = PathBuf::from(std::env::var_os("OUT_DIR").ok_or("cargo set no OUT_DIR")?);
    let compiler = cc::Build::new().try_get_compiler().map_err(|error| error.to_string())?;
    let mut command = compiler.to_command();
    command.args(["-std=c11", "-O2", "-fPIC", "-shared"]);
    command.args(["-Wall", "-Wextra", "-pedantic", "-I../adapters/c-abi/include", "-o"]);
    command.arg(folder.join("returns.library")).arg("returns/returns.c");
    let output = command.output().map_err(|error| error.to_string())?;
    let said = String::from_utf8_lossy(&output.stderr);
    if !output.status.success() {
        return Err(format!("the C compiler refused it ({}):\n{said}", output.status));
    }
    for line in said.lines() {
        println!("cargo:warning={line}");
    }
    Ok(())
}
