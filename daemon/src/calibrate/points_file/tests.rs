//! Files of points: good ones, faulty ones, and texts of chance.

#![allow(clippy::unwrap_used)]

use super::{Entry, ProbeRead, Subject, read};
use crate::calibrate::point::{Reference, Role, Shape};
use crate::calibrate::reference::combined;
use crate::config::Problem;
use crate::config::unit::Unit;
use crate::driver::Electrical;
use insta::assert_snapshot;
use proptest::prelude::*;

/// Every kind of reference. The numbers are invented.
const GOOD: &str = r#"[[point]]
reference = "ice"
electrical = "32554 Ohm"
electrical_uncertainty = "10 Ohm"

[[point]]
reference = "boiling"
pressure = "99.2 kPa"
water = "tap"
from = "2026-11-24T20:00:00Z"
to = 2026-11-24T20:02:00Z

[[point]]
reference = "instrument"
name = "kitchen"
value = "40.1 Cel"
uncertainty = "0.2 Cel"
coverage = 2
resolution = "0.1 Cel"
electrical = "5.31 kOhm"
electrical_uncertainty = "0.1 %"
role = "check"

[[point]]
reference = "resistor"
what = "precision resistor"
value = "10 kOhm"
tolerance = "0.1 %"
from = "2026-11-24T21:10:00+01:00"
to = "2026-11-24T21:11:00+01:00"
"#;

fn mash() -> Subject {
    Subject {
        unit: Unit::of("Cel"),
        input: Electrical::Ohm,
    }
}

fn good(text: &str) -> Vec<Entry> {
    let (entries, problems) = read(text, &mash());
    assert_eq!(problems, []);
    entries.unwrap()
}

fn shown(text: &str) -> String {
    let (entries, problems) = read(text, &mash());
    assert!(entries.is_none());
    let lines = problems
        .iter()
        .map(|one| one.in_file("points.toml").to_string());
    lines.collect::<Vec<_>>().join("\n")
}

#[test]
fn each_kind_of_point_is_read() {
    let points = good(GOOD);
    let [ice, boiling, kitchen, resistor] = &points[..] else {
        panic!("four points");
    };
    assert_eq!(
        (ice.role, &ice.compared.reference, ice.read),
        (
            Role::Fit,
            &Reference::Ice,
            ProbeRead::Given {
                electrical: 32_554.0,
                uncertainty: 5.0
            }
        )
    );
    // Source: tests/published/boiling_50_110_kpa.csv between 97.5 and 100 kPa; a tolerance of 0.2 kPa.
    assert!((boiling.compared.value - 99.382).abs() < 1e-3);
    assert!((boiling.compared.common - 0.28 * 0.2 / 3_f64.sqrt()).abs() < 1e-3);
    // 2026-11-24T20:00:00Z.
    let logged = ProbeRead::Logged {
        from_ms: 1_795_550_400_000,
        until_ms: 1_795_550_520_000,
    };
    assert_eq!(boiling.read, logged);
    assert_eq!(kitchen.role, Role::Check);
    assert!((combined(&kitchen.compared) - 0.1_f64.hypot(0.1 / 12_f64.sqrt())).abs() < 1e-12);
    assert_eq!(resistor.compared.common_shape, Shape::Rectangular);
    assert!((resistor.compared.common - 10.0 / 3_f64.sqrt()).abs() < 1e-9);
}

#[test]
fn the_pressure_comes_from_a_barometer_a_service_or_an_altitude() {
    let at = |keys: &str| {
        let text = format!(
            "[[point]]\nreference = \"boiling\"\n{keys}\nelectrical = 688\nelectrical_uncertainty = 1\n"
        );
        good(&text)[0].compared.clone()
    };
    let barometer = at("pressure = \"973 hPa\"\npressure_tolerance = \"1 hPa\"");
    let service = at("sea_level_pressure = \"1013.25 hPa\"\naltitude = \"340 m\"");
    let altitude = at("altitude = 340");
    assert!((service.value - altitude.value).abs() < 1e-9);
    assert!(barometer.common < service.common && service.common < altitude.common);
}

