//! What the journal is told of loaded drivers: which libraries run, and what they did wrong.

use crate::clock;
use crate::config::Config;
use crate::driver::{Driver, take_notes};
use crate::log::{Batch, Entry, Kind, Loudness};
use crate::reading::Moment;

/// Digits of a SHA-256 that tell two libraries apart for a person.
const SHOWN: usize = 12;

/// What loaded drivers did wrong since.
pub(super) fn noted() -> Batch {
    let notes = take_notes();
    if notes.is_empty() {
        return Batch::default();
    }
    let now = clock::now();
    let entry = |note: crate::driver::Note| {
        let loudness = if note.is_failure {
            Loudness::Warning
        } else {
            Loudness::Info
        };
        Entry::new(now, Kind::Driver, note.driver, note.text).loud(loudness)
    };
    Batch {
        entries: notes.into_iter().map(entry).collect(),
        ..Batch::default()
    }
}

/// The libraries of a configuration's drivers: all, or those that another one did not have.
pub(super) fn loaded(config: &Config, before: Option<&Config>, now: Moment) -> Batch {
    let old = before.map(drivers).unwrap_or_default();
    let all = drivers(config).into_iter();
    let new = all.filter(|driver| !old.contains(driver));
    let entries = new.filter_map(|driver| {
        let (path, sha256) = driver.library()?;
        let was = old.iter().find(|one| one.name() == driver.name());
        let was = was
            .and_then(|one| one.library())
            .filter(|(_, other)| *other != sha256);
        let was = was.map_or(String::new(), |(_, other)| {
            format!("; the one before had {}", short(other))
        });
        let (name, path) = (driver.name(), path.display());
        let text = format!(
            "driver `{name}`: `{path}` taken, SHA-256 {}{was}",
            short(sha256)
        );
        Some(Entry::new(now, Kind::Driver, name, text))
    });
    Batch {
        entries: entries.collect(),
        ..Batch::default()
    }
}

/// Each driver once.
fn drivers(config: &Config) -> Vec<Driver> {
    let mut drivers: Vec<Driver> = Vec::new();
    for probe in &config.probes {
        if !drivers.contains(&probe.driver) {
            drivers.push(probe.driver);
        }
    }
    drivers
}

fn short(sha256: &str) -> String {
    format!("{}…", sha256.get(..SHOWN).unwrap_or(sha256))
}
