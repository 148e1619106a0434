//! `[drivers]` and `[driver.NAME]`: drivers that come from shared libraries.
//!
//! A configuration can only be checked with what its drivers say of themselves. So it is read twice:
//! [`wanted`] tells which libraries it names, somebody opens them, and what came of that is handed to
//! the checking as [`Drivers`]. Nothing is opened here.

use super::item::{Item, Value};
use super::name::name;
use super::problem::Fault;
use super::reader::Table;
use super::words;
use crate::driver::{self, Driver, Settings};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Shorter is less than a busy host's scheduler takes, longer holds the other probes up for too long.
const DEADLINE: RangeInclusive<Duration> = Duration::from_millis(20)..=Duration::from_secs(2);
const DEFAULT_DEADLINE: Duration = Duration::from_millis(250);
/// Bytes; a driver computes, and keeps nothing.
const MEMORY: RangeInclusive<u64> = 1 << 20..=1 << 30;
const DEFAULT_MEMORY: u64 = 64 << 20;

/// What became of the libraries that a configuration names, by the driver's name.
#[derive(Debug, Default)]
pub(super) struct Drivers(BTreeMap<String, Opened>);

/// What became of one.
#[derive(Debug)]
pub(super) struct Opened {
    /// The library's file name, for people.
    file: String,
    /// Whether a table of its own asks for it, which then tells what is wrong.
    is_declared: bool,
    /// The driver, or why there is none.
    driver: Result<Driver, String>,
}

/// A library that a configuration names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Wanted {
    /// The driver's name.
    pub(super) name: String,
    /// File name of the library.
    pub(super) file: String,
    /// Whether a table of its own asks for it; else there may be none, as for a linked-in driver.
    pub(super) is_declared: bool,
    /// Where it is looked for, in this order.
    pub(super) folders: Vec<PathBuf>,
    /// How it is run; where the file is, is still open.
    pub(super) settings: Settings,
}

impl Drivers {
    /// Adds what became of one.
    pub(super) fn add(&mut self, wanted: &Wanted, driver: Result<Driver, String>) {
        let opened = Opened {
            file: wanted.file.clone(),
            is_declared: wanted.is_declared,
            driver,
        };
        self.0.insert(wanted.name.clone(), opened);
    }

    /// Every driver there is, by its name, loaded or linked in.
    pub(super) fn names(&self) -> Vec<&str> {
        let linked = driver::built_in().into_iter();
        let linked = linked.map(|driver| -> &str { driver.name() });
        let loaded = self.0.iter().filter(|(_, opened)| opened.driver.is_ok());
        let loaded = loaded.map(|(name, _)| name.as_str());
        linked
            .filter(|name| !self.0.contains_key(*name))
            .chain(loaded)
            .collect()
    }

    /// The driver of this name; a loaded one takes the place of one that is linked in. `None` where
    /// there is none, or where its library's fault was told.
    pub(super) fn find(&self, item: &Item<'_>, name: &str, all: &str) -> Value<Driver> {
        match self.0.get(name) {
            Some(Opened {
                driver: Ok(driver), ..
            }) => Some(*driver),
            Some(opened) if opened.is_declared => None,
            Some(Opened {
                driver: Err(why),
                file,
                ..
            }) => item.refuse(library_fault(file, why)),
            None => driver::find(name).or_else(|| {
                let names = self.names();
                let list = format!("it is one of {}", words::list(&names));
                item.refuse(item.not_among(name, &names, list, all))
            }),
        }
    }
}

/// Why a library gives no driver. The reason says what to do after its last semicolon.
fn library_fault(file: &str, why: &str) -> Fault {
    let (what, right) = why.rsplit_once("; ").unwrap_or((why, "tell its maker"));
    Fault::new(format!("`{file}`: {what}"), right)
}

/// The libraries that a configuration names: those with a table of their own, and `lib<name>.so` for
/// each name that no linked-in driver has. Nothing is reported here: [`read`] does.
pub(super) fn wanted(root: &Table<'_>, base: &Path) -> Vec<Wanted> {
    let folders = folders(root, base).unwrap_or_default();
    let mut all: Vec<Wanted> = declared(root, &folders).into_iter().flatten().collect();
    for (_, probe) in root.named("probe", "probe") {
        let named = probe.item("driver").and_then(|item| item.text_if_text());
        let Some(driver_name) = named.filter(|text| name("driver", text).is_ok()) else {
            continue;
        };
        let known =
            driver::find(driver_name).is_some() || all.iter().any(|one| one.name == driver_name);
        if !known && !folders.is_empty() {
            all.push(Wanted::new(driver_name, &folders));
        }
    }
    all
}

