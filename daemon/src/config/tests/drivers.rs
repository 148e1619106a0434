//! `[drivers]` and `[driver.NAME]`: which libraries are wanted and how, and how faults are told.

use super::{GOOD, good_and, read, shown};
use crate::config::wanted;
use insta::assert_snapshot;
use std::path::Path;
use std::time::Duration;

const FOLDERS: &str = "[drivers]\nfolders = [\"drivers\", \"/usr/lib/drivers\"]\n";

#[test]
fn a_table_says_how_its_driver_is_run() {
    let table = "[driver.sunny]\nlibrary = \"sun.so\"\nin_process = true\ndeadline = \"100ms\"\nmemory = \"16 MiB\"\n";
    let all = wanted(&good_and(&format!("{FOLDERS}{table}")), Path::new("/night"));
    let [sunny] = all.as_slice() else {
        panic!("{all:?}");
    };
    assert_eq!(
        (sunny.name.as_str(), sunny.file.as_str()),
        ("sunny", "sun.so")
    );
    assert_eq!(
        sunny.folders,
        [Path::new("/night/drivers"), Path::new("/usr/lib/drivers")]
    );
    assert!(sunny.settings.in_process && sunny.is_declared);
    assert_eq!(sunny.settings.deadline, Duration::from_millis(100));
    assert_eq!(sunny.settings.memory, 16 << 20);
}

#[test]
fn a_probe_alone_wants_the_library_of_its_drivers_name() {
    let text = GOOD.replace("driver = \"thermistor\"", "driver = \"sunny\"");
    assert_eq!(wanted(&text, Path::new("/night")), [], "no folder is named");
    let all = wanted(&format!("{text}{FOLDERS}"), Path::new("/night"));
    let [sunny] = all.as_slice() else {
        panic!("{all:?}");
    };
    assert_eq!(sunny.file, "libsunny.so");
    assert!(!sunny.is_declared && !sunny.settings.in_process);
    assert_eq!(sunny.settings.deadline, Duration::from_millis(250));
    assert_eq!(sunny.settings.memory, 64 << 20);
}

#[test]
fn a_linked_in_driver_wants_no_library() {
    assert_eq!(wanted(&good_and(FOLDERS), Path::new("/night")), []);
    assert!(read(&good_and(FOLDERS)).0.is_some());
}

#[test]
fn a_name_is_no_way_out_of_the_folders() {
    let text = GOOD.replace("driver = \"thermistor\"", "driver = \"../../sunny\"");
    assert_eq!(wanted(&format!("{text}{FOLDERS}"), Path::new("/night")), []);
}

#[test]
fn faults_say_what_would_be_right() {
    let table = |lines: &str| shown(&good_and(&format!("{FOLDERS}[driver.sunny]\n{lines}\n")));
    let first = |text: String| text.lines().next().unwrap_or_default().to_owned();
    assert_snapshot!(first(table("sha256 = \"12\"")), @"");
    assert_snapshot!(first(table("library = \"/etc/x.so\"")), @"");
    assert_snapshot!(first(table("deadline = \"1h\"")), @"");
    assert_snapshot!(first(table("memory = \"1 kB\"")), @"");
    assert_snapshot!(first(table("folder = 1")), @"");
    assert_snapshot!(table(""), @"");
    assert_snapshot!(shown(&good_and("[driver.sunny]\n")), @"");
    assert_snapshot!(shown(&good_and("[drivers]\n")), @"");
}
