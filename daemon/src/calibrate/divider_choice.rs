//! Which resistor goes with a probe: the one whose worst step over the range of use is smallest.
//!
//! Beside it stand the two that books give: the resistor of the largest swing, and the one that makes
//! the ratio straightest. Noise and a converter's own errors are not counted, nor does anything here
//! know what is in the drawer.

mod series;

pub use series::Series;

use crate::driver::{Electrical, Model};
use crate::measure::front_end::{FrontEnd, Side};

/// Places at which the range is looked at, from end to end in equal ratios of resistance.
const LOOKS: u32 = 512;
/// The best resistor lies between the probe's extremes; by so much more a value of the series may.
const MARGIN: f64 = 1.3;
/// Step of the second derivative, relative: the fourth root of the rounding error.
const STEP: f64 = 1e-4;

/// What the resistor is for.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// The probe's model, in ohms.
    pub model: Model,
    /// The values between which it is used, in the model's unit.
    pub range: (f64, f64),
    /// The converter's code of a full-scale input.
    pub full_scale: f64,
    /// Where the probe sits.
    pub side: Side,
    /// Volts across the divider, where self-heating is asked for.
    pub supply_volt: Option<f64>,
    /// Whether a step counts as a share of the value (light) or as it is (temperature).
    pub relative: bool,
    /// The values to choose from.
    pub series: Series,
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoAnswer {
    /// The driver takes something else.
    #[error(
        "driver `{0}` does not take ohms, so a divider says nothing to it; name a driver that does"
    )]
    NotInOhms(&'static str),
    /// The two ends are one, or no numbers.
    #[error("the range has no width; give two different values")]
    NoRange,
    /// An end of the range is no value of this probe.
    #[error(
        "no resistance of this probe gives {0}; take a range within the driver's, or correct the parameters"
    )]
    OutOfReach(f64),
    /// Every resistor runs into an end of the converter's range.
    #[error(
        "with no resistor of the series the whole range is inside the converter's; take a narrower \
         range of use, or a finer converter"
    )]
    Rails,
}

/// A divider with one resistor, over the range of use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Divider {
    /// The resistor, ohm.
    pub resistor_ohm: f64,
    /// The largest step of the value with one count, in its unit (a share of it, where
    /// [`Question::relative`]); `None` where part of the range is at an end of the converter's.
    pub worst_step: Option<f64>,
    /// The value at which it is.
    pub worst_at: f64,
    /// The share of full scale that the range of use covers.
    pub swing: f64,
    /// The most that the probe is heated with, watt.
    pub power_watt: Option<f64>,
}

/// The answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Choice {
    /// The value of the series with the smallest worst step.
    pub best: Divider,
    /// The largest swing: the geometric mean of the probe's extremes.
    pub swing: Divider,
    /// No bend of ratio over value in the middle of the range; `None` where no resistor does that.
    pub linear: Option<Divider>,
}

/// A divider at one value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The value.
    pub value: f64,
    /// The probe's resistance there, ohm.
    pub ohm: f64,
    /// Counts as a share of full scale.
    pub ratio: f64,
    /// Step of the value with one count; `None` at an end of the converter's range.
    pub step: Option<f64>,
    /// Power in the probe, watt.
    pub power_watt: Option<f64>,
}

/// The range, looked at: what does not depend on the resistor.
struct Sample {
    ohm: f64,
    value: f64,
    slope: f64,
}

/// The three resistors.
///
/// # Errors
/// [`NoAnswer`] says.
pub fn choose(question: &Question) -> Result<Choice, NoAnswer> {
    let samples = question.samples()?;
    let (least, most) = question.extremes()?;
    let likely = |ohm: &f64| (least / MARGIN..=most * MARGIN).contains(ohm);
    let dividers = question.series.values().filter(likely);
    let best = dividers
        .map(|ohm| question.divider(ohm, &samples))
        .filter_map(|divider| Some((divider.worst_step?, divider)))
        .min_by(|one, other| one.0.total_cmp(&other.0))
        .map(|(_, divider)| divider)
        .ok_or(NoAnswer::Rails)?;
    let linear = question.straightest();
    Ok(Choice {
        best,
        swing: question.divider((least * most).sqrt(), &samples),
        linear: linear.map(|ohm| question.divider(ohm, &samples)),
    })
}

impl Question {
    /// A divider with this resistor.
    ///
    /// # Errors
    /// As [`choose`].
    pub fn with_resistor(&self, resistor_ohm: f64) -> Result<Divider, NoAnswer> {
        Ok(self.divider(resistor_ohm, &self.samples()?))
    }

    /// A divider with this resistor at `count` values, at least two, evenly from one end of the range
    /// to the other; in equal ratios where steps count as shares.
    ///
    /// # Errors
    /// As [`choose`].
    pub fn places(&self, resistor_ohm: f64, count: u32) -> Result<Vec<Place>, NoAnswer> {
        let (low, high) = self.range;
        let parts = (0..count).map(|index| f64::from(index) / f64::from(count.max(2) - 1));
        let values = parts.map(|part| match self.relative {
            true => low * (high / low).powf(part),
            false => low + part * (high - low),
        });
        values
            .map(|value| self.place(resistor_ohm, value))
            .collect()
    }

