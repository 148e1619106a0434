//! From an electrical quantity to the value that a calibration gives it, and how sure it is of that.
//!
//! The uncertainty is that of the fitted terms: self-heating and the resistor of another channel are
//! not in it.

use super::parameters::{self, Beside};
use crate::calibrate::{Calibration, Curve};
use crate::driver::{self, DriverError, Model};
use crate::measure::chain::Transfer;
use crate::reading::Estimate;

/// Turns an electrical quantity into a value with its uncertainty.
#[derive(Clone, Debug)]
pub struct Conversion {
    /// The calibration's number; 0 for the configured parameters.
    pub number: u32,
    /// UCUM code of what it takes.
    pub electrical_unit: String,
    /// UCUM code of what it gives.
    pub unit: String,
    curve: Curve,
    /// Inputs that the calibration covers; everywhere for the configured parameters.
    range: Option<(f64, f64)>,
    covariance: Vec<Vec<f64>>,
    /// One for each row of the covariance.
    beside: Vec<Beside>,
}

impl Conversion {
    /// By a calibration.
    ///
    /// # Errors
    /// Where this version has no such driver or input, or the driver refuses the parameters.
    pub fn by(number: u32, calibration: &Calibration) -> Result<Self, String> {
        let curve = parameters::curve_of(calibration)?;
        let inputs = driver::Electrical::ALL;
        let input = inputs.iter().find(|one| one.word() == calibration.input);
        let input = input.ok_or_else(|| {
            let input = &calibration.input;
            format!("takes `{input}`, which this version of nightbench does not know")
        })?;
        Ok(Self {
            number,
            electrical_unit: input.unit().to_owned(),
            unit: calibration.unit.clone(),
            range: Some(calibration.range),
            covariance: calibration.covariance.clone(),
            beside: parameters::beside(calibration)?,
            curve,
        })
    }

    /// By configured parameters, whose own uncertainty is not in what it gives.
    #[must_use]
    pub fn configured(model: Model, electrical_unit: &str, unit: &str) -> Self {
        Self {
            number: 0,
            electrical_unit: electrical_unit.to_owned(),
            unit: unit.to_owned(),
            curve: Curve::plain(model),
            range: None,
            covariance: Vec::new(),
            beside: Vec::new(),
        }
    }

    /// Inputs that the calibration covers; `None` for the configured parameters.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        self.range
    }

    /// Whether an input is outside what the calibration covers.
    #[must_use]
    pub fn is_extrapolated(&self, input: f64) -> bool {
        self.range
            .is_some_and(|(low, high)| !(low..=high).contains(&input))
    }

    /// The value, and the standard uncertainty that the calibration itself brings; that of the
    /// electrical quantity is not in it.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn at(&self, input: f64) -> Result<Estimate, DriverError> {
        self.with(input, 0.0)
    }

    /// The value of an electrical quantity with this standard uncertainty of its own.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn with(&self, input: f64, uncertainty: f64) -> Result<Estimate, DriverError> {
        let value = self.curve.evaluate(input)?;
        let of_input = self.curve.slope(input)? * uncertainty;
        let both = of_input.hypot(self.own(input)?);
        Estimate::new(value, both).ok_or(DriverError::Broken(0))
    }

    /// Where the value is this one; `None` where the curve does not reach it.
    #[must_use]
    pub fn input_for(&self, value: f64) -> Option<f64> {
        let Curve {
            model,
            offset,
            slope,
            pivot,
        } = &self.curve;
        let plain = (value - offset + slope * pivot) / (1.0 + slope);
        model.invert(plain).ok()
    }

    /// Change of the value with the electrical quantity.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn slope(&self, input: f64) -> Result<f64, DriverError> {
        self.curve.slope(input)
    }

    /// Standard uncertainty of a value by the covariance of the fitted terms alone.
    /// Source: JCGM 100:2008, 5.2.2.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn own(&self, input: f64) -> Result<f64, DriverError> {
        let gradient = self.beside.iter().map(|beside| beside.slope(input));
        let gradient = gradient.collect::<Result<Vec<f64>, DriverError>>()?;
        let row = |row: &Vec<f64>| row.iter().zip(&gradient).map(|(c, g)| c * g).sum::<f64>();
        let rows = self.covariance.iter().map(row).zip(&gradient);
        let variance: f64 = rows.map(|(sum, g)| sum * g).sum();
        Ok(variance.max(0.0).sqrt())
    }
}
