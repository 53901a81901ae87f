//! The program as it is started: exit codes, streams, files, variables, and what it makes of bad
//! input, of implementations that die, and of its own sudden end.
#![cfg(feature = "samples")]

mod adapter;
mod bad_input;
mod capture;
mod children;
mod command_line;
mod example;
mod infer;
mod init;
mod isolation;
mod kills;
mod known;
mod margin;
mod merge;
mod overnight;
mod parts;
mod start;
mod vectors;
mod verilog;
