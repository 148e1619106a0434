//! The divider driver with a platinum probe: the printed table, straight lines between its rows,
//! and the polynomial of the standard, through the C table as a host sees it.

use nightbench_driver::host::{Binding, View};

const LINEAR: f64 = 0.0;
const POLYNOMIAL: f64 = 1.0;
const TABLE: f64 = 2.0;
/// IEC 60751:2008, 4.2: coefficients from 0 °C up, with R0 = 100 ohm.
const A: f64 = 3.9083e-3;
const B: f64 = -5.775e-7;

struct Model {
    view: View,
    binding: Binding,
}

impl Model {
    fn new(given: &[(&str, &[f64])]) -> Self {
        let view = View::new(&nightbench_divider::TABLE).expect("a sound table");
        let binding = Binding::named(view.parameters(), given).expect("declared names");
        assert_eq!(view.check(&binding), Ok(None));
        Self { view, binding }
    }

    fn value(&self, input: f64) -> Option<f64> {
        let mut value = [f64::NAN];
        self.view
            .evaluate(&self.binding, &[input], &mut value)
            .ok()
            .map(|()| value[0])
    }
}

/// Degrees Celsius and ohm. Source: IEC 60751:2008, table 1, as `published/iec60751_pt100.csv`.
fn platinum() -> (Vec<f64>, Vec<f64>) {
    let text = include_str!("published/iec60751_pt100.csv");
    let data = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    let number = |text: &str| text.parse::<f64>().expect("a number");
    data.map(|line| line.split(',').collect::<Vec<_>>())
        .map(|row| (number(row[0]), number(row[1])))
        .unzip()
}

/// Ohm at a temperature from 0 °C up.
fn resistance(celsius: f64) -> f64 {
    100.0 * (1.0 + A * celsius + B * celsius * celsius)
}

fn assert_near(got: Option<f64>, wanted: f64, tolerance: f64) {
    let got = got.unwrap_or(f64::NAN);
    assert!(
        (got - wanted).abs() <= tolerance,
        "{got}, not {wanted} within {tolerance}"
    );
}

#[test]
fn the_platinum_table_is_met_at_every_row_and_nearly_between() {
    let (celsius, ohm) = platinum();
    let model = Model::new(&[("form", &[TABLE]), ("table_x", &ohm), ("table_y", &celsius)]);
    for (celsius, ohm) in celsius.iter().zip(&ohm) {
        assert_eq!(model.value(*ohm), Some(*celsius));
    }
    // A line over 10 K misses the curve by at most |B| (10 K)^2 / 4 A = 3.7 mK.
    for celsius in [5.0, 15.0, 37.0, 68.2, 99.9, 155.0] {
        assert_near(model.value(resistance(celsius)), celsius, 0.004);
    }
}

#[test]
fn the_ratio_of_a_one_kilohm_divider_serves_as_well() {
    let (celsius, ohm) = platinum();
    let ratio: Vec<f64> = ohm.iter().map(|ohm| ohm / (ohm + 1000.0)).collect();
    let model = Model::new(&[
        ("form", &[TABLE]),
        ("table_x", &ratio),
        ("table_y", &celsius),
    ]);
    for (celsius, ratio) in celsius.iter().zip(&ratio) {
        assert_eq!(model.value(*ratio), Some(*celsius));
    }
    // Bent a little more than the resistance itself: 10 mK between rows.
    for celsius in [5.0, 37.0, 68.2, 155.0] {
        let ohm = resistance(celsius);
        assert_near(model.value(ohm / (ohm + 1000.0)), celsius, 0.015);
    }
}

#[test]
fn with_the_probe_on_the_high_side_the_table_falls() {
    let (celsius, ohm) = platinum();
    let ratio: Vec<f64> = ohm.iter().map(|ohm| 1000.0 / (ohm + 1000.0)).collect();
    let model = Model::new(&[
        ("form", &[TABLE]),
        ("table_x", &ratio),
        ("table_y", &celsius),
    ]);
    for (celsius, ratio) in celsius.iter().zip(&ratio) {
        assert_eq!(model.value(*ratio), Some(*celsius));
    }
}

#[test]
fn outside_the_table_there_is_no_value() {
    let (celsius, ohm) = platinum();
    let model = Model::new(&[("form", &[TABLE]), ("table_x", &ohm), ("table_y", &celsius)]);
    let (low, high) = model.view.range(&model.binding).expect("a range");
    for beyond in [
        low - 1e-9,
        high + 1e-9,
        0.0,
        -1.0,
        f64::MAX,
        f64::NAN,
        f64::INFINITY,
    ] {
        assert_eq!(model.value(beyond), None, "{beyond}");
    }
}

#[test]
fn the_polynomial_of_the_standard_gives_the_printed_resistances() {
    let model = Model::new(&[
        ("form", &[POLYNOMIAL]),
        ("coefficients", &[100.0, 100.0 * A, 100.0 * B]),
        ("lowest", &[0.0]),
    ]);
    let (celsius, ohm) = platinum();
    for (celsius, ohm) in celsius.iter().zip(&ohm).filter(|row| *row.0 >= 0.0) {
        assert_near(model.value(*celsius), *ohm, 1e-4);
        let mut slope = [f64::NAN];
        assert_eq!(
            model.view.slope(&model.binding, &[*celsius], &mut slope),
            Ok(())
        );
        assert_near(Some(slope[0]), 100.0 * (A + 2.0 * B * celsius), 1e-12);
    }
    assert_eq!(model.value(-0.1), None);
}

#[test]
fn a_line_through_two_points_meets_both() {
    let gain = 100.0 / (138.5055 - 100.0);
    let model = Model::new(&[
        ("form", &[LINEAR]),
        ("gain", &[gain]),
        ("offset", &[-100.0 * gain]),
    ]);
    assert_near(model.value(100.0), 0.0, 1e-9);
    assert_near(model.value(138.5055), 100.0, 1e-9);
}
