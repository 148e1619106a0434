//! Inputs that no probe gives, and batches of sizes that no reading makes.

use super::asking::{Asking, Ended, is_orderly};
use super::{Finding, Seen};
use nightbench_driver::Status;

/// As many as a month of readings, each minute.
const HUGE: usize = 50_000;

/// What lies outside the range has no value, or a finite one; what is no number has none.
pub(super) fn inputs(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    const WHAT: &str = "odd inputs";
    let mut generous = None;
    for input in odd(asking.model.range()) {
        let (status, values) = asking.evaluate(&[input])?;
        if let Some(text) = alone(input, status, values[0]) {
            return Ok(Finding::wrong(WHAT, text));
        }
        if status == Status::DONE {
            generous = Some(input);
        }
    }
    let (status, _) = asking.evaluate(&[seen.inputs[0], f64::NAN, seen.inputs[0]])?;
    if status != Status::OUT_OF_RANGE {
        let text = format!("a batch with one NaN in it: {status}, not `out of range`");
        return Ok(Finding::wrong(WHAT, text));
    }
    Ok(match generous {
        None => Finding::fine(
            WHAT,
            "NaN, infinities and what lies outside the range have no value",
        ),
        Some(input) => Finding::noted(
            WHAT,
            format!(
                "{input} has a value though it is outside the range; the host never asks there"
            ),
        ),
    })
}

/// What is wrong with the answer to an input that is outside the range.
fn alone(input: f64, status: Status, value: f64) -> Option<String> {
    if !is_orderly(status) {
        return Some(format!(
            "{input}: {status}; say that it is out of range, and write NaN"
        ));
    }
    let is_odd = status == Status::DONE && !(value.is_finite() && input.is_finite());
    is_odd.then(|| format!("{input} gives {value} and `done`; say that it is out of range"))
}

/// Those of these that are not in the range.
fn odd((low, high): (f64, f64)) -> impl Iterator<Item = f64> {
    let width = high - low;
    let all = [
        f64::NAN,
        -f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        0.0,
        -0.0,
        -1.0,
        f64::MIN_POSITIVE / 2.0,
        f64::MAX,
        f64::MIN,
        low - width,
        high + width,
    ];
    all.into_iter()
        .filter(move |input| !(low..=high).contains(input))
}

/// No input at all, and very many.
pub(super) fn sizes(asking: &Asking<'_>, seen: &Seen) -> Result<Finding, Ended> {
    const WHAT: &str = "odd sizes";
    let (status, _) = asking.evaluate(&[])?;
    if status != Status::DONE {
        let text = format!("no inputs: {status}; there is nothing to do, so it is done");
        return Ok(Finding::wrong(WHAT, text));
    }
    let many: Vec<f64> = seen.inputs.iter().copied().cycle().take(HUGE).collect();
    let (status, values) = asking.evaluate(&many)?;
    let wanted = seen.values.iter().cycle();
    let other = values
        .iter()
        .zip(wanted)
        .any(|(own, wanted)| own.to_bits() != wanted.to_bits());
    if status != Status::DONE || other {
        let text = format!("{HUGE} inputs give other values than a few do ({status})");
        return Ok(Finding::wrong(WHAT, text));
    }
    let text = format!("no input is no trouble, nor are {HUGE}");
    Ok(Finding::fine(WHAT, text))
}
