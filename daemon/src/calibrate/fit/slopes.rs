//! Numeric slopes: how a family's values change with its terms.
//!
//! The step of each term is chosen by what it does to the values, so that terms of 1e-7 and of 1e7
//! are differentiated alike. Slopes over the input come from the driver's model, not from here.

use super::family::Family;
use crate::measure::chain::Transfer;

/// A step changes no value by more than about this part of itself. Five points at steps of h err by
/// h to the fourth and by rounding over h, both some 1e-12 here (Press et al., Numerical Recipes, 5.7).
const EFFECT: f64 = 1e-3;
/// A step whose effect is within this factor of [`EFFECT`] is taken.
const NEAR_ENOUGH: f64 = 8.0;
/// A step is changed by no more than this at once.
const LEAP: f64 = 1e3;
/// Tries to find a step; a term that moved nothing until then moves nothing.
const TRIES: usize = 30;

/// Slopes at `inputs`, one column for each term. `None` where a curve, or one beside it, has no value.
pub(super) fn of(family: &Family, theta: &[f64], inputs: &[f64]) -> Option<Vec<Vec<f64>>> {
    let around = Around {
        family,
        theta,
        inputs,
        here: family.values(theta, inputs)?,
        sizes: sizes(family, theta, inputs)?,
    };
    (0..theta.len()).map(|term| around.column(term)).collect()
}

/// What counts as the size of each value: itself, or what all of the input makes of it where it
/// happens to be near zero, and no less than a tenth of the largest.
fn sizes(family: &Family, theta: &[f64], inputs: &[f64]) -> Option<Vec<f64>> {
    let curve = family.at(theta).ok()?;
    let size = |input: &f64| {
        let (value, slope) = (curve.evaluate(*input).ok()?, curve.slope(*input).ok()?);
        Some(value.abs().max((slope * input).abs()))
    };
    let sizes = inputs.iter().map(size).collect::<Option<Vec<f64>>>()?;
    let largest = sizes.iter().copied().fold(0.0, f64::max);
    let floor = if largest > 0.0 { 0.1 * largest } else { 1.0 };
    Some(sizes.into_iter().map(|size| size.max(floor)).collect())
}

/// The curve whose neighbours are asked.
struct Around<'a> {
    family: &'a Family,
    theta: &'a [f64],
    inputs: &'a [f64],
    here: Vec<f64>,
    sizes: Vec<f64>,
}

impl Around<'_> {
    fn column(&self, term: usize) -> Option<Vec<f64>> {
        let Some(step) = self.step(term) else {
            return Some(vec![0.0; self.here.len()]);
        };
        let one_sided = step / NEAR_ENOUGH;
        self.central(term, step)
            .or_else(|| self.one_sided(term, one_sided))
            .or_else(|| self.one_sided(term, -one_sided))
    }

    fn values(&self, term: usize, step: f64) -> Option<Vec<f64>> {
        let mut theta = self.theta.to_vec();
        *theta.get_mut(term)? += step;
        self.family.values(&theta, self.inputs)
    }

    /// The largest change, as a part of each value's size; up, or where that is not possible, down.
    fn effect(&self, term: usize, step: f64) -> Option<f64> {
        let values = self
            .values(term, step)
            .or_else(|| self.values(term, -step))?;
        let changes = values.iter().zip(&self.here).zip(&self.sizes);
        let parts = changes.map(|((value, here), size)| (value - here).abs() / size);
        Some(parts.fold(0.0, f64::max))
    }

    /// A step of about [`EFFECT`]; `None` for a term that moves nothing.
    fn step(&self, term: usize) -> Option<f64> {
        let value = self.theta[term].abs();
        let mut step = if value > 0.0 { EFFECT * value } else { EFFECT };
        let mut moved = None;
        for _ in 0..TRIES {
            let factor = match self.effect(term, step) {
                None => 1.0 / LEAP.sqrt(),
                Some(effect) => {
                    moved = (effect > 0.0).then_some(step).or(moved);
                    (EFFECT / effect).clamp(1.0 / LEAP, LEAP)
                }
            };
            if (1.0 / NEAR_ENOUGH..=NEAR_ENOUGH).contains(&factor) {
                return Some(step);
            }
            step *= factor;
        }
        moved
    }

    /// The fourth-order difference of five points.
    fn central(&self, term: usize, step: f64) -> Option<Vec<f64>> {
        let near = (self.values(term, step)?, self.values(term, -step)?);
        let far = (
            self.values(term, 2.0 * step)?,
            self.values(term, -2.0 * step)?,
        );
        let slope =
            |at: usize| (8.0 * (near.0[at] - near.1[at]) - (far.0[at] - far.1[at])) / (12.0 * step);
        Some((0..self.here.len()).map(slope).collect())
    }

    /// The second-order difference of three points on one side: at a bound.
    fn one_sided(&self, term: usize, step: f64) -> Option<Vec<f64>> {
        let (near, far) = (self.values(term, step)?, self.values(term, 2.0 * step)?);
        let slope = |at: usize| (4.0 * near[at] - far[at] - 3.0 * self.here[at]) / (2.0 * step);
        Some((0..self.here.len()).map(slope).collect())
    }
}
