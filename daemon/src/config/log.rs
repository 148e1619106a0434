//! `[log]`: where readings are kept.

use super::item::Value;
use super::problem::Fault;
use super::reader::Table;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// `[log]`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Log {
    /// The SQLite file; relative paths are relative to the configuration file's folder.
    pub path: PathBuf,
    /// How often the log commits: what a power cut can take. 100 ms to 60 s, default 2 s.
    pub commit: Duration,
}

/// Shorter wears a memory card out, longer loses more than a person expects.
const COMMIT: std::ops::RangeInclusive<Duration> =
    Duration::from_millis(100)..=Duration::from_secs(60);
const DEFAULT_COMMIT: Duration = Duration::from_secs(2);

/// Reads `[log]` under the top of the file.
pub(super) fn read(root: &Table<'_>, base: &Path) -> Value<Log> {
    if root.item("log").is_none() {
        let right = "add one with the file that readings are kept in: `path = \"night.sqlite\"`";
        root.missing("log", Fault::new("there is no `[log]` table", right));
    }
    let table = root.table("log")?;
    let path = table.required("path", "\"night.sqlite\"", |item| item.path(base));
    let commit = table.or("commit", DEFAULT_COMMIT, |item| item.duration(COMMIT));
    table.end();
    Some(Log {
        path: path?,
        commit: commit?,
    })
}
