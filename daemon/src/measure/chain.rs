//! One probe's way from a slot of a line to a value with its uncertainty, or to a fault.
//!
//! The order is: rails (per sample), median, mean, front end, driver, uncertainty. When a value was
//! measured and where it goes is not known here, and no value is remembered: the same slots at the
//! same boot times give the same outcomes, bit for bit.

use super::condition::{Conditioned, Conditioner, Fault};
use super::decode::Slot;
use super::front_end::{Electrical, FrontEnd};
use super::uncertainty::{NoiseEstimate, count_uncertainty, last_decimal};
use crate::driver::{DriverError, Model};
use crate::reading::{Estimate, Outcome, Quality};
use std::time::Duration;

/// A median of Gaussian noise spreads by up to this much more than a mean of the same samples:
/// sqrt(pi / 2), its limit for many samples. Source: the asymptotic efficiency 2 / pi of the
/// median, common to texts on order statistics.
const MEDIAN_EXCESS: f64 = 1.253_314_137_315_500_3;

/// What the chain asks of a model: a driver bound to its parameters.
pub trait Transfer {
    /// The value for an electrical quantity.
    ///
    /// # Errors
    /// `OutOfRange` where the model has no value, `Broken` where the driver gave no finite number.
    fn evaluate(&self, input: f64) -> Result<f64, DriverError>;

    /// Change of the value with the electrical quantity.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    fn slope(&self, input: f64) -> Result<f64, DriverError>;
}

impl Transfer for Model {
    fn evaluate(&self, input: f64) -> Result<f64, DriverError> {
        self.evaluate(input)
    }

    fn slope(&self, input: f64) -> Result<f64, DriverError> {
        self.slope(input)
    }
}

/// A measurement that lacks only its probe and its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Counts: the mean of the good samples, or the last sample that was faulty; `None` where the
    /// board sent no number.
    pub raw: Option<f64>,
    /// Ohm, volt, ratio or number, as the probe's input says; `None` where counts gave none.
    pub electrical: Option<f64>,
    /// The value with its standard uncertainty, or the fault.
    pub outcome: Outcome,
    /// Standard deviation of the averaged samples, in counts; `None` for fewer than two.
    pub spread: Option<f64>,
    /// How many samples went in.
    pub samples: u32,
}

/// Measures with one probe.
#[derive(Clone, Debug)]
pub struct Chain<M = Model> {
    front_end: FrontEnd,
    input: Electrical,
    conditioner: Conditioner,
    noise: NoiseEstimate,
    noise_factor: f64,
    /// Where the front end has no step: the finest that the board's numbers have shown.
    finest: Option<f64>,
    model: M,
}

impl<M: Transfer> Chain<M> {
    /// A chain for a probe wired by `front_end` whose driver takes `input`; `median` and `every` as
    /// for [`Conditioner::new`].
    #[must_use]
    pub fn new(
        front_end: FrontEnd,
        input: Electrical,
        median: usize,
        every: Option<Duration>,
        model: M,
    ) -> Self {
        Self {
            front_end,
            input,
            conditioner: Conditioner::new(median, every),
            noise: NoiseEstimate::new(),
            noise_factor: if median > 1 { MEDIAN_EXCESS } else { 1.0 },
            finest: None,
            model,
        }
    }

    /// Takes what a line said of this probe's channel, and gives what is complete by it; with an
    /// interval that is the interval before this line's.
    pub fn push(&mut self, boot_ns: u64, slot: Slot) -> Option<Measured> {
        let sample = self.judge(slot)?;
        match sample {
            Ok(count) => self.learn(count),
            Err(_) => self.noise.interrupt(),
        }
        let complete = self.conditioner.push(boot_ns, sample);
        complete.map(|conditioned| self.measure(conditioned))
    }

    /// Gives what a begun interval holds: for a stop, or where the board fell silent.
    pub fn flush(&mut self) -> Option<Measured> {
        self.noise.interrupt();
        let rest = self.conditioner.flush();
        rest.map(|conditioned| self.measure(conditioned))
    }

    /// What a good sample shows of noise and step.
    fn learn(&mut self, count: f64) {
        self.noise.push(count);
        if self.front_end.step().is_none() {
            let step = last_decimal(count);
            self.finest = Some(self.finest.map_or(step, |finest| finest.min(step)));
        }
    }

    /// A slot as a sample: a count between the rails, or a fault. `None` where there is none.
    fn judge(&self, slot: Slot) -> Option<Result<f64, Fault>> {
        let (quality, count) = match slot {
            Slot::Absent => return None,
            Slot::Unreadable => (Quality::Unreadable, None),
            Slot::Number(count) => match self.front_end.convert(count, self.input) {
                Ok(_) => return Some(Ok(count)),
                Err(quality) => (quality, Some(count)),
            },
        };
        Some(Err(Fault { quality, count }))
    }

    fn measure(&self, conditioned: Conditioned) -> Measured {
        let (raw, electrical, outcome) = match conditioned.sample {
            Err(fault) => (fault.count, None, Outcome::Fault(fault.quality)),
            Ok(count) => {
                let (electrical, outcome) = self.evaluate(count, conditioned);
                (Some(count), electrical, outcome)
            }
        };
        Measured {
            raw,
            electrical,
            outcome,
            spread: conditioned.spread,
            samples: conditioned.samples,
        }
    }

    /// A good count to the electrical quantity and the value.
    fn evaluate(&self, count: f64, conditioned: Conditioned) -> (Option<f64>, Outcome) {
        let converted = match self.front_end.convert(count, self.input) {
            Ok(converted) => converted,
            Err(quality) => return (None, Outcome::Fault(quality)),
        };
        let uncertainty = self.count_uncertainty(conditioned) * converted.slope.abs();
        let outcome = match self.estimate(converted.value, uncertainty) {
            Ok(Some(estimate)) => Outcome::Value(estimate),
            Ok(None) | Err(DriverError::Broken(_) | DriverError::Parameters(_)) => {
                Outcome::Fault(Quality::DriverFailed)
            }
            Err(DriverError::OutOfRange) => Outcome::Fault(Quality::OutOfRange),
        };
        (Some(converted.value), outcome)
    }

    /// Law of propagation for one input (JCGM 100:2008, 5.1.2): uncertainty times slope. `None`
    /// where a driver's answer isn't finite.
    fn estimate(&self, electrical: f64, uncertainty: f64) -> Result<Option<Estimate>, DriverError> {
        let value = self.model.evaluate(electrical)?;
        let slope = self.model.slope(electrical)?;
        Ok(Estimate::new(value, uncertainty * slope.abs()))
    }

    fn count_uncertainty(&self, conditioned: Conditioned) -> f64 {
        let noise = self
            .noise
            .deviation()
            .map(|noise| noise * self.noise_factor);
        let Conditioned {
            spread, samples, ..
        } = conditioned;
        let step = self.front_end.step().or(self.finest);
        count_uncertainty(step, noise, spread, samples)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
