//! The fit against SciPy, on random problems: `tests/reference/fit.py` has its half.
//!
//! Debian's Python runs it, because that has Debian's SciPy: without it the test fails.

use super::*;
use crate::measure::chain::Transfer;
use fastrand::Rng;
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};

/// Relative; both sides stop where rounding ends them.
const TOLERANCE: f64 = 1e-6;
const CASES: u64 = 100;

struct Case {
    model: &'static str,
    family: Family,
    points: Points,
}

fn between(random: &mut Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * random.f64()
}

/// Sum of twelve rectangular numbers less six: Gaussian enough for noise.
fn gaussian(random: &mut Rng) -> f64 {
    (0..12).map(|_| random.f64()).sum::<f64>() - 6.0
}

/// Model, curves with the start in them, the truth, and the lowest and highest input.
fn kind(random: &mut Rng) -> (&'static str, Family, Vec<f64>, (f64, f64)) {
    let mut about = |value: f64| value * between(random, 0.98, 1.02);
    let truth = [about(1.13e-3), about(2.34e-4), about(8.9e-8)];
    let (r0, material) = (about(1e4), about(3950.0));
    let (r10, gamma) = (about(2e4), about(0.7));
    match random.u8(0..3) {
        0 => (
            "steinhart_hart",
            steinhart_hart(),
            truth.to_vec(),
            (1500.0, 30_000.0),
        ),
        1 => ("beta", beta(9e3), vec![r0, material], (1500.0, 30_000.0)),
        _ => {
            let typical = [("r10", 1.7e4), ("gamma", 0.75)];
            let cell = family(find("photoresistor").unwrap(), &typical, &["r10", "gamma"]);
            ("photoresistor", cell, vec![r10, gamma], (2e3, 1e5))
        }
    }
}

/// Points around a true curve: unequal weights, errors in both quantities, and in every other case
/// two instruments that each share an error between their points.
fn case(seed: u64) -> Case {
    let mut random = Rng::with_seed(seed);
    let (model, family, truth, (low, high)) = kind(&mut random);
    let curve = family.at(&truth).unwrap();
    let count = random.usize(5..=12);
    let shared = between(&mut random, 0.02, 0.3) * f64::from(u8::from(seed % 2 == 1));
    let mut points = Points::new(&vec![0.0; count], &vec![0.0; count], 0.0);
    for at in 0..count {
        let part = (at as f64 + random.f64()) / count as f64;
        let input = low * (high / low).powf(part);
        let value = curve.evaluate(input).unwrap();
        // Light is uncertain by a part of itself.
        let size = if model == "photoresistor" {
            0.1 * value
        } else {
            1.0
        };
        let own = size * between(&mut random, 0.02, 0.2);
        points.input_uncertainties[at] = input * between(&mut random, 1e-4, 5e-3);
        points.inputs[at] = input + points.input_uncertainties[at] * gaussian(&mut random);
        points.values[at] = value + own * gaussian(&mut random);
        for other in (at % 2..count).step_by(2) {
            points.covariance[(at, other)] += shared * shared;
        }
        points.covariance[(at, at)] += own * own;
    }
    Case {
        model,
        family,
        points,
    }
}

fn rows(matrix: &DMatrix<f64>) -> Vec<Vec<f64>> {
    matrix
        .row_iter()
        .map(|row| row.iter().copied().collect())
        .collect()
}

fn asked(cases: &[Case]) -> Vec<Value> {
    let problem = |case: &Case| {
        json!({
            "model": case.model,
            "start": case.family.start(),
            "inputs": case.points.inputs,
            "input_uncertainties": case.points.input_uncertainties,
            "values": case.points.values,
            "covariance": rows(&case.points.covariance),
        })
    };
    let problems: Vec<Value> = cases.iter().map(problem).collect();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/reference/fit.py");
    let mut child = Command::new("/usr/bin/python3")
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("`tests/install` installs python3");
    let text = Value::from(problems).to_string();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(text.as_bytes())
        .unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(
        output.status.success(),
        "`tests/install` installs python3-scipy"
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one.as_f64().unwrap())
        .collect()
}

#[track_caller]
fn agree(seed: u64, fitted: &Fitted, answer: &Value) {
    for (got, wanted) in fitted.theta.iter().zip(numbers(&answer["theta"])) {
        assert!(
            (got / wanted - 1.0).abs() < TOLERANCE,
            "{seed}: {got}, not {wanted}"
        );
    }
    let deviations = fitted.covariance.diagonal().map(f64::sqrt);
    for (row, wanted) in answer["covariance"].as_array().unwrap().iter().enumerate() {
        for (column, wanted) in numbers(wanted).into_iter().enumerate() {
            let off = (fitted.covariance[(row, column)] - wanted).abs();
            let size = deviations[row] * deviations[column];
            assert!(
                off < TOLERANCE * size,
                "{seed}: {row}, {column}: off by {}",
                off / size
            );
        }
    }
}

#[test]
fn a_hundred_random_problems_are_fitted_as_scipy_fits_them() {
    // Source: scipy.optimize.least_squares on all, scipy.odr on the independent half.
    let cases: Vec<Case> = (0..CASES).map(case).collect();
    let answers = asked(&cases);
    let mut by_odr = 0;
    for ((seed, case), answer) in (0..).zip(&cases).zip(&answers) {
        let fitted = case.points.fit(&case.family).unwrap();
        agree(seed, &fitted, &answer["least_squares"]);
        if let Some(answer) = answer.get("odr") {
            agree(seed, &fitted, answer);
            by_odr += 1;
        }
    }
    assert_eq!((answers.len() as u64, by_odr), (CASES, CASES / 2));
}

#[test]
fn the_covariance_is_what_the_gains_make_of_the_points_uncertainties() {
    for seed in 0..10 {
        let Case { family, points, .. } = case(seed);
        let fitted = points.fit(&family).unwrap();
        let inputs = DVector::from_column_slice(&points.input_uncertainties).map(|u| u * u);
        let (of_values, of_inputs) = (&fitted.gain, &fitted.input_gain);
        let made = of_values * &points.covariance * of_values.transpose()
            + of_inputs * DMatrix::from_diagonal(&inputs) * of_inputs.transpose();
        let off = (&made - &fitted.covariance).component_div(&fitted.covariance);
        assert!(off.amax() < 1e-8, "{seed}: {off}");
    }
}

#[test]
fn the_gains_are_what_a_change_of_one_point_does() {
    // Where the points lie on the curve, so that its bend does not count.
    let family = steinhart_hart();
    let inputs = [30_000.0, 15_000.0, 8_000.0, 3_000.0];
    let truth = family.at(&family.start()).unwrap();
    let values = inputs.map(|input| truth.evaluate(input).unwrap());
    let mut points = Points::new(&inputs, &values, 0.1);
    points.input_uncertainties = vec![30.0, 10.0, 10.0, 5.0];
    let fitted = points.fit(&family).unwrap();
    for at in 0..inputs.len() {
        let mut moved = points.clone();
        moved.values[at] += 1e-4;
        let by_value = moved.fit(&family).unwrap().theta;
        moved.values[at] = values[at];
        moved.inputs[at] *= 1.0 + 1e-6;
        let by_input = moved.fit(&family).unwrap().theta;
        for term in 0..3 {
            let change = |theta: &[f64]| theta[term] - fitted.theta[term];
            assert_near(change(&by_value) / 1e-4, fitted.gain[(term, at)], 1e-3);
            let input_change = change(&by_input) / (1e-6 * inputs[at]);
            assert_near(input_change, fitted.input_gain[(term, at)], 1e-3);
        }
    }
}
