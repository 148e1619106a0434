//! The keys that say how far a probe's numbers are to be trusted: what they become, and what is told
//! where they are wrong.

use super::{GOOD, good_but, read, shown};
use crate::calibrate::Tolerance;
use crate::config::{Config, Trust};
use insta::assert_snapshot;
use std::time::Duration;

fn config(text: &str) -> Config {
    let (config, problems) = read(text);
    config.unwrap_or_else(|| panic!("{problems:#?}"))
}

/// The thermistor on its divider, with more lines in the probe's table.
fn probe(lines: &str) -> String {
    let driver = "driver = \"thermistor\"\n";
    good_but(driver, &format!("{driver}{lines}\n"))
}

fn trust(text: &str) -> Trust {
    config(text).probes[0].trust.clone()
}

/// What is said of a line in the probe's table.
fn told(line: &str) -> String {
    shown(&probe(line)).replace("bath.toml:", "")
}

#[test]
fn what_is_not_said_is_assumed() {
    let trust = trust(GOOD);
    assert_eq!(trust.tolerance, Tolerance::Electrical(0.05));
    assert_eq!((trust.heating, trust.verify_within), (None, None));
    assert_eq!(trust.calibration_due, Duration::from_secs(365 * 86_400));
    assert!((config(GOOD).boards[0].channels[0].resistor_tolerance - 0.01).abs() < 1e-15);
}

#[test]
fn a_tolerance_is_in_the_values_unit_or_a_share_of_the_resistance() {
    for (written, expected) in [
        ("\"0.5 Cel\"", Tolerance::Value(0.5)),
        ("\"0.9 [degF]\"", Tolerance::Value(0.5)),
        ("\"0.5 K\"", Tolerance::Value(0.5)),
        ("0.2", Tolerance::Value(0.2)),
        ("\"1 %\"", Tolerance::Electrical(0.01)),
        ("0", Tolerance::Value(0.0)),
    ] {
        let trust = trust(&probe(&format!("tolerance = {written}")));
        assert_eq!(trust.tolerance, expected, "{written}");
    }
}

#[test]
fn light_is_known_to_half_a_decade_and_a_curve_of_ones_own_is_taken_at_its_word() {
    let light = GOOD
        .replace("thermistor", "photoresistor")
        .replace("r0 = ", "r10 = ")
        .replace("beta = \"3950 K\"", "gamma = 0.7");
    assert_eq!(trust(&light).tolerance, Tolerance::Decades(0.5));
    let own = GOOD
        .replace(
            "thermistor\"",
            "divider\"\nquantity = \"level\"\nunit = \"%\"",
        )
        .replace("r0 = \"10 kOhm\"\nbeta = \"3950 K\"", "gain = 100");
    assert_eq!(trust(&own).tolerance, Tolerance::Unknown);
    // There a percentage is the value's own unit.
    let level = own.replace("unit = \"%\"", "unit = \"%\"\ntolerance = \"2 %\"");
    assert_eq!(trust(&level).tolerance, Tolerance::Value(2.0));
}

#[test]
fn self_heating_takes_the_supply_from_board_or_front_end() {
    let board = |text: String| text.replace("[board.bench]\n", "[board.bench]\nsupply = \"5 V\"\n");
    for dissipation in ["\"1.5 mW/K\"", "\"0.0015 W/K\"", "\"1.5 mW/°C\"", "1.5"] {
        let text = board(probe(&format!("dissipation = {dissipation}")));
        let heating = trust(&text).heating.unwrap();
        assert_eq!((heating.supply_volt, heating.resistor_ohm), (5.0, 10_000.0));
        assert!(
            (heating.dissipation - 1.5e-3).abs() < 1e-12,
            "{dissipation}"
        );
    }
    let own = "full_scale = 1023\nreference = \"1.1 V\"\nsupply = \"3.3 V\"\n";
    let absolute = probe("dissipation = 2").replace("full_scale = 1023\n", own);
    assert_eq!(trust(&absolute).heating.unwrap().supply_volt, 3.3);
}

