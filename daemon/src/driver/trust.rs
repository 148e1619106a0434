//! Whether a library is one that nobody but root and this service's user could have put there.
//!
//! Owners and modes of the file and of every folder above it are looked at; access lists are not.
//! Code that is loaded runs as this user, in its child process at best, so a file that a stranger
//! may write would be a stranger's way in.

use crate::words;
use rustix::process::geteuid;
use std::fs::{File, Metadata};
use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// Writable by group or others.
const WRITABLE: u32 = 0o022;
/// Only the owner may rename or remove what lies in such a folder.
const STICKY: u32 = 0o1000;

/// Fine, or why the file is not trusted, with what to do. `path` is absolute and without links, and
/// that of the open `file`.
pub(super) fn check(path: &Path, file: &File) -> Result<(), String> {
    let unread = |error: &io::Error| format!("it cannot be looked at: {}", words::system(error));
    let metadata = file.metadata().map_err(|error| unread(&error))?;
    if !metadata.is_file() {
        return Err("it is no file".to_owned());
    }
    judge(&Found::of(&metadata), "it", path, geteuid().as_raw())?;
    path.parent().map_or(Ok(()), check_folder)
}

/// The same for a folder in which a library is looked for, absolute and without links.
pub(super) fn check_folder(folder: &Path) -> Result<(), String> {
    for folder in folder.ancestors() {
        let unread =
            |error: io::Error| format!("it cannot be looked at: {}", words::system(&error));
        let metadata = folder.metadata().map_err(unread)?;
        let found = Found::of(&metadata);
        let what = format!("its folder `{}`", folder.display());
        if found.mode & STICKY == 0 || found.owner != 0 {
            judge(&found, &what, folder, geteuid().as_raw())?;
        }
    }
    Ok(())
}

/// What is looked at.
struct Found {
    owner: u32,
    mode: u32,
}

impl Found {
    fn of(metadata: &Metadata) -> Self {
        Self {
            owner: metadata.uid(),
            mode: metadata.mode(),
        }
    }
}

fn judge(found: &Found, what: &str, path: &Path, us: u32) -> Result<(), String> {
    let path = path.display();
    if found.owner != 0 && found.owner != us {
        let (owner, right) = (found.owner, format!("`chown root {path}`"));
        return Err(format!(
            "{what} belongs to another user (number {owner}), who could change it; {right}"
        ));
    }
    if found.mode & WRITABLE != 0 {
        let who = match found.mode & WRITABLE {
            0o020 => "its group",
            _ => "everybody",
        };
        return Err(format!(
            "{what} may be written by {who}; `chmod go-w {path}`"
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use insta::assert_snapshot;
    use std::fs;
    use std::os::unix::fs::PermissionsExt;

    fn judged(owner: u32, mode: u32) -> String {
        let found = Found { owner, mode };
        let judged = judge(&found, "it", Path::new("/d/libsunny.so"), 107);
        judged.err().unwrap_or_else(|| "fine".to_owned())
    }

    #[test]
    fn only_roots_and_our_own_are_trusted_and_only_where_nobody_else_writes() {
        assert_eq!(judged(0, 0o100_644), "fine");
        assert_eq!(judged(107, 0o100_755), "fine");
        assert_snapshot!(judged(1000, 0o100_644), @"it belongs to another user (number 1000), who could change it; `chown root /d/libsunny.so`");
        assert_snapshot!(judged(0, 0o100_664), @"it may be written by its group; `chmod go-w /d/libsunny.so`");
        assert_snapshot!(judged(107, 0o100_646), @"it may be written by everybody; `chmod go-w /d/libsunny.so`");
    }

    #[test]
    fn the_folder_counts_as_the_file_does() {
        let top = tempfile::tempdir().unwrap();
        let folder = top.path().canonicalize().unwrap().join("drivers");
        fs::create_dir(&folder).unwrap();
        let path = folder.join("libsunny.so");
        fs::write(&path, "x").unwrap();
        let check = || check(&path, &File::open(&path).unwrap());
        fs::set_permissions(&folder, fs::Permissions::from_mode(0o755)).unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        assert_eq!(check(), Ok(()));
        fs::set_permissions(&folder, fs::Permissions::from_mode(0o777)).unwrap();
        let why = check().unwrap_err();
        assert!(
            why.contains("drivers` may be written by everybody; `chmod go-w"),
            "{why}"
        );
    }
}
