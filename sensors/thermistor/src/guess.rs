//! Where a fit starts: parameters that go through the points, or near them.
//!
//! One point solves the first number of the present form, two the first two; three or more make it
//! Steinhart and Hart's equation, by least squares in 1/T without weights. How sure the points are is
//! the host's to weigh.

use crate::{BETA_FORM, FOUR_TERM, ICE_POINT_K, STEINHART_HART, terms};
use nightbench_driver::{Points, Start, Values};

/// Everything that belongs to another form than Steinhart and Hart's.
const OTHER_FORMS: [&str; 7] = ["r0", "beta", "r25", "a1", "b1", "c1", "d1"];

/// As [`Guess`](nightbench_driver::Guess) says.
pub(crate) fn guess(values: Values<'_>, points: Points<'_>, start: &mut Start<'_>) -> Option<()> {
    let exist = |(ohm, celsius): (f64, f64)| {
        ohm.is_finite() && ohm > 0.0 && celsius.is_finite() && celsius > -ICE_POINT_K
    };
    if points.count() == 0 || !points.iter().all(exist) {
        return None;
    }
    let few = points.count() < 3;
    match values.choice("form") {
        _ if !few => steinhart_hart(points, start),
        BETA_FORM => beta(values, points, start),
        FOUR_TERM => shifted(values, points, ["a1", "b1"], start),
        _ => shifted(values, points, ["a", "b"], start),
    }
}

/// The constant and the linear term of 1/T, the others kept.
fn shifted(
    values: Values<'_>,
    points: Points<'_>,
    [constant, linear]: [&str; 2],
    start: &mut Start<'_>,
) -> Option<()> {
    let (reference, [_, slope, square, cube]) = terms(values);
    let reduce = |(ohm, celsius): (f64, f64)| {
        let x = libm::log(ohm / reference);
        (x, inverse(celsius) - x * x * (square + x * cube))
    };
    if let Some(point) = points.one() {
        let (x, rest) = reduce(point);
        start.set(constant, rest - slope * x);
        return Some(());
    }
    let [(x1, y1), (x2, y2)] = points.two()?.map(reduce);
    let slope = quotient(y2 - y1, x2 - x1)?;
    start.set(constant, y1 - slope * x1);
    start.set(linear, slope);
    Some(())
}

fn beta(values: Values<'_>, points: Points<'_>, start: &mut Start<'_>) -> Option<()> {
    let at_t0 = inverse(values.number("t0"));
    let mut beta = values.number("beta");
    if let Some([(r1, t1), (r2, t2)]) = points.two() {
        beta = quotient(libm::log(r1 / r2), inverse(t1) - inverse(t2))?;
        start.set("beta", beta);
    }
    let (ohm, celsius) = points.iter().next()?;
    start.set("r0", ohm * libm::exp(-beta * (inverse(celsius) - at_t0)));
    Some(())
}

fn steinhart_hart(points: Points<'_>, start: &mut Start<'_>) -> Option<()> {
    let x: Vec<f64> = points.iter().map(|(ohm, _)| libm::log(ohm)).collect();
    let y: Vec<f64> = points.iter().map(|(_, celsius)| inverse(celsius)).collect();
    let [a, b, c] = least_squares(x, y)?;
    start.set("form", STEINHART_HART as f64);
    for (name, number) in [("a", a), ("b", b), ("c", c)] {
        start.set(name, number);
    }
    OTHER_FORMS.into_iter().for_each(|name| start.clear(name));
    Some(())
}

/// Coefficients of 1, x and x^3, by the modified process of Gram and Schmidt, which loses far fewer
/// digits than normal equations. `None` where fewer than three x differ.
fn least_squares(x: Vec<f64>, y: Vec<f64>) -> Option<[f64; 3]> {
    let cubes = x.iter().map(|one| one * one * one).collect();
    let mut columns = [vec![1.0; x.len()], x, cubes, y];
    let mut upper = [[0.0; 4]; 3];
    for k in 0..3 {
        let length = libm::sqrt(dot(&columns[k], &columns[k]));
        let taken: f64 = upper[..k].iter().map(|row| row[k] * row[k]).sum();
        // False for NaN. What is left of a column that the others already hold is rounding.
        let is_new = length > 1e-10 * libm::sqrt(taken);
        if !is_new {
            return None;
        }
        upper[k][k] = length;
        let (unit, later) = columns[k..].split_first_mut()?;
        unit.iter_mut().for_each(|one| *one /= length);
        for (column, part) in later.iter_mut().zip(&mut upper[k][k + 1..]) {
            *part = take(column, unit);
        }
    }
    let [[a0, ab, ac, ay], [_, b0, bc, by], [_, _, c0, cy]] = upper;
    let c = cy / c0;
    let b = (by - bc * c) / b0;
    Some([(ay - ab * b - ac * c) / a0, b, c])
}

/// Takes the part along `unit` out of `column`, and says how much it was.
fn take(column: &mut [f64], unit: &[f64]) -> f64 {
    let part = dot(column, unit);
    column
        .iter_mut()
        .zip(unit)
        .for_each(|(one, along)| *one -= part * along);
    part
}

fn dot(one: &[f64], other: &[f64]) -> f64 {
    one.iter().zip(other).map(|(a, b)| a * b).sum()
}

fn inverse(celsius: f64) -> f64 {
    1.0 / (celsius + ICE_POINT_K)
}

/// `None` where it is no finite number, or 0.
fn quotient(rise: f64, run: f64) -> Option<f64> {
    Some(rise / run).filter(|one| one.is_finite() && *one != 0.0)
}
