//! An exponential approach, y = level + amplitude exp(-t / tau), fitted to what came since the last
//! disturbance: how slow the probe is, and how long it still takes.
//!
//! One time constant only: a bath that cools under a settled probe is the trend's matter.

use super::effective::inflation;
use super::samples::Sample;
use nalgebra::{Matrix3, Vector3};

/// Fewer points give no curve.
const FEWEST: usize = 8;

/// Time constants that are tried at first, from an eighth of the points' distance to eight spans: a
/// curve longer than that is a straight line.
const TRIED: i32 = 20;
const LONGEST: f64 = 8.0;

/// Halvings (golden sections) after that: to about one in a million of the time constant.
const SECTIONS: usize = 28;

/// A curve must explain so many times the variance that noise would, or it is none.
const CLEAR: f64 = 16.0;

/// A time constant less sure than this is none.
const SUREST: f64 = 0.5;

/// A fitted approach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Approach {
    /// Where it leads.
    pub level: f64,
    /// Time constant, seconds, with its standard uncertainty.
    pub tau: (f64, f64),
    /// What is left at the last sample (signed), with its standard uncertainty.
    pub remainder: (f64, f64),
    /// Seconds since the first sample.
    pub elapsed: f64,
}

impl Approach {
    /// Fits to points in the order of time; `None` where they show no approach. `floor` as for
    /// [`super::Trend::fit`].
    #[must_use]
    pub fn fit(points: &[Sample], floor: f64) -> Option<Self> {
        if points.len() < FEWEST {
            return None;
        }
        let curve = Scaled::new(points)?;
        let tau = curve.best_tau()?;
        let exponentials = curve.exponentials(tau);
        let found = curve.line(&exponentials);
        let left = curve.residuals(&exponentials, found);
        let variance = (sum_of_squares(&left) / (points.len() as f64 - 3.0)).max(floor * floor);
        let widened = variance * inflation(&left, 3);
        let explained = found.amplitude.powi(2) * found.spread;
        let covariance = curve.information(tau, found).try_inverse()? * widened;
        let remaining = (-1.0 / tau).exp();
        let by_term = Vector3::new(0.0, remaining, found.amplitude * remaining / (tau * tau));
        let spread = covariance[(2, 2)].sqrt();
        let is_clear = explained > CLEAR * widened && spread < SUREST * tau;
        is_clear.then(|| Self {
            level: found.level,
            tau: (tau * curve.span, spread * curve.span),
            remainder: (
                found.amplitude * remaining,
                by_term.dot(&(covariance * by_term)).max(0.0).sqrt(),
            ),
            elapsed: curve.span,
        })
    }

    /// Seconds until the remainder is below `aim`; 0 where it is.
    #[must_use]
    pub fn to_go(&self, aim: f64) -> f64 {
        let times = (self.remainder.0 / aim).abs();
        if times > 1.0 {
            self.tau.0 * times.ln()
        } else {
            0.0
        }
    }

    /// How many time constants have passed.
    #[must_use]
    pub fn time_constants(&self) -> f64 {
        self.elapsed / self.tau.0
    }
}

/// Points with time from 0 to 1.
struct Scaled<'a> {
    points: &'a [Sample],
    start: f64,
    span: f64,
}

/// The best level and amplitude for one time constant.
#[derive(Clone, Copy)]
struct Line {
    level: f64,
    amplitude: f64,
    /// Sum of squares of the exponential about its mean.
    spread: f64,
}

impl<'a> Scaled<'a> {
    fn new(points: &'a [Sample]) -> Option<Self> {
        let (first, last) = (points.first()?, points.last()?);
        let span = last.at - first.at;
        (span > 0.0 && span.is_finite()).then_some(Self {
            points,
            start: first.at,
            span,
        })
    }

    /// For one time constant the rest is linear, so that only one number is searched for (variable
    /// projection: G. H. Golub, V. Pereyra, SIAM J. Numerical Analysis 10 (1973) 413-432).
    fn best_tau(&self) -> Option<f64> {
        let shortest = 0.125 / self.points.len() as f64;
        let ratio = (LONGEST / shortest).powf(1.0 / f64::from(TRIED));
        let misfit = |step: f64| self.misfit(shortest * ratio.powf(step));
        let tried = (0..=TRIED).map(|step| (f64::from(step), misfit(f64::from(step))));
        let (best, left) = tried.min_by(|(_, a), (_, b)| a.total_cmp(b))?;
        let is_inside = best > 0.0 && best < f64::from(TRIED) && left.is_finite();
        is_inside.then(|| shortest * ratio.powf(section(misfit, best - 1.0, best + 1.0)))
    }

    fn times(&self) -> impl Iterator<Item = f64> {
        let since = |point: &Sample| (point.at - self.start) / self.span;
        self.points.iter().map(since)
    }

    fn exponentials(&self, tau: f64) -> Vec<f64> {
        self.times().map(|time| (-time / tau).exp()).collect()
    }

    fn line(&self, exponentials: &[f64]) -> Line {
        let count = self.points.len() as f64;
        let middle = exponentials.iter().sum::<f64>() / count;
        let mean = self.points.iter().map(|point| point.value).sum::<f64>() / count;
        let (mut spread, mut product) = (0.0, 0.0);
        for (exponential, point) in exponentials.iter().zip(self.points) {
            spread += (exponential - middle).powi(2);
            product += (exponential - middle) * (point.value - mean);
        }
        let amplitude = product / spread;
        Line {
            level: mean - amplitude * middle,
            amplitude,
            spread,
        }
    }

    fn residuals(&self, exponentials: &[f64], line: Line) -> Vec<f64> {
        let curve = |exponential: &f64| line.level + line.amplitude * exponential;
        let pairs = exponentials.iter().zip(self.points);
        pairs
            .map(|(part, point)| point.value - curve(part))
            .collect()
    }

    fn misfit(&self, tau: f64) -> f64 {
        let exponentials = self.exponentials(tau);
        sum_of_squares(&self.residuals(&exponentials, self.line(&exponentials)))
    }

    /// Product of the slopes by level, amplitude and time constant with themselves.
    fn information(&self, tau: f64, line: Line) -> Matrix3<f64> {
        let parts = self.exponentials(tau).into_iter();
        let slopes = parts.zip(self.times()).map(|(part, time)| {
            Vector3::new(1.0, part, line.amplitude * part * time / (tau * tau))
        });
        slopes.fold(Matrix3::zeros(), |sum, slope| {
            sum + slope * slope.transpose()
        })
    }
}

fn sum_of_squares(residuals: &[f64]) -> f64 {
    residuals.iter().map(|residual| residual * residual).sum()
}

/// The least of a function with one valley between two places, by golden sections.
fn section(function: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let mut left = high - golden * (high - low);
    let mut right = low + golden * (high - low);
    let (mut at_left, mut at_right) = (function(left), function(right));
    for _ in 0..SECTIONS {
        if at_left < at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - golden * (high - low);
            at_left = function(left);
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + golden * (high - low);
            at_right = function(right);
        }
    }
    f64::midpoint(low, high)
}
