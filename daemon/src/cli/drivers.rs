//! `nightbench drivers`: which drivers there are, where each comes from, and which library is refused.
//!
//! Opens libraries as the service does, each in a process of its own; whether a driver computes well is
//! for `driver check`.

use super::{Failure, written};
use crate::config::{self, Libraries, Library};
use crate::driver::{self, Driver};
use crate::words;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;

/// What the command is told.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The configuration that names the folders of libraries
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
}

/// Columns of a terminal.
pub(super) const WIDTH: usize = 80;

/// Prints what there is.
///
/// # Errors
/// Where the configuration cannot be read, or stdout cannot be written to.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let libraries = match &arguments.config {
        Some(path) => config::libraries(path).map_err(|error| Failure::new(error.to_string()))?,
        None => Libraries::default(),
    };
    let text = shown(&driver::built_in(), &libraries, arguments.config.is_some());
    written(std::io::stdout().write_all(text.as_bytes()))
}

/// The whole answer.
fn shown(linked: &[Driver], libraries: &Libraries, has_configuration: bool) -> String {
    let mut text = String::new();
    for driver in linked {
        let taken = libraries.found.iter().any(|one| one.name == driver.name());
        let instead = if taken {
            ", but a library takes its place"
        } else {
            ""
        };
        let (major, minor) = driver.interface();
        let name = driver.name();
        let _ = writeln!(
            text,
            "{name}: linked in, interface {major}.{minor}{instead}"
        );
        describe(&mut text, driver);
    }
    for library in &libraries.found {
        add(&mut text, library);
    }
    for (folder, error) in &libraries.unread {
        let (folder, why) = (folder.display(), words::system(error));
        let line =
            format!("the folder `{folder}` cannot be read: {why}; make it, or correct `folders`");
        text.push_str(&wrapped(&line, ""));
    }
    if !has_configuration {
        text.push_str("Libraries: name a configuration (`--config FILE`).\n");
    } else if libraries.found.is_empty() && libraries.unread.is_empty() {
        text.push_str("No library is named, and none lies in a folder of `[drivers]`.\n");
    }
    text
}

fn add(text: &mut String, library: &Library) {
    let (name, file) = (&library.name, library.file.display());
    match &library.driver {
        Ok(driver) => {
            let (major, minor) = driver.interface();
            text.push_str(&wrapped(
                &format!("{name}: {file}, interface {major}.{minor}"),
                "",
            ));
            describe(text, driver);
            if let Some((_, sha256)) = driver.library() {
                let _ = writeln!(text, "  SHA-256 {sha256}");
            }
        }
        Err(why) => {
            text.push_str(&wrapped(&format!("{name}: {file}, refused"), ""));
            text.push_str(&wrapped(why, "  "));
        }
    }
}

fn describe(text: &mut String, driver: &Driver) {
    let _ = writeln!(text, "  {}", quantities(driver));
    text.push_str(&outputs(driver));
}

/// ``outputs: `temperature` (temperature in Cel), `heating` (power in mW)``; nothing where there is
/// one only.
pub(super) fn outputs(driver: &Driver) -> String {
    let names = driver.outputs().iter().map(|output| {
        let said = [output.quantity, output.unit.map(|_| "in"), output.unit];
        let said: Vec<&str> = said.into_iter().flatten().collect();
        match said.is_empty() {
            true => format!("`{}`", output.name),
            false => format!("`{}` ({})", output.name, said.join(" ")),
        }
    });
    let names: Vec<String> = names.collect();
    match names.is_empty() {
        true => String::new(),
        false => wrapped(&format!("outputs: {}", names.join(", ")), "  "),
    }
}

/// ``temperature (Cel) from ohm``.
pub(super) fn quantities(driver: &Driver) -> String {
    let inputs: Vec<&str> = driver.inputs().iter().map(|one| one.word()).collect();
    let given = match (driver.quantity(), driver.unit()) {
        (Some(quantity), Some(unit)) => format!("{quantity} ({unit})"),
        (Some(quantity), None) => format!("{quantity}, in the unit that the configuration says,"),
        (None, Some(unit)) => format!("what the configuration says ({unit})"),
        (None, None) => "what the configuration says,".to_owned(),
    };
    format!("{given} from {}", inputs.join(", "))
}

/// Lines of at most [`WIDTH`], broken at blanks, the first and all others set in.
pub(super) fn wrapped(text: &str, indent: &str) -> String {
    let mut lines = String::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let wide = indent.len() + line.chars().count() + 1 + word.chars().count() > WIDTH;
        if wide && !line.is_empty() {
            let _ = writeln!(lines, "{indent}{line}");
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    let _ = writeln!(lines, "{indent}{line}");
    lines
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use insta::assert_snapshot;

    #[test]
    fn what_is_linked_in_is_there_without_a_configuration() {
        assert_snapshot!(shown(&driver::built_in(), &Libraries::default(), false), @"
    thermistor: linked in, interface 1.1
      temperature (Cel) from ohm
    photoresistor: linked in, interface 1.1
      illuminance (lx) from ohm
    divider: linked in, interface 1.1
      what the configuration says, from ratio, ohm, volt, number
    Libraries: name a configuration (`--config FILE`).
    ");
    }

    #[test]
    fn a_refused_library_and_a_missing_folder_are_told_with_the_reason() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("there")).unwrap();
        std::fs::write(folder.path().join("there/libsunny.so"), "no library").unwrap();
        std::fs::write(folder.path().join("there/notes.txt"), "").unwrap();
        let config = folder.path().join("bench.toml");
        std::fs::write(&config, "[drivers]\nfolders = [\"there\", \"gone\"]\n").unwrap();
        let text = shown(&[], &config::libraries(&config).unwrap(), true);
        let text = text.replace(&folder.path().display().to_string(), "");
        let said: Vec<&str> = text.split_whitespace().collect();
        assert_snapshot!(said.join(" "), @"sunny: /there/libsunny.so, refused it is no shared library, but a text; name the library that was built, not its source the folder `/gone` cannot be read: no such file or directory; make it, or correct `folders`");
    }

    #[test]
    fn no_line_is_wider_than_a_terminal() {
        let text = wrapped(&"a word and `another` ".repeat(30), "  ");
        assert!(
            text.lines()
                .all(|line| line.len() <= WIDTH && line.starts_with("  a")
                    || line.starts_with("  w")
                    || line.starts_with("  `")),
            "{text}"
        );
    }
}
