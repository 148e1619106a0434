//! From an electrical quantity to the value that a calibration gives it, and how sure it is of that:
//! [`Stated`], with its number and units, for calibrations of any age.
//!
//! It stands on the channel of the calibration until it is put on another one.

use crate::calibrate::{Calibration, Channel, Stated};
use crate::driver::{self, DriverError, Model};
use crate::measure::chain::{Answer, Transfer};
use crate::measure::self_heating::SelfHeating;
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
    stated: Stated,
    channel: Channel,
    /// Inputs that the calibration covers; everywhere for the configured parameters.
    range: Option<(f64, f64)>,
}

/// Where a reading was made.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// The channel.
    pub channel: Channel,
    /// How its divider warms the probe, where that is known.
    pub heating: Option<SelfHeating>,
}

impl Conversion {
    /// By a calibration, on its own channel; by the driver of the probe as it is configured, where
    /// that is the calibration's, as a loaded driver is known to a configuration only.
    ///
    /// # Errors
    /// Where there is no such driver or input, or the driver refuses the parameters; the end of a
    /// sentence about the calibration.
    pub fn by(
        number: u32,
        calibration: &Calibration,
        configured: Option<&Model>,
    ) -> Result<Self, String> {
        let word = &calibration.input;
        let mut inputs = driver::Electrical::ALL.iter();
        let input = inputs.find(|one| one.word() == word).ok_or_else(|| {
            format!("takes `{word}`, which this version of nightbench does not know")
        })?;
        let stated = stated(calibration, configured)?;
        Ok(Self {
            number,
            electrical_unit: input.unit().to_owned(),
            unit: calibration.unit.clone(),
            stated: stated.map_err(|error| format!("cannot be used: {error}"))?,
            channel: calibration.channel.clone(),
            range: Some(calibration.range),
        })
    }

    /// By configured parameters, on the channel that is configured.
    #[must_use]
    pub fn configured(stated: Stated, channel: Channel, electrical_unit: &str, unit: &str) -> Self {
        Self {
            number: 0,
            electrical_unit: electrical_unit.to_owned(),
            unit: unit.to_owned(),
            stated,
            channel,
            range: None,
        }
    }

    /// The same at another place, where the channel's resistor counts as it does for the service.
    #[must_use]
    pub fn at_place(&self, place: &Place) -> Self {
        Self {
            stated: self.stated.on(&place.channel).heated(place.heating),
            channel: place.channel.clone(),
            ..self.clone()
        }
    }

    /// The channel that it stands on.
    #[must_use]
    pub fn channel(&self) -> &Channel {
        &self.channel
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

    /// The value of an electrical quantity that is certain: its uncertainty is what this conversion
    /// itself adds.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn at(&self, input: f64) -> Result<Estimate, DriverError> {
        let answer = self.answer(input, 0.0)?;
        Estimate::new(answer.value, answer.uncertainty).ok_or(DriverError::Broken(0))
    }

    /// As the service gives it, for an electrical quantity of this standard uncertainty.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn answer(&self, input: f64, uncertainty: f64) -> Result<Answer, DriverError> {
        self.stated.answer(input, uncertainty)
    }

    /// Standard uncertainty of the electrical quantity in a value that this conversion made with
    /// `total`: what is left without what it adds itself, 0 where that is more.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn electrical(&self, input: f64, total: f64) -> Result<f64, DriverError> {
        let own = self.answer(input, 0.0)?.uncertainty;
        self.through(input, (total * total - own * own).max(0.0).sqrt())
    }

    /// Standard uncertainty of the electrical quantity that is this one in the value.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn through(&self, input: f64, of_value: f64) -> Result<f64, DriverError> {
        let slope = Transfer::slope(&self.stated, input)?.abs();
        Ok(if slope > 0.0 { of_value / slope } else { 0.0 })
    }
}

fn stated(
    calibration: &Calibration,
    configured: Option<&Model>,
) -> Result<Result<Stated, DriverError>, String> {
    let (name, here) = (&calibration.driver, &calibration.channel);
    let is_its = |model: &&Model| {
        let driver = model.driver();
        driver.name() == name && driver.other_output().is_none()
    };
    if let Some(model) = configured.filter(is_its) {
        return Ok(Stated::calibrated(calibration, model, here));
    }
    let driver = driver::find(name).ok_or_else(|| {
        format!(
            "needs the driver `{name}`, which is not linked in; name a configuration whose probe has \
             it (`--config FILE`)"
        )
    })?;
    Ok(Stated::calibrated(calibration, driver, here))
}
