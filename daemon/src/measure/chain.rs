//! One probe's way from a slot of a line to a value with its uncertainty, or to a fault.
//!
//! The order is: rails, corrections and supply (per sample), median, mean, front end, driver,
//! uncertainty. When a value was measured and where it goes is not known here, and no value is
//! remembered: the same slots at the same boot times give the same outcomes, bit for bit.
//!
//! What is averaged is the count as the front end takes it: corrected, and for a divider with a
//! supply of its own scaled to what a converter with the supply as its reference would have given,
//! so that a supply that moves during a mean cancels sample by sample. The board's own counts go the
//! same way beside it, untouched: they are the raw count in the log. The corrected count shows in
//! the electrical quantity, and in the spread.

use super::condition::{Conditioned, Conditioner, Fault};
use super::corrections::Corrections;
use super::decode::Slot;
use super::front_end::{AbsoluteDivider, Electrical, FrontEnd};
use super::supply::Feed;
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
    /// `OutOfRange` where the model has no value, else what went wrong in the driver.
    fn evaluate(&self, input: f64) -> Result<f64, DriverError>;

    /// Change of the value with the electrical quantity.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    fn slope(&self, input: f64) -> Result<f64, DriverError>;

    /// Both at once, which takes half as long where the driver is in another process.
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    fn value_and_slope(&self, input: f64) -> Result<(f64, f64), DriverError> {
        Ok((self.evaluate(input)?, self.slope(input)?))
    }

    /// The value with everything that is known of its uncertainty, where `uncertainty` is the
    /// standard uncertainty of the input.
    ///
    /// What knows no uncertainty of its own hands on that of the input: the law of propagation for
    /// one quantity, uncertainty times slope (JCGM 100:2008, 5.1.2).
    ///
    /// # Errors
    /// As [`Transfer::evaluate`].
    fn answer(&self, input: f64, uncertainty: f64) -> Result<Answer, DriverError> {
        let (value, slope) = self.value_and_slope(input)?;
        Ok(Answer {
            value,
            uncertainty: uncertainty * slope.abs(),
            extrapolated: false,
        })
    }
}

/// What a transfer makes of one input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, same unit.
    pub uncertainty: f64,
    /// Whether the input lies outside the calibrated range.
    pub extrapolated: bool,
}

impl Answer {
    /// What comes out of measuring: a driver whose answer is not finite has failed.
    #[must_use]
    pub fn outcome(self) -> Outcome {
        match Estimate::new(self.value, self.uncertainty) {
            Some(estimate) if self.extrapolated => Outcome::Extrapolated(estimate),
            Some(estimate) => Outcome::Value(estimate),
            None => Outcome::Fault(Quality::DriverFailed),
        }
    }
}

impl Transfer for Model {
    fn evaluate(&self, input: f64) -> Result<f64, DriverError> {
        self.evaluate(input)
    }

    fn slope(&self, input: f64) -> Result<f64, DriverError> {
        self.slope(input)
    }

    fn value_and_slope(&self, input: f64) -> Result<(f64, f64), DriverError> {
        self.value_and_slope(input)
    }
}

/// A measurement that lacks only its probe and its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Counts as the board sent them: the mean of the good samples, or the last sample that was
    /// faulty; `None` where the board sent no number.
    pub raw: Option<f64>,
    /// Ohm, volt, ratio or number, as the probe's input says; `None` where counts gave none.
    pub electrical: Option<f64>,
    /// The value with its standard uncertainty, or the fault.
    pub outcome: Outcome,
    /// Standard deviation of the averaged samples, in counts as the front end takes them; `None` for
    /// fewer than two.
    pub spread: Option<f64>,
    /// How many samples went in.
    pub samples: u32,
}

/// Measures with one probe.
#[derive(Clone, Debug)]
pub struct Chain<M> {
    /// The wiring as configured.
    wiring: FrontEnd,
    /// The same with the supply of the last line, where that is measured.
    front_end: FrontEnd,
    corrections: Corrections,
    input: Electrical,
    conditioner: Conditioner,
    /// Conditions the board's own counts, where they are not what the front end takes.
    raw: Option<Conditioner>,
    /// Why the supply is not known, where it is not.
    unfed: Option<Quality>,
    /// Relative standard uncertainty of the supply, the largest of the samples under way.
    supply_share: f64,
    noise: NoiseEstimate,
    noise_factor: f64,
    /// Where the front end has no step: the finest that the board's numbers have shown.
    finest: Option<f64>,
    model: M,
}

