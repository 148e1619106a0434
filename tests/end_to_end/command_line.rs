//! Promise: every verb says what it does, checks before it starts, and ends with a code that a script
//! can use.

use nightbench_tests::binary::{nightbench, project};
use nightbench_tests::log::Log;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{run, words};
use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

/// The ready configurations.
pub fn configurations() -> Vec<PathBuf> {
    let folder = fs::read_dir(project().join("config")).expect("the folder `config`");
    let mut files: Vec<PathBuf> = folder.map(|entry| entry.unwrap().path()).collect();
    files.retain(|file| file.extension().is_some_and(|end| end == "toml"));
    files.sort();
    assert!(!files.is_empty(), "no ready configuration");
    files
}

#[test]
fn check_accepts_each_ready_configuration() {
    for file in configurations() {
        let output = run(&["check", file.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(0), "{}", words(&output));
    }
}

#[test]
fn check_names_file_line_column_and_the_similar_key() {
    let mut scene = Scene::new();
    let _board = scene.board("bench");
    scene
        .divider("bench", "a0", 1023)
        .thermistor("mash", ("bench", "a0"), "")
        .add("[probe.mash.alarm.high]\nlimit = \"68 Cel\"\ndeadbnd = \"0.5 Cel\"\n");
    scene.write();
    let line = 1 + scene
        .config()
        .lines()
        .position(|it| it.starts_with("deadbnd"))
        .unwrap();
    let output = run(&["check", scene.file().to_str().unwrap()]);
    let said = words(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains(&format!("cellar.toml:{line}:1:")), "{said}");
    assert!(
        said.contains("`deadbnd`") && said.contains("`deadband`"),
        "{said}"
    );
    assert!(said.contains("mash"), "{said}");
}

#[test]
fn check_reports_every_problem_at_once() {
    let mut scene = Scene::new();
    scene.add("[board.bench]\nsource = \"cereal\"\n\n[probe.mash]\nboard = \"bunch\"\n");
    scene.write();
    let said = words(&run(&["check", scene.file().to_str().unwrap()]));
    assert!(said.contains("cereal") && said.contains("bunch"), "{said}");
}

#[test]
fn serve_refuses_a_broken_configuration_before_it_makes_a_log() {
    let mut scene = Scene::new();
    scene.add("[board.bench]\nsource = \"cereal\"\n");
    scene.write();
    let output = run(&["serve", "--config", scene.file().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1), "{}", words(&output));
    assert!(!scene.log().exists());
}

#[test]
fn a_file_that_is_not_there_is_named_in_words() {
    let output = run(&["check", "no-such-file.toml"]);
    assert_ne!(output.status.code(), Some(0));
    assert!(words(&output).contains("no-such-file.toml"));
    assert!(!words(&output).contains("Os {"), "{}", words(&output));
}

#[test]
fn the_long_help_names_the_exit_codes() {
    let output = run(&["--help"]);
    assert!(output.status.success());
    assert!(
        words(&output).to_lowercase().contains("exit code"),
        "{}",
        words(&output)
    );
}

#[test]
fn completions_and_the_manual_page_are_printed() {
    for shell in ["bash", "zsh", "fish"] {
        let output = run(&["completions", shell]);
        assert!(output.status.success(), "{}", words(&output));
        assert!(words(&output).contains("nightbench"));
    }
    let manual = run(&["man"]);
    assert!(manual.status.success(), "{}", words(&manual));
    assert!(words(&manual).contains(".TH"), "not in the manual's format");
}

#[test]
fn try_shows_three_probes_and_an_alarm_without_any_hardware() {
    let scene = Scene::new();
    let folder = scene.folder().to_str().unwrap();
    let output = run(&[
        "try",
        "--seconds",
        "5",
        "--speed",
        "600",
        "--folder",
        folder,
    ]);
    assert!(output.status.success(), "{}", words(&output));
    let file = fs::read_dir(scene.folder())
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let mut logs = file.filter(|it| it.extension().is_some_and(|end| end == "sqlite"));
    let log = Log::at(&logs.next().expect("a log in the folder"));
    let good = log.readings().into_iter().filter(|it| it.quality == 0);
    let mut probes = BTreeMap::<String, usize>::new();
    for reading in good {
        *probes.entry(reading.probe).or_default() += 1;
    }
    assert_eq!(probes.len(), 3, "{probes:?}");
    assert!(probes.values().all(|&count| count >= 10), "{probes:?}");
    assert!(!log.entries("", "alarm").is_empty());
}

/// Source: full(4): each write to `/dev/full` fails with ENOSPC.
#[test]
fn a_stdout_that_takes_nothing_is_told_and_fails() {
    for arguments in [&["man"][..], &["completions", "bash"]] {
        let full = fs::File::options()
            .write(true)
            .open("/dev/full")
            .expect("the device /dev/full");
        let output = Command::new(nightbench())
            .args(arguments)
            .stdout(full)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(1), "{arguments:?}");
        let said = words(&output);
        assert!(said.contains("no space left on device"), "{said}");
        assert!(!said.contains("os error"), "{said}");
    }
}

#[test]
fn a_log_on_a_stick_that_is_not_mounted_is_not_begun_beside_it() {
    let mut scene = Scene::new();
    let _board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    scene.write();
    let text = fs::read_to_string(scene.file()).unwrap();
    let stick = scene.folder().join("stick");
    let path = format!("path = \"{}/night/night.sqlite\"", stick.display());
    let is_path = |line: &&str| line.starts_with("path = ");
    let old = text
        .lines()
        .find(is_path)
        .expect("the log's path")
        .to_owned();
    fs::write(scene.file(), text.replacen(&old, &path, 1)).unwrap();
    let output = run(&["serve", scene.file().to_str().unwrap()]);
    let said = words(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("stick` is not there"), "{said}");
    assert!(!stick.exists());
}
