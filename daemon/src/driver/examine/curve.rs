//! Values over the range: finite, the same alone as in a batch, the same again, and which way they go.

use super::asking::{Asking, Ended, short};
use super::{Finding, Seen};
use crate::driver::monotonic;
use nightbench_driver::Status;

/// Parts of the range.
const PARTS: usize = 1000;
/// So many decades below the widest input; less is 0 for any probe.
const MOST_DECADES: f64 = 12.0;
/// Whole numbers up to this one, and down to its negative.
const WHOLE: i32 = 100;
/// Of the span of the values: less is rounding.
const NOISE: f64 = 1e-10;

/// Which way values go with a rising input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Direction {
    /// Up.
    Rising,
    /// Down.
    Falling,
    /// One way and back, the first time about this input.
    Turning(f64),
    /// Nowhere.
    Constant,
}

/// Values over the range, or what is wrong with them.
pub(super) fn values(asking: &Asking<'_>) -> Result<Result<Seen, Finding>, Ended> {
    let inputs = over(asking.model.range());
    let (status, values) = asking.evaluate(&inputs)?;
    if status != Status::DONE {
        return alone(asking, &inputs).map(|text| Err(Finding::wrong("values", text)));
    }
    let odd = inputs
        .iter()
        .zip(&values)
        .find(|(_, value)| !value.is_finite());
    if let Some((input, value)) = odd {
        let text = format!(
            "{} gives {value}; give a number for every input in the range",
            short(*input)
        );
        return Ok(Err(Finding::wrong("values", text)));
    }
    let mut seen = Seen {
        inputs,
        values,
        direction: Direction::Constant,
    };
    seen.direction = found(&seen.inputs, &seen.values, seen.span());
    Ok(Ok(seen))
}

/// Which input it is that has no value.
fn alone(asking: &Asking<'_>, inputs: &[f64]) -> Result<String, Ended> {
    for input in inputs {
        let (status, _) = asking.evaluate(&[*input])?;
        if status != Status::DONE {
            let input = short(*input);
            return Ok(format!(
                "{input}, which is in its range, gives no value ({status})"
            ));
        }
    }
    Ok("a batch over the range gives no values, though each input alone does".to_owned())
}

/// Each input alone has the bits that it has in a batch.
pub(super) fn batches(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    for (input, value) in seen.inputs.iter().zip(&seen.values) {
        let (_, own) = asking.evaluate(&[*input])?;
        if own[0].to_bits() != value.to_bits() {
            let (input, own, value) = (short(*input), own[0], value);
            let text = format!(
                "{input} alone gives {own}, and {value} in a batch; keep nothing between inputs"
            );
            return Ok(Finding::wrong("batches", text));
        }
    }
    Ok(Finding::fine(
        "batches",
        "each input alone gives the bits it gives in a batch",
    ))
}

/// The same inputs have the same bits again, also backwards.
pub(super) fn repeats(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    let (_, again) = asking.evaluate(&seen.inputs)?;
    let backwards: Vec<f64> = seen.inputs.iter().rev().copied().collect();
    let (_, mut reversed) = asking.evaluate(&backwards)?;
    reversed.reverse();
    let all = again.iter().zip(&reversed).zip(&seen.values);
    let other = seen
        .inputs
        .iter()
        .zip(all)
        .find(|(_, ((again, reversed), value))| {
            again.to_bits() != value.to_bits() || reversed.to_bits() != value.to_bits()
        });
    Ok(match other {
        None => Finding::fine(
            "repeats",
            "the same inputs give the same bits again, in any order",
        ),
        Some((input, ((again, reversed), value))) => {
            let input = short(*input);
            let text = format!(
                "{input} gives {value}, then {again}, then {reversed}; keep no state, ask for no \
                 time and no chance"
            );
            Finding::wrong("repeats", text)
        }
    })
}

/// Which way the values go; a curve that turns cannot be followed back.
pub(super) fn direction(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    let curve = seen.inputs.iter().copied().zip(seen.values.iter().copied());
    if let Some(text) = monotonic::broken(asking.model.driver().monotonic(), curve) {
        return Ok(Finding::wrong("direction", text));
    }
    Ok(match seen.direction {
        Direction::Rising => Finding::fine("direction", "values rise with the input"),
        Direction::Falling => Finding::fine("direction", "values fall with a rising input"),
        Direction::Constant => Finding::wrong("direction", "every input gives the same value"),
        Direction::Turning(at) => {
            let at = short(at);
            let text = format!(
                "values turn at {at}: several inputs give one value, and what asks for the way \
                 back (simulation, checks, calibration) gets one of them"
            );
            Finding::noted("direction", text)
        }
    })
}

/// The outputs after the first are finite over the range, too.
pub(super) fn outputs(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    let outputs = asking.model.driver().outputs();
    for (index, output) in outputs.iter().enumerate().skip(1) {
        let (status, values) = asking.output(index, &seen.inputs)?;
        let mut odd = seen.inputs.iter().zip(&values);
        let odd = odd.find(|(_, value)| !value.is_finite());
        let name = output.name;
        let text = match (odd, status == Status::DONE) {
            (None, true) => continue,
            (Some((input, value)), _) => {
                let input = short(*input);
                format!(
                    "`{name}` gives {value} for {input}; give a number for every input in the range"
                )
            }
            (None, false) => {
                format!("`{name}` gives numbers and `{status}`; say `done` where all is well")
            }
        };
        return Ok(Finding::wrong("outputs", text));
    }
    let count = outputs.len();
    Ok(Finding::fine(
        "outputs",
        format!("all {count} give finite numbers over the range"),
    ))
}

/// Inputs from one end to the other, rising: in even steps, in decades from 0 up and down, and whole
/// numbers, where makers tend to have their special cases.
fn over((low, high): (f64, f64)) -> Vec<f64> {
    let even = (0..=PARTS).map(|index| low + index as f64 / PARTS as f64 * (high - low));
    let widest = low.abs().max(high.abs());
    let decades =
        (0..PARTS).map(|index| widest * 10_f64.powf(-MOST_DECADES * index as f64 / PARTS as f64));
    let whole = (-WHOLE..=WHOLE).map(f64::from);
    let all = even.chain(decades.flat_map(|one| [one, -one])).chain(whole);
    let mut all: Vec<f64> = all.filter(|input| (low..=high).contains(input)).collect();
    all.extend([low, high]);
    all.sort_by(f64::total_cmp);
    all.dedup();
    all
}

fn found(inputs: &[f64], values: &[f64], span: f64) -> Direction {
    let (mut top, mut bottom) = (values[0], values[0]);
    let (mut rose, mut fell) = (false, false);
    for (input, value) in inputs.iter().zip(values) {
        (rose, fell) = (
            rose || value - bottom > NOISE * span,
            fell || top - value > NOISE * span,
        );
        if rose && fell {
            return Direction::Turning(*input);
        }
        (top, bottom) = (top.max(*value), bottom.min(*value));
    }
    match (rose, fell) {
        (true, _) => Direction::Rising,
        (_, true) => Direction::Falling,
        _ => Direction::Constant,
    }
}