/// All libraries that a configuration names, and the folders in which others may lie.
pub(super) fn all(root: &Table<'_>, base: &Path) -> (Vec<Wanted>, Vec<PathBuf>) {
    (wanted(root, base), folders(root, base).unwrap_or_default())
}

/// Reports what is wrong with the two tables.
pub(super) fn read(root: &Table<'_>, base: &Path, drivers: &Drivers) {
    let folders = folders(root, base).unwrap_or_default();
    for (name, table) in root.named("driver", "driver") {
        let right = one(&name, &table, &folders).is_some();
        table.end();
        if folders.is_empty() {
            let what = "no folder is named in which its library could be";
            table.error(Fault::new(
                what,
                "add `[drivers]` with `folders = [\"drivers\"]`",
            ));
        } else if right && !drivers.0.contains_key(&name) {
            let what = "its library was not opened, as this text stands in no file";
            table.error(Fault::new(what, "write it into a file, and check that"));
        } else if let Some(Opened {
            driver: Err(why),
            file,
            ..
        }) = drivers.0.get(&name)
        {
            table.error(library_fault(file, why));
        }
    }
}

fn folders(root: &Table<'_>, base: &Path) -> Value<Vec<PathBuf>> {
    let Some(table) = root.item("drivers").and_then(|_| root.table("drivers")) else {
        return Some(Vec::new());
    };
    let example = "folders = [\"drivers\"]";
    let folders = table.required("folders", "[\"drivers\"]", |item| {
        item.each("a list of folders", example, |folder| folder.path(base))
    });
    table.end();
    folders
}

fn declared(root: &Table<'_>, folders: &[PathBuf]) -> Vec<Option<Wanted>> {
    if folders.is_empty() {
        return Vec::new();
    }
    let tables = root.named("driver", "driver").into_iter();
    tables
        .map(|(name, table)| one(&name, &table, folders))
        .collect()
}

impl Wanted {
    /// `lib<name>.so` in one of these folders, run as without a table of its own.
    pub(super) fn new(name: &str, folders: &[PathBuf]) -> Self {
        let file = format!("lib{name}.so");
        Self {
            name: name.to_owned(),
            is_declared: false,
            folders: folders.to_vec(),
            settings: Settings {
                library: PathBuf::from(&file),
                sha256: None,
                in_process: false,
                deadline: DEFAULT_DEADLINE,
                memory: DEFAULT_MEMORY,
            },
            file,
        }
    }
}

/// `[driver.NAME]`.
fn one(name: &str, table: &Table<'_>, folders: &[PathBuf]) -> Option<Wanted> {
    let wanted = Wanted::new(name, folders);
    let file = table.or("library", wanted.file.clone(), file_name);
    let sha256 = table.optional("sha256", fingerprint);
    let in_process = table.or("in_process", false, Item::flag);
    let deadline = table.or("deadline", DEFAULT_DEADLINE, |item| item.duration(DEADLINE));
    let memory = table.or("memory", DEFAULT_MEMORY, |item| item.size(MEMORY));
    let file = file?;
    Some(Wanted {
        is_declared: true,
        settings: Settings {
            library: PathBuf::from(&file),
            sha256: sha256?,
            in_process: in_process?,
            deadline: deadline?,
            memory: memory?,
        },
        file,
        ..wanted
    })
}

/// A file in one of the folders, and in no other place.
fn file_name(item: &Item<'_>) -> Value<String> {
    let text = item.filled()?;
    let plain = !text.contains(['/', '\0']) && text != "." && text != "..";
    if plain {
        return Some(text.to_owned());
    }
    let what = format!("`{text}` is no file name");
    let right = "name a file in one of the `folders` of `[drivers]`: `\"libsunny.so\"`";
    item.refuse(Fault::new(what, right))
}

fn fingerprint(item: &Item<'_>) -> Value<String> {
    let text = item.text()?;
    if text.len() == 64 && text.chars().all(|c| c.is_ascii_hexdigit()) {
        return Some(text.to_ascii_lowercase());
    }
    let what = "this is no SHA-256";
    let right = "write the 64 digits that `sha256sum` prints for the library";
    item.refuse(Fault::new(what, right))
}
