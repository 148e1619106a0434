//! What one point leaves open of a curve that was given: how far the kind may be off it elsewhere.
//!
//! A point that fixes one term puts the curve right where it was taken. How fast that is lost away
//! from it a driver tells as its misfit; a table, a polynomial and a straight line tell none, and
//! without this share a Pt100 after one ice point would be as good at 100 Cel as in the ice.
//!
//! So the tolerance h(x) of the kind comes back as a rectangular half-width
//! `h(x) * min(1, |x - x0| / min(|x|, |x0|))`: nothing at the point x0, all of it once the electrical
//! quantity has doubled or halved. A tolerance in percent of a resistance that really is one, which an
//! offset cannot follow, is covered by it on a curve that is nearly straight (platinum), and so is a
//! slope that is off by as many percent. Of anything that changes faster there is no word.

use super::Tolerance;
use crate::calibrate::{Calibration, Curve};

/// What is left of a tolerance away from points that fix one term.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Away {
    tolerance: Tolerance,
    nodes: Vec<f64>,
}

impl Away {
    /// Of a calibration whose curve is this one; `None` where more terms are fitted, or the driver
    /// itself tells how wrong its model is.
    pub(super) fn of(calibration: &Calibration, curve: &Curve, free: usize) -> Option<Self> {
        let (low, high) = curve.model.range();
        let nodes = &calibration.nodes;
        let is_silent = |end| curve.model.misfit(nodes, free, end) == Ok(0.0);
        let counts = calibration.terms.len() < 2 && is_silent(low) && is_silent(high);
        counts.then(|| Self {
            tolerance: calibration.tolerance,
            nodes: nodes.clone(),
        })
    }

    /// Standard uncertainty at an input where the curve has this value, which changes by `relative`
    /// with a relative change of 1 in the input.
    pub(super) fn uncertainty(&self, input: f64, value: f64, relative: f64) -> f64 {
        let parts = self.nodes.iter().map(|node| part(input, *node));
        let part = parts.fold(1.0, f64::min);
        part * self.tolerance.uncertainty(value, relative)
    }
}

/// 0 at the node, 1 where the input is its double or half, and beyond.
fn part(input: f64, node: f64) -> f64 {
    if input == node {
        return 0.0;
    }
    ((input - node).abs() / input.abs().min(node.abs())).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_is_back_at_the_double_and_the_half() {
        let cases = [
            (100.0, 0.0),
            (110.0, 0.1),
            (200.0, 1.0),
            (50.0, 1.0),
            (400.0, 1.0),
            (-3.0, 1.0),
            (0.0, 1.0),
        ];
        for (input, expected) in cases {
            assert!((part(input, 100.0) - expected).abs() < 1e-12, "{input}");
        }
        assert_eq!((part(0.0, 0.0), part(1.0, 0.0)), (0.0, 1.0));
    }
}