#[test]
fn every_fault_is_told_at_once_with_what_would_be_right() {
    let text = r#"probe = "mash"
[[point]]
reference = "iced"
[[point]]
reference = "ice"
uncertainty = "0.01 Cel"
pressure = "99 kPa"
electrical = "32554"
[[point]]
reference = "boiling"
pressure = "1013"
from = "yesterday"
[[point]]
reference = "boiling"
electrical = "-5 Ohm"
electrical_uncertainty = "0 Ohm"
role = "fitted"
[[point]]
reference = "instrument"
name = " "
value = "40 lx"
from = "2026-11-24T20:00:00Z"
to = "2026-11-24T19:00:00Z"
[[point]]
reference = "boiling"
altitude = "8848 m"
electrical = "700 Ohm"
electrical_uncertainty = "1 Ohm"
to = "2026-11-24T19:00:00Z"
"#;
    assert_snapshot!(shown(text), @r#"
    points.toml:1:1: unknown key `probe`; the keys here are `point`
    points.toml:2:1: point 1: it is not said what the probe read; add `electrical = "32554 Ohm"`, or `from` and `to` of a span of logged readings
    points.toml:3:13: point 1: unknown `reference`: `iced`; there is a similar one: `ice`; the keys that go with it are looked at once this is mended
    points.toml:4:1: point 2: `electrical_uncertainty` is missing; add a line such as `electrical_uncertainty = "10 Ohm"`
    points.toml:6:15: point 2: an ice point made in a kitchen is no better than 0.05 Cel; give at least that, or a laboratory's fixed point as a known value
    points.toml:7:1: point 2: `pressure` does not belong here: it goes with boiling water; remove it
    points.toml:9:1: point 3: `to` is missing; add a line such as `to = 2026-11-24T20:02:00Z`
    points.toml:11:12: point 3: a station pressure of 1.013 kPa is outside 50 to 110 kPa; give the pressure where the water boils, with its unit, such as `99.2 kPa` or `992 hPa`
    points.toml:12:8: point 3: `yesterday` is no moment with its offset from UTC; write it as `2026-11-24T20:00:00Z` or `2026-11-24T21:00:00+01:00`
    points.toml:13:1: point 4: it is not said at which pressure the water boils; add `pressure = "99.2 kPa"` as a barometer shows it on the spot, `sea_level_pressure` and `altitude`, or `altitude = "340 m"` alone
    points.toml:15:14: point 4: a probe does not read -5 Ohm; it must be above 0
    points.toml:16:26: point 4: an uncertainty of 0 is none; give a finite number above 0
    points.toml:17:8: point 4: unknown `role`: `fitted`; it is one of `fit`, `check`
    points.toml:18:1: point 5: it is not said how sure the value is; add `uncertainty = "0.1 Cel"` (with `coverage`, else 2) or `tolerance = "0.5 Cel"`
    points.toml:20:8: point 5: `name` is empty; write something, or remove the line
    points.toml:21:9: point 5: `40 lx` is an illuminance, but a temperature in `Cel` is wanted; write a number with a unit: `"20 Cel"`
    points.toml:23:6: point 5: the span ends before it begins; `to` must be later than `from`
    points.toml:26:12: point 6: an altitude of 8848 m is outside -430 to 4000 m; give the station pressure that a barometer shows there instead
    points.toml:29:1: point 6: `to` does not belong here: `electrical` says what the probe read; remove it
    "#);
}

#[test]
fn a_file_that_is_none_is_explained() {
    assert_snapshot!(shown(""), @"points.toml:1:1: there is no `[[point]]`, so there is nothing to calibrate by; add one for each reference");
    assert_snapshot!(shown("[point]\nreference = \"ice\"\n"), @"points.toml:1:2: `point` is no list of tables; write each under a heading of its own: `[[point]]`");
    assert_snapshot!(shown("point = [1]\n"), @"points.toml:1:1: point 1 is no table; write each under a heading of its own: `[[point]]`");
    assert_snapshot!(shown("[[point]]\nreference = ice\nelectrical: 5\n"), @r#"
    points.toml:2:13: `ice` is not in quotes; a word needs quotes: `reference = "ice"`
    points.toml:3:13: between a key and its value stands `=`, not `:`; write `electrical = 5`
    "#);
}

#[test]
fn a_probe_that_measures_light_takes_no_ice() {
    let light = Subject {
        unit: Unit::of("lx"),
        input: Electrical::Ohm,
    };
    let text = "[[point]]\nreference = \"ice\"\nelectrical = 5\nelectrical_uncertainty = 1\n";
    let (entries, problems) = read(text, &light);
    assert!(entries.is_none());
    assert_snapshot!(problems[0].to_string(), @"2:13: point 1: it is a temperature, but the probe measures in `lx`; use an instrument or a known value");
}

fn holds(text: &str) {
    let (entries, problems) = read(text, &mash());
    assert_eq!(
        entries.is_some(),
        !problems.iter().any(Problem::is_error),
        "{text}"
    );
    for entry in entries.iter().flatten() {
        let compared = &entry.compared;
        assert!(
            compared.value.is_finite() && combined(compared) > 0.0,
            "{text}"
        );
    }
    for problem in &problems {
        assert!(!problem.to_string().contains('\n'), "{problem}");
    }
}

proptest! {
    #[test]
    fn hostile_text_never_panics(text in "\\PC{0,200}|[\\[\\]a-z.=\"' \n0-9{}]{0,200}") {
        holds(&text);
        holds(&format!("{GOOD}{text}"));
    }

    #[test]
    fn a_value_of_any_type_never_panics(
        line in any::<prop::sample::Index>(),
        value in prop::sample::select(vec![
            "1", "-1", "0", "1e400", "nan", "-inf", "true", "[]", "[1, \"x\"]", "{ a = 1 }", "\"\"",
            "1979-05-27", "07:32:00", "1979-05-27T07:32:00", "\"1e308 kOhm\"", "\"\\u0000\"", "\"%\"",
            "\"1e308 %\"", "\"\u{202e}°\"", "\"line\\nbreak\"", "\"1e-320 Cel\"", "\"9999-12-31T23:59:60Z\"",
        ]),
    ) {
        let lines: Vec<&str> = GOOD.lines().filter(|line| line.contains(" = ")).collect();
        let chosen = line.get(&lines);
        let key = chosen.split(" = ").next().unwrap_or("");
        holds(&GOOD.replacen(chosen, &format!("{key} = {value}"), 1));
    }
}

#[test]
fn a_capture_that_fails_is_told_at_the_points_own_place_with_the_other_faults() {
    let text = "[[point]]\nreference = \"ice\"\nfrom = 2026-11-24T20:00:00Z\nto = 2026-11-24T20:02:00Z\n\
                [[point]]\nreference = \"iced\"\nelectrical = 1\nelectrical_uncertainty = 1\n";
    let refuse = |_: &Entry| Err("no point: it jumped; keep it still".to_owned());
    let (points, problems) = super::points(text, &mash(), refuse);
    assert!(points.is_none());
    let told: Vec<String> = problems.iter().map(ToString::to_string).collect();
    assert_snapshot!(told.join("\n"), @"
    3:8: point 1: no point: it jumped; keep it still
    6:13: point 2: unknown `reference`: `iced`; there is a similar one: `ice`; the keys that go with it are looked at once this is mended
    ");
}
