//! The published tables, calibrated on through the command: each gives the errors that are known of it,
//! and the stated uncertainty covers them.

use super::bench::{calibrate_by, number, readings};
use nightbench_tests::published::{Table, path};
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;
use std::fs;

/// Of `ntc_expected.toml`: errors are properties of the table, known to half a millikelvin.
const KNOWN_TO: f64 = 5e-4;

/// A table, and what is expected of a fit at 0, 25 and 50 Cel.
struct Expected {
    table: &'static str,
    points: Vec<(f64, f64)>,
    max_error_0_50: f64,
    checks: Vec<(f64, f64)>,
}

/// The first entry on a table.
fn expected(table: &'static str) -> Expected {
    let text = fs::read_to_string(path("ntc_expected.toml")).unwrap();
    let all: toml::Table = text.parse().unwrap();
    let fits = all["steinhart_hart_3pt"].as_array().unwrap();
    let fit = fits
        .iter()
        .find(|fit| fit["table"].as_str() == Some(table))
        .unwrap();
    let list = |key: &str| -> Vec<f64> {
        let numbers = fit[key].as_array().unwrap().iter();
        let number = |one: &toml::Value| {
            one.as_float()
                .or_else(|| one.as_integer().map(|whole| whole as f64))
        };
        numbers.map(|one| number(one).unwrap()).collect()
    };
    let pairs = |one: &str, other: &str| list(one).into_iter().zip(list(other)).collect();
    Expected {
        table,
        points: pairs("calibration_points_degC", "calibration_R_ohm"),
        max_error_0_50: fit["max_error_0_50_K"].as_float().unwrap(),
        checks: pairs("check_t_table_degC", "check_t_fit_degC"),
    }
}

/// Calibrates on the points of a table, and lets the service read all its rows from -20 to 70 Cel.
fn holds(
    table: &'static str,
    (column, factor): (&str, f64),
    (r25, half_digit): (&str, fn(f64) -> f64),
) {
    let expected = expected(table);
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    let keys = "input = \"ohm\"\ntolerance = \"20 %\"\n";
    scene
        .bare("bench", "ohm")
        .probe("mash", ("bench", "ohm"), "thermistor", keys);
    scene.add(&format!(
        "[probe.mash.parameters]\nr0 = \"{r25}\"\nbeta = \"4000 K\"\n"
    ));
    calibrate_by(&scene, &points(&expected));

    let rows = Table::read(table);
    let degrees = rows.numbers("t_degC").into_iter();
    let ohms = rows
        .numbers(column)
        .into_iter()
        .map(|number| number * factor);
    let rows: Vec<(f64, f64)> = degrees
        .zip(ohms)
        .filter(|(t, _)| (-20.0..=70.0).contains(t))
        .collect();
    let service = Service::start_with(&scene, &mut [&mut board]);
    for (_, ohm) in &rows {
        // Between two rows a fault, so that the way from one to the next is no noise.
        board.send_line(&format!("ohm={ohm:.6}1"));
        board.send_line("ohm=-");
    }
    service.has_logged(2 * rows.len(), "mash");
    service.stop();
    let mut readings = readings(&scene);
    readings.retain(|reading| reading["value"].is_f64());
    assert_eq!(readings.len(), rows.len(), "{}", expected.table);
    let mut largest = 0.0_f64;
    for ((degrees, ohm), reading) in rows.iter().zip(&readings) {
        let error = number(reading, "value") - degrees;
        let printed = kelvin(half_digit(*ohm) / ohm, *degrees);
        let stated = 2.0 * number(reading, "uncertainty") + printed;
        assert!(
            error.abs() <= stated,
            "{table} at {degrees}: {error} beyond {stated}"
        );
        if (0.0..=50.0).contains(degrees) {
            largest = largest.max(error.abs());
        }
        let check = expected.checks.iter().find(|(t, _)| t == degrees);
        if let Some((_, fit)) = check {
            assert!(
                (number(reading, "value") - fit).abs() < 1e-4,
                "{table} at {degrees}"
            );
        }
    }
    assert!(
        (largest - expected.max_error_0_50).abs() < KNOWN_TO,
        "{table}: {largest}"
    );
}

/// Half a unit of the fourth digit, to which that sheet is rounded (see the table's own remarks).
fn fourth_digit(ohm: f64) -> f64 {
    0.5 * 10_f64.powf(ohm.log10().floor() - 3.0)
}

/// What a relative change of the resistance is in temperature, by the law of a B of 3950 K: enough for
/// half a digit.
fn kelvin(relative: f64, degrees: f64) -> f64 {
    (degrees + 273.15).powi(2) / 3950.0 * relative
}

/// Known as well as the sheet is printed.
fn points(expected: &Expected) -> String {
    let point = |(degrees, ohm): &(f64, f64)| {
        format!(
            "[[point]]\nreference = \"known\"\nwhat = \"maker's sheet\"\nvalue = \"{degrees} Cel\"\n\
             uncertainty = \"0.002 Cel\"\nelectrical = \"{ohm} Ohm\"\n\
             electrical_uncertainty = \"0.001 %\"\nmeasured_on = \"channel\"\n"
        )
    };
    expected.points.iter().map(point).collect()
}

#[test]
fn the_10_kilohm_3950_sheet_has_its_known_errors_covered() {
    holds(
        "ntc_10k_b3950_rt.csv",
        ("R_kohm", 1000.0),
        ("10 kOhm", fourth_digit),
    );
}

#[test]
fn the_100_kilohm_sheet_has_its_known_errors_covered() {
    holds(
        "ntc_100k_wf104_rt.csv",
        ("R_ohm", 1.0),
        ("100 kOhm", |_| 0.5),
    );
}

#[test]
fn the_10_kilohm_3977_sheet_has_its_known_errors_covered() {
    holds(
        "ntc_10k_vishay_3977_rt.csv",
        ("R_printed_ohm", 1.0),
        ("10 kOhm", |_| 0.5),
    );
}
