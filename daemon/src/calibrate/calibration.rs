//! A calibration: the points, what was fitted to them, and how sure that is.
//!
//! Self-contained, as it is kept in the log for ever: with it and a driver of the same name, any
//! reading's value and uncertainty can be computed again.

use super::Tolerance;
use super::curve::Term;
pub use super::point::Shape;
use serde::{Deserialize, Serialize};

/// A channel as a calibration knows it: where the divider's resistor stays when the probe moves.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Channel {
    /// The board's name.
    pub board: String,
    /// The channel's name.
    pub channel: String,
    /// Nominal resistor of the divider, ohm, where the front end has one.
    pub resistor: Option<f64>,
    /// Relative standard uncertainty of the electrical quantity that is common to all readings of
    /// this channel: of the divider's resistor, mostly.
    pub scale_uncertainty: f64,
}

impl Channel {
    /// Where a probe was measured by something that is no channel of a board: an ohmmeter. The
    /// resistor of whatever channel it is read on later is in no point, and counts in full.
    #[must_use]
    pub fn elsewhere() -> Self {
        Self {
            board: String::new(),
            channel: "measured elsewhere".to_owned(),
            resistor: None,
            scale_uncertainty: 0.0,
        }
    }

    /// Whether it is [`Channel::elsewhere`]; a board of a configuration has a name.
    #[must_use]
    pub fn is_elsewhere(&self) -> bool {
        self.board.is_empty()
    }
}

/// One cause of uncertainty, as far as it moves the fitted terms.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Source {
    /// In words: "reference thermometer `kitchen`", "ice point", "noise and converter step".
    pub name: String,
    /// What would make it smaller, in words.
    pub remedy: String,
    /// How it is distributed.
    pub shape: Shape,
    /// Change of each fitted term with one standard deviation of this cause, in the order of
    /// [`Calibration::terms`].
    pub loading: Vec<f64>,
}

/// How far a point lies from the fit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// Fit less reference, in the unit of the value.
    pub error: f64,
    /// Standard uncertainty of the point: reference and what the probe read, in the unit of the value.
    pub uncertainty: f64,
}

/// Fitted parameters of one probe, with covariance and everything they were fitted to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// The driver's name.
    pub driver: String,
    /// UCUM code of the value's unit.
    pub unit: String,
    /// The electrical quantity it is in: `ohm`, `volt`, `ratio`, `number`.
    pub input: String,
    /// Every parameter of the driver by its name, choices as their index.
    pub parameters: Vec<(String, Vec<f64>)>,
    /// Of the line on top of the driver's curve.
    pub offset: f64,
    /// Of the line on top of the driver's curve.
    pub slope: f64,
    /// Of the line on top of the driver's curve.
    pub pivot: f64,
    /// What was fitted.
    pub terms: Vec<Term>,
    /// What was decided and why, in words: "three points: Steinhart-Hart".
    pub decision: String,
    /// Covariance of the fitted terms, in their order.
    pub covariance: Vec<Vec<f64>>,
    /// What the covariance is made of.
    pub sources: Vec<Source>,
    /// Numbers (log steps) of the points that were fitted.
    pub points: Vec<u64>,
    /// Inputs of the fitted points (electrical), in the order of `points`.
    pub nodes: Vec<f64>,
    /// One for each of `points`.
    pub residuals: Vec<Residual>,
    /// Sum of squared weighted residuals.
    pub chi_square: f64,
    /// Points less terms.
    pub degrees_of_freedom: usize,
    /// Lowest and highest electrical input of the points: outside is extrapolated.
    pub range: (f64, f64),
    /// The channel it was made on; [`Channel::elsewhere`] where any point was not measured there.
    pub channel: Channel,
    /// How far a probe of the kind may be off its nominal curve, as it was known then: what is left of
    /// it away from a point that fixes one term only.
    #[serde(default, skip_serializing_if = "Tolerance::is_unknown")]
    pub tolerance: Tolerance,
    /// What a person should know: points too close, a point that disagrees, a term at its bound.
    pub remarks: Vec<String>,
    /// When it was made, milliseconds since 1970.
    pub made_ms: i64,
    /// When it should be made again.
    pub due_ms: Option<i64>,
}

/// A point that was kept out, against the fit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Verification {
    /// The point's number (log step).
    pub point: u64,
    /// Value less reference, in the unit of the value.
    pub error: f64,
    /// Expanded uncertainty (k = 2) of the error.
    pub expanded: f64,
    /// The largest error that is tolerated.
    pub tolerance: f64,
    /// Whether |error| is within the tolerance less the guard band.
    pub pass: bool,
    /// The decision rule in words.
    pub rule: String,
}

/// One line of a budget: a cause and its share of a value's standard uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// In words.
    pub name: String,
    /// What would make it smaller, in words.
    pub remedy: String,
    /// How it is distributed.
    pub shape: Shape,
    /// Standard uncertainty, in the unit of the value.
    pub uncertainty: f64,
}
