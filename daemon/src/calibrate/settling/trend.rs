//! A straight line through samples, and how sure its slope is when neighbours know of each other.
//!
//! Says nothing about what would be too steep; that is the verdict's.

use super::effective::inflation;
use super::samples::Sample;
use super::student::t95;

/// Fewer samples give no line worth a test.
const FEWEST: usize = 5;

/// Degrees of freedom are taken as two where a slow wander leaves less: Student's t for one is so
/// wide that a wander of a tenth of the aim would be waited out for a quarter of an hour.
const LEAST_FREEDOM: f64 = 2.0;

/// A least-squares line through samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Change a second.
    pub slope: f64,
    /// Standard uncertainty of the slope, widened for the autocorrelation of what is left.
    pub uncertainty: f64,
    /// Mean of the samples: the line's value in their middle.
    pub mean: f64,
    /// Standard deviation of single samples about the line.
    pub deviation: f64,
    /// Number of samples.
    pub samples: usize,
    /// How many independent ones they are worth.
    pub effective: f64,
    /// Seconds from the first to the last.
    pub span: f64,
}

impl Trend {
    /// The line through `samples`; `None` for too few, or where numbers are too large to compute with.
    ///
    /// `floor` is the least standard deviation of a sample: where a converter shows one code all the
    /// time, its step stands for the noise (step / sqrt(12); JCGM 100:2008, F.2.2.1).
    #[must_use]
    pub fn fit(samples: &[Sample], floor: f64) -> Option<Self> {
        if samples.len() < FEWEST {
            return None;
        }
        let count = samples.len() as f64;
        let middle = samples.iter().map(|sample| sample.at).sum::<f64>() / count;
        let mean = samples.iter().map(|sample| sample.value).sum::<f64>() / count;
        let times = samples.iter().map(|sample| sample.at - middle);
        let spread: f64 = times.clone().map(|time| time * time).sum();
        let slope = times
            .zip(samples)
            .map(|(time, sample)| time * (sample.value - mean))
            .sum::<f64>()
            / spread;
        let left: Vec<f64> = samples
            .iter()
            .map(|sample| sample.value - mean - slope * (sample.at - middle))
            .collect();
        let squares: f64 = left.iter().map(|residual| residual * residual).sum();
        let deviation = (squares / (count - 2.0)).sqrt().max(floor);
        let inflation = inflation(&left, 2);
        let trend = Self {
            slope,
            uncertainty: deviation * (inflation / spread).sqrt(),
            mean,
            deviation,
            samples: samples.len(),
            effective: count / inflation,
            span: samples[samples.len() - 1].at - samples[0].at,
        };
        (slope.is_finite() && trend.uncertainty.is_finite()).then_some(trend)
    }

    /// Half the width of the slope's 95 % interval.
    #[must_use]
    pub fn margin(&self) -> f64 {
        t95((self.effective - 2.0).max(LEAST_FREEDOM)) * self.uncertainty
    }

    /// Whether zero lies within the slope's 95 % interval.
    #[must_use]
    pub fn is_indistinguishable_from_zero(&self) -> bool {
        self.slope.abs() <= self.margin()
    }

    /// Change over the span, at the most that the 95 % interval allows.
    #[must_use]
    pub fn largest_change(&self) -> f64 {
        (self.slope.abs() + self.margin()) * self.span
    }

    /// Standard uncertainty of the mean: noise over the square root of the effective number.
    #[must_use]
    pub fn mean_uncertainty(&self) -> f64 {
        self.deviation / self.effective.sqrt()
    }
}
