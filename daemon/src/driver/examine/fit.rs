//! What a calibration asks: a start from points, and how wrong the model can be.

use super::asking::{Asking, Ended, is_orderly, short};
use super::{Finding, Seen};
use crate::driver::DriverError;

/// Where the points lie, as parts of the range.
const POINTS: [f64; 3] = [0.2, 0.5, 0.8];
/// Of the span of the values: a start from the model's own points is nearer than this.
const FAR: f64 = 0.1;
/// Every so many-th input is looked at.
const EVERY: usize = 50;

/// From one, two and three points that the model itself gives, and from none that make sense.
pub(super) fn guess(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    const WHAT: &str = "guess";
    let [_, has_guess, _] = asking.model.driver().adds();
    if !has_guess {
        let text = "it has none; a fit starts from the present parameters";
        return Ok(Finding::fine(WHAT, text));
    }
    if let Some(text) = odd_points(asking)? {
        return Ok(Finding::wrong(WHAT, text));
    }
    let points = points(asking)?;
    for count in 1..=points.len() {
        if let Some(finding) = start(asking, &points[..count], seen)? {
            return Ok(finding);
        }
    }
    let text = "one, two and three of the model's own points give a start";
    Ok(Finding::fine(WHAT, text))
}

/// What is to be said of the start from points that the model itself gives.
fn start(
    asking: &Asking<'_>,
    points: &[(f64, f64)],
    seen: &Seen,
) -> Result<Option<Finding>, Ended> {
    const WHAT: &str = "guess";
    let whose = format!("{} of the model's own points", points.len());
    Ok(match asking.model.guess(points) {
        Ok(start) => {
            let miss = |(input, value): &(f64, f64)| match start.evaluate(*input) {
                Ok(own) => (own - value).abs(),
                Err(_) => f64::INFINITY,
            };
            let far = points.iter().map(miss).fold(0.0, f64::max) > FAR * seen.span();
            let text = format!("from {whose} it starts far from them");
            far.then(|| Finding::noted(WHAT, text))
        }
        Err(DriverError::OutOfRange) => {
            Some(Finding::noted(WHAT, format!("{whose} give no start")))
        }
        Err(DriverError::Host(why)) => return Err(Ended(why)),
        Err(error) => Some(Finding::wrong(WHAT, format!("from {whose}: {error}"))),
    })
}

/// What is wrong with its answer to points that tell nothing.
fn odd_points(asking: &Asking<'_>) -> Result<Option<String>, Ended> {
    let (input, value) = points(asking)?[0];
    let odd: [(&str, &[f64], &[f64]); 4] = [
        ("no points", &[], &[]),
        ("a point twice", &[input, input], &[value, value]),
        ("a point that is no number", &[f64::NAN], &[f64::NAN]),
        (
            "a point at infinity",
            &[f64::INFINITY, input],
            &[value, f64::NEG_INFINITY],
        ),
    ];
    for (what, inputs, values) in odd {
        let status = asking.guess(inputs, values)?;
        if !is_orderly(status) {
            return Ok(Some(format!(
                "{what}: {status}; say that they give no start"
            )));
        }
    }
    Ok(None)
}

/// At and between points, and after fits that cannot have been.
pub(super) fn misfit(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    const WHAT: &str = "misfit";
    let [.., has_misfit] = asking.model.driver().adds();
    if !has_misfit {
        return Ok(Finding::fine(
            WHAT,
            "it has none; the host takes the model for right",
        ));
    }
    let nodes: Vec<f64> = points(asking)?.iter().map(|(input, _)| *input).collect();
    let inputs: Vec<f64> = seen.inputs.iter().copied().step_by(EVERY).collect();
    let free = asking.model.fitted().len().clamp(1, nodes.len());
    let (status, misfits) = asking.misfit((&nodes, free), &inputs)?;
    let odd = inputs
        .iter()
        .zip(&misfits)
        .find(|(_, misfit)| !is_uncertainty(**misfit));
    if let Some((input, misfit)) = odd {
        let (input, misfit) = (short(*input), short(*misfit));
        let text =
            format!("at {input} it says {misfit} ({status}); a standard uncertainty is 0 or more");
        return Ok(Finding::wrong(WHAT, text));
    }
    if let Some(text) = odd_fits(asking, &inputs)? {
        return Ok(Finding::wrong(WHAT, text));
    }
    let most = misfits.iter().copied().fold(0.0, f64::max);
    let text = format!(
        "0 or more everywhere; {} at most after a fit to 3 points",
        short(most)
    );
    Ok(Finding::fine(WHAT, text))
}

fn odd_fits(asking: &Asking<'_>, inputs: &[f64]) -> Result<Option<String>, Ended> {
    let odd: [(&str, &[f64], usize); 3] = [
        ("no points", &[], 1),
        ("a point that is no number", &[f64::NAN], 1),
        ("more free parameters than points", &[inputs[0]], 99),
    ];
    for (what, nodes, free) in odd {
        let (status, misfits) = asking.misfit((nodes, free), &inputs[..1])?;
        let is_done = status.code() == 0;
        if !is_orderly(status) || (is_done && !is_uncertainty(misfits[0])) {
            let text = format!(
                "{what}: {} ({status}); say that nothing can be said",
                misfits[0]
            );
            return Ok(Some(text));
        }
    }
    Ok(None)
}

fn is_uncertainty(number: f64) -> bool {
    number >= 0.0 && number.is_finite()
}

/// Points that the model itself gives, spread over the range: in decades where it is above 0.
fn points(asking: &Asking<'_>) -> Result<[(f64, f64); 3], Ended> {
    let (low, high) = asking.model.range();
    let inputs = POINTS.map(|part| match low > 0.0 {
        true => low * (high / low).powf(part),
        false => low + part * (high - low),
    });
    let (_, values) = asking.evaluate(&inputs)?;
    Ok([0, 1, 2].map(|index| (inputs[index], values[index])))
}
