//! `nightbench driver new`: a folder with a driver that builds and passes its own test as it is, with
//! comments that say what to change.
//!
//! Everything is in the program, the interface included, so neither a network nor a clone of the
//! project is needed. Nothing that is there is changed.

mod files;

use super::Failure;
use crate::cli::written;
use crate::{driver, words};
use files::File;
use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// What the command is told.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The driver's name, as a probe will ask for it: small letters, digits and `_`
    #[arg(value_name = "NAME")]
    name: String,
    /// In C, not in Rust
    #[arg(long)]
    c: bool,
    /// Where the driver's folder is made
    #[arg(long, value_name = "DIR", default_value = ".")]
    folder: PathBuf,
    /// The interface's crate in a clone of the project, instead of a copy of it (Rust)
    #[arg(long, value_name = "DIR", conflicts_with = "c")]
    interface: Option<PathBuf>,
}

/// The longest name; it becomes part of file names.
const LONGEST: usize = 40;
/// Names that Rust or the folder's other files have already.
#[rustfmt::skip]
const TAKEN: [&str; 62] = [
    "abstract", "alloc", "as", "async", "await", "become", "box", "break", "build", "const",
    "continue", "core", "crate", "deps", "do", "driver", "dyn", "else", "enum", "examples", "extern",
    "false", "final", "fn", "for", "gen", "if", "impl", "in", "incremental", "let", "loop", "macro",
    "match", "mod", "move", "mut", "nightbench_driver", "override", "priv", "proc_macro", "published",
    "pub", "ref", "return", "self", "static", "std", "struct", "super", "test", "trait", "true", "try",
    "type", "typeof", "unsafe", "unsized", "use", "virtual", "where", "while",
];

/// Makes the folder, and says what to do next.
///
/// # Errors
/// Where the name is none, the folder is there already, or something cannot be written.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let name = &arguments.name;
    check(name).map_err(Failure::new)?;
    let files = match (arguments.c, &arguments.interface) {
        (true, _) => files::in_c(name),
        (false, None) => files::in_rust(name),
        (false, Some(path)) => files::in_rust_beside(name, &interface(path)?),
    };
    let folder = match arguments.folder.as_path() {
        here if here == Path::new(".") => PathBuf::from(name),
        elsewhere => elsewhere.join(name),
    };
    make(&folder, &files)?;
    let text = next(name, &folder, arguments.c);
    written(std::io::stdout().write_all(text.as_bytes()))
}

/// A name that can be a crate's, a file's and a driver's.
fn check(name: &str) -> Result<(), String> {
    let begins = name.starts_with(|c: char| c.is_ascii_lowercase());
    let rest = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
    if !begins || !name.chars().all(rest) || name.len() > LONGEST {
        return Err(format!(
            "`{}` cannot be a driver's name; take small letters, digits and `_`, a letter first, \
             {LONGEST} at most: `wind_vane`",
            name.escape_debug()
        ));
    }
    if TAKEN.contains(&name) {
        return Err(format!(
            "`{name}` is a word of the language or of the folder; take another name"
        ));
    }
    if driver::find(name).is_some() {
        return Err(format!("`{name}` is linked in already; take another name"));
    }
    Ok(())
}

/// The interface's crate, as a manifest elsewhere can name it.
fn interface(path: &Path) -> Result<PathBuf, Failure> {
    let shown = path.display();
    let there = path.join("Cargo.toml").is_file() && path.join("src/table.rs").is_file();
    let whole = path.canonicalize().ok().filter(|_| there);
    whole.ok_or_else(|| {
        Failure::new(format!(
            "`{shown}` is not the interface's crate; name the folder `sensors/interface` of a clone, \
             or leave `--interface` out"
        ))
    })
}

fn make(folder: &Path, files: &[File]) -> Result<(), Failure> {
    let shown = folder.display();
    fs::create_dir(folder).map_err(|error| {
        Failure::new(match error.kind() {
            ErrorKind::AlreadyExists => {
                format!("`{shown}` is there already and is left as it is; take another name, or remove it")
            }
            _ => format!("`{shown}` cannot be made: {}; name another `--folder`", words::system(&error)),
        })
    })?;
    files
        .iter()
        .try_for_each(|file| write(folder, file))
        .map_err(|error| {
            let why = words::system(&error);
            Failure::new(format!(
                "`{shown}` could not be written whole: {why}; remove it and try again"
            ))
        })
}

fn write(folder: &Path, file: &File) -> std::io::Result<()> {
    let path = folder.join(&file.path);
    path.parent().map_or(Ok(()), fs::create_dir_all)?;
    fs::write(path, &file.text)
}

fn next(name: &str, folder: &Path, c: bool) -> String {
    let folder = folder.display();
    let (language, build, library, model) = match c {
        true => (
            "C",
            "make check",
            format!("lib{name}.so"),
            format!("{name}.c"),
        ),
        false => (
            "Rust",
            "cargo test\n  cargo build --release",
            format!("target/release/lib{name}.so"),
            "src/lib.rs".to_owned(),
        ),
    };
    format!(
        "`{folder}` is a driver in {language}: the ratio of a potentiometer to an angle.\n\
         It is whole as it is:\n\n  cd {folder}\n  {build}\n  nightbench driver check {library}\n\n\
         Now make it yours: change what is marked (1) to (7) in {model}, then the points of its\n\
         test; README.md says how a probe uses it.\n"
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use insta::assert_snapshot;

    #[test]
    fn names_that_could_not_be_built_are_refused() {
        for name in ["vane", "wind_vane", "pt1000"] {
            assert_eq!(check(name), Ok(()), "{name}");
        }
        for name in [
            "",
            "1st",
            "_x",
            "Vane",
            "wind-vane",
            "a/b",
            "..",
            "fn",
            "test",
            "é",
            &"a".repeat(41),
        ] {
            assert!(check(name).is_err(), "{name}");
        }
        assert_snapshot!(check("Wind vane").unwrap_err(), @"`Wind vane` cannot be a driver's name; take small letters, digits and `_`, a letter first, 40 at most: `wind_vane`");
        assert_snapshot!(check("thermistor").unwrap_err(), @"`thermistor` is linked in already; take another name");
    }

    #[test]
    fn what_is_there_is_left_as_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let own = folder.path().join("vane");
        make(&own, &files::in_c("vane")).unwrap();
        fs::write(own.join("vane.c"), "mine").unwrap();
        assert!(make(&own, &files::in_c("vane")).is_err());
        assert_eq!(fs::read_to_string(own.join("vane.c")).unwrap(), "mine");
    }

    #[test]
    fn what_to_do_next_is_told() {
        assert_snapshot!(next("vane", Path::new("vane"), false), @"
    `vane` is a driver in Rust: the ratio of a potentiometer to an angle.
    It is whole as it is:

      cd vane
      cargo test
      cargo build --release
      nightbench driver check target/release/libvane.so

    Now make it yours: change what is marked (1) to (7) in src/lib.rs, then the points of its
    test; README.md says how a probe uses it.
    ");
    }
}
