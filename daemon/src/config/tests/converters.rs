//! Converters with a reference of their own, corrections, and a board's own clock: what is taken, and
//! how faults are told.

use super::{good_and, good_but, read, shown};
use crate::alarm::Condition;
use crate::config::{Config, drivers::Drivers, files::Files, load, parse_with};
use crate::measure::board_clock::Counter;
use crate::measure::front_end::{FrontEnd, Supply};
use insta::assert_snapshot;
use std::path::Path;

/// The small good configuration with these lines more in its channel.
fn channel(lines: &str) -> String {
    good_but(
        "full_scale = 1023\n",
        &format!("full_scale = 1023\n{lines}\n"),
    )
}

/// The same with these lines more in its board.
fn board(lines: &str) -> String {
    good_but(
        "source = \"serial\"\n",
        &format!("source = \"serial\"\n{lines}\n"),
    )
}

const VDD: &str = "[board.bench.channel.vdd]\nfront_end = \"voltage\"\nreference = \"1.1 V\"\n\
                   ratio = 4\nfull_scale = 1023\n";

fn config(text: &str) -> Config {
    read(text).0.unwrap_or_else(|| panic!("{}", shown(text)))
}

fn supply(text: &str) -> (Supply, Option<String>) {
    let channel = config(text).boards[0].channels[0].clone();
    match channel.front_end {
        FrontEnd::AbsoluteDivider(divider) => (divider.supply, channel.supply_channel),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_stated_supply_makes_a_divider_absolute() {
    let text = channel("reference = \"1.1 V\"\nsupply = \"3.3 V\"\nsupply_uncertainty = \"30 mV\"");
    let stated = Supply::Known {
        volt: 3.3,
        uncertainty_volt: 0.03,
    };
    assert_eq!(supply(&text), (stated, None));
}

#[test]
fn a_measured_supply_is_another_channel_behind_its_ratio() {
    let text = channel("reference = \"1.1 V\"\nsupply_channel = \"vdd\"") + VDD;
    let measured = Supply::Measured {
        uncertainty_volt: 0.0,
    };
    assert_eq!(supply(&text), (measured, Some("vdd".to_owned())));
    let vdd = FrontEnd::Voltage {
        reference_volt: 4.4,
        full_scale: 1023.0,
    };
    assert_eq!(config(&text).boards[0].channels[1].front_end, vdd);
}

#[test]
fn an_open_deadband_on_a_measured_supply_is_a_converter_step() {
    let alarm = "[probe.mash.alarm.high]\nlimit = 25\n";
    let text = channel("reference = \"1.1 V\"\nsupply_channel = \"vdd\"") + VDD + alarm;
    let Condition::High { deadband, .. } = config(&text).probes[0].alarms[0].condition else {
        panic!("one high alarm is configured")
    };
    // Source: as for the ratiometric divider in `whole.rs`.
    let step = 298.15_f64.powi(2) / 3950.0 * 4.0 / 1023.0;
    assert!((deadband - step).abs() < 1e-6, "{deadband} {step}");
}

#[test]
fn a_supply_that_is_half_told_is_told_of() {
    assert_snapshot!(shown(&channel("reference = \"1.1 V\"")), @r#"bath.toml:7:22: board `bench`, channel `a0`: the converter has a `reference` of its own, but the divider's supply is not given; add a line such as `supply = "3.3 V"`, or a `supply_channel` that measures it; remove `reference` where the divider hangs on it"#);
    assert_snapshot!(shown(&channel("supply = \"3.3 V\"")), @r#"bath.toml:7:22: board `bench`, channel `a0`: `reference` is missing; add a line such as `reference = "1.1 V"`"#);
    let both = channel("reference = 1.1\nsupply = 3.3\nsupply_channel = \"vdd\"") + VDD;
    assert_snapshot!(shown(&both), @"bath.toml:14:1: board `bench`, channel `a0`: there is a `supply_channel` beside `supply`; keep `supply` where the voltage is stated, `supply_channel` where it is measured");
}

#[test]
fn supplies_that_cannot_be_are_told_of() {
    let text = channel("reference = \"1.1 kOhm\"\nsupply = 0\nsupply_uncertainty = -1");
    assert_snapshot!(shown(&text), @r#"
    bath.toml:12:13: board `bench`, channel `a0`: `1.1 kOhm` is a resistance, but a voltage in `V` is wanted; write a number with a unit: `"3.3 V"`
    bath.toml:13:10: board `bench`, channel `a0`: `supply` is 0; it must be above 0
    bath.toml:14:22: board `bench`, channel `a0`: `supply_uncertainty` is -1 V; it is a standard uncertainty, 0 or more
    "#);
    let text = channel("reference = 1.1\nsupply = 3.3\nsupply_uncertainty = 3.3\nsuply = 3");
    assert_snapshot!(shown(&text), @"
    bath.toml:14:22: board `bench`, channel `a0`: a supply of 3.3 V that is uncertain by 3.3 V is unknown; write one standard uncertainty, in volts
    bath.toml:15:1: board `bench`, channel `a0`: unknown key `suply`; there is a key with a similar name: `supply`
    ");
}

#[test]
fn a_supply_channel_must_give_volts() {
    let absolute = |name: &str| {
        channel(&format!(
            "reference = \"1.1 V\"\nsupply_channel = \"{name}\""
        ))
    };
    assert_snapshot!(shown(&absolute("vdd")), @r#"bath.toml:13:18: board `bench`, channel `a0`: the board has no other channel; add one with `front_end = "voltage"`"#);
    assert_snapshot!(shown(&(absolute("vd") + VDD)), @"bath.toml:13:18: board `bench`, channel `a0`: unknown `supply_channel`: `vd`; there is a similar one: `vdd`");
    let bare = "[board.bench.channel.vdd]\nfront_end = \"none\"\n";
    assert_snapshot!(shown(&(absolute("vdd") + bare)), @r#"bath.toml:13:18: board `bench`, channel `a0`: the channel `vdd` gives no volts; give `vdd` a `front_end = "voltage"`, or name another one"#);
}

#[test]
fn keys_of_converters_belong_to_converters() {
    let timed = "[board.bench.channel.t]\nfront_end = \"charge-time\"\nper_ohm = 1\noverflow = 9\n\
                 reference = 3\nsupply = 3\nratio = 2\ncorrections = []\n";
    assert_snapshot!(shown(&good_and(timed)), @r#"
    bath.toml:23:1: board `bench`, channel `t`: `reference` does not belong here: it goes with `front_end = "divider"` or `"voltage"`; remove it
    bath.toml:24:1: board `bench`, channel `t`: `supply` does not belong here: it goes with `front_end = "divider"`; remove it
    bath.toml:25:1: board `bench`, channel `t`: `ratio` does not belong here: it goes with `front_end = "voltage"`; remove it
    bath.toml:26:1: board `bench`, channel `t`: `corrections` does not belong here: it goes with `front_end = "divider"` or `"voltage"`; remove it
    "#);
}

#[test]
fn a_boards_corrections_are_those_of_its_converters_but_for_their_own() {
    let text = board("corrections = [[0, 1], [1000, 3]]")
        + VDD
        + "corrections = []\n[board.bench.channel.n]\nfront_end = \"none\"\n";
    let corrected: Vec<f64> = config(&text).boards[0]
        .channels
        .iter()
        .map(|channel| channel.corrections.correct(500.0))
        .collect();
    assert_eq!(corrected, [502.0, 500.0, 500.0]);
}

#[test]
fn corrections_that_are_no_table_are_told_of() {
    assert_snapshot!(shown(&board("corrections = [[512, -3], [512, 1]]")), @"bath.toml:6:15: board `bench`: the count of point 2 is not above the one before; order the points by their counts");
    assert_snapshot!(shown(&board("corrections = [[512, -3], [513]]")), @"bath.toml:6:27: board `bench`: 1 numbers are no pair; write a count and what to add to it: `[512, -3]`");
    assert_snapshot!(shown(&channel("corrections = 7\ncorections = []")), @"
    bath.toml:12:15: board `bench`, channel `a0`: `corrections` must be a list of pairs, but is a whole number; write it as `corrections = [[512, -3], [1536, -2.5]]`
    bath.toml:13:1: board `bench`, channel `a0`: unknown key `corections`; there is a key with a similar name: `corrections`
    ");
    assert_snapshot!(shown(&board("corrections = [[1, \"x\"]]\ncorrections_file = \"a.csv\"")), @"bath.toml:7:1: board `bench`: there are `corrections` beside `corrections_file`; remove one of them");
}

#[test]
fn a_file_of_corrections_is_read_with_the_configuration() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bath.toml");
    std::fs::write(&path, board("corrections_file = \"adc.csv\"")).unwrap();
    std::fs::write(folder.path().join("adc.csv"), "0,2\n").unwrap();
    let (config, _) = load(&path).unwrap();
    let corrected = config.boards[0].channels[0].corrections.correct(5.0);
    assert_eq!(corrected.to_bits(), 7.0_f64.to_bits());
}

fn shown_with(text: &str, file: &str) -> String {
    let read = |_: &Path| Ok(file.to_owned());
    let (config, problems) = parse_with(
        text,
        &Files::new(Path::new("/night"), &read),
        &Drivers::default(),
    );
    assert!(config.is_none());
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

#[test]
fn a_file_of_corrections_is_told_of_with_its_line() {
    let text = board("corrections_file = \"adc.csv\"");
    assert_snapshot!(shown_with(&text, "5,1\n4,1\n"), @"6:20: board `bench`: `/night/adc.csv`: line 2: the count of point 2 is not above the one before; order the points by their counts");
    assert_snapshot!(shown(&text), @"bath.toml:6:20: board `bench`: `/night/adc.csv` cannot be read: no file is read here; check the path, the file's owner and mode");
}

#[test]
fn a_boards_clock_gets_the_stated_defaults() {
    let clock = |lines: &str| config(&board(lines)).boards[0].clock.clone().unwrap();
    let counter = Counter {
        unit_ns: 1e6,
        bits: 32,
    };
    let plain = clock("clock = \"ms\"");
    assert_eq!((&*plain.field, plain.counter), ("ms", counter));
    let other = clock("clock = \"t\"\nclock_unit = \"us\"\nclock_bits = 16");
    let counter = Counter {
        unit_ns: 1e3,
        bits: 16,
    };
    assert_eq!((&*other.field, other.counter), ("t", counter));
    assert_eq!(config(super::GOOD).boards[0].clock, None);
}

#[test]
fn clocks_that_cannot_be_are_told_of() {
    assert_snapshot!(shown(&board("clock_unit = \"ms\"\nclok = 1")), @"
    bath.toml:6:1: board `bench`: `clock_unit` does not belong here: it goes with `clock`, the field that holds the board's own time; remove it
    bath.toml:7:1: board `bench`: unknown key `clok`; there is a key with a similar name: `clock`
    ");
    assert_snapshot!(shown(&board("clock = \"\"\nclock_unit = \"min\"\nclock_bits = 4")), @"
    bath.toml:6:9: board `bench`: `clock` is empty; write something, or remove the line
    bath.toml:7:14: board `bench`: unknown `clock_unit`: `min`; it is one of `ms`, `us`, `s`
    bath.toml:8:14: board `bench`: `clock_bits` is 4; it must be between 8 and 64
    ");
    let columns = board("clock = \"ms\"\nformat = \"columns\"\ncolumns = [\"a0\", \"t\"]");
    assert_snapshot!(shown(&columns), @"bath.toml:6:9: board `bench`: none of the board's columns is `ms`; name `clock` after one of `a0`, `t`");
}
