//! The interval that holds 95 %, for a value whose shares are normal and rectangular (JCGM 101:2008,
//! 7.7): narrower than k = 2 where a rectangular share dominates, never wider than the shares reach.
//!
//! The shares are taken as independent and the value as their sum, which is what the law of
//! propagation takes them for. Their distribution is convolved number by number instead of drawn by
//! chance, so that the same shares always give the same interval. For tables; not for each reading.

mod convolved;

use super::{Shape, Share};
use convolved::Cumulative;

/// Rectangular shares below this part of the combined standard uncertainty cannot be told from normal
/// ones (they change the interval by less than one part in 10⁵).
const SMALL: f64 = 0.05;

/// Half-width of the interval about the value that holds 95 % of what the shares leave possible, in
/// the unit of the shares.
#[must_use]
pub fn interval_95(shares: &[Share]) -> f64 {
    let all = shares.iter().map(|share| share.uncertainty);
    let total = all.fold(0.0, f64::hypot);
    if !(total > 0.0 && total.is_finite()) {
        return total;
    }
    let is_box = |share: &&Share| {
        share.shape == Shape::Rectangular && share.uncertainty.abs() > SMALL * total
    };
    let mut boxes: Vec<f64> = shares
        .iter()
        .filter(is_box)
        .map(|share| share.uncertainty.abs() / total * 3.0_f64.sqrt())
        .collect();
    boxes.sort_unstable_by(|a, b| b.total_cmp(a));
    let others = shares.iter().filter(|share| !is_box(share));
    let normal = others.fold(0.0, |sum: f64, share| sum.hypot(share.uncertainty)) / total;
    // Symmetric: 2.5 % lie beyond either end.
    total * Cumulative::of(normal, &boxes).quantile(0.975)
}

#[cfg(test)]
mod tests;