    fn place(&self, resistor_ohm: f64, value: f64) -> Result<Place, NoAnswer> {
        let ohm = self.ohm(value)?;
        let slope = self.model.slope(ohm);
        let slope = slope.map_err(|_| NoAnswer::OutOfReach(value))?;
        let sample = Sample { ohm, value, slope };
        Ok(Place {
            value,
            ohm,
            ratio: self.ratio(resistor_ohm, ohm),
            step: self.step(resistor_ohm, &sample),
            power_watt: self.power(resistor_ohm, ohm),
        })
    }

    fn divider(&self, resistor_ohm: f64, samples: &[Sample]) -> Divider {
        let steps = samples
            .iter()
            .map(|sample| (self.step(resistor_ohm, sample), sample.value));
        // A missing step is worse than any.
        let worst = steps.max_by(|one, other| infinite(one.0).total_cmp(&infinite(other.0)));
        let (worst_step, worst_at) = worst.unwrap_or((None, self.range.0));
        let ratios = samples
            .iter()
            .map(|sample| self.ratio(resistor_ohm, sample.ohm));
        let (low, high) = ratios.fold((1.0_f64, 0.0_f64), |(low, high), one| {
            (low.min(one), high.max(one))
        });
        let powers = samples
            .iter()
            .filter_map(|sample| self.power(resistor_ohm, sample.ohm));
        Divider {
            resistor_ohm,
            worst_step,
            worst_at,
            swing: high - low,
            power_watt: powers.reduce(f64::max),
        }
    }

    /// Step of the value with one count: the slopes of driver and front end, multiplied.
    fn step(&self, resistor_ohm: f64, sample: &Sample) -> Option<f64> {
        let front_end = self.front_end(resistor_ohm);
        let count = front_end.count_for(sample.ohm, Electrical::Ohm)?;
        let converted = front_end.convert(count, Electrical::Ohm).ok()?;
        let step = (sample.slope * converted.slope).abs();
        let step = if self.relative {
            step / sample.value.abs()
        } else {
            step
        };
        step.is_finite().then_some(step)
    }

    fn front_end(&self, resistor_ohm: f64) -> FrontEnd {
        FrontEnd::Divider {
            probe: self.side,
            resistor_ohm,
            full_scale: self.full_scale,
        }
    }

    fn ratio(&self, resistor_ohm: f64, ohm: f64) -> f64 {
        match self.side {
            Side::Low => ohm / (ohm + resistor_ohm),
            Side::High => resistor_ohm / (ohm + resistor_ohm),
        }
    }

    /// P = (U / (R + resistor))^2 R.
    fn power(&self, resistor_ohm: f64, ohm: f64) -> Option<f64> {
        let ampere = self.supply_volt? / (ohm + resistor_ohm);
        Some(ampere * ampere * ohm)
    }

    fn samples(&self) -> Result<Vec<Sample>, NoAnswer> {
        let (least, most) = self.extremes()?;
        let ratio = most / least;
        let ohm = |index: u32| match index {
            LOOKS => most,
            _ => least * ratio.powf(f64::from(index) / f64::from(LOOKS)),
        };
        let sample = |ohm: f64| {
            let value = self.model.evaluate(ohm)?;
            let slope = self.model.slope(ohm)?;
            Ok(Sample { ohm, value, slope })
        };
        let samples: Result<_, crate::driver::DriverError> =
            (0..=LOOKS).map(|index| sample(ohm(index))).collect();
        samples.map_err(|_| NoAnswer::OutOfReach(self.range.0))
    }

    /// The probe's smallest and largest resistance over the range.
    fn extremes(&self) -> Result<(f64, f64), NoAnswer> {
        let driver = self.model.driver();
        if !driver.inputs().contains(&Electrical::Ohm) {
            return Err(NoAnswer::NotInOhms(driver.name()));
        }
        let (one, other) = (self.ohm(self.range.0)?, self.ohm(self.range.1)?);
        if one == other {
            return Err(NoAnswer::NoRange);
        }
        Ok((one.min(other), one.max(other)))
    }

    fn ohm(&self, value: f64) -> Result<f64, NoAnswer> {
        let ohm = self.model.invert(value).ok().filter(|ohm| *ohm > 0.0);
        ohm.ok_or(NoAnswer::OutOfReach(value))
    }

    /// Where the second derivative of the ratio over the value is 0 in the middle of the range: with
    /// s = dv/dR, that is at -2 s / (ds/dR) - R. For a beta curve it is R (beta - 2T) / (beta + 2T).
    fn straightest(&self) -> Option<f64> {
        let middle = f64::midpoint(self.range.0, self.range.1);
        let ohm = self.ohm(middle).ok()?;
        let slope = |ohm: f64| self.model.slope(ohm).ok();
        let (low, high) = (ohm * (1.0 - STEP), ohm * (1.0 + STEP));
        let bend = (slope(high)? - slope(low)?) / (high - low);
        let resistor = -2.0 * slope(ohm)? / bend - ohm;
        (resistor.is_finite() && resistor > 0.0).then_some(resistor)
    }
}

fn infinite(step: Option<f64>) -> f64 {
    step.unwrap_or(f64::INFINITY)
}

#[cfg(test)]
mod tests;
