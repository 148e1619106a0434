//! What the host's fit asks: where it starts, and how wrong the fitted curve can be.
//!
//! The fit itself is the host's, and so is what is known of the points.

use crate::{Platinum, curve};
use nightbench_driver::{Driver, Fit, NodePolynomial, Points, Start, Values};

/// How far `a` may be off where one point leaves it as it is given, °C for each °C from the point:
/// the slope of tolerance class B (IEC 60751, table of tolerance classes; from memory), taken as
/// rectangular.
const SLOPE: f64 = 0.005 / 1.732_050_807_568_877_2;
/// How far `b` may be off, °C for each square of a °C: grades of platinum differ by 1e-8 in `b`
/// (from memory: -5.775e-7 today, -5.802e-7 in the edition before, -5.85e-7 for the purest), taken
/// as rectangular, over an `a` of 3.9e-3.
const BEND: f64 = 1e-8 / 3.9e-3 / 1.732_050_807_568_877_2;
/// r0 and a.
const MOST_TERMS: usize = 2;

/// One point solves `r0`; more, by least squares, `r0` and `a`.
pub(crate) fn guess(values: Values<'_>, points: Points<'_>, start: &mut Start<'_>) -> Option<()> {
    let curve = crate::curve_of(values);
    if points.count() == 0 || !points.iter().all(|(ohm, t)| ohm > 0.0 && t.is_finite()) {
        return None;
    }
    if let Some((ohm, t)) = points.one() {
        start.set("r0", ohm / curve.ratio(t));
        return Some(());
    }
    let (r0, a) = line(points, curve)?;
    start.set("r0", r0);
    start.set("a", a);
    Some(())
}

/// As [`Misfit`](nightbench_driver::Misfit) says.
pub(crate) fn misfit(values: Values<'_>, fit: Fit<'_>, ohm: f64) -> Option<f64> {
    let t = Platinum::evaluate(values, ohm)?;
    let (curve, r0) = (crate::curve_of(values), values.number("r0"));
    let terms = fit.free.min(MOST_TERMS);
    let nodes = fit.nodes.iter().map(|node| curve.temperature(node / r0));
    let size = NodePolynomial::new(nodes, terms)?.size(t);
    Some(size * if terms == 1 { SLOPE } else { BEND })
}

/// R = r0 (1 + bend(t)) + (r0 a) t is a line in r0 and (r0 a): the normal equations of two unknowns.
/// `None` where all points are at one temperature.
fn line(points: Points<'_>, curve: curve::Curve) -> Option<(f64, f64)> {
    let rows = points.iter().map(|(ohm, t)| (1.0 + curve.bend(t), t, ohm));
    let [xx, xt, tt, xr, tr] = rows.fold([0.0; 5], |[xx, xt, tt, xr, tr], (x, t, ohm)| {
        [
            xx + x * x,
            xt + x * t,
            tt + t * t,
            xr + x * ohm,
            tr + t * ohm,
        ]
    });
    let determinant = xx * tt - xt * xt;
    let r0 = (tt * xr - xt * tr) / determinant;
    let a = (xx * tr - xt * xr) / determinant / r0;
    (r0.is_finite() && r0 > 0.0 && a.is_finite() && a > 0.0).then_some((r0, a))
}
