//! The folder that a log stands in: made where only the last one is missing.
//!
//! On a path with more missing a disk is not mounted, and readings would fill the one below it.

use super::LogError;
use std::path::{Path, PathBuf};

/// The folder furthest up that is missing above this one; `None` where this one can be made.
#[must_use]
pub fn missing_above(folder: &Path) -> Option<PathBuf> {
    let above = folder.ancestors().skip(1);
    let named = above.filter(|folder| !folder.as_os_str().is_empty());
    let missing = named.filter(|folder| !folder.exists());
    missing.last().map(Path::to_owned)
}

pub(super) fn make(log: &Path) -> Result<(), LogError> {
    if log.is_dir() {
        return Err(LogError::IsAFolder);
    }
    let folder = log.parent().unwrap_or(Path::new(""));
    if folder.as_os_str().is_empty() || folder.exists() {
        return Ok(());
    }
    match missing_above(folder) {
        Some(missing) => Err(LogError::NoFolder(missing)),
        None => Ok(std::fs::create_dir(folder)?),
    }
}
