//! `nightbench driver check`: opens a library as the service does, asks everything of it, and says what
//! is wrong.
//!
//! Whether the values are right is not known here: published points in the driver's own tests say that.

mod parameters;
mod show;
mod time;

use super::Failure;
use crate::cli::written;
use crate::driver::examine::examine;
use crate::driver::{self, OWN_PROGRAM, Settings, await_notes, take_notes};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

/// What the command is told.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The library: `libsunny.so`
    #[arg(value_name = "FILE")]
    library: PathBuf,
    /// A parameter, as a probe's table has it: `r0=10 kOhm`, `form=table`, `table_x=[0, 1]`
    #[arg(long = "set", value_name = "NAME=VALUE")]
    parameters: Vec<String>,
}

const DEADLINE: Duration = Duration::from_millis(250);
const MEMORY: u64 = 64 << 20;
/// How long is waited for word of how its process ended.
const PATIENCE: Duration = Duration::from_secs(2);

/// Examines a library.
///
/// # Errors
/// Where there is no driver in it, or its parameters cannot be read or do not go together.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let file = arguments.library.display();
    let settings = settings(&arguments.library);
    let refused = |why: String| Failure::new(format!("`{file}`: {why}"));
    let name = name(&arguments.library);
    let driver = driver::open(&name, &settings, Path::new(OWN_PROGRAM)).map_err(refused)?;
    let mut out = std::io::stdout().lock();
    // What it says of itself is shown also where its parameters are wrong: they are among it.
    let shown = out.write_all(show::declaration(&driver).as_bytes());
    let values = parameters::read(&arguments.parameters, &driver)?;
    let model = driver.bind(values).map_err(|error| {
        let text = format!("{error}; give its parameters (`--set NAME=VALUE`)");
        refused(text)
    })?;
    let examination = examine(&model);
    let speed = (!examination.is_cut_short).then(|| time::of(&model));
    let text = show::examination(&driver, &model, &examination, speed.flatten());
    let notes = match examination.is_cut_short {
        true => await_notes(PATIENCE),
        false => take_notes(),
    };
    let notes: String = notes.iter().map(|note| show::note(&note.text)).collect();
    written(shown.and_then(|()| out.write_all((text + &notes).as_bytes())))?;
    match examination.wrong() {
        0 => written(writeln!(out, "\npass")),
        wrong => Err(refused(format!(
            "{} broken; see above, mend the driver, and check it again",
            crate::words::counted(wrong, "promise")
        ))),
    }
}

/// Kept in as the service keeps in what no table says otherwise of.
fn settings(library: &Path) -> Settings {
    Settings {
        // A bare name has no folder that could be looked at.
        library: std::path::absolute(library).unwrap_or_else(|_| library.to_owned()),
        sha256: None,
        in_process: false,
        deadline: DEADLINE,
        memory: MEMORY,
    }
}

/// The name by which a probe would ask for it.
fn name(library: &Path) -> String {
    let stem = library.file_stem().unwrap_or_default().to_string_lossy();
    stem.strip_prefix("lib").unwrap_or(&stem).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_is_that_of_the_file_as_a_probe_writes_it() {
        assert_eq!(name(Path::new("drivers/libsunny.so")), "sunny");
        assert_eq!(name(Path::new("vane.so")), "vane");
    }
}
