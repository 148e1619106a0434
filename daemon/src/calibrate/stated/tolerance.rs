//! How far a probe of a kind may be off the nominal curve of its kind.

use crate::driver::{Electrical, Model};
use serde::{Deserialize, Serialize};

/// What makers allow of an NTC thermistor's resistance where nothing better is written on the bag:
/// 5 % (usual classes are 1, 2, 3, 5 and 10 %; common practice).
const NTC: f64 = 0.05;
/// Of a probe whose resistance rises with temperature: 0.5 % is 1.3 Cel for platinum, beyond the
/// widest class of IEC 60751 (class C, from memory).
const RISING: f64 = 0.005;
/// Of a light-dependent resistor, decades of illuminance to either side: cells of one batch lie
/// apart by a factor of two, and the curve's exponent is a guess (common practice).
const LIGHT: f64 = 0.5;

/// Half-width of a rectangular distribution about the nominal curve.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tolerance {
    /// Nothing is known, so nothing is added: a curve that a person wrote down for this very probe.
    #[default]
    Unknown,
    /// In the unit of the value.
    Value(f64),
    /// Share of the electrical quantity: 0.05 for 5 % of the resistance.
    Electrical(f64),
    /// Decades of the value: 0.5 for a factor of three to either side.
    Decades(f64),
}

impl Tolerance {
    /// What is assumed where none is given: for probes in ohm that give a temperature or an
    /// illuminance; nothing for any other.
    #[must_use]
    pub fn usual(model: &Model, input: Electrical, unit: &str) -> Self {
        match (input, unit) {
            (Electrical::Ohm, "Cel" | "K" | "[degF]") if falls(model) => Self::Electrical(NTC),
            (Electrical::Ohm, "Cel" | "K" | "[degF]") => Self::Electrical(RISING),
            (Electrical::Ohm, "lx") => Self::Decades(LIGHT),
            _ => Self::Unknown,
        }
    }

    /// Whether nothing is known.
    #[must_use]
    pub fn is_unknown(&self) -> bool {
        *self == Self::Unknown
    }

    /// How far a value may be off, in its unit, which changes by `relative` with a relative change of
    /// 1 in the electrical quantity; `None` where nothing is known.
    #[must_use]
    pub fn half_width(self, value: f64, relative: f64) -> Option<f64> {
        match self {
            Self::Unknown => None,
            Self::Value(half) => Some(half),
            Self::Electrical(share) => Some(share * relative),
            Self::Decades(decades) => Some(decades * std::f64::consts::LN_10 * value.abs()),
        }
    }

    /// Standard uncertainty (JCGM 100:2008, 4.3.7) of such a value.
    pub(super) fn uncertainty(self, value: f64, relative: f64) -> f64 {
        self.half_width(value, relative).unwrap_or(0.0) / 3.0_f64.sqrt()
    }
}

/// Whether the value falls as the input rises, from end to end of the model's range.
fn falls(model: &Model) -> bool {
    let (low, high) = model.range();
    let ends = model.evaluate(low).ok().zip(model.evaluate(high).ok());
    ends.is_some_and(|(at_low, at_high)| at_low > at_high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_half_width_is_root_three_standard_uncertainties() {
        let root = 3.0_f64.sqrt();
        for (tolerance, expected) in [
            (Tolerance::Unknown, 0.0),
            (Tolerance::Value(0.5), 0.5),
            (Tolerance::Electrical(0.05), 0.05 * 23.0),
            (
                Tolerance::Decades(0.5),
                0.5 * std::f64::consts::LN_10 * 200.0,
            ),
        ] {
            let got = tolerance.uncertainty(200.0, 23.0) * root;
            assert!((got - expected).abs() < 1e-12, "{tolerance:?}: {got}");
        }
    }
}
