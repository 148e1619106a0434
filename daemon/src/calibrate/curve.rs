//! The curve of a calibrated probe: a driver's model, and where its parameters cannot follow the
//! points, a line on top of it.

use crate::driver::{DriverError, Model};
use crate::measure::chain::Transfer;
use serde::{Deserialize, Serialize};

/// What a fit may change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Term {
    /// The driver's parameter of this index.
    Parameter(usize),
    /// Added to the driver's value.
    Offset,
    /// Times the driver's value less [`Curve::pivot`], added to it.
    Slope,
}

/// value = f(x) + offset + slope (f(x) - pivot), with f the driver's model.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// The driver with all its parameters.
    pub model: Model,
    /// In the unit of the value; 0 for none.
    pub offset: f64,
    /// Plain number; 0 for none.
    pub slope: f64,
    /// Where the slope turns, in the unit of the value.
    pub pivot: f64,
}

impl Curve {
    /// The driver's model as it is.
    #[must_use]
    pub fn plain(model: Model) -> Self {
        Self {
            model,
            offset: 0.0,
            slope: 0.0,
            pivot: 0.0,
        }
    }
}

impl Transfer for Curve {
    fn evaluate(&self, input: f64) -> Result<f64, DriverError> {
        let value = self.model.evaluate(input)?;
        Ok(value + self.offset + self.slope * (value - self.pivot))
    }

    fn slope(&self, input: f64) -> Result<f64, DriverError> {
        Ok(self.model.slope(input)? * (1.0 + self.slope))
    }

    fn value_and_slope(&self, input: f64) -> Result<(f64, f64), DriverError> {
        let (value, slope) = self.model.value_and_slope(input)?;
        let value = value + self.offset + self.slope * (value - self.pivot);
        Ok((value, slope * (1.0 + self.slope)))
    }
}
