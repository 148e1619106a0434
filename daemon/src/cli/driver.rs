//! `nightbench driver`: for whoever makes a driver. A folder to begin with, and a look at what came of
//! it before the first night.

mod check;
mod new;

use super::Failure;
use std::process::ExitCode;

/// What is to be done.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, clap::Subcommand)]
enum Verb {
    /// Make a folder with a driver that builds and passes its own test, to be changed into yours
    New(new::Arguments),
    /// Say whether a driver's library keeps what a driver promises: run it, kept in, and draw it
    ///
    /// The curve and what was found go to stdout; exit code 1 where a promise is broken.
    Check(check::Arguments),
}

/// Does what the arguments say.
///
/// # Errors
/// What could not be done, for a person.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    match &arguments.verb {
        Verb::New(arguments) => new::run(arguments),
        Verb::Check(arguments) => check::run(arguments),
    }
}