#[test]
fn the_other_keys_are_read_in_their_units() {
    let text = probe("calibration_due = \"90d\"\nverify_within = \"0.54 [degF]\"").replace(
        "resistor = \"10 kOhm\"",
        "resistor = \"10 kOhm\"\nresistor_tolerance = \"0.1 %\"",
    );
    let trust = trust(&text);
    assert_eq!(trust.calibration_due, Duration::from_secs(90 * 86_400));
    assert!((trust.verify_within.unwrap() - 0.3).abs() < 1e-12);
    assert!((config(&text).boards[0].channels[0].resistor_tolerance - 1e-3).abs() < 1e-15);
}

#[test]
fn what_cannot_be_is_told() {
    assert_snapshot!(told("tolerance = \"-1 K\""), @"16:13: probe `mash`: `tolerance` is -1 Cel; it is how far the probe may be off to either side, 0 or more");
    assert_snapshot!(told("tolerance = \"120 %\""), @"16:13: probe `mash`: `tolerance` is 120 %; it must be between 0 % and 90 %");
    assert_snapshot!(told("tolerance = \"5 lx\""), @r#"16:13: probe `mash`: `5 lx` is an illuminance, but a temperature in `Cel` is wanted; write a number with a unit: `"20 Cel"`"#);
    assert_snapshot!(told("verify_within = 0"), @"16:17: probe `mash`: `verify_within` is 0 Cel; it is the largest error that is tolerated, above 0");
    assert_snapshot!(told("calibration_due = \"2h\""), @"16:19: probe `mash`: `calibration_due` is 2h; it must be between 1d and 3650d");
    assert_snapshot!(told("dissipation = \"1.5 W\""), @r#"
    16:15: probe `mash`: unknown unit `W`, but a dissipation constant in `mW/K` is wanted; write a number with a unit: `"1.5 mW/K"`
    16:15: probe `mash`: how far the probe warms itself is not known without the divider's supply; add `supply = "5 V"` to `[board.bench]`
    "#);
    assert_snapshot!(told("dissipation = \"1.5 mW/K\""), @r#"16:15: probe `mash`: how far the probe warms itself is not known without the divider's supply; add `supply = "5 V"` to `[board.bench]`"#);
    assert_snapshot!(told("dissipation = \"5 W/K\""), @r#"
    16:15: probe `mash`: `dissipation` is 5000 mW/K; it must be between 0.01 mW/K and 1000 mW/K
    16:15: probe `mash`: how far the probe warms itself is not known without the divider's supply; add `supply = "5 V"` to `[board.bench]`
    "#);
    assert_snapshot!(told("tolerence = \"1 %\""), @"16:1: probe `mash`: unknown key `tolerence`; there is a key with a similar name: `tolerance`");
}

#[test]
fn what_belongs_elsewhere_is_told() {
    let none = probe("dissipation = 2\ninput = \"ohm\"").replace(
        "front_end = \"divider\"\nprobe_side = \"low\"\nresistor = \"10 kOhm\"\nfull_scale = 1023",
        "front_end = \"none\"\nresistor_tolerance = \"1 %\"",
    );
    assert_snapshot!(shown(&none), @r#"
    bath.toml:9:1: board `bench`, channel `a0`: `resistor_tolerance` does not belong here: it goes with `front_end = "divider"`; remove it
    bath.toml:14:15: probe `mash`: how far a probe warms itself is only known of one in a divider; remove `dissipation`
    "#);
    let light = probe("dissipation = 2")
        .replace("thermistor", "photoresistor")
        .replace("r0 = ", "r10 = ")
        .replace("beta = \"3950 K\"", "gamma = 0.7");
    assert_snapshot!(shown(&light), @"bath.toml:16:15: probe `mash`: `dissipation` warms a probe, but its value is in `lx`; remove it");
    let wide = GOOD.replace(
        "= \"10 kOhm\"\nfull",
        "= \"10 kOhm\"\nresistor_tolerance = \"80 %\"\nfull",
    );
    assert_snapshot!(shown(&wide), @"bath.toml:11:22: board `bench`, channel `a0`: `resistor_tolerance` is 80 %; it must be between 0 % and 50 %");
    assert_snapshot!(shown(&GOOD.replace("[board.bench]\n", "[board.bench]\nsupply = \"230 V\"\n")), @"bath.toml:5:10: board `bench`: `supply` is 230 V; it must be between 0.5 V and 60 V");
}
