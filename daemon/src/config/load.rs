//! Reads the configuration file: the thin shell around [`parse`].

use super::drivers::{Drivers, Wanted};
use super::files::Files;
use super::problem::Problem;
use super::{Config, parse_with, wanted};
use crate::driver::{self, Driver, OWN_PROGRAM, Settings};
use crate::words;
use std::fmt;
use std::io::Read;
use std::path::{Path, PathBuf};

/// A configuration is a few pages of text; a file beyond this is another file (or `/dev/zero`).
const LARGEST_FILE: u64 = 4 << 20;

/// Why there is no configuration.
#[derive(Debug, PartialEq, Eq)]
pub enum LoadError {
    /// There is no such file.
    Missing {
        /// The path that was asked for.
        path: PathBuf,
    },
    /// The path is that of a folder.
    Folder {
        /// The path.
        path: PathBuf,
    },
    /// The file could not be read.
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        why: String,
    },
    /// The file is no UTF-8 text.
    NotText {
        /// The file.
        path: PathBuf,
        /// The line with the first byte that is none, from 1.
        line: usize,
    },
    /// The file is far too large to be a configuration.
    TooLarge {
        /// The file.
        path: PathBuf,
    },
    /// The text has errors.
    Faulty {
        /// The file.
        path: PathBuf,
        /// All problems, warnings among them, in the order of the text.
        problems: Vec<Problem>,
    },
}

/// Reads and checks a configuration file; the warnings come with it.
///
/// # Errors
/// Where the file cannot be read, is no text, or has errors.
pub fn load(path: &Path) -> Result<(Config, Vec<Problem>), LoadError> {
    let text = read_text(path)?;
    match parse_with_files(&text, path.parent().unwrap_or(Path::new(""))) {
        (Some(config), problems) => Ok((config, problems)),
        (None, problems) => Err(LoadError::Faulty {
            path: path.to_owned(),
            problems,
        }),
    }
}

/// As [`parse`](super::parse), with the tables of corrections and the drivers' libraries that the
/// text names. A driver describes itself in a process of its own.
#[must_use]
pub fn parse_with_files(text: &str, base: &Path) -> (Option<Config>, Vec<Problem>) {
    let mut drivers = Drivers::default();
    for wanted in wanted(text, base) {
        if let Some(opened) = open(&wanted) {
            drivers.add(&wanted, opened);
        }
    }
    parse_with(text, &Files::new(base, &referred), &drivers)
}

/// A driver's library, in the first of the folders that has it; `None` where none has, and no table
/// says that there must be one.
pub(super) fn open(wanted: &Wanted) -> Option<Result<Driver, String>> {
    let places = wanted
        .folders
        .iter()
        .map(|folder| folder.join(&wanted.file));
    let Some(library) = places
        .into_iter()
        .find(|path| path.symlink_metadata().is_ok())
    else {
        let folders: Vec<_> = wanted
            .folders
            .iter()
            .map(|one| format!("`{}`", one.display()))
            .collect();
        let why = format!(
            "there is no such file in {}; put it there, or correct `library`",
            folders.join(", ")
        );
        return wanted.is_declared.then_some(Err(why));
    };
    let settings = Settings {
        library,
        ..wanted.settings.clone()
    };
    Some(driver::open(
        &wanted.name,
        &settings,
        Path::new(OWN_PROGRAM),
    ))
}

/// A file that the configuration names; the reason fits into a problem of its line.
fn referred(path: &Path) -> std::io::Result<String> {
    let bytes = bytes(path)?;
    let too_large = bytes.len() as u64 > LARGEST_FILE;
    let no_text = || std::io::Error::other("it is no UTF-8 text");
    if too_large {
        return Err(std::io::Error::other("it is too large to be a table"));
    }
    String::from_utf8(bytes).map_err(|_| no_text())
}

