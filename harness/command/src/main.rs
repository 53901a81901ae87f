//! The program `trackproof`: the command with no implementation of its own.
#![forbid(unsafe_code)]

use std::process::ExitCode;
use trackproof_command::Registry;

fn main() -> ExitCode {
    trackproof_command::run(Registry::new())
}
