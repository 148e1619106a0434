//! `nightbench check FILE`: is this configuration right?
//!
//! Reads the file, and looks at what it names on this host without changing anything. Nothing is
//! started but the drivers that it loads, each in a process of its own.

mod surroundings;

use super::{Failure, written};
use crate::config::{self, Problem};
use crate::words::counted;
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

/// Checks a configuration file. Problems go to stdout, one a line, for editors and scripts; the
/// summary, and why there is nothing to check, to stderr. Success where there is no error.
///
/// # Errors
/// Where stdout cannot be written to.
pub fn run(path: &Path) -> Result<ExitCode, Failure> {
    let (out, err) = (std::io::stdout().lock(), std::io::stderr().lock());
    match check(path, out, err) {
        Ok(true) => Ok(ExitCode::SUCCESS),
        Ok(false) => Ok(ExitCode::FAILURE),
        // A pipe that was closed early (`| head`) leaves nobody to tell.
        Err(error) => written(Err(error)).map(|_| ExitCode::FAILURE),
    }
}

/// The same with the two outputs given: whether the file can be used.
///
/// # Errors
/// Where an output cannot be written to.
pub fn check(path: &Path, mut out: impl Write, mut err: impl Write) -> std::io::Result<bool> {
    let file = path.display().to_string();
    let text = match config::read_text(path) {
        Ok(text) => text,
        Err(error) => {
            writeln!(err, "{error}")?;
            return Ok(false);
        }
    };
    let (config, mut problems) =
        config::parse_with_files(&text, path.parent().unwrap_or(Path::new("")));
    if let Some(config) = &config {
        problems.extend(config::remarks(&text, surroundings::look(config)));
        problems.sort_by_key(|problem| (problem.line, problem.column));
    }
    for problem in &problems {
        writeln!(out, "{}", problem.in_file(&file))?;
    }
    out.flush()?;
    writeln!(err, "{}", summary(&file, &problems))?;
    Ok(config.is_some())
}

fn summary(file: &str, problems: &[Problem]) -> String {
    let errors = problems.iter().filter(|problem| problem.is_error()).count();
    let warnings = problems.len() - errors;
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

    const SIMULATED: &str = "site = \"cellar\"\n[log]\npath = \"night.sqlite\"\n\
         [board.bench]\nsource = \"simulated\"\n[board.bench.channel.a0]\nfront_end = \"none\"\n\
         scene = { shape = \"ramp\", start = 1, per_hour = 2 }\n\
         [probe.turns]\nboard = \"bench\"\nchannel = \"a0\"\ndriver = \"divider\"\n\
         quantity = \"count\"\nunit = \"1\"\n";

    #[test]
    fn a_board_that_is_not_plugged_in_is_a_warning_in_its_line() {
        let (usable, out, err) = checked(include_str!("../../../config/bench.toml"));
        assert!(usable);
        insta::assert_snapshot!(out, @"bath.toml:17:8: warning: board `bench`: `/dev/serial/by-id/usb-maker_board_1234-if00` is not there (not plugged in now?); the service looks for it for as long as it takes");
        insta::assert_snapshot!(err, @"`bath.toml` can be used: 1 warning");
    }

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
        let (usable, out, err) = checked(SIMULATED);
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
    bath.toml:1:1: unknown key `sight`; the keys here are `board`, `driver`, `drivers`, `log`, `outlet`, `probe`, `site`
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
