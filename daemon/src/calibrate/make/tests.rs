//! Tests of `make.rs` and `judge`: calibrations as a whole, and what is said of their points.

mod numbers;
mod remarks;

use super::testing::{Told, point};
use super::*;
use crate::driver::find;

/// Ohms of an invented 10 kohm probe, by typical coefficients.
fn ohms(celsius: f64) -> f64 {
    let driver = find("thermistor").unwrap();
    let probe = driver.bind(steinhart_hart()).unwrap();
    probe.invert(celsius).unwrap()
}

/// Typical coefficients in the thermistor's parameters.
fn steinhart_hart() -> Vec<Vec<f64>> {
    thermistor(&[
        ("form", 1.0),
        ("a", 1.129e-3),
        ("b", 2.341e-4),
        ("c", 8.775e-8),
    ])
}

/// A label: 10 kohm, 3950 K.
fn label() -> Vec<Vec<f64>> {
    thermistor(&[("r0", 1e4), ("beta", 3950.0)])
}

fn thermistor(given: &[(&str, f64)]) -> Vec<Vec<f64>> {
    let declared = find("thermistor").unwrap().parameters();
    let value = |name: &str| given.iter().find(|(own, _)| *own == name);
    declared
        .iter()
        .map(|one| value(one.name).map_or_else(Vec::new, |g| vec![g.1]))
        .collect()
}

fn channel() -> Channel {
    Channel {
        board: "bench".to_owned(),
        channel: "a0".to_owned(),
        resistor: Some(10_000.0),
        scale_uncertainty: 0.0058,
    }
}

/// A calibration of a thermistor with these parameters, whose kind may be 1 Cel off; points are
/// numbered from 1.
fn made(parameters: &[Vec<f64>], points: Vec<Told>) -> Result<Calibration, Refusal> {
    made_by("thermistor", parameters, points)
}

fn made_by(
    driver: &str,
    parameters: &[Vec<f64>],
    points: Vec<Told>,
) -> Result<Calibration, Refusal> {
    let points: Vec<(u64, Point)> = (1..).zip(points.into_iter().map(point)).collect();
    let driver = find(driver).unwrap();
    let subject = Subject {
        nominal: &driver.bind(parameters.to_vec()).unwrap(),
        unit: driver.unit().unwrap_or("Cel"),
        input: Electrical::Ohm,
        channel: &channel(),
        allowed: &|_| Some(1.0),
        tolerance: Tolerance::Value(1.0),
        made_ms: 1_000,
        due_ms: Some(2_000),
    };
    make(&points, &subject)
}

/// A point by a reference thermometer that is off by `error`.
fn at(celsius: f64, error: f64) -> Told {
    Told {
        value: celsius + error,
        input: ohms(celsius),
        input_uncertainty: 1e-4 * ohms(celsius),
        ..Told::default()
    }
}

fn ice(error: f64) -> Told {
    Told {
        reference: Reference::Ice,
        ..at(0.0, error)
    }
}

fn boiling(error: f64) -> Told {
    Told {
        reference: Reference::Boiling {
            pressure: 1e5,
            pressure_uncertainty: 100.0,
            altitude: None,
        },
        ..at(99.6, error)
    }
}
