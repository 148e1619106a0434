//! Which drivers' libraries there are for a configuration: those that it names, and what else lies in
//! its folders. For a person who looks; the service opens only what a probe asks for.

use super::drivers::{self, Wanted};
use super::glance;
use super::load::{LoadError, open, read_text};
use crate::driver::Driver;
use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

/// A library that is there, or that should be.
#[derive(Debug)]
pub struct Library {
    /// The name by which a probe would ask for it.
    pub name: String,
    /// Its file, where it is there; else the name of the file.
    pub file: PathBuf,
    /// The driver, or why there is none.
    pub driver: Result<Driver, String>,
}

/// Libraries in the order of their names, and what could not be looked into.
#[derive(Debug, Default)]
pub struct Libraries {
    /// The libraries.
    pub found: Vec<Library>,
    /// Folders that are not there or cannot be read, with the system's reason.
    pub unread: Vec<(PathBuf, std::io::Error)>,
}

/// Opens every library that a configuration names or that lies in one of its folders, each in a
/// process of its own. Other faults of the text are not told here.
///
/// # Errors
/// Where the configuration cannot be read.
pub fn libraries(path: &Path) -> Result<Libraries, LoadError> {
    let text = read_text(path)?;
    let base = path.parent().unwrap_or(Path::new(""));
    let (mut all, folders) = glance(&text, |root| drivers::all(root, base));
    let mut libraries = Libraries::default();
    for folder in &folders {
        match beside(folder, &all) {
            Ok(others) => all.extend(others),
            Err(error) => libraries.unread.push((folder.clone(), error)),
        }
    }
    let opened = all.iter().filter_map(|wanted| {
        Some(Library {
            name: wanted.name.clone(),
            file: place(wanted),
            driver: open(wanted)?,
        })
    });
    libraries.found = opened.collect();
    libraries
        .found
        .sort_by(|one, other| one.name.cmp(&other.name));
    Ok(libraries)
}

/// Libraries in a folder that are not among those that were found so far.
fn beside(folder: &Path, known: &[Wanted]) -> std::io::Result<Vec<Wanted>> {
    let known: BTreeSet<&str> = known.iter().map(|wanted| wanted.file.as_str()).collect();
    let entries = fs::read_dir(folder)?;
    let names = entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok());
    let others = names.filter(|file| !known.contains(file.as_str()));
    Ok(others
        .filter_map(|file| {
            let name = file.strip_prefix("lib")?.strip_suffix(".so")?;
            let named = super::name::name("driver", name).is_ok();
            named.then(|| Wanted::new(name, &[folder.to_owned()]))
        })
        .collect())
}

fn place(wanted: &Wanted) -> PathBuf {
    let places = wanted
        .folders
        .iter()
        .map(|folder| folder.join(&wanted.file));
    let there = places
        .into_iter()
        .find(|path| path.symlink_metadata().is_ok());
    there.unwrap_or_else(|| PathBuf::from(OsStr::new(&wanted.file)))
}
