//! The text is one that `check` accepts, and reads the board as it was heard.

use super::super::{Heard, recognise};
use super::*;
use crate::config::{self, Config};
use crate::measure::front_end::FrontEnd;
use std::path::Path;

fn drafted(lines: &[&str], origin: &Origin) -> Result<String, Unrecognised> {
    let heard: Vec<Heard> = lines
        .iter()
        .map(|line| Heard::recorded(line.as_bytes()))
        .collect();
    draft(&recognise(&heard)?, origin)
}

fn serial() -> Origin {
    Origin::Serial {
        port: PathBuf::from("/dev/serial/by-id/usb-maker_board_1234-if00"),
        baud: 9600,
    }
}

#[track_caller]
fn read(text: &str) -> Option<Config> {
    let (config, problems) = config::parse(text, Path::new(""));
    assert_eq!(problems, [], "{text}");
    config
}

const LINES: [&str; 6] = [
    "ms=1000 a0=512 a1=3000 led=1 temp=21.5 id=x",
    "ms=2001 a0=511 a1=3010 led=1 temp=21.6 id=x",
    "ms=3001 a0=513 a1=3009 led=1 temp=21.6 id=x",
    "ms=4002 a0=512 a1=3100 led=1 temp=21.4 id=x",
    "ms=5002 a0=513 a1=3120 led=1 temp=21.4 id=x",
    "ms=6002 a0=511 a1=3120 led=1 temp=21.3 id=x",
];

