//! Where a fit starts: a line through the points, or near them.
//!
//! Polynomials and tables are given, not fitted: they stay as they are, and the host may put a line on
//! top of them. How wrong a line is for a probe that nobody knows, nobody knows.

use crate::{POLYNOMIAL, TABLE_FORM};
use nightbench_driver::{Points, Start, Values};

/// One point solves `offset`; more, by least squares, `gain` too.
pub(crate) fn guess(values: Values<'_>, points: Points<'_>, start: &mut Start<'_>) -> Option<()> {
    if matches!(values.choice("form"), POLYNOMIAL | TABLE_FORM) {
        return Some(());
    }
    if points.count() == 0 {
        return None;
    }
    let count = points.count() as f64;
    let sum = points
        .iter()
        .fold((0.0, 0.0), |sum, (x, y)| (sum.0 + x, sum.1 + y));
    let (x, y) = (sum.0 / count, sum.1 / count);
    let gain = match points.one() {
        Some(_) => values.number("gain"),
        None => gain(points, (x, y))?,
    };
    let offset = Some(y - gain * x).filter(|offset| offset.is_finite())?;
    start.set("offset", offset);
    start.set("gain", gain);
    Some(())
}

/// `None` where the inputs do not differ, or the values do not.
fn gain(points: Points<'_>, mean: (f64, f64)) -> Option<f64> {
    let moments = points.iter().fold((0.0, 0.0), |sum, (x, y)| {
        let dx = x - mean.0;
        (sum.0 + dx * dx, sum.1 + dx * (y - mean.1))
    });
    Some(moments.1 / moments.0).filter(|gain| gain.is_finite() && *gain != 0.0)
}
