//! How far a real thermistor may lie from the fitted curve, its points being exact.
//!
//! In 1/T the error of a fit with n terms goes like the polynomial that vanishes at the n points, x =
//! ln R. The constants are standard uncertainties, taken from published tables: the README beside the
//! driver shows what they state against what those tables have. What the points themselves are worth
//! is not here.

use crate::{BETA_FORM, ICE_POINT_K, curve};
use nightbench_driver::{Fit, NodePolynomial, Values};

/// No form has more fitted numbers.
const MOST_TERMS: usize = 3;

/// Slope of the maker's curve, in 1/K for one unit of ln R: 1.4 % of it for a beta of 3950 K. Makers
/// state beta within 1 to 3 % (common practice).
const CURVE_SLOPE: f64 = 3.6e-6;
/// Bend of the maker's curve against the real one, in 1/K for the square of ln R.
const CURVE_BEND: f64 = 1.4e-6;
/// What Steinhart and Hart's equation leaves, for the cube.
const CURVE_TWIST: f64 = 5e-7;
/// Beyond the points: a bend that begins there, in 1/K for one unit of ln R.
const CURVE_BEYOND: f64 = 4e-6;

/// Slope of a beta that is the label's.
const BETA_SLOPE: f64 = 3e-6;
/// The bend that a beta knows nothing of: 2.3e-6 to 2.8e-6 on three of the tables, 6e-6 on the fourth.
const BETA_BEND: f64 = 3.5e-6;
/// As [`CURVE_BEYOND`].
const BETA_BEYOND: f64 = 8e-6;
/// The label's beta is taken to be right between `t0` and this, kelvin: most are B25/85.
const LABEL_K: f64 = ICE_POINT_K + 85.0;

/// Standard uncertainty, kelvin; as [`Misfit`](nightbench_driver::Misfit) says.
pub(crate) fn misfit(values: Values<'_>, fit: Fit<'_>, ohm: f64) -> Option<f64> {
    let kelvin = curve(values).temperature(ohm)? + ICE_POINT_K;
    let terms = fit.free.min(MOST_TERMS);
    let polynomial = NodePolynomial::new(fit.nodes.iter().map(|node| libm::log(*node)), terms)?;
    let x = libm::log(ohm);
    let (size, beyond) = (polynomial.size(x), polynomial.beyond(x));
    let of_beta = values.choice("form") == BETA_FORM;
    let inverse_kelvin = match (terms, of_beta) {
        (1, true) => size * libm::hypot(BETA_SLOPE, label_bend(values, polynomial.middle() + x)),
        (1, false) => size * libm::hypot(CURVE_SLOPE, CURVE_BEND * size),
        (2, true) => libm::hypot(BETA_BEND * size, BETA_BEYOND * beyond),
        (2, false) => libm::hypot(CURVE_BEND * size, CURVE_BEYOND * beyond),
        _ => libm::hypot(CURVE_TWIST * size, CURVE_BEYOND * beyond),
    };
    Some(inverse_kelvin * kelvin * kelvin)
}

/// The bend over a chord whose ends sum up to `ends`, where the label's beta is that of the chord from
/// `t0` to [`LABEL_K`]: nothing where the two have one middle.
fn label_bend(values: Values<'_>, ends: f64) -> f64 {
    let t0_k = values.number("t0") + ICE_POINT_K;
    let at_t0 = libm::log(values.number("r0"));
    let at_label = at_t0 + values.number("beta") * (1.0 / LABEL_K - 1.0 / t0_k);
    BETA_BEND * (ends - at_t0 - at_label).abs()
}
