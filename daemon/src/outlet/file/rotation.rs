//! `night.lp` becomes `night.lp.1`, that one `night.lp.2`, and so on; what is beyond `keep` goes.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// Moves the file and the older ones up by one. What a crash leaves behind is a free number, which
/// the next rotation fills: no file is ever lost to it.
pub(super) fn rotate(path: &Path, keep: u32) -> io::Result<()> {
    if keep == 0 {
        fs::remove_file(path)?;
    } else {
        let free = (1..keep).find(|&age| !numbered(path, age).exists());
        // A rename replaces what has the name already: at `keep`, that is the oldest.
        for age in (0..free.unwrap_or(keep)).rev() {
            fs::rename(numbered(path, age), numbered(path, age + 1))?;
        }
    }
    sync_folder(path)
}

/// Makes the names in the file's folder outlive a power cut.
pub(super) fn sync_folder(path: &Path) -> io::Result<()> {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}

fn numbered(path: &Path, age: u32) -> PathBuf {
    if age == 0 {
        return path.to_owned();
    }
    let mut name = OsString::from(path);
    name.push(format!(".{age}"));
    name.into()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in files {
            fs::write(folder.path().join(name), text).unwrap();
        }
        folder
    }

    fn listing(folder: &tempfile::TempDir) -> Vec<(String, String)> {
        let mut files: Vec<_> = fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| entry.unwrap())
            .map(|entry| {
                let name = entry.file_name().into_string().unwrap();
                (name, fs::read_to_string(entry.path()).unwrap())
            })
            .collect();
        files.sort();
        files
    }

    fn check(before: &[(&str, &str)], keep: u32, after: &[(&str, &str)]) {
        let folder = folder(before);
        rotate(&folder.path().join("n.lp"), keep).unwrap();
        let after: Vec<_> = after
            .iter()
            .map(|&(n, t)| (n.to_owned(), t.to_owned()))
            .collect();
        assert_eq!(listing(&folder), after);
    }

    #[test]
    fn files_move_up_by_one_and_the_oldest_goes() {
        check(&[("n.lp", "a")], 2, &[("n.lp.1", "a")]);
        check(
            &[("n.lp", "c"), ("n.lp.1", "b"), ("n.lp.2", "a")],
            2,
            &[("n.lp.1", "c"), ("n.lp.2", "b")],
        );
    }

    #[test]
    fn a_free_number_left_by_a_crash_is_filled_first() {
        check(
            &[("n.lp", "d"), ("n.lp.2", "b"), ("n.lp.3", "a")],
            3,
            &[("n.lp.1", "d"), ("n.lp.2", "b"), ("n.lp.3", "a")],
        );
    }

    #[test]
    fn nothing_older_is_kept_where_none_is_wanted() {
        check(&[("n.lp", "a"), ("n.lpx", "b")], 0, &[("n.lpx", "b")]);
    }
}
