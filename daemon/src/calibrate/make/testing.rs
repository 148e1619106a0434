//! Points as tests state them; everything that they do not say is ordinary.

use crate::calibrate::{Captured, Compared, Point, Reference, Role, Shape};

/// What a test says of a point.
#[derive(Clone, Debug)]
pub(in crate::calibrate) struct Told {
    pub role: Role,
    pub reference: Reference,
    pub value: f64,
    pub own: f64,
    pub common: f64,
    pub input: f64,
    pub input_uncertainty: f64,
    /// Not by the probe's channel.
    pub elsewhere: bool,
}

impl Default for Told {
    fn default() -> Self {
        Self {
            role: Role::Fit,
            reference: Reference::Instrument {
                name: "kitchen".to_owned(),
            },
            value: 0.0,
            own: 0.1,
            common: 0.0,
            input: 0.0,
            input_uncertainty: 1.0,
            elsewhere: false,
        }
    }
}

/// The point.
pub(in crate::calibrate) fn point(told: Told) -> Point {
    Point {
        role: told.role,
        compared: Compared {
            reference: told.reference,
            value: told.value,
            own: told.own,
            common: told.common,
            common_shape: Shape::Rectangular,
        },
        captured: Captured {
            from_ms: 0,
            until_ms: 60_000,
            raw: vec![],
            electrical: vec![told.input; usize::from(!told.elsewhere)],
            mean: told.input,
            uncertainty: told.input_uncertainty,
            effective: 50.0,
            drift: (0.0, 0.0),
            evidence: "invented".to_owned(),
        },
    }
}
