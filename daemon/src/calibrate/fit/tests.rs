//! Tests of the fit: published numbers, an independent library, and whatever comes in.
//!
//! Every check goes through [`fit`] and a driver's table, as a probe's calibration does.

mod makers;
mod properties;
mod published;
mod reference;

use super::{Family, Fitted, Problem, Unfit, fit};
use crate::calibrate::Term;
use crate::driver::{Driver, find};
use nalgebra::{DMatrix, DVector};

/// Points as a test states them.
#[derive(Clone, Debug)]
struct Points {
    inputs: Vec<f64>,
    input_uncertainties: Vec<f64>,
    values: Vec<f64>,
    covariance: DMatrix<f64>,
}

impl Points {
    /// Points whose reference values have this standard uncertainty each, and whose inputs are exact.
    fn new(inputs: &[f64], values: &[f64], uncertainty: f64) -> Self {
        let count = inputs.len();
        Self {
            inputs: inputs.to_vec(),
            input_uncertainties: vec![0.0; count],
            values: values.to_vec(),
            covariance: DMatrix::from_diagonal_element(count, count, uncertainty.powi(2)),
        }
    }

    fn fit(&self, family: &Family) -> Result<Fitted, Unfit> {
        self.fit_from(family, family.start())
    }

    fn fit_from(&self, family: &Family, start: Vec<f64>) -> Result<Fitted, Unfit> {
        fit(&Problem {
            family,
            start,
            inputs: &self.inputs,
            input_uncertainties: &self.input_uncertainties,
            values: &self.values,
            covariance: self.covariance.clone(),
        })
    }
}

/// A driver's curves with these parameters given and these free.
fn family(driver: Driver, given: &[(&str, f64)], free: &[&str]) -> Family {
    let given: Vec<(&str, Vec<f64>)> = given.iter().map(|(n, v)| (*n, vec![*v])).collect();
    family_of_lists(driver, &given, free)
}

fn family_of_lists(driver: Driver, given: &[(&str, Vec<f64>)], free: &[&str]) -> Family {
    let declared = driver.parameters();
    let value = |name: &str| given.iter().find(|(own, _)| *own == name);
    let parameters = declared
        .iter()
        .map(|one| value(one.name).map_or_else(Vec::new, |g| g.1.clone()));
    let term = |name: &&str| match *name {
        "+offset" => Term::Offset,
        "+slope" => Term::Slope,
        name => Term::Parameter(declared.iter().position(|one| one.name == name).unwrap()),
    };
    let base = driver.bind(parameters.collect()).unwrap();
    Family::new(base, 0.0, free.iter().map(term).collect())
}

/// Steinhart-Hart's three coefficients, from typical ones of a 10 kohm probe.
fn steinhart_hart() -> Family {
    let typical = [
        ("form", 1.0),
        ("a", 1.129e-3),
        ("b", 2.341e-4),
        ("c", 8.775e-8),
    ];
    family(find("thermistor").unwrap(), &typical, &["a", "b", "c"])
}

fn beta(r0: f64) -> Family {
    let typical = [("r0", r0), ("beta", 3500.0)];
    family(find("thermistor").unwrap(), &typical, &["r0", "beta"])
}

#[track_caller]
fn assert_near(got: f64, wanted: f64, relative: f64) {
    assert!(
        (got / wanted - 1.0).abs() <= relative,
        "{got}, not {wanted}"
    );
}

/// Standard uncertainty of the value at `input` (JCGM 100:2008, 5.2.2).
fn uncertainty_at(family: &Family, theta: &[f64], covariance: &DMatrix<f64>, input: f64) -> f64 {
    let gradient = DVector::from_vec(family.gradient(theta, input).unwrap());
    (gradient.transpose() * covariance * gradient)[(0, 0)].sqrt()
}
