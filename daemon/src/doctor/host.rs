//! What the checks ask the host for: files of the kernel and of udev, short answers of programs,
//! locks, users. Asks only; what an answer means is judged beside each check.

use rustix::process::geteuid;
use std::fs::{self, File};
use std::io::{self, Write};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;
use tokio::process::Command;
use tokio::time::timeout;

/// A program that answers from memory does so in milliseconds.
const ANSWERS_WITHIN: Duration = Duration::from_secs(3);

/// Where `dev`, `etc`, `lib`, `run` and `sys` are looked for.
#[derive(Clone, Debug)]
pub struct Host {
    root: PathBuf,
}

impl Host {
    /// The host whose folders lie below `root`; `/` for this one.
    #[must_use]
    pub fn below(root: PathBuf) -> Self {
        Self { root }
    }

    /// The folder that the others lie in.
    #[must_use]
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// A path below the root: `sys/class/rtc`.
    #[must_use]
    pub fn path(&self, path: &str) -> PathBuf {
        self.root.join(path)
    }

    /// Whether it is this very host, whose programs can be asked.
    #[must_use]
    pub fn is_this_one(&self) -> bool {
        self.root == Path::new("/")
    }
}

/// What a program says on stdout, without the last line's end; `None` where it is not there, does
/// not answer in time, or says nothing. Its exit code does not matter: `systemctl` tells states
/// with it.
pub async fn ask(program: &str, arguments: &[&str]) -> Option<String> {
    let mut command = Command::new(program);
    command.args(arguments).stdin(Stdio::null());
    command.stderr(Stdio::null()).kill_on_drop(true);
    let output = timeout(ANSWERS_WITHIN, command.output()).await.ok()?.ok()?;
    let text = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    (!text.is_empty()).then_some(text)
}

/// A process, by number and name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Process {
    /// Its number.
    pub id: u32,
    /// Its name, as the kernel keeps it.
    pub name: String,
}

/// Who holds the advisory lock of a file, whoever's process it is. Takes no lock itself: a service
/// that starts meanwhile would be refused.
#[must_use]
pub fn lock_holder(file: &Path) -> Option<Process> {
    let inode = fs::metadata(file).ok()?.ino();
    let locks = fs::read_to_string("/proc/locks").ok()?;
    let id = lock_holder_in(&locks, inode)?;
    let name = fs::read_to_string(format!("/proc/{id}/comm")).unwrap_or_default();
    Some(Process {
        id,
        name: name.trim().to_owned(),
    })
}

/// Source: proc_locks(5): `1: FLOCK ADVISORY WRITE 812 08:01:1234 0 EOF`; `->` marks one that waits.
/// The device is not compared: several file systems show another one there than `stat` does.
fn lock_holder_in(locks: &str, inode: u64) -> Option<u32> {
    locks.lines().find_map(|line| {
        let mut fields = line.split_whitespace().skip(1);
        if fields.next()? != "FLOCK" {
            return None;
        }
        let (process, file) = (fields.nth(2)?, fields.next()?);
        let found = file.rsplit(':').next()?.parse() == Ok(inode);
        found.then(|| process.parse().ok()).flatten()
    })
}

/// Whether a process of this name runs.
#[must_use]
pub fn runs(name: &str) -> bool {
    let processes = fs::read_dir("/proc").into_iter().flatten();
    processes.flatten().any(|process| {
        fs::read_to_string(process.path().join("comm")).is_ok_and(|it| it.trim() == name)
    })
}

/// The user who runs this: the name, or the number where it has none in `/etc/passwd`.
#[must_use]
pub fn user() -> String {
    let number = geteuid().as_raw().to_string();
    let users = fs::read_to_string("/etc/passwd").unwrap_or_default();
    let name = users.lines().find_map(|line| {
        let mut fields = line.split(':');
        let (name, _password, found) = (fields.next()?, fields.next()?, fields.next()?);
        (found == number).then(|| name.to_owned())
    });
    name.unwrap_or(number)
}

/// Whether this user passes every permission check.
#[must_use]
pub fn is_root() -> bool {
    geteuid().is_root()
}

/// Writes a file into a folder, down to the medium, and takes it away again.
///
/// # Errors
/// What the operating system says.
pub fn try_writing(folder: &Path) -> io::Result<()> {
    // Several are tried at the same time, and may lie in one folder.
    static TRIED: AtomicU32 = AtomicU32::new(0);
    let (process, turn) = (std::process::id(), TRIED.fetch_add(1, Ordering::Relaxed));
    let path = folder.join(format!(".nightbench-doctor-{process}-{turn}"));
    let mut file = File::options().create_new(true).write(true).open(&path)?;
    let written = file.write_all(b"written to see whether it can be\n");
    let written = written.and_then(|()| file.sync_all());
    fs::remove_file(&path)?;
    written
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_holder_of_a_lock_is_read_from_the_kernels_table() {
        let table = "1: POSIX  ADVISORY  READ 27300 fe:00:77 128 128\n\
                     2: -> FLOCK  ADVISORY  WRITE 5 fe:00:88 0 EOF\n\
                     3: FLOCK  ADVISORY  WRITE 24978 fe:00:88 0 EOF\nbroken\n";
        for (inode, holder) in [(88, Some(24978)), (77, None), (9, None)] {
            assert_eq!(lock_holder_in(table, inode), holder, "{inode}");
        }
    }

    #[test]
    fn a_lock_of_this_process_is_seen() {
        let file = tempfile::NamedTempFile::new().unwrap();
        assert_eq!(lock_holder(file.path()), None);
        file.as_file().try_lock().unwrap();
        assert_eq!(lock_holder(file.path()).unwrap().id, std::process::id());
    }

    #[test]
    fn trying_to_write_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        try_writing(folder.path()).unwrap();
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
        assert!(try_writing(&folder.path().join("none")).is_err());
    }

    #[test]
    fn two_who_try_one_folder_at_the_same_time_are_not_in_each_others_way() {
        let folder = tempfile::tempdir().unwrap();
        let both = std::sync::Barrier::new(2);
        let often = || {
            both.wait();
            (0..20).all(|_| try_writing(folder.path()).is_ok())
        };
        std::thread::scope(|scope| {
            let other = scope.spawn(often);
            assert!(often() && other.join().unwrap());
        });
    }

    #[tokio::test]
    async fn a_program_that_is_not_there_says_nothing() {
        assert_eq!(ask("no-such-program-here", &[]).await, None);
        assert_eq!(ask("echo", &["yes"]).await.as_deref(), Some("yes"));
    }
}
