//! Against the table of IEC 60751, through the table that hosts read.
//!
//! Source: IEC 60751:2008, table 1 and clause 4.2, as `published/iec60751_pt100.csv` says.

use nightbench_driver::host::{Binding, View};

const TABLE: &str = include_str!("published/iec60751_pt100.csv");
/// As the table's own comment says, °C.
const TOLERANCE: f64 = 1e-3;

fn view() -> View {
    View::new(&nightbench_platinum::TABLE).expect("a sound table")
}

fn named(given: &[(&str, &[f64])]) -> Binding {
    Binding::named(view().parameters(), given).expect("declared names")
}

/// Temperature, resistance as computed, resistance as printed.
fn published() -> Vec<[f64; 3]> {
    let lines = TABLE.lines().filter(|line| !line.starts_with('#')).skip(1);
    let number = |text: &str| text.parse::<f64>().expect("a number");
    let row = |line: &str| {
        let numbers: Vec<f64> = line.split(',').map(number).collect();
        <[f64; 3]>::try_from(numbers).expect("three columns")
    };
    let rows: Vec<_> = lines.map(row).collect();
    assert_eq!(rows.len(), 26);
    rows
}

fn temperature(binding: &Binding, ohm: f64) -> f64 {
    let mut t = [f64::NAN];
    view().evaluate(binding, &[ohm], &mut t).expect("in range");
    t[0]
}

#[test]
fn each_temperature_of_the_table_is_that_of_its_resistance() {
    for [t, computed, printed] in published() {
        let own = temperature(&named(&[]), computed);
        assert!((own - t).abs() < TOLERANCE, "{t} °C: {own}");
        // Half of the last printed digit, over the least slope in this part of the table.
        let own = temperature(&named(&[]), printed);
        assert!((own - t).abs() < 0.005 / 0.36, "{t} °C: {own}");
    }
}

#[test]
fn a_probe_of_1000_ohm_has_the_same_curve() {
    let binding = named(&[("r0", &[1000.0])]);
    for [t, computed, _] in published() {
        let own = temperature(&binding, 10.0 * computed);
        assert!((own - t).abs() < TOLERANCE, "{t} °C: {own}");
    }
}

// Source: IEC 60751:2008, table 1 (from memory): 18.52 ohm at -200 °C, 390.48 ohm at 850 °C.
#[test]
fn the_range_is_that_of_the_standard() {
    let (low, high) = view().range(&named(&[])).expect("a range");
    assert!((low - 18.52).abs() < 0.005, "{low}");
    assert!((high - 390.48).abs() < 0.005, "{high}");
    assert!((temperature(&named(&[]), low) + 200.0).abs() < 1e-9);
    assert!((temperature(&named(&[]), high) - 850.0).abs() < 1e-9);
}

#[test]
fn the_slope_is_that_of_differences_on_both_sides_of_0_celsius() {
    for ohm in [25.0, 60.0, 99.0, 101.0, 138.5, 300.0] {
        let (mut slope, step) = ([f64::NAN], 1e-4);
        view()
            .slope(&named(&[]), &[ohm], &mut slope)
            .expect("in range");
        let difference = (temperature(&named(&[]), ohm + step)
            - temperature(&named(&[]), ohm - step))
            / (2.0 * step);
        let off = (slope[0] / difference - 1.0).abs();
        assert!(off < 1e-6, "{ohm} ohm: {} against {difference}", slope[0]);
    }
}

#[test]
fn what_has_no_temperature_has_none() {
    for ohm in [f64::NAN, f64::INFINITY, -1.0, 0.0, 18.0, 391.0] {
        let mut t = [0.0];
        assert!(
            view().evaluate(&named(&[]), &[ohm], &mut t).is_err(),
            "{ohm}"
        );
        assert!(t[0].is_nan(), "{ohm}");
    }
}
