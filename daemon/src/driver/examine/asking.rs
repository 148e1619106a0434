//! Asks a driver without the model's fences: any input, any count, and the status as it came back.

use super::Model;
use crate::driver::engine::{Bound, Failure};
use nightbench_driver::Status;
use std::sync::Arc;

/// The driver's process ended, or gave no answer; why, in words.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Ended(pub(super) Arc<str>);

/// Whom to ask.
pub(super) struct Asking<'a> {
    pub(super) model: &'a Model,
}

impl<'a> Asking<'a> {
    pub(super) fn new(model: &'a Model) -> Self {
        Self { model }
    }

    /// Status and values; what was not written is NaN.
    pub(super) fn evaluate(&self, inputs: &[f64]) -> Result<(Status, Vec<f64>), Ended> {
        let mut values = vec![f64::NAN; inputs.len()];
        let bound = self.model.bound(&[]);
        let answer = self.model.engine().evaluate(bound, inputs, &mut values);
        Ok((status(answer)?, values))
    }

    /// The same for the output of this index.
    pub(super) fn output(
        &self,
        output: usize,
        inputs: &[f64],
    ) -> Result<(Status, Vec<f64>), Ended> {
        let mut values = vec![f64::NAN; inputs.len()];
        let bound = Bound {
            output,
            ..self.model.bound(&[])
        };
        let answer = self.model.engine().evaluate(bound, inputs, &mut values);
        Ok((status(answer)?, values))
    }

    /// The same for the formula of the slope.
    pub(super) fn slope(&self, inputs: &[f64]) -> Result<(Status, Vec<f64>), Ended> {
        let mut slopes = vec![f64::NAN; inputs.len()];
        let bound = self.model.bound(&[]);
        let answer = self.model.engine().slope(bound, inputs, &mut slopes);
        Ok((status(answer)?, slopes))
    }

    /// The status of a guess; what it guesses, the model judges.
    pub(super) fn guess(&self, inputs: &[f64], values: &[f64]) -> Result<Status, Ended> {
        let answer = self
            .model
            .engine()
            .guess(&self.model.binding, inputs, values);
        status(answer.map(|_| ()))
    }

    /// Status and misfits after a fit of so many terms to points at nodes.
    pub(super) fn misfit(
        &self,
        fitted: (&[f64], usize),
        inputs: &[f64],
    ) -> Result<(Status, Vec<f64>), Ended> {
        let mut misfits = vec![f64::NAN; inputs.len()];
        let binding = &self.model.binding;
        let answer = self
            .model
            .engine()
            .misfit(binding, fitted, inputs, &mut misfits);
        Ok((status(answer)?, misfits))
    }
}

/// Whether a status is one that the interface knows, and no failure of the driver's code.
pub(super) fn is_orderly(status: Status) -> bool {
    [Status::DONE, Status::OUT_OF_RANGE, Status::PARAMETERS].contains(&status)
}

/// A number in a message: six digits, as a person would write them.
#[must_use]
pub fn short(number: f64) -> String {
    let rounded = format!("{number:.5e}").parse().unwrap_or(number);
    match rounded.abs() {
        size if size != 0.0 && !(1e-4..1e7).contains(&size) => format!("{rounded:e}"),
        // Adding 0 takes the sign of a 0 away.
        _ => (rounded + 0.0).to_string(),
    }
}

fn status(answer: Result<(), Failure>) -> Result<Status, Ended> {
    match answer {
        Ok(()) => Ok(Status::DONE),
        Err(Failure::Status(code)) => Ok(Status::from_code(code)),
        Err(Failure::Host(why)) => Err(Ended(why)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_messages_are_short() {
        let shown = [
            0.0,
            390.481_124,
            -200.000_000_1,
            3.9083e-3,
            1.5e-7,
            1e9,
            f64::NAN,
        ]
        .map(short);
        assert_eq!(
            shown,
            ["0", "390.481", "-200", "0.0039083", "1.5e-7", "1e9", "NaN"]
        );
    }
}
