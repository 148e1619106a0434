//! Fetches a password or token from where the configuration says it is.
//!
//! What it gives has neither `Debug` nor `Display`, so that no log line and no message can hold it
//! by accident. It does not watch for changes: receivers read it again at each connect.

use crate::config::Secret;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

/// A secret in the clear. Deliberately without `Debug`, `Display`, `Clone` and `Serialize`.
pub struct Hidden(String);

impl Hidden {
    /// The secret itself: for the receiver's library, never for a message.
    #[must_use]
    pub fn expose(&self) -> &str {
        &self.0
    }
}

/// Why there is no secret; names the place, never the content.
#[derive(Debug, thiserror::Error)]
pub enum Unreadable {
    /// The file is missing, a folder, not ours to read, or not UTF-8.
    #[error("secret file `{}`: {why}; check that it exists and that the program's user may read it", path.display())]
    File {
        /// Which file.
        path: PathBuf,
        /// What the operating system said, in words.
        why: String,
    },
    /// The file's first line, or the variable, is empty.
    #[error("{place} is empty; put the password or token there, alone on the first line")]
    Empty {
        /// The file or variable, in words.
        place: String,
    },
    /// The environment variable is not set, or not UTF-8.
    #[error("environment variable `{0}` is not set; set it where the program is started")]
    Variable(String),
}

/// Reads the first line of the file, without its line end, or the environment variable.
///
/// # Errors
/// [`Unreadable`] where there is nothing to read, or nothing in it.
pub fn read(place: &Secret) -> Result<Hidden, Unreadable> {
    let (text, place) = match place {
        Secret::File(path) => (
            first_line(path)?,
            format!("secret file `{}`", path.display()),
        ),
        Secret::Environment(name) => (
            std::env::var(name).map_err(|_| Unreadable::Variable(name.clone()))?,
            format!("environment variable `{name}`"),
        ),
    };
    if text.is_empty() {
        return Err(Unreadable::Empty { place });
    }
    Ok(Hidden(text))
}

/// What to tell a person about a secret that other users of the host can read; `None` where all is
/// well or nothing can be said.
#[must_use]
pub fn warning(place: &Secret) -> Option<String> {
    let Secret::File(path) = place else {
        return None;
    };
    let mode = std::fs::metadata(path).ok()?.permissions().mode();
    (mode & READ_BY_OTHERS != 0).then(|| {
        let path = path.display();
        format!("secret file `{path}` can be read by every user of this host; `chmod o-r {path}`")
    })
}

/// `S_IROTH` of POSIX.1, `sys/stat.h`.
const READ_BY_OTHERS: u32 = 0o004;

fn first_line(path: &Path) -> Result<String, Unreadable> {
    let text = std::fs::read_to_string(path).map_err(|error| Unreadable::File {
        path: path.to_owned(),
        why: super::words(&error),
    })?;
    Ok(text.lines().next().unwrap_or_default().to_owned())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::fs;

    fn file(text: &str, mode: u32) -> (tempfile::TempDir, Secret) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("password");
        fs::write(&path, text).unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
        (folder, Secret::File(path))
    }

    fn complaint(place: &Secret) -> String {
        read(place).err().unwrap().to_string()
    }

    #[test]
    fn the_first_line_counts_without_its_end() {
        for text in ["pa ss", "pa ss\n", "pa ss\r\nnote to self\n"] {
            let (_folder, place) = file(text, 0o600);
            assert_eq!(read(&place).unwrap().expose(), "pa ss", "{text:?}");
        }
    }

    #[test]
    fn an_empty_first_line_is_no_secret() {
        for text in ["", "\n", "\nsecret\n"] {
            let (_folder, place) = file(text, 0o600);
            assert!(
                complaint(&place).contains("is empty; put the password"),
                "{text:?}"
            );
        }
    }

    #[test]
    fn a_missing_file_is_named_with_what_to_do() {
        let text = complaint(&Secret::File("no/such/password".into()));
        assert_eq!(
            text,
            "secret file `no/such/password`: no such file or directory; check that it exists and \
             that the program's user may read it"
        );
    }

    #[test]
    fn a_missing_variable_is_named_with_what_to_do() {
        let text = complaint(&Secret::Environment("NIGHTBENCH_NO_SUCH_VARIABLE".into()));
        assert!(text.starts_with("environment variable `NIGHTBENCH_NO_SUCH_VARIABLE` is not set;"));
    }

    #[test]
    fn only_a_file_that_everybody_can_read_is_warned_about() {
        assert!(warning(&file("x", 0o600).1).is_none());
        let (_folder, group) = file("x", 0o640);
        assert!(warning(&group).is_none());
        let (_folder, everybody) = file("x", 0o644);
        assert!(
            warning(&everybody)
                .unwrap()
                .contains("every user of this host; `chmod o-r ")
        );
    }
}
