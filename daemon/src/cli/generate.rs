//! Completions and manual pages, from the one definition of the command line.

use super::{Cli, Failure};
use clap::CommandFactory;
use std::io::Write;
use std::process::ExitCode;

/// Prints completions for a shell.
pub fn completions(shell: clap_complete::Shell) -> ExitCode {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "nightbench", &mut text);
    print(&text)
}

/// Prints a manual page in roff.
///
/// # Errors
/// Where there is no such command.
pub fn man(command: Option<&str>) -> Result<ExitCode, Failure> {
    let mut whole = Cli::command();
    whole.build();
    let page = match command {
        None => whole,
        Some(name) => whole.find_subcommand(name).cloned().ok_or_else(|| {
            Failure::new(format!(
                "there is no command `{name}`; see `nightbench --help`"
            ))
        })?,
    };
    let mut text = Vec::new();
    clap_mangen::Man::new(page)
        .render(&mut text)
        .map_err(|error| Failure::new(format!("the manual page could not be made: {error}")))?;
    Ok(print(&text))
}

/// A reader that has seen enough (`| head`) is no failure.
fn print(text: &[u8]) -> ExitCode {
    match std::io::stdout().lock().write_all(text) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(_) => ExitCode::FAILURE,
    }
}
