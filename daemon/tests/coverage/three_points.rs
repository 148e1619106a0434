//! A Steinhart-Hart curve through exactly three points, with what each cause does to it: linear algebra
//! that can be followed by hand, to test uncertainties with. The program's own fit is `calibrate::fit`.

use super::{Calibration, Channel, Compared, Point, Shape, Source, Term};
use nalgebra::{Matrix3, Vector3};

const KELVIN: f64 = 273.15;

/// The calibration through three points of a probe on this channel.
pub fn calibrate(points: &[Point], channel: &Channel) -> Calibration {
    let points: &[Point; 3] = points.try_into().expect("three points");
    let ohms = points.each_ref().map(|point| point.captured.mean);
    let row = |ohm: f64| [1.0, ohm.ln(), ohm.ln().powi(3)];
    let rows = ohms.map(row);
    let solve = Matrix3::from_fn(|i, j| rows[i][j])
        .try_inverse()
        .expect("three different points");
    let kelvin = points.each_ref().map(|point| point.compared.value + KELVIN);
    let terms = solve * Vector3::from(kelvin.map(|kelvin| 1.0 / kelvin));
    let slopes = ohms.map(|ohm| slope(&terms, ohm));
    // A reference that is too high by e lowers 1/T by e / T², for the points that `weights` names.
    let loading = |errors: [f64; 3]| {
        let change = Vector3::from_fn(|i, _| -errors[i] / kelvin[i].powi(2));
        let moved: Vector3<f64> = solve * change;
        moved.iter().copied().collect::<Vec<f64>>()
    };
    let mut sources = Vec::new();
    for (at, point) in points.iter().enumerate() {
        let mut alone = |name: &str, error: f64| {
            let mut errors = [0.0; 3];
            errors[at] = error;
            sources.push(source(name, Shape::Normal, loading(errors)));
        };
        alone("reference", point.compared.own);
        alone("noise of a point", point.captured.uncertainty * slopes[at]);
    }
    for (at, point) in points.iter().enumerate() {
        let Compared { reference, .. } = &point.compared;
        let shared = |other: &Point| other.compared.reference == *reference;
        if point.compared.common == 0.0 || points[..at].iter().any(shared) {
            continue;
        }
        let errors = points.each_ref().map(|other| match shared(other) {
            true => other.compared.common,
            false => 0.0,
        });
        sources.push(source(
            "instrument",
            point.compared.common_shape,
            loading(errors),
        ));
    }
    calibration(ohms, terms, sources, channel)
}

/// K per ohm.
fn slope(terms: &Vector3<f64>, ohm: f64) -> f64 {
    let log = ohm.ln();
    let kelvin = 1.0 / (terms[0] + terms[1] * log + terms[2] * log.powi(3));
    -kelvin.powi(2) * (terms[1] + 3.0 * terms[2] * log.powi(2)) / ohm
}

fn source(name: &str, shape: Shape, loading: Vec<f64>) -> Source {
    Source {
        name: name.to_owned(),
        remedy: "a better one would pay".to_owned(),
        shape,
        loading,
    }
}

fn calibration(
    ohms: [f64; 3],
    terms: Vector3<f64>,
    sources: Vec<Source>,
    channel: &Channel,
) -> Calibration {
    let covariance = (0..3).map(|i| {
        let entry = |j: usize| sources.iter().map(|s| s.loading[i] * s.loading[j]).sum();
        (0..3).map(entry).collect()
    });
    let parameters = [
        ("form", 1.0),
        ("a", terms[0]),
        ("b", terms[1]),
        ("c", terms[2]),
    ];
    Calibration {
        driver: "thermistor".to_owned(),
        unit: "Cel".to_owned(),
        input: "ohm".to_owned(),
        parameters: parameters
            .map(|(name, value)| (name.to_owned(), vec![value]))
            .to_vec(),
        offset: 0.0,
        slope: 0.0,
        pivot: 0.0,
        // a, b and c in the driver's order.
        terms: [4, 5, 6].map(Term::Parameter).to_vec(),
        decision: "three points: Steinhart-Hart".to_owned(),
        covariance: covariance.collect(),
        sources,
        points: vec![1, 2, 3],
        nodes: ohms.to_vec(),
        residuals: Vec::new(),
        chi_square: 0.0,
        degrees_of_freedom: 0,
        range: (
            ohms.into_iter().fold(f64::INFINITY, f64::min),
            ohms.into_iter().fold(0.0, f64::max),
        ),
        channel: channel.clone(),
        remarks: Vec::new(),
        made_ms: 0,
        due_ms: None,
    }
}
