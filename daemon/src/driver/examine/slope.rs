//! The formula of the slope against differences, and the way from a value back to its input.

use super::asking::{Asking, Ended, short};
use super::{Direction, Finding, Seen};
use crate::driver::DriverError;
use nightbench_driver::Status;

/// Every so many-th input is looked at.
const EVERY: usize = 20;
/// Step of the differences, of the input.
const STEP: f64 = 1e-5;
/// How far a formula may be off, of the difference: the step's own error, and rounding.
const OFF: f64 = 1e-3;
/// The same, of the mean slope over the range: where a slope passes 0.
const FLOOR: f64 = 1e-6;
/// How far the way there and back may miss, of the span of the values.
const MISS: f64 = 1e-6;

/// The formula against differences of the values to the left, to the right and to both sides: at a
/// corner of a table any of them is right.
pub(super) fn slope(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    const WHAT: &str = "slope";
    let [has_slope, ..] = asking.model.driver().adds();
    if !has_slope {
        return Ok(Finding::fine(
            WHAT,
            "it has no formula; the host takes differences",
        ));
    }
    let inputs: Vec<f64> = seen.inputs.iter().copied().step_by(EVERY).collect();
    let (status, slopes) = asking.slope(&inputs)?;
    if status != Status::DONE {
        let text = format!("the formula gives no slope over the range ({status})");
        return Ok(Finding::wrong(WHAT, text));
    }
    for (input, slope) in inputs.iter().zip(&slopes) {
        let differences = differences(asking, *input)?;
        let floor = FLOOR * mean_slope(seen);
        let near = |difference: &f64| (slope - difference).abs() <= OFF * difference.abs() + floor;
        if !differences.iter().any(near) {
            let (input, slope, difference) = (short(*input), short(*slope), short(differences[0]));
            let text = format!(
                "at {input} the formula says {slope}, the values {difference}; correct the formula, or leave it out"
            );
            return Ok(Finding::wrong(WHAT, text));
        }
    }
    let text = format!(
        "the formula agrees with differences at {} inputs",
        inputs.len()
    );
    Ok(Finding::fine(WHAT, text))
}

/// To both sides, to the left, to the right.
fn differences(asking: &Asking<'_>, input: f64) -> Result<[f64; 3], Ended> {
    let (low, high) = asking.model.range();
    let step = STEP * input.abs().max((high - low).min(1.0));
    let (left, right) = ((input - step).max(low), (input + step).min(high));
    let (_, values) = asking.evaluate(&[left, input, right])?;
    let slope = |one: (f64, f64), other: (f64, f64)| (other.1 - one.1) / (other.0 - one.0);
    let (left, here, right) = ((left, values[0]), (input, values[1]), (right, values[2]));
    Ok([slope(left, right), slope(left, here), slope(here, right)])
}

fn mean_slope(seen: &Seen) -> f64 {
    let (first, last) = (0, seen.inputs.len() - 1);
    let width = seen.inputs[last] - seen.inputs[first];
    seen.span() / width
}

/// A value's input, found by halving the range, gives the value again.
pub(super) fn way_back(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    const WHAT: &str = "way back";
    if !matches!(seen.direction, Direction::Rising | Direction::Falling) {
        return Ok(Finding::noted(
            WHAT,
            "not looked at, as values do not go one way only",
        ));
    }
    let mut looked = 0;
    for value in seen.values.iter().step_by(5 * EVERY) {
        let there = asking
            .model
            .invert(*value)
            .and_then(|input| asking.model.evaluate(input));
        let missed = match there {
            Ok(own) => (own - value).abs() > MISS * seen.span(),
            Err(DriverError::Host(why)) => return Err(Ended(why)),
            Err(_) => true,
        };
        if missed {
            let text = format!("no input gives {}: values jump there", short(*value));
            return Ok(Finding::noted(WHAT, text));
        }
        looked += 1;
    }
    Ok(Finding::fine(
        WHAT,
        format!("{looked} values lead back to their inputs"),
    ))
}
