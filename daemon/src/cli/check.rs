//! `nightbench check FILE`: is this configuration right?
//!
//! Opens the file, and nothing that it names.

use crate::config::{self, LoadError, Problem};
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

/// Checks a configuration file. Problems go to stdout, one a line, for editors and scripts; the
/// summary, and why there is nothing to check, to stderr. Success where there is no error.
#[must_use]
pub fn run(path: &Path) -> ExitCode {
    let (out, err) = (std::io::stdout().lock(), std::io::stderr().lock());
    match check(path, out, err) {
        Ok(true) => ExitCode::SUCCESS,
        // A pipe that was closed early (`| head`) leaves nobody to tell.
        Ok(false) | Err(_) => ExitCode::FAILURE,
    }
}

/// The same with the two outputs given: whether the file can be used.
///
/// # Errors
/// Where an output cannot be written to.
pub fn check(path: &Path, mut out: impl Write, mut err: impl Write) -> std::io::Result<bool> {
    let file = path.display().to_string();
    let (usable, problems) = match config::load(path) {
        Ok((_, warnings)) => (true, warnings),
        Err(LoadError::Faulty { problems, .. }) => (false, problems),
        Err(error) => {
            writeln!(err, "{error}")?;
            return Ok(false);
        }
    };
    for problem in &problems {
        writeln!(out, "{}", problem.in_file(&file))?;
    }
    writeln!(err, "{}", summary(&file, &problems))?;
    Ok(usable)
}

fn summary(file: &str, problems: &[Problem]) -> String {
    let errors = problems.iter().filter(|problem| problem.is_error()).count();
    let warnings = problems.len() - errors;
    let counted = |count: usize, word: &str| match count {
        1 => format!("1 {word}"),
        count => format!("{count} {word}s"),
    };
    let warnings = counted(warnings, "warning");
    match errors {
        0 => format!("`{file}` can be used: {warnings}"),
        errors => format!(
            "`{file}` cannot be used: {}, {warnings}",
            counted(errors, "error")
        ),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn checked(text: &str) -> (bool, String, String) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bath.toml");
        std::fs::write(&path, text).unwrap();
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let usable = check(&path, &mut out, &mut err).unwrap();
        let shown = |bytes: Vec<u8>| {
            let text = String::from_utf8(bytes).unwrap();
            text.replace(&format!("{}/", folder.path().display()), "")
        };
        (usable, shown(out), shown(err))
    }

    #[test]
    fn a_good_file_says_so_on_stderr_and_nothing_on_stdout() {
        let (usable, out, err) = checked(include_str!("../../../config/bench.toml"));
        assert!(usable);
        assert_eq!(out, "");
        assert_eq!(err, "`bath.toml` can be used: 0 warnings\n");
    }

    #[test]
    fn a_faulty_file_lists_its_problems_on_stdout() {
        let (usable, out, err) = checked("sight = \"cellar\"\n");
        assert!(!usable);
        insta::assert_snapshot!(out, @r#"
    bath.toml:1:1: `site` is missing; add a line such as `site = "cellar"`
    bath.toml:1:1: there is no `[log]` table; add one with the file that readings are kept in: `path = "night.sqlite"`
    bath.toml:1:1: there is no `[probe.NAME]` table, so nothing would be read; add one for each probe
    bath.toml:1:1: unknown key `sight`; the keys here are `board`, `log`, `outlet`, `probe`, `site`
    "#);
        insta::assert_snapshot!(err, @"`bath.toml` cannot be used: 4 errors, 0 warnings");
    }

    #[test]
    fn a_missing_file_is_told_on_stderr() {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        assert!(!check(Path::new("no-such-file.toml"), &mut out, &mut err).unwrap());
        assert!(out.is_empty());
        insta::assert_snapshot!(String::from_utf8(err).unwrap(), @"configuration `no-such-file.toml`: there is no such file; check the path");
    }
}
