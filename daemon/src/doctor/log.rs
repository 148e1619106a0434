//! The log, and the medium under it: writable, of a kind that keeps what it is given, with room for
//! the night, sound. Changes nothing in the log, and takes no lock.

mod file;
mod medium;
mod rate;
mod space;

use super::finding::Finding;
use super::host::{self, Process};
use crate::config::Config;
use crate::outlet::words;
use std::path::{Path, PathBuf};

/// The service that writes to a log, where one runs.
#[must_use]
pub fn writer(log: &Path) -> Option<Process> {
    let mut lock = log.as_os_str().to_owned();
    lock.push(".lock");
    host::lock_holder(Path::new(&lock))
}

/// Looks at the log of a configuration. Waits for the medium: not for a task that others wait for.
#[must_use]
pub fn examine(config: &Config, writer: Option<&Process>) -> Vec<Finding> {
    let log = &config.log.path;
    let place = format!("log `{}`", log.display());
    let folder = folder_of(log);
    let mut findings = vec![folder_finding(&place, &folder)];
    findings.extend(medium::examine(&place, &folder));
    findings.extend(space::examine(&place, &folder, rate::of(config)));
    findings.extend(file::examine(&place, log, writer));
    findings
}

/// The folder that a file lies in, or the nearest one above it that is there: the service makes
/// those between.
fn folder_of(file: &Path) -> PathBuf {
    let file = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    let there = file.ancestors().skip(1).find(|folder| folder.is_dir());
    let folder = there.unwrap_or(Path::new("/"));
    folder.canonicalize().unwrap_or_else(|_| folder.to_owned())
}

fn folder_finding(place: &str, folder: &Path) -> Finding {
    let shown = folder.display();
    match host::try_writing(folder) {
        Ok(()) => Finding::ok(place, format!("its folder `{shown}` can be written to")),
        Err(error) => Finding::wrong(
            place,
            format!(
                "its folder `{shown}` cannot be written to: {}",
                words(&error)
            ),
            "check the folder's owner and mode, and the disk's space and state",
        ),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_folder_above_a_log_is_the_one_that_counts() {
        let folder = tempfile::tempdir().unwrap();
        let real = folder.path().canonicalize().unwrap();
        assert_eq!(folder_of(&folder.path().join("a.sqlite")), real);
        assert_eq!(folder_of(&folder.path().join("not/yet/a.sqlite")), real);
        assert_eq!(
            folder_of(Path::new("a.sqlite")),
            Path::new(".").canonicalize().unwrap()
        );
    }
}
