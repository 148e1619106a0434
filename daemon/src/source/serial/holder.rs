//! Who holds a device, and which group owns it: for messages only, by best effort.
//!
//! Another user's descriptors cannot be seen without privilege; then nobody is named.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// A process that has a device open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Holder {
    /// Its number.
    pub process: u32,
    /// Its name, as the kernel keeps it (15 bytes at most).
    pub name: String,
    /// Whether it is this very process.
    pub is_this_program: bool,
}

/// The first process that has `device` (a resolved path) open. Reads all of `/proc`: some
/// milliseconds.
#[must_use]
pub fn find_holder(device: &Path) -> Option<Holder> {
    let process = fs::read_dir("/proc")
        .ok()?
        .filter_map(|entry| entry.ok()?.file_name().to_str()?.parse().ok())
        .find(|process: &u32| has_open(*process, device))?;
    let name = fs::read_to_string(format!("/proc/{process}/comm")).unwrap_or_default();
    Some(Holder {
        process,
        name: name.trim().to_owned(),
        is_this_program: process == std::process::id(),
    })
}

/// The name of the group that owns a device; its number, where it has no name in `/etc/group`.
#[must_use]
pub fn owning_group(device: &Path) -> Option<String> {
    let number = fs::metadata(device).ok()?.gid();
    let groups = fs::read_to_string("/etc/group").unwrap_or_default();
    Some(group_name(&groups, number).unwrap_or_else(|| number.to_string()))
}

fn has_open(process: u32, device: &Path) -> bool {
    fs::read_dir(format!("/proc/{process}/fd")).is_ok_and(|descriptors| {
        descriptors
            .filter_map(Result::ok)
            .any(|entry| fs::read_link(entry.path()).is_ok_and(|target| target == device))
    })
}

/// Looks a number up in the text of a group file: `name:password:number:members` (group(5)).
fn group_name(groups: &str, number: u32) -> Option<String> {
    groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let (name, _password, found) = (fields.next()?, fields.next()?, fields.next()?);
        (found.parse() == Ok(number)).then(|| name.to_owned())
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_held_file_is_traced_to_its_process() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let path = file.path().canonicalize().unwrap();
        let holder = find_holder(&path).unwrap();
        assert_eq!(holder.process, std::process::id());
        assert!(holder.is_this_program);
        assert!(!holder.name.is_empty());
        let path = file.into_temp_path();
        assert_eq!(find_holder(&path.canonicalize().unwrap()), None);
    }

    #[test]
    fn groups_are_found_by_number() {
        let groups = "root:x:0:\nbroken line\ndialout:x:20:me,you\n";
        assert_eq!(group_name(groups, 20).as_deref(), Some("dialout"));
        assert_eq!(group_name(groups, 0).as_deref(), Some("root"));
        assert_eq!(group_name(groups, 7), None);
    }

    #[test]
    fn a_missing_device_has_no_group() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(owning_group(&folder.path().join("ttyUSB0")), None);
    }
}
