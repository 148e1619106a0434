//! What is seen before a fit: how many places there are, their order, and one against the others.
//!
//! Against the nominal curve; no term is free here.

use super::{Refusal, Taken, Words, hint, of_difference};
use crate::calibrate::Curve;
use crate::calibrate::figure::quantity;
use crate::measure::chain::Transfer;

/// Points nearer than this, in uncertainties of their difference, are at one place.
const SAME_PLACE: f64 = 3.0;
/// A point further from the others than its kind allows by this factor is wrong, not unusual.
const WRONG: f64 = 3.0;

/// Mean input and value of the points at each place.
pub(in crate::calibrate) fn places(taken: &[Taken<'_>], nominal: &Curve) -> Vec<(f64, f64)> {
    let mut sorted: Vec<&Taken<'_>> = taken.iter().collect();
    sorted.sort_by(|a, b| a.value().total_cmp(&b.value()));
    let mut places: Vec<Vec<&Taken<'_>>> = Vec::new();
    for one in sorted {
        let here = places.last_mut().filter(|place| {
            let first = place[0];
            one.value() - first.value() <= SAME_PLACE * of_difference(first, one, nominal)
        });
        match here {
            Some(place) => place.push(one),
            None => places.push(vec![one]),
        }
    }
    let mean = |place: &[&Taken<'_>], what: fn(&Taken<'_>) -> f64| {
        place.iter().map(|one| what(one)).sum::<f64>() / place.len() as f64
    };
    let means = places.iter();
    means
        .map(|place| {
            (
                mean(place, |one| one.input()),
                mean(place, |one| one.value()),
            )
        })
        .collect()
}

/// Whether any two points are the wrong way round for the curve.
pub(in crate::calibrate) fn in_order(
    taken: &[Taken<'_>],
    nominal: &Curve,
    words: Words<'_>,
) -> Result<(), Refusal> {
    for (at, one) in taken.iter().enumerate() {
        for other in &taken[at + 1..] {
            let apart = one.value() - other.value();
            let curve = (
                nominal.evaluate(one.input()),
                nominal.evaluate(other.input()),
            );
            let (Ok(first), Ok(second)) = curve else {
                continue;
            };
            let sure = apart.abs() > SAME_PLACE * of_difference(one, other, nominal);
            if sure && apart * (first - second) < 0.0 {
                return Err(out_of_order(
                    [one, other],
                    (first - second) * (one.input() - other.input()),
                    words,
                ));
            }
        }
    }
    Ok(())
}

fn out_of_order(pair: [&Taken<'_>; 2], direction: f64, words: Words<'_>) -> Refusal {
    let input = words.input.word();
    let [first, second] = pair.map(|taken| {
        format!(
            "point {} ({} at {})",
            taken.number,
            quantity(taken.value(), words.unit),
            quantity(taken.input(), input)
        )
    });
    Refusal::OutOfOrder {
        first,
        second,
        input,
        unit: words.unit.to_owned(),
        falls: direction < 0.0,
    }
}

/// The place in the list of a point that is off the nominal curve by far more than its kind allows,
/// where at least two others are not; and a remark. `allowed` gives the half-width of that at an
/// input, in the unit of the value, where it is known.
pub(in crate::calibrate) fn against_the_others(
    taken: &[Taken<'_>],
    nominal: &Curve,
    allowed: &dyn Fn(f64) -> Option<f64>,
    words: Words<'_>,
) -> Option<(usize, String)> {
    if taken.len() < 3 {
        return None;
    }
    let off = |one: &Taken<'_>| Some(one.value() - nominal.evaluate(one.input()).ok()?);
    let offs = taken.iter().map(off).collect::<Option<Vec<f64>>>()?;
    let middle = median(&offs);
    let far = |at: usize| {
        let limit = WRONG * allowed(taken[at].input())?;
        Some((offs[at] - middle).abs() / limit)
    };
    let far = (0..taken.len()).map(far).collect::<Option<Vec<f64>>>()?;
    let mut wrong = (0..far.len()).filter(|at| far[*at] > 1.0);
    let (at, only) = (wrong.next()?, wrong.next().is_none());
    let others: Vec<f64> = (0..offs.len())
        .filter(|one| *one != at)
        .map(|one| offs[one])
        .collect();
    let by = offs[at] - others.iter().sum::<f64>() / others.len() as f64;
    let remark = format!(
        "{} contradicts the other {} by {}; left out of the fit; {}",
        words.point(&taken[at]),
        if others.len() == 2 {
            "two".to_owned()
        } else {
            others.len().to_string()
        },
        quantity(by.abs(), words.unit),
        hint(&taken[at].point.compared.reference),
    );
    only.then_some((at, remark))
}

fn median(numbers: &[f64]) -> f64 {
    let mut sorted = numbers.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match sorted.len() % 2 {
        0 => (sorted[half - 1] + sorted[half]) / 2.0,
        _ => sorted[half],
    }
}
