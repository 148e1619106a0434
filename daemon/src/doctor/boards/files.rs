//! Boards that are files or programs: there, and readable or executable by this user.

use crate::config::{PolledFile, Program};
use crate::doctor::finding::{Finding, Severity};
use crate::outlet::words;
use crate::source::file::read_one;
use rustix::fs::{Access, access};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Enough to see that a file can be read.
const BEGINNING: u64 = 1;

/// A recording.
pub fn readable(place: &str, file: &Path) -> Finding {
    let shown = file.display();
    match beginning(file) {
        Ok(()) => Finding::ok(place, format!("`{shown}` can be read")),
        Err(error) => unreadable(place, file, &error),
    }
}

/// A file with a number in it, read as the source reads it, with what scales it.
pub fn number(place: &str, file: &PolledFile) -> Finding {
    let shown = file.path.display();
    match read_one(file) {
        Ok(_) => Finding::ok(place, format!("`{shown}` gives a number")),
        Err(why) => {
            let otherwise = "look with `cat`; name the file that does hold one";
            Finding::told(Severity::Wrong, place, &why, otherwise)
        }
    }
}

/// The program and the folder that it runs in.
pub fn program(place: &str, program: &Program) -> Vec<Finding> {
    let name = program.command.first().map_or("", String::as_str);
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    let mut findings = vec![executable(place, name, &folders)];
    let folder = &program.folder;
    if !folder.is_dir() {
        let what = format!("there is no folder `{}` for it to run in", folder.display());
        findings.push(Finding::wrong(place, what, "make it, or correct `folder`"));
    }
    findings
}

fn executable(place: &str, name: &str, folders: &[PathBuf]) -> Finding {
    let candidates: Vec<PathBuf> = if name.contains('/') {
        vec![PathBuf::from(name)]
    } else {
        folders.iter().map(|folder| folder.join(name)).collect()
    };
    let runs = |path: &&PathBuf| path.is_file() && access(*path, Access::EXEC_OK).is_ok();
    if let Some(path) = candidates.iter().find(runs) {
        return Finding::ok(place, format!("`{}` can be started", path.display()));
    }
    match candidates.iter().find(|path| path.is_file()) {
        Some(path) => Finding::wrong(
            place,
            format!("`{}` may not be started", path.display()),
            format!("`chmod a+x {}`", path.display()),
        ),
        None => Finding::wrong(
            place,
            format!("there is no program `{name}`"),
            "install it, or correct `command`; a service may have another PATH than this shell",
        ),
    }
}

fn unreadable(place: &str, file: &Path, error: &std::io::Error) -> Finding {
    Finding::wrong(
        place,
        format!("`{}` cannot be read: {}", file.display(), words(error)),
        "check that it exists and that the service's user may read it",
    )
}

fn beginning(file: &Path) -> std::io::Result<()> {
    let mut bytes = Vec::new();
    // Opening a pipe would wait for its writer.
    if !std::fs::metadata(file)?.is_file() {
        return Err(std::io::Error::other("it is no plain file"));
    }
    File::open(file)?.take(BEGINNING).read_to_end(&mut bytes)?;
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::config::Scaling;
    use crate::doctor::finding::Severity::{Ok, Wrong};
    use std::fs;
    use std::os::unix::fs::PermissionsExt;

    fn polled(path: &Path, scaling: Scaling) -> PolledFile {
        PolledFile {
            field: "a0".to_owned(),
            path: path.to_owned(),
            scaling,
        }
    }

    #[test]
    fn a_file_is_judged_by_what_it_holds() {
        let folder = tempfile::tempdir().unwrap();
        let table = [
            ("512\n", Ok),
            ("-1.5e3", Ok),
            ("", Wrong),
            ("20 C\n", Wrong),
            ("nan\n", Wrong),
            ("inf\n", Wrong),
        ];
        for (text, expected) in table {
            let file = folder.path().join("in_voltage0_raw");
            fs::write(&file, text).unwrap();
            let found = number("board", &polled(&file, Scaling::Plain));
            assert_eq!(found.severity, expected, "{text:?}");
            assert_eq!(found.remedy.is_empty(), expected == Ok, "{text:?}");
            assert_eq!(readable("board", &file).severity, Ok);
        }
        let missing = folder.path().join("none");
        let found = number("board", &polled(&missing, Scaling::Plain));
        assert_eq!(found.severity, Wrong);
        assert_eq!(readable("board", &missing).severity, Wrong);
        assert_eq!(readable("board", folder.path()).severity, Wrong);
    }

    #[test]
    fn a_converters_file_needs_the_scale_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("in_voltage0_raw");
        fs::write(&file, "2048\n").unwrap();
        let found = || number("board", &polled(&file, Scaling::Kernel));
        assert_eq!(found().severity, Wrong);
        assert!(found().what.ends_with("gives its `scale`"), "{:?}", found());
        fs::write(folder.path().join("in_voltage_scale"), "0.8\n").unwrap();
        assert_eq!(found().severity, Ok);
    }

    #[test]
    fn a_program_is_looked_for_as_it_will_be() {
        let folder = tempfile::tempdir().unwrap();
        let script = folder.path().join("read-it");
        let folders = [folder.path().to_owned()];
        let found = |name: &str| executable("board", name, &folders);
        assert_eq!(found("read-it").severity, Wrong);
        fs::write(&script, "#!/bin/sh\n").unwrap();
        fs::set_permissions(&script, fs::Permissions::from_mode(0o644)).unwrap();
        assert!(found("read-it").remedy.starts_with("`chmod a+x"));
        fs::set_permissions(&script, fs::Permissions::from_mode(0o755)).unwrap();
        assert_eq!(found("read-it").severity, Ok);
        assert_eq!(found(script.to_str().unwrap()).severity, Ok);
        assert_eq!(found("./read-it").severity, Wrong);
    }

    #[test]
    fn a_folder_that_is_missing_is_told_beside_the_program() {
        let program = super::program(
            "board",
            &Program {
                command: vec!["sh".to_owned()],
                folder: "no/such/folder".into(),
                environment: Vec::new(),
            },
        );
        let severities: Vec<_> = program.iter().map(|it| it.severity).collect();
        assert_eq!(severities, [Ok, Wrong]);
    }
}
