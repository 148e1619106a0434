//! A curve that says how right it is: driver, parameters, and all that is known of the uncertainty
//! of what comes out.
//!
//! The shares of a reading, put together in quadrature (JCGM 100:2008, 5.1.2):
//!
//! | share | a calibrated probe | one that was never calibrated |
//! |---|---|---|
//! | what the fit rests on: references, noise of the points | each source, through the fitted terms | – |
//! | what the model cannot follow between its points | the driver's word | in the tolerance |
//! | where the driver has none, away from the only point | part of `tolerance` (`away`) | in the tolerance |
//! | the channel's resistor | 0 on the channel of the calibration; after a move that of both; that of the present one where points were measured elsewhere | in full |
//! | how far the kind may be off its nominal curve | – | `tolerance` |
//! | self-heating, where a dissipation constant is given | of a medium that may be another | of the correction |
//! | the reading itself: converter step, noise, supply | yes | yes |
//!
//! **Self-heating.** A known systematic effect is corrected (JCGM 100:2008, 3.2.4), so a probe that
//! was never calibrated reads less by its rise, which is known to [`HEATING_UNKNOWN`]. A calibrated
//! probe warmed itself in its bath as well, and that is in its calibration: to correct it again would
//! count it twice. What is left is the difference between the bath and where it is now. It lies
//! between nothing (the same medium) and the whole rise (a bath that carried all heat away), of no
//! known place between; so nothing is corrected, and rise / sqrt(3), the root mean square of such a
//! difference, is stated.
//!
//! **Where linear is not enough.** Each share is slope times standard uncertainty. For temperatures
//! that agrees with drawing by chance (JCGM 101:2008) within a few percent, which a test holds. For
//! light whose cell was never compared it does not: half a decade is a factor of three to either
//! side, and plus or minus twice 0.66 of the value only says that little is known.
//!
//! What is not here: fitting, reference values, noise of the counts.

mod away;
mod cause;
mod fitted;
mod nearby;
mod tolerance;

pub use tolerance::Tolerance;

use super::budget::Budget;
use super::{Calibration, Channel, Curve, Share};
use crate::driver::{Binds, DriverError, Model};
use crate::measure::chain::{Answer, Transfer};
use crate::measure::self_heating::SelfHeating;
use crate::measure::uncertainty::Converter;
use cause::Cause;
use fitted::Fitted;

/// Half-width of what a stated dissipation constant may be off by, relative. Data sheets give one
/// number for still air or stirred oil; mounting and draught change it by tens of percent (common
/// practice).
pub const HEATING_UNKNOWN: f64 = 0.3;

/// A reading at the outermost point wanders beyond it by its own noise: so many standard
/// uncertainties outside the range still count as the range.
const EDGE: f64 = 2.0;

/// A curve with everything that is known of its uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Stated {
    curve: Curve,
    origin: Origin,
    /// What would move the electrical quantity of every reading alike.
    resistors: Vec<Resistor>,
    heating: Option<SelfHeating>,
}

/// Where a curve comes from.
#[derive(Clone, Debug, PartialEq)]
enum Origin {
    /// The maker's, or the configuration's.
    Nominal(Tolerance),
    /// Points.
    Fitted(Box<Fitted>),
}

/// A divider's resistor: one variable for all readings of its channel.
#[derive(Clone, Debug, PartialEq)]
struct Resistor {
    /// The channel in words.
    channel: String,
    /// Standard uncertainty, relative.
    relative: f64,
}

impl Resistor {
    fn of(channel: &Channel) -> Self {
        Self {
            channel: format!("{}/{}", channel.board, channel.channel),
            relative: channel.scale_uncertainty,
        }
    }
}

impl Stated {
    /// A probe that was never calibrated, on this channel: nominal parameters, off by as much as its
    /// kind may be.
    #[must_use]
    pub fn nominal(model: Model, tolerance: Tolerance, here: &Channel) -> Self {
        Self {
            curve: Curve::plain(model),
            origin: Origin::Nominal(tolerance),
            resistors: vec![Resistor::of(here)],
            heating: None,
        }
    }

    /// A calibrated probe on this channel, which may be another than that of its calibration.
    ///
    /// # Errors
    /// `Parameters` where the calibration is another driver's, or cannot be read as this driver's;
    /// else what the driver says of its parameters.
    pub fn calibrated(
        calibration: &Calibration,
        by: impl Binds,
        here: &Channel,
    ) -> Result<Self, DriverError> {
        let curve = Curve::of(calibration, by)?;
        Ok(Self {
            origin: Origin::Fitted(Box::new(Fitted::of(calibration, &curve)?)),
            curve,
            resistors: resistors(&calibration.channel, here),
            heating: None,
        })
    }

    /// The same for a probe that its divider warms.
    #[must_use]
    pub fn heated(self, heating: Option<SelfHeating>) -> Self {
        Self { heating, ..self }
    }

    /// The same probe on another channel, without what was known of its warming there.
    #[must_use]
    pub fn on(&self, here: &Channel) -> Self {
        let resistors = match &self.origin {
            Origin::Nominal(_) => vec![Resistor::of(here)],
            Origin::Fitted(fitted) => resistors(&fitted.channel, here),
        };
        Self {
            curve: self.curve.clone(),
            origin: self.origin.clone(),
            resistors,
            heating: None,
        }
    }

