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
    assert_snapshot!(first(table("sha256 = \"12\"")), @"bath.toml:22:10: driver `sunny`: this is no SHA-256; write the 64 digits that `sha256sum` prints for the library");
    assert_snapshot!(first(table("library = \"/etc/x.so\"")), @r#"bath.toml:22:11: driver `sunny`: `/etc/x.so` is no file name; name a file in one of the `folders` of `[drivers]`: `"libsunny.so"`"#);
    assert_snapshot!(first(table("deadline = \"1h\"")), @"bath.toml:22:12: driver `sunny`: `deadline` is 1h; it must be between 20ms and 2s");
    assert_snapshot!(first(table("memory = \"1 kB\"")), @"bath.toml:22:10: driver `sunny`: `memory` is 1000 B; it must be between 1048576 and 1073741824");
    assert_snapshot!(table("folder = 1").lines().last().unwrap_or_default(), @"bath.toml:22:1: driver `sunny`: unknown key `folder`; the keys here are `deadline`, `in_process`, `library`, `memory`, `sha256`");
    assert_snapshot!(table(""), @"bath.toml:21:9: driver `sunny`: its library was not opened, as this text stands in no file; write it into a file, and check that");
    assert_snapshot!(shown(&good_and("[driver.sunny]\n")), @r#"bath.toml:19:9: driver `sunny`: no folder is named in which its library could be; add `[drivers]` with `folders = ["drivers"]`"#);
    assert_snapshot!(shown(&good_and("[drivers]\n")), @r#"bath.toml:19:2: drivers: `folders` is missing; add a line such as `folders = ["drivers"]`"#);
}
