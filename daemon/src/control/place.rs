//! The socket's place: beside the log, so that whoever can name the log finds the service.
//!
//! A path may be longer than a socket's address holds (108 bytes, its end included; Source: Linux,
//! unix(7), "Address format"); then the opened folder stands for the path before the name. That no
//! other service runs on the log is known before: its lock says so.

use rustix::fs::{AtFlags, FileType, Mode, OFlags};
use rustix::net::{AddressFamily, SocketAddrUnix, SocketFlags, SocketType};
use std::ffi::{OsStr, OsString};
use std::io;
use std::os::fd::{AsRawFd, OwnedFd};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};

/// Bytes of a path that fit into a socket's address, without the end.
const ADDRESS: usize = 107;

/// Owner and group may ask; nobody else.
const MODE: u32 = 0o660;

/// Connections that wait to be taken.
const WAITING: i32 = 16;

/// Where the socket of a log stands.
#[derive(Debug)]
pub struct Place {
    path: PathBuf,
    folder: OwnedFd,
    name: OsString,
}

impl Place {
    /// The place beside a log.
    ///
    /// # Errors
    /// What the operating system says of the log's folder.
    pub fn beside(log: &Path) -> io::Result<Self> {
        let path = path(log);
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let flags = OFlags::PATH | OFlags::DIRECTORY | OFlags::CLOEXEC;
        Ok(Self {
            folder: rustix::fs::open(folder, flags, Mode::empty())?,
            name: path.file_name().unwrap_or_default().to_owned(),
            path,
        })
    }

    /// Its whole path, for people.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Makes the socket, in place of one that a killed service left.
    ///
    /// # Errors
    /// What the operating system says, or that a file of that name is no socket.
    pub fn listen(&self) -> io::Result<UnixListener> {
        self.clear()?;
        let flags = SocketFlags::CLOEXEC | SocketFlags::NONBLOCK;
        let socket =
            rustix::net::socket_with(AddressFamily::UNIX, SocketType::STREAM, flags, None)?;
        // Before there is a name: at no moment may others connect, whatever the process's mask is.
        rustix::fs::fchmod(&socket, Mode::from_raw_mode(MODE))?;
        rustix::net::bind(&socket, &SocketAddrUnix::new(self.address())?)?;
        // The mask may have taken the group's share.
        let mode = Mode::from_raw_mode(MODE);
        rustix::fs::chmodat(&self.folder, &self.name, mode, AtFlags::empty())?;
        rustix::net::listen(&socket, WAITING)?;
        Ok(socket.into())
    }

    /// Connects to the service.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn connect(&self) -> io::Result<UnixStream> {
        UnixStream::connect(self.address())
    }

    /// Takes the socket away.
    pub fn remove(&self) {
        // Already gone, or in a folder that became read-only: the next service replaces it.
        let _ = self.clear();
    }

    fn clear(&self) -> io::Result<()> {
        let found = rustix::fs::statat(&self.folder, &self.name, AtFlags::SYMLINK_NOFOLLOW);
        let found = match found {
            Err(rustix::io::Errno::NOENT) => return Ok(()),
            found => found?,
        };
        if FileType::from_raw_mode(found.st_mode) != FileType::Socket {
            return Err(io::Error::other(
                "a file of that name is there already, and is no socket; move it away",
            ));
        }
        Ok(rustix::fs::unlinkat(
            &self.folder,
            &self.name,
            AtFlags::empty(),
        )?)
    }

    fn address(&self) -> PathBuf {
        if self.path.as_os_str().len() <= ADDRESS {
            return self.path.clone();
        }
        let folder = format!("/proc/self/fd/{}", self.folder.as_raw_fd());
        Path::new(&folder).join(&self.name)
    }
}

/// The path of the socket that belongs to a log.
#[must_use]
pub fn path(log: &Path) -> PathBuf {
    let mut path = log.as_os_str().to_owned();
    path.push(OsStr::new("-control"));
    path.into()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    /// Listens beside a log, and is reached there; gives the place.
    fn reached(log: &Path) -> Place {
        let place = Place::beside(log).unwrap();
        let listener = place.listen().unwrap();
        let _client = Place::beside(log).unwrap().connect().unwrap();
        listener.accept().unwrap();
        place
    }

    #[test]
    fn owner_and_group_may_connect_and_it_goes_at_the_end() {
        let folder = tempfile::tempdir().unwrap();
        let place = reached(&folder.path().join("cellar.sqlite"));
        let socket = folder.path().join("cellar.sqlite-control");
        let mode = std::fs::metadata(&socket).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o660);
        place.remove();
        assert!(!socket.exists());
    }

    #[test]
    fn a_path_longer_than_an_address_is_no_hindrance() {
        let folder = tempfile::tempdir().unwrap();
        let deep = folder.path().join("d".repeat(200));
        std::fs::create_dir(&deep).unwrap();
        reached(&deep.join("cellar.sqlite"));
        assert!(deep.join("cellar.sqlite-control").exists());
    }

    #[test]
    fn what_a_killed_service_left_is_replaced_and_a_file_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let log = folder.path().join("cellar.sqlite");
        drop(Place::beside(&log).unwrap().listen().unwrap());
        assert!(path(&log).exists());
        reached(&log);
        std::fs::remove_file(path(&log)).unwrap();
        std::fs::write(path(&log), "mine").unwrap();
        let refused = Place::beside(&log).unwrap().listen().unwrap_err();
        assert!(refused.to_string().contains("is no socket"), "{refused}");
        assert_eq!(std::fs::read(path(&log)).unwrap(), b"mine");
    }

    #[test]
    fn a_name_longer_than_an_address_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        let log = folder.path().join("n".repeat(200));
        assert!(Place::beside(&log).unwrap().listen().is_err());
    }
}
