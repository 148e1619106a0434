//! Where a fit starts, and how wrong the fitted power law can be: both in logarithms, where the law is
//! a line.
//!
//! What a cell remembers of earlier light is not here: no point can know it.

use crate::{Photoresistor, REFERENCE_LX};
use nightbench_driver::{Driver, Fit, NodePolynomial, Points, Start, Values};

/// Standard uncertainty of a gamma that the data sheet gives: makers differ by 0.1 (rectangular, from
/// memory), and one cell's own changes with the light.
const GAMMA: f64 = 0.1 / 1.732_050_807_568_877_2;
/// Bend of the curve, in ln E for the square of a decade of light: half-way between two points a
/// decade apart a power law is 7.5 % off (k = 1), 10 to 20 % being common practice (from memory).
const BEND: f64 = 0.3;
/// r10 and gamma.
const MOST_TERMS: usize = 2;

/// One point solves `r10`; more, by least squares in logarithms, both.
pub(crate) fn guess(values: Values<'_>, points: Points<'_>, start: &mut Start<'_>) -> Option<()> {
    let exist = |(ohm, lux): (f64, f64)| ohm > 0.0 && lux > 0.0 && (ohm * lux).is_finite();
    if points.count() == 0 || !points.iter().all(exist) {
        return None;
    }
    let gamma = match points.one() {
        Some(_) => values.number("gamma"),
        None => steepness(points)?,
    };
    let at_reference = |(ohm, lux): (f64, f64)| libm::log(ohm) + gamma * light(lux);
    let mean = points.iter().map(at_reference).sum::<f64>() / points.count() as f64;
    start.set("gamma", gamma);
    start.set("r10", libm::exp(mean));
    Some(())
}

/// As [`Misfit`](nightbench_driver::Misfit) says: a share of the illuminance.
pub(crate) fn misfit(values: Values<'_>, fit: Fit<'_>, ohm: f64) -> Option<f64> {
    let lux = Photoresistor::evaluate(values, ohm)?;
    let gamma = values.number("gamma");
    // Decades of light that a resistance is below 1 ohm: the scale on which the law is a line.
    let decades = |ohm: f64| -libm::log10(ohm) / gamma;
    let terms = fit.free.min(MOST_TERMS);
    let polynomial = NodePolynomial::new(fit.nodes.iter().map(|node| decades(*node)), terms)?;
    let size = polynomial.size(decades(ohm));
    let share = match terms {
        // d ln E / d gamma = -(ln E - ln E0) / gamma.
        1 => size * libm::hypot(GAMMA / gamma * std::f64::consts::LN_10, BEND * size),
        _ => size * BEND,
    };
    Some(lux * share)
}

/// Gamma from at least two different illuminances; `None` where resistance does not fall with light.
fn steepness(points: Points<'_>) -> Option<f64> {
    let count = points.count() as f64;
    let line = points.iter().map(|(ohm, lux)| (light(lux), libm::log(ohm)));
    let sum = line
        .clone()
        .fold((0.0, 0.0), |sum, (x, y)| (sum.0 + x, sum.1 + y));
    let mean = (sum.0 / count, sum.1 / count);
    let moments = line.fold((0.0, 0.0), |sum, (x, y)| {
        let dx = x - mean.0;
        (sum.0 + dx * dx, sum.1 + dx * (y - mean.1))
    });
    Some(-moments.1 / moments.0).filter(|gamma| gamma.is_finite() && *gamma > 0.0)
}

/// ln(E / 10 lx).
fn light(lux: f64) -> f64 {
    libm::log(lux / REFERENCE_LX)
}
