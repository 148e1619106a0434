//! A reference point: what the probe read while the truth was known, and how well it was known.
//!
//! Numbers and words only. How a reference value comes about is `reference/`, how a capture knows
//! that it has settled is `settling/`.

use serde::{Deserialize, Serialize};

/// What the probe was compared with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Reference {
    /// Melting ice, stirred.
    Ice,
    /// Boiling water at a known station pressure, pascal.
    Boiling {
        /// Station pressure, Pa.
        pressure: f64,
        /// Its standard uncertainty, Pa.
        pressure_uncertainty: f64,
        /// Metres above the sea, where the pressure was taken from the standard atmosphere.
        altitude: Option<f64>,
    },
    /// An instrument beside the probe: a reference thermometer, a light meter.
    Instrument {
        /// The instrument's own name; points made by the same one share its error.
        name: String,
    },
    /// Any other value that is known, in words.
    Known {
        /// What it is.
        what: String,
    },
    /// A known resistor in the probe's place: characterises the channel, not the probe.
    Resistor {
        /// What is written on it, or what it was measured with.
        what: String,
    },
}

/// How an uncertainty is distributed (JCGM 100:2008, 4.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// Gaussian: means of many readings, stated at a confidence.
    Normal,
    /// Rectangular: tolerances, steps of a converter; the half-width is sqrt(3) standard deviations.
    Rectangular,
}

/// The reference value of a point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Compared {
    /// What it was compared with.
    pub reference: Reference,
    /// The reference value, in the probe's unit (ohm for a known resistor).
    pub value: f64,
    /// Standard uncertainty of this point alone, same unit: how it was made, reading the instrument.
    pub own: f64,
    /// Standard uncertainty shared by all points of the same reference (an instrument's calibration
    /// or tolerance, a barometer's); 0 where there is none.
    pub common: f64,
    /// How the common part is distributed.
    pub common_shape: Shape,
}

/// What the probe read, after it had settled.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Captured {
    /// When the capture began, milliseconds since 1970.
    pub from_ms: i64,
    /// When it ended.
    pub until_ms: i64,
    /// The raw series: seconds after `from_ms`, counts as the board sent them.
    pub raw: Vec<(f64, f64)>,
    /// The same in the electrical quantity, as the probe's channel gave it. One number without a raw
    /// series where a person copied it from the channel's readings; none where the probe was measured
    /// elsewhere.
    pub electrical: Vec<f64>,
    /// Mean of the electrical quantity.
    pub mean: f64,
    /// Its standard uncertainty: noise with its autocorrelation, the converter's step, what is left
    /// of a drift (ohm, volt or ratio, as the probe's input).
    pub uncertainty: f64,
    /// Effective number of independent samples.
    pub effective: f64,
    /// Drift over the capture, in the electrical quantity a second, with its standard uncertainty.
    pub drift: (f64, f64),
    /// How it is known to have settled, in words.
    pub evidence: String,
}

impl Captured {
    /// Whether the probe's own channel gave it, so that the error of the channel's resistor is in it.
    #[must_use]
    pub fn is_of_channel(&self) -> bool {
        !self.electrical.is_empty()
    }
}

/// Whether a point is fitted to, or kept out to verify the fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Goes into the fit.
    Fit,
    /// Is kept out, and verifies.
    Check,
}

/// A reference point of one probe on one channel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// What it is for.
    pub role: Role,
    /// The truth.
    pub compared: Compared,
    /// What the probe read.
    pub captured: Captured,
}