    /// The curve without what is corrected for self-heating.
    #[must_use]
    pub fn curve(&self) -> &Curve {
        &self.curve
    }

    /// Whether it rests on points.
    #[must_use]
    pub fn is_calibrated(&self) -> bool {
        matches!(self.origin, Origin::Fitted(_))
    }

    /// Whether an input of this standard uncertainty lies outside the calibrated range; never where
    /// there is none.
    #[must_use]
    pub fn extrapolated(&self, input: f64, uncertainty: f64) -> bool {
        let Origin::Fitted(fitted) = &self.origin else {
            return false;
        };
        let (lowest, highest) = fitted.range;
        let edge = EDGE * uncertainty;
        !(lowest - edge..=highest + edge).contains(&input)
    }

    /// Standard uncertainty of the value at an input that is uncertain by so much. Allocates nothing.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn uncertainty(&self, input: f64, electrical: f64) -> Result<f64, DriverError> {
        Ok(self.answer(input, electrical)?.uncertainty)
    }

    /// What the uncertainty of a value is made of, with causes that add nothing left out.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn shares(&self, input: f64, converter: Converter) -> Result<Vec<Share>, DriverError> {
        let mut shares = Vec::new();
        self.each(input, converter, |cause, uncertainty| {
            if uncertainty != 0.0 {
                shares.push(cause.share(uncertainty));
            }
        })?;
        Ok(shares)
    }

    /// The same as a table with what is to be done about it.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    pub fn budget(
        &self,
        input: f64,
        converter: Converter,
        unit: &str,
    ) -> Result<Budget, DriverError> {
        let shares = self.shares(input, converter)?;
        Ok(Budget::new(self.evaluate(input)?, unit, shares))
    }

    /// Calls `tell` with each cause and its share, in the unit of the value; gives the curve's value.
    /// A loaded driver gives value and slope on one way.
    fn each<'s>(
        &'s self,
        input: f64,
        converter: Converter,
        mut tell: impl FnMut(Cause<'s>, f64),
    ) -> Result<f64, DriverError> {
        let (plain, slope) = self.curve.model.value_and_slope(input)?;
        let value = self.curve.on_top(plain);
        let rise = self.corrected().map_or(0.0, |heating| heating.slope(input));
        let slope = (slope * (1.0 + self.curve.slope) - rise).abs();
        match &self.origin {
            Origin::Nominal(tolerance) => {
                let share = tolerance.uncertainty(value, slope * input.abs());
                tell(Cause::Interchange, share);
            }
            Origin::Fitted(fitted) => {
                fitted.each((&self.curve, plain), input, &mut tell)?;
            }
        }
        for resistor in &self.resistors {
            let share = resistor.relative * slope * input.abs();
            tell(Cause::Resistor(&resistor.channel), share);
        }
        if let Some(heating) = &self.heating {
            let unknown = if self.is_calibrated() {
                1.0
            } else {
                HEATING_UNKNOWN
            };
            tell(
                Cause::Heating,
                unknown * heating.rise(input) / 3.0_f64.sqrt(),
            );
        }
        tell(Cause::Step, converter.step * slope);
        tell(Cause::Noise, converter.noise * slope);
        tell(Cause::Supply, converter.supply * slope);
        Ok(value)
    }

    /// What is taken off the curve's value for self-heating.
    fn corrected(&self) -> Option<&SelfHeating> {
        self.heating.as_ref().filter(|_| !self.is_calibrated())
    }
}

impl Transfer for Stated {
    fn evaluate(&self, input: f64) -> Result<f64, DriverError> {
        let rise = self.corrected().map_or(0.0, |heating| heating.rise(input));
        Ok(self.curve.evaluate(input)? - rise)
    }

    fn slope(&self, input: f64) -> Result<f64, DriverError> {
        let rise = self.corrected().map_or(0.0, |heating| heating.slope(input));
        Ok(Transfer::slope(&self.curve, input)? - rise)
    }

    fn answer(&self, input: f64, uncertainty: f64) -> Result<Answer, DriverError> {
        let mut variance = 0.0;
        let converter = Converter::whole(uncertainty);
        let value = self.each(input, converter, |_, share| variance += share * share)?;
        Ok(Answer {
            value: value - self.corrected().map_or(0.0, |heating| heating.rise(input)),
            uncertainty: variance.sqrt(),
            extrapolated: self.extrapolated(input, uncertainty),
        })
    }
}

/// Whose resistors count: none where the probe still hangs on the resistor it was calibrated with.
fn resistors(then: &Channel, here: &Channel) -> Vec<Resistor> {
    let place = |channel: &Channel| (channel.board.clone(), channel.channel.clone());
    if place(then) == place(here) && then.resistor == here.resistor {
        return Vec::new();
    }
    // What was measured elsewhere has no resistor of its own in it.
    let then = Some(then).filter(|then| !then.is_elsewhere());
    then.into_iter().chain([here]).map(Resistor::of).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
