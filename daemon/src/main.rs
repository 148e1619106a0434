//! Arguments to calls, and results to exit codes; nothing else.

use clap::Parser;
use nightbench::cli::{self, Cli};
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = Cli::parse();
    cli::start_talk(&arguments);
    match cli::run(arguments) {
        Ok(code) => code,
        Err(failure) => {
            eprintln!("nightbench: {failure}");
            ExitCode::FAILURE
        }
    }
}
