//! Points and calibrations for tests. The scenes are invented; the Steinhart-Hart coefficients are
//! those of a 10 kOhm, B 3950 sheet (`tests/published/ntc_expected.toml`).

use super::Recorded;
use crate::calibrate::{
    Calibration, Captured, Channel, Compared, Point, Reference, Residual, Role, Shape, Source,
    Step, Term, Verification,
};

/// An ice point of `samples` samples, one a second.
pub(crate) fn point(role: Role, samples: usize) -> Point {
    let at = |index: usize| 10.123_456_789 + index as f64 / 7.0;
    Point {
        role,
        compared: Compared {
            reference: Reference::Ice,
            value: 0.0,
            own: 0.05,
            common: 0.0,
            common_shape: Shape::Rectangular,
        },
        captured: Captured {
            from_ms: 1_795_571_000_000,
            until_ms: 1_795_571_060_000,
            raw: (0..samples).map(|index| (at(index), 781.0)).collect(),
            electrical: (0..samples).map(|index| 31_770.0 + at(index)).collect(),
            mean: 31_770.0,
            uncertainty: 12.5,
            effective: 9.0,
            drift: (0.01, 0.02),
            evidence: "the trend over 60 s is indistinguishable from none".to_owned(),
        },
    }
}

/// Three Steinhart-Hart coefficients, `shift` kelvin warmer at the ice point.
pub(crate) fn calibration(points: &[u64], shift: f64) -> Calibration {
    let a = 1.282_926_065_694e-3 - shift / 273.15_f64.powi(2);
    let numbers = [
        ("form", 1.0),
        ("a", a),
        ("b", 2.078_532_276_332e-4),
        ("c", 2.005_478_946_611e-7),
    ];
    let named = |(name, number): (&str, f64)| (name.to_owned(), vec![number]);
    let residual = Residual {
        error: 0.01,
        uncertainty: 0.05,
    };
    Calibration {
        driver: "thermistor".to_owned(),
        unit: "Cel".to_owned(),
        input: "ohm".to_owned(),
        parameters: numbers.map(named).to_vec(),
        offset: 0.0,
        slope: 0.0,
        pivot: 0.0,
        terms: vec![Term::Offset],
        decision: "three points: Steinhart-Hart".to_owned(),
        covariance: vec![vec![0.0025]],
        sources: vec![Source {
            name: "ice point".to_owned(),
            remedy: "crushed ice of clean water, stirred".to_owned(),
            shape: Shape::Rectangular,
            loading: vec![0.05],
        }],
        points: points.to_vec(),
        nodes: vec![31_770.0, 10_000.0, 3_592.0],
        residuals: vec![residual; 3],
        chi_square: 0.3,
        degrees_of_freedom: 0,
        range: (3_592.0, 31_770.0),
        channel: Channel {
            board: "bench".to_owned(),
            channel: "a0".to_owned(),
            resistor: Some(1e4),
            scale_uncertainty: 0.0058,
        },
        tolerance: crate::calibrate::Tolerance::Unknown,
        remarks: Vec::new(),
        made_ms: 1_795_571_447_123,
        due_ms: Some(1_827_107_447_123),
    }
}

/// A verification with this point.
pub(crate) fn verification(point: u64) -> Verification {
    Verification {
        point,
        error: 0.08,
        expanded: 0.15,
        tolerance: 0.3,
        pass: true,
        rule: "the error and its expanded uncertainty are within the tolerance".to_owned(),
    }
}

/// A step that captured a point.
pub(crate) fn captured(role: Role) -> Step {
    Step::Point {
        point: Box::new(point(role, 3)),
    }
}

/// A step that made a calibration.
pub(crate) fn made(points: &[u64], shift: f64) -> Step {
    Step::Made {
        calibration: Box::new(calibration(points, shift)),
    }
}

/// A step that puts a calibration in use.
pub(crate) fn activated(calibration: Option<u64>) -> Step {
    Step::Activated {
        calibration,
        why: String::new(),
    }
}

/// The steps as the log would number them, from 1 on, a day apart, of probe `vat`.
pub(crate) fn recorded(steps: impl IntoIterator<Item = Step>) -> Vec<Recorded> {
    let record = |(number, step): (u64, Step)| Recorded {
        number,
        probe: "vat".to_owned(),
        time_ms: 1_795_571_447_123 + 86_400_000 * i64::try_from(number).unwrap(),
        step,
    };
    (1..).zip(steps).map(record).collect()
}

/// A chain with two calibrations, the second in use: steps 1 to 3 are points, 4 the first
/// calibration, 7 the second, 5 kept out.
pub(crate) fn chain() -> Vec<Recorded> {
    recorded([
        captured(Role::Fit),
        captured(Role::Fit),
        captured(Role::Fit),
        made(&[1, 2, 3], 0.0),
        captured(Role::Check),
        Step::Verified {
            calibration: 4,
            verification: verification(5),
        },
        made(&[1, 2, 3], 0.2),
        activated(Some(4)),
        activated(Some(7)),
    ])
}
