//! The command line of trackproof, as a library: a Rust implementer's whole program is
//!
//! ```no_run
//! # use trackproof_contract::*;
//! # struct MyController;
//! # impl DiskSubsystem for MyController {
//! #     fn capabilities(&self) -> Capabilities { Capabilities::NONE }
//! #     fn power_up(&mut self, _: Setup<'_>) -> Result<(), RigError> { Ok(()) }
//! #     fn run(&mut self, _: &[Event], _: &mut Observation) -> Result<(), RigError> { Ok(()) }
//! # }
//! use std::process::ExitCode;
//! use trackproof_command::{Registry, run};
//!
//! fn main() -> ExitCode {
//!     run(Registry::new().with("mine", || MyController))
//! }
//! ```
//!
//! and every verb works on `rust:mine`. The command is thin: it reads arguments, opens
//! implementations and writes files; the library does the work.
#![forbid(unsafe_code)]

mod adapter;
mod arguments;
mod capture;
mod check;
mod demo;
mod duration;
mod environment;
mod exit;
mod failure;
mod files;
mod implementation;
mod infer;
mod init;
mod interrupt;
mod loaded;
mod margin;
mod merge;
mod minimise;
mod output;
mod overnight;
mod profile;
mod progress;
mod registry;
mod regressions;
mod replay;
mod rules;
mod samples;
mod search;
mod vectors;
mod worker;

pub use exit::Exit;
pub use registry::Registry;
pub use trackproof::plug::Plug;

use arguments::{Arguments, Verb};
use clap::Parser;
use failure::Failure;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process::ExitCode;

/// Runs the command line that this process was started with.
///
/// `registry` holds the implementations that `rust:NAME` finds. The exit code is one of
/// [`Exit`]'s.
#[must_use]
pub fn run(registry: Registry) -> ExitCode {
    let exit = catch_unwind(AssertUnwindSafe(|| dispatch(&registry))).unwrap_or_else(|_| {
        eprintln!(
            "trackproof: this is a fault of trackproof itself, not of the implementation. Please \
             report it with the lines above, this command line, the version ({}) and, if the \
             command named one, the case file. What was found before is in the output folder.",
            env!("CARGO_PKG_VERSION")
        );
        Exit::OurFault
    });
    ExitCode::from(exit.code())
}

fn dispatch(registry: &Registry) -> Exit {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return environment::explain(&error),
    };
    let result = match arguments.verb {
        Verb::Demo(demo) => demo::demo(&demo, registry),
        Verb::Check(check) => check::check(&check, registry),
        Verb::Overnight(overnight) => overnight::overnight(&overnight, registry),
        Verb::Merge(merge) => merge::merge(&merge),
        Verb::Replay(replay) => replay::replay(&replay, registry),
        Verb::Minimise(minimise) => minimise::minimise(&minimise, registry),
        Verb::Rules(rules) => rules::rules(&rules),
        Verb::Samples(samples) => samples::samples(&samples),
        Verb::Worker(worker) => worker::worker(&worker, registry),
        Verb::Capture(one) => capture::capture(&one),
        Verb::Infer(one) => infer::infer(&one, registry),
        Verb::Margin(one) => margin::margin(&one, registry),
        Verb::Adapter(one) => adapter::adapter(&one, registry),
        Verb::Vectors(one) => vectors::vectors(&one),
        Verb::Init(init) => init::init(&init),
        Verb::Completions { shell } => output::completions(shell),
    };
    result.unwrap_or_else(|Failure { exit, text }| {
        eprintln!("trackproof: {text}");
        exit
    })
}
