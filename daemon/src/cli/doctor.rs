//! `nightbench doctor`: what will go wrong tonight, on stdout, and in the exit code.

use super::{Failure, ports, runtime};
use crate::doctor::{self, Host, report};
use std::path::PathBuf;
use std::process::ExitCode;

/// Arguments of `doctor`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The configuration whose night it is; without it only the host is looked at
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// How findings are written
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
    /// Another place for `dev`, `etc`, `run` and `sys`, for tests
    #[arg(long, value_name = "DIR", default_value = "/", hide = true)]
    root: PathBuf,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// For people, 80 columns wide
    Text,
    /// One JSON object a line
    Json,
}

/// Looks, and prints what was found; a failure code where something is wrong.
///
/// # Errors
/// Where stdout cannot be written to.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let root = std::path::absolute(&arguments.root).unwrap_or_else(|_| arguments.root.clone());
    let runtime = runtime()?;
    let found = runtime.block_on(doctor::examine(
        &Host::below(root),
        arguments.config.as_deref(),
    ));
    // A thread that waits for a dead disk or a dead name server is left to itself.
    runtime.shutdown_background();
    ports::print(&match arguments.format {
        Form::Text => report::text(&found),
        Form::Json => report::json(&found),
    })?;
    Ok(if found.is_wrong() {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}
