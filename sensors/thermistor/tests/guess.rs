//! Where fits start, against published coefficients.

mod tables;

use nightbench_driver::Status;
use proptest::prelude::*;
use tables::{bind, guess, number, parts, temperature, view};
use toml::Table;

const STEINHART_HART: f64 = 1.0;
const FOUR_TERM: f64 = 2.0;

fn entries(kind: &str) -> Vec<Table> {
    let expected: Table = include_str!("published/ntc_expected.toml")
        .parse()
        .expect("TOML");
    let list = expected[kind].as_array().expect("an array").clone();
    list.iter()
        .map(|one| one.as_table().expect("a table").clone())
        .collect()
}

fn float(value: &toml::Value) -> f64 {
    let whole = || value.as_integer().map(|whole| whole as f64);
    value.as_float().or_else(whole).expect("a number")
}

fn floats(value: &toml::Value) -> Vec<f64> {
    value
        .as_array()
        .expect("an array")
        .iter()
        .map(float)
        .collect()
}

fn assert_close(got: f64, wanted: f64, relative: f64) {
    assert!(
        (got / wanted - 1.0).abs() <= relative,
        "{got}, not {wanted}"
    );
}

/// Source: `ntc_expected.toml`, `steinhart_hart_3pt`, 1e-8 relative.
#[test]
fn three_points_start_with_the_expected_coefficients() {
    let mut seen = 0;
    for entry in entries("steinhart_hart_3pt") {
        let ohm = floats(&entry["calibration_R_ohm"]);
        let celsius = floats(&entry["calibration_points_degC"]);
        let points: Vec<_> = ohm.into_iter().zip(celsius).collect();
        let start = guess(&bind(&[("r0", 1e4), ("beta", 3950.0)]), &points);
        assert_eq!(number(&start, "form"), STEINHART_HART);
        for (name, key) in [("a", "A"), ("b", "B"), ("c", "C")] {
            assert_close(number(&start, name), float(&entry[key]), 1e-8);
        }
        assert!(number(&start, "r0").is_nan() && number(&start, "beta").is_nan());
        seen += 1;
    }
    assert_eq!(seen, 4);
}

/// Source: `ntc_expected.toml`, `beta_2pt`, to the digits it prints.
#[test]
fn two_points_start_with_the_expected_beta() {
    let parts = parts();
    for entry in entries("beta_2pt") {
        let part = &parts[if entry["table"].as_str() == Some("ntc_10k_b3950_rt.csv") {
            0
        } else {
            2
        }];
        let points = part.points(&floats(&entry["points_degC"]));
        let start = guess(&bind(&[("r0", 9e3), ("beta", 3500.0)]), &points);
        // The second file's points are the data sheet's print, ours its formula: 1e-4 of it.
        assert_close(number(&start, "beta"), float(&entry["beta_K"]), 2e-4);
        assert_close(number(&start, "r0"), points[0].0, 1e-9);
        assert_eq!(number(&start, "form"), 0.0);
    }
}

#[test]
fn one_point_solves_the_first_number_of_the_form_and_keeps_the_rest() {
    let beta = guess(&bind(&[("r0", 1e4), ("beta", 3950.0)]), &[(33_000.0, 0.0)]);
    assert!(temperature(&beta, 33_000.0).abs() < 1e-9);
    assert_eq!((number(&beta, "beta"), number(&beta, "t0")), (3950.0, 25.0));
    let kept = [
        ("form", STEINHART_HART),
        ("a", 1e-3),
        ("b", 2.3e-4),
        ("c", 9e-8),
    ];
    let curve = guess(&bind(&kept), &[(33_000.0, 0.0)]);
    assert!(temperature(&curve, 33_000.0).abs() < 1e-9);
    assert_eq!((number(&curve, "b"), number(&curve, "c")), (2.3e-4, 9e-8));
}

/// Source of the coefficients: `ntc_expected.toml`, from Vishay data sheet 29049.
#[test]
fn two_points_keep_the_bend_of_the_makers_curve() {
    let given = [
        ("form", FOUR_TERM),
        ("r25", 1e4),
        ("a1", 3.354016e-3),
        ("b1", 2.569850e-4),
        ("c1", 2.620131e-6),
        ("d1", 6.383091e-8),
    ];
    let start = guess(&bind(&given), &[(33_000.0, 0.1), (5_300.0, 40.2)]);
    assert!((temperature(&start, 33_000.0) - 0.1).abs() < 1e-9);
    assert!((temperature(&start, 5_300.0) - 40.2).abs() < 1e-9);
    for (name, wanted) in [("r25", 1e4), ("c1", 2.620131e-6), ("d1", 6.383091e-8)] {
        assert_eq!(number(&start, name), wanted);
    }
}

#[test]
fn points_that_give_no_start_are_refused() {
    let (view, present) = (view(), bind(&[("r0", 1e4), ("beta", 3950.0)]));
    for (ohm, celsius) in [
        (&[][..], &[][..]),
        (&[1e4, 1e4], &[25.0, 26.0]),
        (&[1e4, 9e3], &[25.0, 25.0]),
        (&[1e4, 5e3, 1e4], &[25.0, 40.0, 26.0]),
        (&[0.0], &[25.0]),
        (&[-1.0], &[25.0]),
        (&[f64::NAN], &[25.0]),
        (&[1e4], &[-273.15]),
        (&[1e4], &[f64::INFINITY]),
    ] {
        assert_eq!(
            view.guess(&present, ohm, celsius),
            Err(Status::OUT_OF_RANGE),
            "{ohm:?} {celsius:?}"
        );
    }
}

proptest! {
    #[test]
    fn many_exact_points_give_their_curve_back(
        a in 0.9e-3..1.4e-3_f64, b in 2e-4..2.6e-4_f64, c in 5e-8..2e-7_f64,
        logarithms in proptest::collection::vec(7.0..11.5_f64, 5..30),
    ) {
        let spread = logarithms.iter().fold(0.0, |most: f64, x| most.max((x - logarithms[0]).abs()));
        prop_assume!(spread > 1.0);
        let real = bind(&[("form", STEINHART_HART), ("a", a), ("b", b), ("c", c)]);
        let points: Vec<_> = logarithms.iter().map(|x| (x.exp(), temperature(&real, x.exp()))).collect();
        let start = guess(&bind(&[("r0", 1e4), ("beta", 3950.0)]), &points);
        for (ohm, celsius) in points {
            prop_assert!((temperature(&start, ohm) - celsius).abs() < 1e-6);
        }
    }
}
