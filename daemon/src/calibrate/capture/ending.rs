//! How a capture ends: with a point and what its uncertainty is made of, or refused, with what to do.

use crate::calibrate::point::Captured;
use crate::calibrate::settling::{Aim, Trend};
use crate::reading::Quality;
use std::fmt;

/// Of the aim, a change over the capture that is not worth speaking of.
const NEGLIGIBLE: f64 = 0.25;

/// The end of a capture.
#[derive(Clone, Debug, PartialEq)]
pub enum Ending {
    /// A point, and what was made of its drift.
    Captured(Box<Captured>, Drift),
    /// None, and why.
    Refused(Refusal),
}

/// What was made of the drift over a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drift {
    /// None that could be told, or mattered.
    Still,
    /// Told: the value is that of its middle, and the drift is in the uncertainty.
    Counted,
    /// More than the uncertainty aimed at: no point.
    TooMuch,
}

/// Why there is no point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// It drifted over the capture.
    Drifted {
        /// By so much, in the electrical quantity.
        change: f64,
        /// In so many seconds.
        seconds: f64,
    },
    /// It jumped.
    Jumped,
    /// A reading had no value.
    Fault(Quality),
    /// Too few readings came, in so many seconds.
    TooFew(f64),
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Drifted { seconds, .. } => write!(
                f,
                "no point: it drifted over {seconds:.0} s by more than is aimed at; stir, and let it settle again"
            ),
            Self::Jumped => {
                f.write_str("no point: it jumped; keep it still, and let it settle again")
            }
            Self::Fault(quality) => write!(f, "no point: {quality}; {}", quality.advice()),
            Self::TooFew(seconds) => write!(
                f,
                "no point: fewer than 5 readings in {seconds:.0} s; have the board send more often"
            ),
        }
    }
}

/// What a point's uncertainty is made of, in the electrical quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Budget {
    pub noise: f64,
    pub step: f64,
    pub change: f64,
    pub drift: Drift,
}

impl Budget {
    /// `single` is the standard deviation of what the converter gave.
    pub fn new(trend: &Trend, aim: Aim, single: f64) -> Self {
        let change = (trend.slope * trend.span).abs();
        let is_told =
            !trend.is_indistinguishable_from_zero() && change > NEGLIGIBLE * aim.reachable();
        // Nobody knows whether the truth lies at its begin, or as far beyond its end: half-width of
        // a rectangle about the middle is the whole change. Where there is only what noise makes
        // of a level line, half of it.
        let (change, drift) = match is_told {
            true if change / 3.0_f64.sqrt() > aim.reachable() => (change, Drift::TooMuch),
            true => (change / 3.0_f64.sqrt(), Drift::Counted),
            false => (change / 12.0_f64.sqrt(), Drift::Still),
        };
        Self {
            noise: trend.mean_uncertainty(),
            step: step_left(aim, single),
            change,
            drift,
        }
    }

    pub fn uncertainty(&self) -> f64 {
        self.noise.hypot(self.step).hypot(self.change)
    }

    pub fn words(&self, trend: &Trend) -> String {
        let how = match self.drift {
            Drift::Still => "no drift",
            Drift::Counted | Drift::TooMuch => "its drift is in the uncertainty",
        };
        let (span, samples, worth) = (trend.span, trend.samples, trend.effective.round());
        format!("captured for {span:.0} s, worth {worth} of {samples} samples, {how}")
    }
}

/// What the converter's step leaves in a mean: step / sqrt(12) (JCGM 100:2008, F.2.2.1), which does
/// not average away, unless the noise spreads the samples over several codes. Two codes give a
/// standard deviation of half a step at most; with more there is noise of 0.41 steps at least under
/// the rounding, and of its error less than a twentieth is left (B. Widrow, I. Kollar, Quantization
/// Noise, 2008: the mean's error falls with exp(-2 pi^2 sigma^2); from memory).
fn step_left(aim: Aim, single: f64) -> f64 {
    if single > aim.step / 2.0 {
        0.0
    } else {
        aim.floor()
    }
}
