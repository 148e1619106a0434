//! What the log's folder is mounted from, and how: some file systems forget, some lie.
//!
//! Source of the two options of ext4: Linux, Documentation/admin-guide/ext4.rst (from memory). Two
//! databases were lost to `data=writeback` with `commit=600` on a vendor's image.

use crate::doctor::finding::Finding;
use std::path::Path;

/// A line of the kernel's table of mounts.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Mount {
    device: String,
    point: String,
    kind: String,
    options: Vec<String>,
}

/// Longest time between two commits of the file system's own journal, s, before it is told.
const LONGEST_COMMIT_S: u64 = 60;

/// File systems of other hosts: SQLite's write-ahead log needs memory that all its users share.
const NETWORK: &[&str] = &[
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "afs",
    "ceph",
    "9p",
    "fuse.sshfs",
    "fuse.glusterfs",
    "fuse.rclone",
];

/// What it says of the mount that a folder lies on.
pub fn examine(place: &str, folder: &Path) -> Vec<Finding> {
    let mounts = std::fs::read_to_string("/proc/self/mounts").unwrap_or_default();
    match under(&mounts, folder) {
        Some(mount) => judge(place, &mount),
        None => vec![Finding::advice(
            place,
            "what its folder is mounted from cannot be seen",
            "make sure that it is a local disk",
        )],
    }
}

fn judge(place: &str, mount: &Mount) -> Vec<Finding> {
    let mut findings = vec![kind(place, mount)];
    findings.extend(
        mount
            .options
            .iter()
            .filter_map(|it| option(place, mount, it)),
    );
    findings
}

fn kind(place: &str, mount: &Mount) -> Finding {
    let Mount { kind, point, .. } = mount;
    let on = format!("it lies on `{point}`, of kind {kind}");
    match &**kind {
        kind if NETWORK.contains(&kind) => Finding::wrong(
            place,
            format!("{on}: the log does not work over a network, and can be damaged"),
            "put it on a local disk, and copy it from there",
        ),
        "tmpfs" | "ramfs" => Finding::wrong(
            place,
            format!("{on}, in memory: it is gone after a restart of the host"),
            "choose another `path` in `[log]`, on a disk",
        ),
        "overlay" => Finding::advice(
            place,
            format!("{on}: it is gone with the container, or after a restart of the host"),
            "put it on a volume or a disk",
        ),
        "vfat" | "exfat" | "msdos" => Finding::advice(
            place,
            format!("{on}, which has no journal: a power cut can take whole files with it"),
            "put it on a file system with a journal, such as ext4",
        ),
        _ => Finding::ok(place, on),
    }
}

fn option(place: &str, mount: &Mount, option: &str) -> Option<Finding> {
    let Mount { point, device, .. } = mount;
    let on = format!("`{point}` is mounted with `{option}`");
    match option.split_once('=') {
        None if option == "ro" => Some(Finding::wrong(
            place,
            format!("{on}: nothing can be written"),
            "read `sudo dmesg`: the kernel does this to a failing disk; else \
             `sudo mount -o remount,rw` it",
        )),
        None if option == "sync" => Some(Finding::advice(
            place,
            format!("{on}: every write wears the medium, where one a commit would do"),
            "take it out of `/etc/fstab`: the log syncs by itself",
        )),
        Some(("data", "writeback")) => Some(Finding::wrong(
            place,
            format!("{on}: after a power cut, files can hold what was never written to them"),
            format!(
                "take it out of `/etc/fstab`, or out of the disk itself: \
                 `sudo tune2fs -o ^journal_data_writeback {device}`"
            ),
        )),
        Some(("commit", seconds)) if seconds.parse().is_ok_and(|it: u64| it > LONGEST_COMMIT_S) => {
            Some(Finding::advice(
                place,
                format!("{on}: a power cut takes what was done to files in the last {seconds} s"),
                "take it out of `/etc/fstab`",
            ))
        }
        _ => None,
    }
}

/// The mount that a resolved path lies on; of two at one point the later one covers the earlier.
fn under(mounts: &str, path: &Path) -> Option<Mount> {
    let mounts = mounts.lines().filter_map(mount);
    mounts
        .filter(|mount| path.starts_with(&mount.point))
        .max_by_key(|mount| Path::new(&mount.point).components().count())
}

/// Source: fstab(5): device, point, kind, options; blanks are written as `\040`.
fn mount(line: &str) -> Option<Mount> {
    let mut fields = line.split(' ').map(unescaped);
    Some(Mount {
        device: fields.next()?,
        point: fields.next()?,
        kind: fields.next()?,
        options: fields.next()?.split(',').map(str::to_owned).collect(),
    })
}

fn unescaped(field: &str) -> String {
    let escapes = [
        (r"\040", " "),
        (r"\011", "\t"),
        (r"\012", "\n"),
        (r"\134", "\\"),
    ];
    escapes
        .iter()
        .fold(field.to_owned(), |text, (from, to)| text.replace(from, to))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::doctor::finding::Severity::{self, Advice, Ok, Wrong};

    fn severities(kind: &str, options: &str) -> Vec<Severity> {
        let line = format!("/dev/mmcblk0p2 /data {kind} {options} 0 0");
        let findings = judge("log", &mount(&line).unwrap());
        findings.iter().map(|it| it.severity).collect()
    }

    #[test]
    fn kinds_and_options_are_judged_by_what_they_do_to_a_log() {
        let table: &[(&str, &str, &[Severity])] = &[
            ("ext4", "rw,noatime,errors=remount-ro", &[Ok]),
            ("ext4", "rw,commit=60,data=ordered", &[Ok]),
            ("ext4", "rw,commit=600,data=writeback", &[Ok, Advice, Wrong]),
            ("ext4", "rw,sync", &[Ok, Advice]),
            ("ext4", "ro", &[Ok, Wrong]),
            ("nfs4", "rw", &[Wrong]),
            ("cifs", "rw", &[Wrong]),
            ("fuse.sshfs", "rw", &[Wrong]),
            ("tmpfs", "rw", &[Wrong]),
            ("overlay", "rw", &[Advice]),
            ("vfat", "rw", &[Advice]),
            ("btrfs", "rw,commit=soon", &[Ok]),
        ];
        for (kind, options, expected) in table {
            assert_eq!(severities(kind, options), *expected, "{kind} {options}");
        }
    }

    #[test]
    fn the_deepest_and_latest_mount_is_the_one_a_folder_lies_on() {
        let mounts = "/dev/sda1 / ext4 rw 0 0\n/dev/sdb1 /my\\040data ext4 rw 0 0\n\
                      tmpfs /my\\040data tmpfs rw 0 0\nx /my btrfs rw 0 0\nshort\n";
        let kind = |path| under(mounts, Path::new(path)).map(|mount| mount.kind);
        assert_eq!(kind("/my data/night").as_deref(), Some("tmpfs"));
        assert_eq!(kind("/my dat").as_deref(), Some("ext4"));
        assert_eq!(kind("/my/x").as_deref(), Some("btrfs"));
        assert_eq!(under("", Path::new("/x")), None);
    }
}
