//! Tells a jump from noise: somebody moved the probe, or poured water.
//!
//! A single sample that jumps and comes back is a spike and is left out; two that stay away are a
//! jump. The steep beginning of a settling, whose steps shrink, is one jump and not many.

use crate::measure::uncertainty::NoiseEstimate;

/// Of Gaussian noise one difference in 500 million is beyond this many standard deviations.
const SIGMA: f64 = 6.0;

/// A converter that flickers moves by one step; three in one go are no flicker.
const STEPS: f64 = 3.0;

/// A step of a motion under way may be so much larger than the one before it.
const GROWTH: f64 = 2.0;

/// What a sample is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Arrival {
    /// Within the noise, or on the way it was going.
    Usual,
    /// Away from the others; the next one tells.
    Suspect,
    /// Usual again: the one before was a spike, to be left out.
    BackFromSpike,
    /// Away like the one before: both belong to something new.
    Jumped,
}

/// Watches one series of values.
#[derive(Clone, Debug)]
pub struct Jumps {
    noise: NoiseEstimate,
    step: f64,
    last: Option<f64>,
    change: f64,
    suspect: Option<f64>,
}

impl Jumps {
    /// For a converter with this step, in the unit of the values; 0 where there is none.
    #[must_use]
    pub fn new(step: f64) -> Self {
        Self {
            noise: NoiseEstimate::new(),
            step,
            last: None,
            change: 0.0,
            suspect: None,
        }
    }

    /// Judges the next value.
    pub fn judge(&mut self, value: f64) -> Arrival {
        let is_away = self.is_away(value);
        match (self.suspect.take(), is_away) {
            (None, true) => {
                self.suspect = Some(value);
                Arrival::Suspect
            }
            (None, false) => self.take(value, Arrival::Usual),
            (Some(_), false) => self.take(value, Arrival::BackFromSpike),
            (Some(suspect), true) => {
                self.interrupt();
                self.take(suspect, Arrival::Jumped);
                self.take(value, Arrival::Jumped)
            }
        }
    }

    /// Says that the next value has nothing to do with the last. The noise stays known.
    pub fn interrupt(&mut self) {
        self.noise.interrupt();
        self.last = None;
        self.change = 0.0;
        self.suspect = None;
    }

    fn take(&mut self, value: f64, arrival: Arrival) -> Arrival {
        self.change = self.last.map_or(0.0, |last| value - last);
        self.last = Some(value);
        self.noise.push(value);
        arrival
    }

    fn is_away(&self, value: f64) -> bool {
        let (Some(last), Some(deviation)) = (self.last, self.noise.deviation()) else {
            return false;
        };
        let change = value - last;
        let usual = (SIGMA * std::f64::consts::SQRT_2 * deviation).max(STEPS * self.step);
        let goes_on = change * self.change > 0.0 && change.abs() <= GROWTH * self.change.abs();
        usual > 0.0 && change.abs() > usual && !goes_on
    }
}
