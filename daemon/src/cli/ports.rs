//! `nightbench ports`: which serial ports there are, which name of each stays, and who holds it.
//!
//! Opens no port: opening resets most boards.

pub(crate) mod advice;
mod show;
pub(crate) mod survey;
mod usb;

use super::Failure;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Arguments of `ports`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// How they are written
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
    /// Another place for `dev` and `sys`, for tests
    #[arg(long, value_name = "DIR", default_value = "/", hide = true)]
    root: PathBuf,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// For people
    Text,
    /// One JSON object a line
    Json,
}

/// Prints the ports; a failure code where there is none.
///
/// # Errors
/// Where stdout cannot be written to.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let root = std::path::absolute(&arguments.root).unwrap_or_else(|_| arguments.root.clone());
    let ports = survey::survey(&root);
    let text = match arguments.format {
        Form::Text => show::text(&ports),
        Form::Json => show::json(&ports),
    };
    print(&text)?;
    if let Some(steps) = show::missing(&ports) {
        // That nobody reads it is no failure.
        let _ = writeln!(std::io::stderr().lock(), "{steps}");
    }
    Ok(if ports.is_empty() {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}

pub(super) fn print(text: &str) -> Result<(), Failure> {
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::new(format!(
            "stdout cannot be written to: {error}"
        ))),
        // A reader that has seen enough (`| head`) is no failure.
        _ => Ok(()),
    }
}

/// The name of a port that stays, for a configuration; as it was given, where it is no known
/// device.
pub(crate) fn stable_name(port: &Path) -> PathBuf {
    let ports = survey::survey(Path::new("/"));
    // A link may have been named on purpose: only the kernel's own names are replaced.
    let known = ports.iter().position(|it| it.device == port);
    known.map_or_else(|| port.to_owned(), |at| advice::advise(&ports, at).port)
}
