//! Standard output and how it looks; standard error's look.

use crate::Exit;
use crate::arguments::Arguments;
use crate::failure::Failure;
use clap::CommandFactory;
use std::io::{self, ErrorKind, IsTerminal, Write};
use trackproof::report::Style;

/// Writes a whole text to standard output. A reader that has gone is no fault of anyone.
///
/// # Errors
/// When it cannot be written; the text is then on standard error.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        Err(error) => {
            eprint!("{text}");
            Err(Failure::usage(format!("standard output cannot be written: {error}")))
        }
    }
}

/// Writes a value as one JSON object in a line.
///
/// # Errors
/// As [`print`].
pub(crate) fn print_json(value: &impl serde::Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string(value).expect("reports hold nothing that JSON has not");
    print(&(text + "\n"))
}

/// The style of standard output: stressed on a terminal, unless `NO_COLOR` asks for none.
pub(crate) fn style() -> Style {
    styled(io::stdout().is_terminal())
}

/// The style of standard error.
pub(crate) fn error_style() -> Style {
    styled(io::stderr().is_terminal())
}

fn styled(terminal: bool) -> Style {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    if terminal && !refused { Style::Terminal } else { Style::Plain }
}

/// Prints the completions of a shell.
pub(crate) fn completions(shell: clap_complete::Shell) -> Result<Exit, Failure> {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Arguments::command(), "trackproof", &mut text);
    print(&String::from_utf8_lossy(&text))?;
    Ok(Exit::Conforms)
}
