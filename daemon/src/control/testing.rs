//! Invented points and calibrations of an invented probe, for the tests of this module and its users.

use super::facts::ProbeFacts;
use crate::calibrate::history::{History, Recorded};
use crate::calibrate::{
    Calibration, Captured, Channel, Compared, Point, Reference, Residual, Role, Shape, Source,
    Step, Term, Tolerance,
};

/// A 10 kOhm thermistor `mash` on `bench`.
pub fn facts() -> ProbeFacts {
    ProbeFacts {
        probe: "mash".to_owned(),
        board: "bench".to_owned(),
        channel: "a0".to_owned(),
        driver: "thermistor".to_owned(),
        quantity: "temperature".to_owned(),
        unit: "Cel".to_owned(),
        input: "ohm".to_owned(),
        electrical_unit: "Ohm".to_owned(),
        parameters: Vec::new(),
        every_ms: None,
        calibration: None,
        due_ms: None,
    }
}

/// A point at this value, where the probe read so many ohms.
pub fn point(value: f64, mean: f64) -> Point {
    Point {
        role: Role::Fit,
        compared: Compared {
            reference: Reference::Ice,
            value,
            own: 0.05,
            common: 0.0,
            common_shape: Shape::Rectangular,
        },
        captured: Captured {
            from_ms: 1_795_572_800_000,
            until_ms: 1_795_572_860_000,
            raw: vec![(0.0, 512.0), (1.0, 513.0)],
            electrical: vec![mean, mean],
            mean,
            uncertainty: 1.2,
            effective: 2.0,
            drift: (0.0, 0.01),
            evidence: "no trend over 60 s".to_owned(),
        },
    }
}

/// A calibration made from points of these numbers, due at the end of 2026-11-20 (UTC).
pub fn calibration(points: &[u64]) -> Calibration {
    Calibration {
        driver: "thermistor".to_owned(),
        unit: "Cel".to_owned(),
        input: "ohm".to_owned(),
        parameters: Vec::new(),
        offset: 0.1,
        slope: 0.0,
        pivot: 0.0,
        terms: vec![Term::Offset],
        decision: "one point: offset".to_owned(),
        covariance: vec![vec![0.0025]],
        sources: vec![Source {
            name: "ice point".to_owned(),
            remedy: "stir".to_owned(),
            shape: Shape::Normal,
            loading: vec![0.05],
        }],
        points: points.to_vec(),
        nodes: points.iter().map(|_| 31_412.3).collect(),
        residuals: points
            .iter()
            .map(|_| Residual {
                error: 0.0,
                uncertainty: 0.05,
            })
            .collect(),
        chi_square: 0.0,
        degrees_of_freedom: 0,
        range: (31_412.3, 31_412.3),
        channel: Channel {
            board: "bench".to_owned(),
            channel: "a0".to_owned(),
            resistor: Some(10_000.0),
            scale_uncertainty: 0.005,
        },
        tolerance: Tolerance::Value(0.5),
        remarks: Vec::new(),
        made_ms: 1_764_028_800_000,
        due_ms: Some(1_795_219_199_000),
    }
}

/// What these steps come to.
pub fn history<const N: usize>(steps: [(u64, Step); N]) -> History {
    let steps = steps.map(|(number, step)| Recorded {
        number,
        probe: "mash".to_owned(),
        time_ms: 1_795_572_860_000,
        step,
    });
    History::of(&steps)
}
