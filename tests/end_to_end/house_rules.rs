//! Promise to the next reader: the rules of the house hold in every file. What is checked here needs no
//! compiler.

use nightbench_tests::binary::project;
use std::fs;
use std::path::{Path, PathBuf};

/// A file past this is asking to be two.
const LINES_AT_MOST: usize = 400;

/// The one file outside `sensors` that holds code which the compiler cannot check.
const LOADS_LIBRARIES: &str = "daemon/src/driver/load.rs";

#[test]
fn every_rust_file_says_what_it_is_for() {
    assert_none(&rust(), |_, text| {
        let first = text.lines().next().unwrap_or_default();
        !(first.starts_with("//! ") && first.len() > 20)
    });
}

#[test]
fn no_rust_file_is_longer_than_a_sitting() {
    assert_none(&rust(), |_, text| text.lines().count() > LINES_AT_MOST);
}

/// A test that another test runs, in a process of its own, is not switched off.
#[test]
fn a_test_that_waits_says_which_test_runs_it() {
    let (ignored, run_by) = (
        ["#[", "ignore ="].concat(),
        ["#[", "ignore = \"run by "].concat(),
    );
    assert_none(&rust(), |_, text| {
        text.matches(&ignored).count() != text.matches(&run_by).count()
    });
}

#[test]
fn no_test_is_switched_off_and_no_gap_is_left_to_panic() {
    let words = [
        ["#[", "ignore]"].concat(),
        ["to", "do!("].concat(),
        ["unimplem", "ented!("].concat(),
        ["db", "g!("].concat(),
    ];
    assert_none(&rust(), |_, text| {
        words.iter().any(|word| text.contains(word.as_str()))
    });
}

#[test]
fn no_file_depends_on_the_machine_it_was_written_on() {
    let words = [
        ["/ro", "ot/"].concat(),
        ["/wo", "rk/"].concat(),
        ["/tm", "p/"].concat(),
        ["/ho", "me/"].concat(),
        ["crates", ".io"].concat(),
    ];
    assert_none(&texts(), |_, text| {
        words.iter().any(|word| text.contains(word.as_str()))
    });
}

#[test]
fn unsafe_code_stands_only_at_the_drivers_border() {
    let word = ["unsa", "fe "].concat();
    assert_none(&rust(), |path, text| {
        let code = text
            .lines()
            .filter(|line| !line.trim_start().starts_with("//"));
        let is_border = path.starts_with("sensors") || path == Path::new(LOADS_LIBRARIES);
        !is_border && code.into_iter().any(|line| line.contains(&word))
    });
}

#[test]
fn scripts_stop_at_the_first_error() {
    let scripts = [".ci/run", "tests/run", "tests/install"];
    for script in scripts {
        let text = fs::read_to_string(project().join(script)).unwrap();
        assert!(text.starts_with("#!/usr/bin/env bash\n"), "{script}");
        assert!(text.contains("set -euo pipefail"), "{script}");
    }
}

/// Files as the project keeps them: path from the top, text.
type File = (PathBuf, String);

#[track_caller]
fn assert_none(files: &[File], breaks: impl Fn(&Path, &str) -> bool) {
    let found: Vec<&PathBuf> = files
        .iter()
        .filter(|(path, text)| breaks(path, text))
        .map(|(path, _)| path)
        .collect();
    assert!(found.is_empty(), "{found:#?}");
}

fn rust() -> Vec<File> {
    let mut files = texts();
    files.retain(|(path, _)| path.extension().is_some_and(|end| end == "rs"));
    assert!(files.len() > 20, "looked in the wrong place");
    files
}

/// Every text file but build products, the lock file and published data, whose sources are kept as
/// they are.
fn texts() -> Vec<File> {
    let mut files = Vec::new();
    gather(&project(), Path::new(""), &mut files);
    files.retain(|(path, _)| !path.ends_with("Cargo.lock") && !path.starts_with("tests/published"));
    files
}

fn gather(top: &Path, folder: &Path, files: &mut Vec<File>) {
    for entry in fs::read_dir(top.join(folder)).unwrap() {
        let entry = entry.unwrap();
        let path = folder.join(entry.file_name());
        let is_ours = !["target", ".git"]
            .iter()
            .any(|other| path == Path::new(other));
        if entry.file_type().unwrap().is_dir() {
            if is_ours {
                gather(top, &path, files);
            }
        } else if let (true, Ok(text)) = (is_ours, fs::read_to_string(entry.path())) {
            files.push((path, text));
        }
    }
}
