//! The open file: found again when somebody moved it, rotated when it is full, and its troubles in
//! words. It blocks; which thread it blocks is not its business.

use super::append::Appender;
use super::{repair, rotation};
use crate::config::LineProtocolFile;
use crate::outlet::{Trouble, words};
use std::fs::{self, File, Metadata, TryLockError};
use std::io::{self, ErrorKind};
use std::os::unix::fs::MetadataExt;

/// One file and its older ones.
pub(super) struct Store {
    settings: LineProtocolFile,
    open: Option<Appender<File>>,
}

impl Store {
    pub(super) fn new(settings: LineProtocolFile) -> Self {
        Self {
            settings,
            open: None,
        }
    }

    /// Opens the file, or goes on with the one that is open if it still has the name. What an
    /// earlier failure left behind in it is removed.
    pub(super) fn open(&mut self) -> Result<(), Trouble> {
        self.opened().map(|_| ()).map_err(|why| self.trouble(why))
    }

    /// Appends whole lines; returns when they are on the medium.
    pub(super) fn append(&mut self, lines: &str) -> Result<(), Trouble> {
        if lines.is_empty() {
            return Ok(());
        }
        self.write(lines.as_bytes())
            .map_err(|why| self.trouble(why))
    }

    /// Gives the file back.
    pub(super) fn close(&mut self) {
        self.open = None;
    }

    fn write(&mut self, lines: &[u8]) -> io::Result<()> {
        let length = self.opened()?.length();
        if length > 0 && length + lines.len() as u64 > self.settings.rotate_at {
            self.open = None;
            rotation::rotate(&self.settings.path, self.settings.keep)?;
        }
        self.opened()?.append(lines)
    }

    fn opened(&mut self) -> io::Result<&mut Appender<File>> {
        let named = |open: &Appender<File>| self.has_the_name(open);
        let stands = self.open.as_ref().map_or(Ok(false), named)?;
        let appender = match self.open.take() {
            Some(appender) if stands => appender,
            _ => self.open_anew()?,
        };
        let appender = self.open.insert(appender);
        appender.take_back()?;
        Ok(appender)
    }

    fn open_anew(&self) -> io::Result<Appender<File>> {
        let path = &self.settings.path;
        let mut file = File::options()
            .read(true)
            .append(true)
            .create(true)
            .open(path)?;
        match file.try_lock() {
            Err(TryLockError::WouldBlock) => return Err(ErrorKind::ResourceBusy.into()),
            // Where a file system knows no locks, nobody can be warned.
            Ok(()) | Err(TryLockError::Error(_)) => {}
        }
        repair::end_with_a_line(&mut file)?;
        rotation::sync_folder(path)?;
        Appender::new(file)
    }

    /// Somebody may have moved or deleted the file while it was open.
    fn has_the_name(&self, appender: &Appender<File>) -> io::Result<bool> {
        let identity = |metadata: Metadata| (metadata.dev(), metadata.ino());
        let open = identity(appender.medium().metadata()?);
        match fs::metadata(&self.settings.path) {
            Ok(metadata) => Ok(identity(metadata) == open),
            Err(why) if why.kind() == ErrorKind::NotFound => Ok(false),
            Err(why) => Err(why),
        }
    }

    fn trouble(&self, why: io::Error) -> Trouble {
        let path = self.settings.path.display();
        let later = |advice: &str| Trouble::Later {
            what: format!("`{path}`: {}; {advice}", words(&why)),
            after: None,
        };
        let person = |advice: &str| Trouble::Person {
            what: format!("`{path}`: {}; {advice}", words(&why)),
        };
        match why.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
                later("what is in the file stays; free space, or lower `rotate_at` or `keep`")
            }
            ErrorKind::NotFound | ErrorKind::NotADirectory => {
                person("create the folder, mount the medium, or correct `path`")
            }
            ErrorKind::PermissionDenied => {
                person("let the program's user write there, or choose another `path`")
            }
            ErrorKind::IsADirectory => person("that is a folder; give a file's name as `path`"),
            ErrorKind::ReadOnlyFilesystem => {
                person("the medium is read-only: check it, and mount it to be written")
            }
            ErrorKind::ResourceBusy => {
                person("another program has locked it; give each outlet a file of its own")
            }
            _ => later("check the medium"),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::path::Path;

    fn store(path: &Path, rotate_at: u64) -> Store {
        Store::new(LineProtocolFile {
            path: path.to_owned(),
            measurement: "reading".to_owned(),
            rotate_at,
            keep: 2,
            every: std::time::Duration::ZERO,
        })
    }

    #[test]
    fn a_file_is_rotated_before_it_grows_too_large_and_never_inside_a_parcel() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("n.lp");
        let mut store = store(&path, 10);
        for parcel in ["a\nb\n", "c\nd\n", "e\nf\n", "a parcel of its own\n", "g\n"] {
            store.append(parcel).unwrap();
        }
        assert_eq!(fs::read_to_string(&path).unwrap(), "g\n");
        let older = |age: &str| fs::read_to_string(folder.path().join(format!("n.lp.{age}")));
        assert_eq!(older("1").unwrap(), "a parcel of its own\n");
        assert_eq!(older("2").unwrap(), "e\nf\n");
        assert!(older("3").is_err());
    }

    #[test]
    fn a_file_that_was_moved_away_is_made_anew() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("n.lp");
        let mut store = store(&path, 1000);
        store.append("a\n").unwrap();
        fs::rename(&path, folder.path().join("taken.lp")).unwrap();
        store.append("b\n").unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "b\n");
        fs::remove_file(&path).unwrap();
        store.open().unwrap();
        store.append("c\n").unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "c\n");
    }

    #[test]
    fn a_full_disk_is_tried_again_and_other_troubles_are_for_a_person() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("n.lp");
        let store = store(&path, 1000);
        let said = |kind: ErrorKind| store.trouble(kind.into());
        let Trouble::Later { what, after: None } = said(ErrorKind::StorageFull) else {
            panic!("a full disk is no matter for a person alone");
        };
        let expected = "n.lp`: no storage space; what is in the file stays; free space, or lower \
                        `rotate_at` or `keep`";
        assert!(what.ends_with(expected), "{what}");
        for kind in [
            ErrorKind::NotFound,
            ErrorKind::PermissionDenied,
            ErrorKind::ReadOnlyFilesystem,
        ] {
            assert!(matches!(said(kind), Trouble::Person { .. }), "{kind}");
        }
    }

    #[test]
    fn a_real_full_device_gives_disk_full() {
        // `/dev/full` answers every write as a full disk does (full(4)).
        let mut full = store(Path::new("/dev/full"), 1000);
        full.open =
            Some(Appender::new(File::options().append(true).open("/dev/full").unwrap()).unwrap());
        let Trouble::Later { what, .. } = full.append("a\n").unwrap_err() else {
            panic!("not a matter for a person");
        };
        assert!(
            what.starts_with("`/dev/full`: no space left on device;"),
            "{what}"
        );
    }

    #[test]
    fn two_writers_of_one_file_are_told_apart() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("n.lp");
        let mut first = store(&path, 1000);
        first.append("a\n").unwrap();
        let mut second = store(&path, 1000);
        let trouble = second.append("b\n").unwrap_err();
        assert!(
            trouble
                .to_string()
                .contains("another program has locked it")
        );
        first.close();
        second.append("b\n").unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "a\nb\n");
    }
}
