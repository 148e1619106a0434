//! Captures a reference point: from the moment a probe has settled until its mean is known well
//! enough, and then looks once more whether it stood still meanwhile.
//!
//! A point that drifted is refused, or kept at its middle with the drift in its uncertainty, and
//! says which. Whether the value can be true is not judged here: settled is not yet right.

mod ending;
mod series;

#[cfg(test)]
mod tests;

pub use ending::{Drift, Ending, Refusal};
pub use series::Taken;

use super::point::Captured;
use super::settling::{Aim, Arrival, Jumps, Trend};
use crate::measure::uncertainty::NoiseEstimate;
use crate::reading::Quality;
use ending::Budget;
use series::Series;

/// Independent samples that a standard deviation is worth something from: it is then known to about
/// a quarter (JCGM 100:2008, Table E.1).
const INDEPENDENT: f64 = 10.0;

/// Of the aim, what the noise of the mean may be: with half it adds an eighth.
const NOISE_SHARE: f64 = 0.5;

/// Seconds between two looks.
const PACE: f64 = 1.0;

/// How long a capture lasts, seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Duration {
    /// At least.
    pub least: f64,
    /// At most; then the point has the uncertainty that it has.
    pub most: f64,
}

impl Default for Duration {
    /// Half a minute is what food practice asks of a thermometer in ice; after five minutes a
    /// kitchen's bath is another one (common practice).
    fn default() -> Self {
        Self {
            least: 30.0,
            most: 300.0,
        }
    }
}

/// A capture under way.
#[derive(Clone, Debug)]
pub struct Capture {
    from_ms: i64,
    aim: Aim,
    duration: Duration,
    evidence: String,
    series: Series,
    jumps: Jumps,
    noise: NoiseEstimate,
    suspect: Option<Taken>,
    looked: f64,
    trend: Option<Trend>,
}

impl Capture {
    /// Begins at a moment of the wall clock; `evidence` is how it is known to have settled.
    #[must_use]
    pub fn begin(from_ms: i64, aim: Aim, duration: Duration, evidence: String) -> Self {
        Self {
            from_ms,
            aim,
            duration,
            evidence,
            series: Series::default(),
            jumps: Jumps::new(aim.step),
            noise: NoiseEstimate::new(),
            suspect: None,
            looked: 0.0,
            trend: None,
        }
    }

    /// Takes the next reading, and tells where that ends the capture. What is no number, or not later
    /// than the one before, is left out; so is a single reading that jumps and comes back.
    pub fn push(&mut self, taken: Taken) -> Option<Ending> {
        if !taken.is_finite() || !self.series.is_later(taken.at) {
            return None;
        }
        match self.jumps.judge(taken.electrical) {
            Arrival::Jumped => return Some(Ending::Refused(Refusal::Jumped)),
            Arrival::Suspect => {
                self.suspect = Some(taken);
                return None;
            }
            Arrival::Usual | Arrival::BackFromSpike => self.suspect = None,
        }
        self.noise.push(taken.electrical);
        self.series.push(taken);
        self.look()
    }

    /// Ends the capture, because there is no value.
    #[must_use]
    pub fn fault(self, quality: Quality) -> Ending {
        Ending::Refused(Refusal::Fault(quality))
    }

    /// How much of it is done, 0 to 1.
    #[must_use]
    pub fn progress(&self) -> f64 {
        let time = self.series.span() / self.duration.least;
        let noise = self.trend.map_or(0.0, |trend| self.known(&trend));
        let latest = self.series.span() / self.duration.most;
        time.min(noise).max(latest).clamp(0.0, 1.0)
    }

    /// Mean so far, in the electrical quantity, and its standard uncertainty by noise.
    #[must_use]
    pub fn so_far(&self) -> Option<(f64, f64)> {
        self.trend
            .map(|trend| (trend.mean, trend.mean_uncertainty()))
    }

    fn look(&mut self) -> Option<Ending> {
        let span = self.series.span();
        if span - self.looked < PACE {
            return None;
        }
        self.looked = span;
        self.trend = Trend::fit(&self.series.electrical(), self.aim.floor());
        let is_known = self.trend.is_some_and(|trend| self.known(&trend) >= 1.0);
        let is_over = span >= self.duration.most || (span >= self.duration.least && is_known);
        is_over.then(|| self.end())
    }

    /// How much of what shall be known is known; 1 for all.
    fn known(&self, trend: &Trend) -> f64 {
        let noise = trend.mean_uncertainty() / (NOISE_SHARE * self.aim.reachable());
        // The noise of a mean falls with the square root of its time.
        (trend.effective / INDEPENDENT).min(1.0 / (noise * noise))
    }

    fn end(&self) -> Ending {
        let Some(trend) = self.trend else {
            return Ending::Refused(Refusal::TooFew(self.duration.most));
        };
        let budget = Budget::new(&trend, self.aim, self.single_deviation());
        match budget.drift {
            Drift::TooMuch => Ending::Refused(Refusal::Drifted {
                change: trend.slope * trend.span,
                seconds: trend.span,
            }),
            drift => Ending::Captured(Box::new(self.captured(&trend, &budget)), drift),
        }
    }

    /// Standard deviation of what the converter gave, not of means.
    fn single_deviation(&self) -> f64 {
        self.noise
            .deviation()
            .unwrap_or(0.0)
            .hypot(self.series.spread())
    }

    fn captured(&self, trend: &Trend, budget: &Budget) -> Captured {
        Captured {
            from_ms: self.from_ms,
            until_ms: self
                .from_ms
                .saturating_add((trend.span * 1000.0).round() as i64),
            raw: self.series.raw(),
            electrical: self.series.electrical().iter().map(|it| it.value).collect(),
            mean: trend.mean,
            uncertainty: budget.uncertainty(),
            effective: trend.effective,
            drift: (trend.slope, trend.uncertainty),
            evidence: format!("{}; {}", self.evidence, budget.words(trend)),
        }
    }
}
