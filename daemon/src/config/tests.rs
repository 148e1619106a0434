//! The configuration as a whole: ready files, texts with many faults, texts of chance.

#![allow(clippy::unwrap_used)]

mod advice;
mod converters;
mod drivers;
mod faults;
mod hints;
mod hostile;
mod ready;
mod sources;
mod syntax;
mod trust;
mod whole;

use super::{Config, Problem, parse};
use std::path::Path;

/// Parses with relative paths under `/night`.
fn read(text: &str) -> (Option<Config>, Vec<Problem>) {
    parse(text, Path::new("/night"))
}

/// The problems of a text, one a line.
fn shown(text: &str) -> String {
    let (config, problems) = read(text);
    assert_eq!(config.is_some(), !problems.iter().any(Problem::is_error));
    let lines: Vec<String> = problems
        .iter()
        .map(|p| p.in_file("bath.toml").to_string())
        .collect();
    lines.join("\n")
}

/// A small good configuration; tests change a line of it.
const GOOD: &str = r#"site = "cellar"
[log]
path = "cellar.sqlite"
[board.bench]
source = "serial"
port = "/dev/serial/by-id/usb-board"
[board.bench.channel.a0]
front_end = "divider"
probe_side = "low"
resistor = "10 kOhm"
full_scale = 1023
[probe.mash]
board = "bench"
channel = "a0"
driver = "thermistor"
[probe.mash.parameters]
r0 = "10 kOhm"
beta = "3950 K"
"#;

/// [`GOOD`] with more text at the end.
fn good_and(more: &str) -> String {
    format!("{GOOD}{more}")
}

/// [`GOOD`] with one text for another.
fn good_but(old: &str, new: &str) -> String {
    assert!(GOOD.contains(old), "{old}");
    GOOD.replace(old, new)
}
