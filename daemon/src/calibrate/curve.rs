//! The curve of a calibrated probe: a driver's model, and where its parameters cannot follow the
//! points, a line on top of it.

use super::calibration::Calibration;
use super::fit::Family;
use crate::driver::{Binds, Driver, DriverError, Model};
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

    /// What the line makes of the model's value.
    #[must_use]
    pub fn on_top(&self, plain: f64) -> f64 {
        plain + self.offset + self.slope * (plain - self.pivot)
    }

    /// The curve of a calibration that is kept in the log, made with this driver.
    ///
    /// # Errors
    /// `Parameters` where the driver has another name or lacks a parameter of the calibration; else
    /// as [`Driver::bind`].
    pub fn of(calibration: &Calibration, by: impl Binds) -> Result<Self, DriverError> {
        let parameters = calibration.values(by.driver())?;
        Ok(Self {
            model: by.bind(parameters)?,
            offset: calibration.offset,
            slope: calibration.slope,
            pivot: calibration.pivot,
        })
    }

    /// The input at which the value is this one; `None` where the curve does not reach it.
    #[must_use]
    pub fn invert(&self, value: f64) -> Option<f64> {
        let plain = (value - self.offset + self.slope * self.pivot) / (1.0 + self.slope);
        self.model.invert(plain).ok()
    }
}

impl Calibration {
    /// The driver's parameters, in the order in which it declares them; empty for those that the
    /// calibration does not name.
    ///
    /// # Errors
    /// `Parameters` where the driver has another name or lacks a parameter of the calibration.
    pub fn values(&self, driver: Driver) -> Result<Vec<Vec<f64>>, DriverError> {
        let (own, name) = (&self.driver, driver.name());
        if own != name {
            let text = format!("the calibration is for the driver `{own}`, not for `{name}`");
            return Err(DriverError::Parameters(text));
        }
        let declared = driver.parameters();
        let known = |name: &String| declared.iter().any(|one| one.name == name);
        if let Some((unknown, _)) = self.parameters.iter().find(|(name, _)| !known(name)) {
            let text = format!(
                "the calibration has the parameter `{unknown}`, which the driver `{own}` does not \
                 have any more"
            );
            return Err(DriverError::Parameters(text));
        }
        let value = |name: &str| {
            let kept = self.parameters.iter().find(|(own, _)| own == name);
            kept.map(|(_, values)| values.clone()).unwrap_or_default()
        };
        Ok(declared.iter().map(|one| value(one.name)).collect())
    }

    /// The curves that its terms make with this driver, and the terms as fitted: for gradients.
    ///
    /// # Errors
    /// As [`Curve::of`].
    pub fn family(&self, driver: Driver) -> Result<(Family, Vec<f64>), DriverError> {
        let model = driver.bind(self.values(driver)?)?;
        let family = Family::new(model, self.pivot, self.terms.clone());
        let fitted = |(term, own): (&Term, f64)| match term {
            Term::Parameter(_) => own,
            Term::Offset => self.offset,
            Term::Slope => self.slope,
        };
        let theta = self.terms.iter().zip(family.start()).map(fitted).collect();
        Ok((family, theta))
    }
}

impl Transfer for Curve {
    fn evaluate(&self, input: f64) -> Result<f64, DriverError> {
        Ok(self.on_top(self.model.evaluate(input)?))
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