#[test]
fn a_board_is_drafted_with_one_probe_for_each_moving_field() {
    let text = drafted(&LINES, &serial()).unwrap_or_default();
    insta::assert_snapshot!(text, @r#"
    # Made by `nightbench listen` from 6 lines such as:
    #
    #     ms=6002 a0=511 a1=3120 led=1 temp=21.3 id=x
    #
    # What is marked GUESS cannot be heard: compare it with the wiring and the probe's sheet.
    # Not a safety device: do not let anything depend on it that can hurt or burn.

    site = "bench"                  # name of the place: letters, digits, _ . -

    [log]
    path = "bench.sqlite"           # beside this file

    [board.bench]
    source = "serial"
    port = "/dev/serial/by-id/usb-maker_board_1234-if00"
    baud = 9600
    format = "pairs"
    clock = "ms"

    # `ms`: counts milliseconds: the board's own clock, no probe

    # `a0`: goes up and down like noise, 511 to 513
    [board.bench.channel.a0]
    front_end = "divider"
    probe_side = "low"              # GUESS: probe from input to ground; "high": from input to supply
    resistor = "10 kOhm"            # GUESS: the fixed resistor; measure it
    full_scale = 4095               # GUESS: the least that fits; 1023 for 10 bits, 4095 for 12, 65535 for 16

    [probe.a0]                      # rename it after what it measures
    board = "bench"
    channel = "a0"
    driver = "thermistor"           # GUESS: or "photoresistor", "divider"

    [probe.a0.parameters]           # GUESS: take them from the probe's sheet
    form = "beta"
    r0 = "10 kOhm"                  # resistance ...
    t0 = "25 Cel"                   # ... at this temperature
    beta = "3950 K"

    # `a1`: goes up and down like noise, 3000 to 3120
    [board.bench.channel.a1]
    front_end = "divider"
    probe_side = "low"              # GUESS: probe from input to ground; "high": from input to supply
    resistor = "10 kOhm"            # GUESS: the fixed resistor; measure it
    full_scale = 4095               # GUESS: the least that fits; 1023 for 10 bits, 4095 for 12, 65535 for 16

    [probe.a1]                      # rename it after what it measures
    board = "bench"
    channel = "a1"
    driver = "thermistor"           # GUESS: or "photoresistor", "divider"

    [probe.a1.parameters]           # GUESS: take them from the probe's sheet
    form = "beta"
    r0 = "10 kOhm"                  # resistance ...
    t0 = "25 Cel"                   # ... at this temperature
    beta = "3950 K"

    # `led`: did not move: 1
    # If a probe hangs on it, take the `# ` away from these lines:
    # [board.bench.channel.led]
    # front_end = "divider"
    # probe_side = "low"              # GUESS: probe from input to ground; "high": from input to supply
    # resistor = "10 kOhm"            # GUESS: the fixed resistor; measure it
    # full_scale = 4095               # GUESS: the least that fits; 1023 for 10 bits, 4095 for 12, 65535 for 16
    #
    # [probe.led]                     # rename it after what it measures
    # board = "bench"
    # channel = "led"
    # driver = "thermistor"           # GUESS: or "photoresistor", "divider"
    #
    # [probe.led.parameters]          # GUESS: take them from the probe's sheet
    # form = "beta"
    # r0 = "10 kOhm"                  # resistance ...
    # t0 = "25 Cel"                   # ... at this temperature
    # beta = "3950 K"

    # `temp`: goes up and down like noise, 21.3 to 21.6
    [board.bench.channel.temp]
    front_end = "none"              # GUESS: no converter's count, but a finished number

    [probe.temp]                    # rename it after what it measures
    board = "bench"
    channel = "temp"
    driver = "divider"
    input = "number"
    quantity = "number"             # GUESS: what it is, as in "temperature"
    unit = "1"                      # GUESS: its UCUM code, as in "Cel", "V", "lx"

    # `id`: never a plain number; left out
    "#);
    let config = read(&text);
    let probes = config.map(|it| it.probes.into_iter().map(|probe| probe.name).collect());
    assert_eq!(
        probes,
        Some(vec!["a0".to_owned(), "a1".to_owned(), "temp".to_owned()])
    );
}

#[test]
fn what_stands_behind_comment_marks_is_right_once_they_are_taken_away() {
    let text = drafted(&LINES, &serial()).unwrap_or_default();
    let (before, after) = text.split_once("these lines:\n").unwrap_or_default();
    let freed: String = after
        .split_inclusive('\n')
        .map(|line| {
            line.strip_prefix("# ")
                .filter(|it| !it.starts_with('`'))
                .unwrap_or(line)
        })
        .map(|line| if line == "#\n" { "\n" } else { line })
        .collect();
    let config = read(&format!("{before}these lines:\n{freed}"));
    assert_eq!(config.map(|it| it.probes.len()), Some(4));
}

#[test]
fn the_full_scale_is_the_least_that_fits() {
    for (line, expected) in [
        ("a0=512", 1023.0),
        ("a0=1024", 4095.0),
        ("a0=65000", 65_535.0),
        ("a0=70000", 16_777_215.0),
    ] {
        let text = drafted(&[line, "a0=1"], &serial()).unwrap_or_default();
        let channel = read(&text).map(|it| it.boards[0].channels[0].front_end);
        assert!(
            matches!(channel, Some(FrontEnd::Divider { full_scale, .. }) if full_scale == expected),
            "{line}"
        );
    }
}

#[test]
fn recorded_and_piped_lines_are_drafted_as_well() {
    let recorded = Origin::Recorded {
        file: PathBuf::from("odd \"name\"\u{7f}.txt"),
    };
    for origin in [recorded, Origin::Piped] {
        let text = drafted(&["512 300", "513 300"], &origin).unwrap_or_default();
        assert!(read(&text).is_some(), "{text}");
    }
}

#[test]
fn odd_names_are_read_by_their_field() {
    let lines = [
        r#"{"Licht (\n°)":512,"site":{"a.0":7}}"#,
        r#"{"Licht (\n°)":513,"site":{"a.0":8}}"#,
    ];
    let text = drafted(&lines, &serial()).unwrap_or_default();
    let channels = read(&text)
        .map(|it| it.boards[0].channels.clone())
        .unwrap_or_default();
    let fields: Vec<(&str, &str)> = channels
        .iter()
        .map(|it| (it.name.as_str(), it.field.as_str()))
        .collect();
    assert_eq!(fields, [("Licht", "Licht (\n°)"), ("site-a-0", "site.a.0")]);
}

#[test]
fn a_slow_board_is_not_called_silent_between_its_lines() {
    let line = |at_ms: f64| Heard {
        at_ms: Some(at_ms),
        bytes: b"a0=5".to_vec(),
    };
    let found = recognise(&[0.0, 30_000.0, 60_000.0].map(line));
    let text = found
        .and_then(|found| draft(&found, &serial()))
        .unwrap_or_default();
    let silent = read(&text).map(|it| it.boards[0].silent_after.as_secs());
    assert_eq!(silent, Some(90));
}

#[test]
fn a_board_that_only_counts_is_no_board_to_log() {
    let lines = ["ms=1", "ms=2", "ms=3", "ms=4"];
    assert_eq!(
        drafted(&lines, &serial()),
        Err(Unrecognised::NothingMeasured)
    );
    let text = drafted(&["n=1", "n=2", "n=3", "n=4"], &serial()).unwrap_or_default();
    assert!(read(&text).is_some_and(|it| it.probes.len() == 1), "{text}");
}
