//! Errors of the command line, and which variable of the environment they come from.

use crate::Exit;
use crate::arguments::Arguments;
use clap::error::{ContextKind, ContextValue, Error, ErrorKind};
use clap::{Command, CommandFactory};
use std::ffi::OsString;

/// Prints a command-line error, or the help or version that was asked for, and gives its exit.
pub(crate) fn explain(error: &Error) -> Exit {
    if let Some(variable) = variable(error, &std::env::args_os().collect::<Vec<_>>()) {
        eprintln!("trackproof: the environment variable {variable} has a bad value");
    }
    // Where its stream has gone there is nobody to tell.
    let _ = error.print();
    match error.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => Exit::Conforms,
        _ => Exit::Usage,
    }
}

/// The variable that the value in question comes from, if it is not from the command line.
fn variable(error: &Error, given: &[OsString]) -> Option<String> {
    let value = matches!(
        error.kind(),
        ErrorKind::ValueValidation | ErrorKind::InvalidValue | ErrorKind::InvalidUtf8
    );
    if !value {
        return None;
    }
    let flag = match error.get(ContextKind::InvalidArg) {
        Some(ContextValue::String(usage)) => {
            usage.split(' ').next()?.trim_start_matches("--").to_owned()
        }
        // A value that is no text is reported without its flag.
        _ => {
            let no_text = |(_, variable): &(String, String)| {
                std::env::var_os(variable).is_some_and(|value| value.to_str().is_none())
            };
            return variables().into_iter().find(no_text).map(|(_, variable)| variable);
        }
    };
    let on_command_line = given.iter().any(|word| {
        let word = word.to_string_lossy();
        word.strip_prefix("--").is_some_and(|word| word.split('=').next() == Some(&flag))
    });
    let of_flag = variables().into_iter().find(|(long, _)| *long == flag);
    of_flag.filter(|_| !on_command_line).map(|(_, variable)| variable)
}

/// Every flag that has a variable, with it.
fn variables() -> Vec<(String, String)> {
    fn collect(command: &Command, found: &mut Vec<(String, String)>) {
        for argument in command.get_arguments() {
            if let (Some(long), Some(variable)) = (argument.get_long(), argument.get_env()) {
                found.push((long.to_owned(), variable.to_string_lossy().into_owned()));
            }
        }
        command.get_subcommands().for_each(|command| collect(command, found));
    }
    let mut found = Vec::new();
    collect(&Arguments::command(), &mut found);
    found.sort();
    found.dedup();
    found
}

#[cfg(test)]
mod tests {
    use super::variables;

    #[test]
    fn variables_mirror_their_flags() {
        let found = variables();
        for (flag, variable) in &found {
            assert_eq!(*variable, format!("TRACKPROOF_{}", flag.to_uppercase().replace('-', "_")));
        }
        let flags: Vec<&str> = found.iter().map(|(flag, _)| flag.as_str()).collect();
        assert_eq!(
            flags,
            [
                "base",
                "case-time",
                "cases",
                "count",
                "for",
                "format",
                "in-process",
                "jobs",
                "known",
                "map",
                "out",
                "profile",
                "regressions",
                "rule",
                "seed",
                "shard",
                "strict",
                "trials"
            ]
        );
    }
}