/// One good sample.
#[derive(Clone, Copy)]
struct Sample {
    /// As the board sent it.
    raw: f64,
    /// As the front end takes it.
    count: f64,
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
        let scaled = matches!(front_end, FrontEnd::AbsoluteDivider(_));
        Self {
            wiring: front_end,
            front_end,
            corrections: Corrections::default(),
            input,
            conditioner: Conditioner::new(median, every),
            raw: scaled.then(|| Conditioner::new(median, every)),
            unfed: None,
            supply_share: 0.0,
            noise: NoiseEstimate::new(),
            noise_factor: if median > 1 { MEDIAN_EXCESS } else { 1.0 },
            finest: None,
            model,
        }
    }

    /// The same for a channel whose counts are corrected. Before the first sample.
    #[must_use]
    pub fn corrected_by(self, corrections: Corrections) -> Self {
        let apart = self.raw.is_some() || !corrections.is_empty();
        Self {
            raw: apart.then(|| self.conditioner.clone()),
            corrections,
            ..self
        }
    }

    /// Goes on with what another chain has learnt of the same channel's noise and step, where both take
    /// its counts alike. Else nothing is known of it yet.
    pub fn learn_from(&mut self, other: &Self) {
        let alike = self.wiring == other.wiring && self.corrections == other.corrections;
        if alike && self.input == other.input {
            self.noise = other.noise.clone();
            self.finest = other.finest;
        }
    }

    /// Takes what a line said of this probe's channel, and gives what is complete by it; with an
    /// interval that is the interval before this line's.
    pub fn push(&mut self, boot_ns: u64, slot: Slot) -> Option<Measured> {
        let sample = self.judge(slot)?;
        match sample {
            Ok(sample) => self.learn(sample.count),
            Err(_) => self.noise.interrupt(),
        }
        let own = sample.map(|sample| sample.raw);
        let own = self.raw.as_mut().map(|raw| raw.push(boot_ns, own));
        let sample = sample.map(|sample| sample.count);
        let share = self.divider().and_then(AbsoluteDivider::supply_share);
        let share = share.unwrap_or(0.0);
        self.supply_share = self.supply_share.max(share);
        let complete = self.conditioner.push(boot_ns, sample)?;
        let measured = self.measure(complete, own.flatten());
        self.supply_share = share;
        Some(measured)
    }

    /// As [`Chain::push`], for a probe whose divider hangs on a measured supply.
    pub fn push_fed(&mut self, boot_ns: u64, slot: Slot, feed: Feed) -> Option<Measured> {
        self.unfed = match feed {
            Feed::NotYet => return None,
            Feed::Fault(quality) => Some(quality),
            Feed::Volts(volts) => {
                self.front_end = self.wiring.fed_with(volts);
                None
            }
        };
        self.push(boot_ns, slot)
    }

    /// Gives what a begun interval holds: for a stop, or where the board fell silent.
    pub fn flush(&mut self) -> Option<Measured> {
        self.noise.interrupt();
        let own = self.raw.as_mut().map(Conditioner::flush);
        let rest = self.conditioner.flush()?;
        Some(self.measure(rest, own.flatten()))
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
    fn judge(&self, slot: Slot) -> Option<Result<Sample, Fault>> {
        let fault = |quality, count| Fault { quality, count };
        match slot {
            Slot::Absent => None,
            Slot::Unreadable => Some(Err(fault(Quality::Unreadable, None))),
            Slot::Number(raw) => {
                let sample = self.sample(raw);
                Some(sample.map_err(|quality| fault(quality, Some(raw))))
            }
        }
    }

    /// The rails are the converter's, so the board's own count must be off them; and the corrected
    /// one must still be a number for the front end.
    fn sample(&self, raw: f64) -> Result<Sample, Quality> {
        self.unfed.map_or(Ok(()), Err)?;
        self.front_end.convert(raw, self.input)?;
        let corrected = self.corrections.correct(raw);
        if !self.corrections.is_empty() {
            self.front_end.convert(corrected, self.input)?;
        }
        let count = corrected * self.scale();
        Ok(Sample { raw, count })
    }

    fn measure(&self, conditioned: Conditioned, own: Option<Conditioned>) -> Measured {
        let (raw, electrical, outcome) = match conditioned.sample {
            Err(fault) => (fault.count, None, Outcome::Fault(fault.quality)),
            Ok(count) => {
                let own = own.and_then(|own| own.sample.ok());
                let raw = own.unwrap_or(count);
                let (electrical, outcome) = self.evaluate(Sample { raw, count }, conditioned);
                (Some(raw), electrical, outcome)
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
    fn evaluate(&self, sample: Sample, conditioned: Conditioned) -> (Option<f64>, Outcome) {
        let taken = self.divider().map(AbsoluteDivider::ratiometric);
        let front_end = taken.unwrap_or(self.front_end);
        let converted = match front_end.between_rails(sample.count, self.input) {
            Ok(converted) => converted,
            Err(quality) => return (None, Outcome::Fault(quality)),
        };
        let uncertainty = self.count_uncertainty(sample, conditioned) * converted.slope.abs();
        let outcome = match self.model.answer(converted.value, uncertainty) {
            Ok(answer) => answer.outcome(),
            Err(DriverError::OutOfRange) => Outcome::Fault(Quality::OutOfRange),
            Err(_) => Outcome::Fault(Quality::DriverFailed),
        };
        (Some(converted.value), outcome)
    }

    fn divider(&self) -> Option<&AbsoluteDivider> {
        match &self.front_end {
            FrontEnd::AbsoluteDivider(divider) => Some(divider),
            _ => None,
        }
    }

    /// What a corrected count is multiplied by for the front end.
    fn scale(&self) -> f64 {
        let scale = self.divider().and_then(AbsoluteDivider::scale);
        scale.unwrap_or(1.0)
    }

    /// Of the count as the front end takes it: the converter's and, where there is one, the
    /// supply's, in quadrature.
    fn count_uncertainty(&self, sample: Sample, conditioned: Conditioned) -> f64 {
        let noise = self
            .noise
            .deviation()
            .map(|noise| noise * self.noise_factor);
        let Conditioned {
            spread, samples, ..
        } = conditioned;
        let taken = self.corrections.slope(sample.raw) * self.scale();
        let step = self.front_end.step().map(|step| step * taken);
        let count = count_uncertainty(step.or(self.finest), noise, spread, samples);
        count.hypot(sample.count * self.supply_share)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod supply_tests;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
