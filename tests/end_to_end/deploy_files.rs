//! Promise: the files in `deploy/` are taken by the tools they are for, and shut the service in well.

use nightbench_tests::binary::project;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

/// `systemd-analyze security` gives 0 (shut in) to 10 (exposed); times ten.
const EXPOSURE_AT_MOST: &str = "20";

fn deploy(file: &str) -> String {
    fs::read_to_string(project().join("deploy").join(file)).unwrap()
}

/// The unit with this machine's own paths of program and settings, which must exist to be checked.
fn unit_in(folder: &Path) -> std::path::PathBuf {
    let mut text = deploy("nightbench.service");
    let exec: Vec<&str> = text
        .lines()
        .filter(|line| line.starts_with("Exec"))
        .collect();
    let here = exec.iter().map(|line| (line.to_string(), here(line)));
    for (from, to) in here.collect::<Vec<_>>() {
        text = text.replace(&from, &to);
    }
    let unit = folder.join("nightbench.service");
    fs::write(&unit, text).unwrap();
    unit
}

/// `Exec…=PROGRAM ARGUMENTS` with a program that every machine has.
fn here(line: &str) -> String {
    let (key, command) = line.split_once('=').unwrap();
    let arguments = command
        .split_once(' ')
        .map_or("", |(_, arguments)| arguments);
    format!("{key}=/bin/true {arguments}")
}

fn analyze(arguments: &[&str]) -> (bool, String) {
    let output = Command::new("systemd-analyze")
        .args(arguments)
        .output()
        .expect("`tests/install` installs systemd");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (
        output.status.success(),
        text(&output.stdout) + &text(&output.stderr),
    )
}

#[test]
fn the_service_manager_takes_the_unit_without_a_word() {
    let folder = tempfile::tempdir().unwrap();
    let unit = unit_in(folder.path());
    let (success, said) = analyze(&["verify", "--man=no", unit.to_str().unwrap()]);
    let about_us: Vec<&str> = said
        .lines()
        .filter(|it| it.contains("nightbench"))
        .collect();
    assert!(success && about_us.is_empty(), "{said}");
}

#[test]
fn the_unit_is_little_exposed() {
    let folder = tempfile::tempdir().unwrap();
    let unit = unit_in(folder.path());
    let threshold = format!("--threshold={EXPOSURE_AT_MOST}");
    let (success, said) = analyze(&[
        "security",
        "--offline=true",
        &threshold,
        unit.to_str().unwrap(),
    ]);
    assert!(success, "{said}");
}

#[test]
fn the_unit_keeps_what_the_program_needs() {
    let unit = settings(&deploy("nightbench.service"));
    let has = |key: &str, value: &str| unit.get(key).is_some_and(|own| own.contains(value));
    assert!(has("Type", "notify"));
    assert!(has("WatchdogSec", ""));
    assert!(has("StateDirectory", "nightbench"));
    assert!(has("SupplementaryGroups", "dialout"));
    assert!(has("DeviceAllow", "char-ttyUSB") && has("DeviceAllow", "char-ttyACM"));
    // Both would hide the boards or end them with the service.
    assert!(!unit.contains_key("PrivateDevices"));
    assert!(has("ExecStart", "serve --config"));
}

/// `Key=value` lines; values of a repeated key are joined.
fn settings(unit: &str) -> BTreeMap<String, String> {
    let mut settings = BTreeMap::<String, String>::new();
    for (key, value) in unit.lines().filter_map(|line| line.split_once('=')) {
        let all = settings.entry(key.to_owned()).or_default();
        all.push_str(value);
        all.push('\n');
    }
    settings
}

/// Source: udev(7), "Rules files": a line is a list of KEY OPERATOR "VALUE", apart by commas, with at
/// least one match (`==`, `!=`) and one assignment (from memory).
#[test]
fn every_device_rule_matches_something_and_assigns_something() {
    let text = deploy("70-nightbench.rules");
    let rules: Vec<&str> = text
        .lines()
        .filter(|it| !it.starts_with('#') && !it.is_empty())
        .collect();
    assert!(!rules.is_empty());
    for rule in rules {
        let mut matches = 0;
        let mut assigns = 0;
        for part in rule.split(", ") {
            let (head, value) = part
                .split_once('"')
                .unwrap_or_else(|| panic!("no value: {part}"));
            assert!(
                value.ends_with('"') && value.matches('"').count() == 1,
                "{part}"
            );
            match head.trim_start_matches(|c: char| c.is_ascii_alphanumeric() || "_{}".contains(c))
            {
                "==" | "!=" => matches += 1,
                "=" | "+=" | ":=" => assigns += 1,
                other => panic!("unknown operator `{other}` in {part}"),
            }
        }
        let is_label = rule.starts_with("LABEL=");
        assert!(is_label || (matches > 0 && assigns > 0), "{rule}");
    }
    assert!(text.contains("ENV{ID_MM_DEVICE_IGNORE}=\"1\""));
}