/// Reads the text of a configuration file, and does not look into it.
///
/// # Errors
/// Where the file cannot be read, or is no text.
pub fn read_text(path: &Path) -> Result<String, LoadError> {
    let bytes = bytes(path).map_err(|error| unreadable(path, &error))?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(LoadError::TooLarge {
            path: path.to_owned(),
        });
    }
    String::from_utf8(bytes).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        LoadError::NotText {
            path: path.to_owned(),
            line: 1 + good.iter().filter(|byte| **byte == b'\n').count(),
        }
    })
}

fn unreadable(path: &Path, error: &std::io::Error) -> LoadError {
    let path = path.to_owned();
    match error.kind() {
        std::io::ErrorKind::NotFound => LoadError::Missing { path },
        std::io::ErrorKind::IsADirectory => LoadError::Folder { path },
        _ => LoadError::Unreadable {
            path,
            why: words::system(error),
        },
    }
}

fn bytes(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path)?;
    file.take(LARGEST_FILE + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

impl fmt::Display for LoadError {
    /// One line; for [`LoadError::Faulty`] one line per problem, each with the file's name.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing { path } => {
                let path = path.display();
                write!(
                    f,
                    "configuration `{path}`: there is no such file; check the path"
                )
            }
            Self::Folder { path } => {
                let path = path.display();
                write!(f, "configuration `{path}` is a folder; name the file in it")
            }
            Self::Unreadable { path, why } => {
                let path = path.display();
                write!(
                    f,
                    "configuration `{path}` cannot be read: {why}; check its owner and mode"
                )
            }
            Self::NotText { path, line } => {
                let path = path.display();
                write!(
                    f,
                    "{path}:{line}: this is no UTF-8 text; save the file as UTF-8"
                )
            }
            Self::TooLarge { path } => write!(
                f,
                "configuration `{}` has more than {} MiB; check the path",
                path.display(),
                LARGEST_FILE >> 20
            ),
            Self::Faulty { path, problems } => {
                let file = path.display().to_string();
                let lines: Vec<String> = problems
                    .iter()
                    .map(|problem| problem.in_file(&file).to_string())
                    .collect();
                f.write_str(&lines.join("\n"))
            }
        }
    }
}

impl std::error::Error for LoadError {}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn refused(name: &str, content: Option<&[u8]>) -> String {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        if let Some(content) = content {
            std::fs::write(&path, content).unwrap();
        }
        let shown = load(&path).unwrap_err().to_string();
        shown.replace(&folder.path().display().to_string(), "FOLDER")
    }

    #[test]
    fn a_file_that_cannot_be_used_is_named_with_the_reason() {
        insta::assert_snapshot!(refused("none.toml", None), @"configuration `FOLDER/none.toml`: there is no such file; check the path");
        insta::assert_snapshot!(refused("latin.toml", Some(b"site = \"a\"\nx = \"\xb0C\"\n")), @"FOLDER/latin.toml:2: this is no UTF-8 text; save the file as UTF-8");
        insta::assert_snapshot!(refused("", None), @"configuration `FOLDER/` is a folder; name the file in it");
        let large = vec![b'#'; usize::try_from(LARGEST_FILE).unwrap() + 1];
        insta::assert_snapshot!(refused("large.toml", Some(&large)), @"configuration `FOLDER/large.toml` has more than 4 MiB; check the path");
    }

    #[test]
    fn errors_stand_one_a_line_with_the_files_name() {
        insta::assert_snapshot!(refused("a.toml", Some(b"site = \"a b\"\nlog = 5\n")), @"
    FOLDER/a.toml:1:1: there is no `[probe.NAME]` table, so nothing would be read; add one for each probe
    FOLDER/a.toml:1:8: the name `a b` contains a space; a name is made of letters A to Z and a to z, digits, `_`, `.` and `-`
    FOLDER/a.toml:2:1: `log` must be a table, but is a whole number; write it as a table of its own: `[…]`
    ");
    }
}
