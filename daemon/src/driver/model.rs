//! A driver with its parameters: a pure function whose every answer is checked.
//!
//! Calls of a linked-in driver allocate nothing and lock nothing; those of a loaded one wait for its
//! process, within its deadline. Uncertainty is not computed here.

use std::fmt;

use nightbench_driver::Status;
use nightbench_driver::host::Binding;

use super::engine::{Bound, Engine, Failure};
use super::registry::Running;
use super::{Driver, DriverError};

/// Step of the central difference, relative: the cube root of the rounding error, where the errors
/// of rounding and of the third derivative balance (Press et al., Numerical Recipes, 5.7).
const STEP: f64 = 6e-6;
/// Halvings that bring any range of inputs down to neighbouring numbers, or far below any use.
const HALVINGS: usize = 200;

/// A driver with its parameters: a function. Cheap to clone; two are equal where driver and
/// parameters are.
#[derive(Clone)]
pub struct Model {
    driver: Driver,
    running: Running,
    pub(super) binding: Binding,
    range: (f64, f64),
}

impl Model {
    /// Asks the driver whether the parameters go together, for the range of inputs, and, where it
    /// promises a direction, for some values.
    pub(super) fn new(
        driver: Driver,
        running: Running,
        binding: Binding,
    ) -> Result<Self, DriverError> {
        let engine = &running.engine;
        if let Some(wrong) = engine.check(&binding).map_err(unbound)? {
            return Err(DriverError::Parameters(wrong));
        }
        let range = engine.range(&binding).map_err(unbound)?;
        if !(range.0.is_finite() && range.1.is_finite() && range.0 < range.1) {
            return Err(DriverError::Broken(Status::DONE.code()));
        }
        let model = Self {
            driver,
            running,
            binding,
            range,
        };
        model.keeps_its_direction().map(|()| model)
    }

    /// The driver whose model it is.
    #[must_use]
    pub fn driver(&self) -> Driver {
        self.driver
    }

    /// The value for one input.
    ///
    /// # Errors
    /// `OutOfRange` outside [`Model::range`], `Broken` where the driver gave no finite number,
    /// `Host` where the process of a loaded one gave no answer.
    pub fn evaluate(&self, input: f64) -> Result<f64, DriverError> {
        self.in_range(input)?;
        let mut value = [f64::NAN];
        let answer = self
            .engine()
            .evaluate(self.bound(&[]), &[input], &mut value);
        self.finite(answer, value, input)
    }

    /// Slope of the value over the input at `input`, from the driver or by central difference.
    ///
    /// # Errors
    /// As [`Model::evaluate`].
    pub fn slope(&self, input: f64) -> Result<f64, DriverError> {
        self.in_range(input)?;
        if !self.has_slope() {
            return self.difference_with(&[], input);
        }
        let mut slope = [f64::NAN];
        let answer = self.engine().slope(self.bound(&[]), &[input], &mut slope);
        self.finite(answer, slope, input)
    }

    /// Value and slope for one input, bit for bit those of [`Model::evaluate`] and [`Model::slope`],
    /// with one way to a loaded driver and back.
    ///
    /// # Errors
    /// As [`Model::evaluate`].
    pub fn value_and_slope(&self, input: f64) -> Result<(f64, f64), DriverError> {
        self.in_range(input)?;
        if !self.has_slope() {
            return self.value_and_difference(input);
        }
        let (mut value, mut slope) = ([f64::NAN], [f64::NAN]);
        let bound = self.bound(&[]);
        let answer = self.engine().both(bound, &[input], &mut value, &mut slope);
        let value = self.finite(answer, value, input)?;
        Ok((value, self.finite(Ok(()), slope, input)?))
    }

    /// The inputs it can turn into values, lowest and highest.
    #[must_use]
    pub fn range(&self) -> (f64, f64) {
        self.range
    }

    /// The input that gives `value`, found by bisection on [`Model::range`]: what simulation and
    /// checks need. Where the model turns inside its range, one of the inputs that give it.
    ///
    /// # Errors
    /// `OutOfRange` where the values at the ends of the range do not enclose it, else as
    /// [`Model::evaluate`].
    pub fn invert(&self, value: f64) -> Result<f64, DriverError> {
        let (mut low, mut high) = self.range;
        let (first, last) = (self.evaluate(low)?, self.evaluate(high)?);
        // False for NaN.
        if !(first.min(last)..=first.max(last)).contains(&value) {
            return Err(DriverError::OutOfRange);
        }
        let rising = first < last;
        for _ in 0..HALVINGS {
            let middle = low + (high - low) / 2.0;
            if middle <= low || middle >= high {
                break;
            }
            if (self.evaluate(middle)? < value) == rising {
                low = middle;
            } else {
                high = middle;
            }
        }
        self.nearer(low, high, value)
    }

    pub(super) fn in_range(&self, input: f64) -> Result<(), DriverError> {
        // False for NaN.
        let inside = (self.range.0..=self.range.1).contains(&input);
        if inside {
            Ok(())
        } else {
            Err(DriverError::OutOfRange)
        }
    }

    /// The same for many, without a branch for each.
    pub(super) fn all_in_range(&self, inputs: &[f64]) -> Result<(), DriverError> {
        let (low, high) = self.range;
        let inside = |all, input: &f64| all & (*input >= low) & (*input <= high);
        match inputs.iter().fold(true, inside) {
            true => Ok(()),
            false => Err(DriverError::OutOfRange),
        }
    }

    /// Central difference with some numbers changed, as in [`Model::evaluate_with`]; one-sided at the
    /// ends of the range.
    pub(super) fn difference_with(
        &self,
        changes: &[(usize, f64)],
        input: f64,
    ) -> Result<f64, DriverError> {
        let (low, high) = self.around(input);
        let mut values = [f64::NAN; 2];
        let bound = self.bound(changes);
        let answer = self.engine().evaluate(bound, &[low, high], &mut values);
        let [at_low, at_high] = values;
        self.finite(answer, [(at_high - at_low) / (high - low)], input)
    }

    fn value_and_difference(&self, input: f64) -> Result<(f64, f64), DriverError> {
        let (low, high) = self.around(input);
        let mut values = [f64::NAN; 3];
        let bound = self.bound(&[]);
        let answer = self
            .engine()
            .evaluate(bound, &[input, low, high], &mut values);
        let [value, at_low, at_high] = values;
        let value = self.finite(answer, [value], input)?;
        Ok((
            value,
            self.finite(Ok(()), [(at_high - at_low) / (high - low)], input)?,
        ))
    }

    /// Inputs a step below and above, within the range.
    fn around(&self, input: f64) -> (f64, f64) {
        let (lowest, highest) = self.range;
        let step = STEP * input.abs().max((highest - lowest).min(1.0));
        ((input - step).max(lowest), (input + step).min(highest))
    }

    /// Of the two inputs that enclose `value`, the one whose value is closer.
    fn nearer(&self, low: f64, high: f64, value: f64) -> Result<f64, DriverError> {
        let miss = |input| self.evaluate(input).map(|got| (got - value).abs());
        Ok(if miss(low)? < miss(high)? { low } else { high })
    }
}

impl Model {
    pub(super) fn engine(&self) -> &dyn Engine {
        &*self.running.engine
    }

    pub(super) fn running(&self) -> &Running {
        &self.running
    }

    pub(super) fn bound<'a>(&'a self, changes: &'a [(usize, f64)]) -> Bound<'a> {
        Bound {
            binding: &self.binding,
            changes,
            output: self.driver.output,
        }
    }

    /// Whether the driver has a formula for the slope of what is meant.
    pub(super) fn has_slope(&self) -> bool {
        self.driver.adds()[0]
    }

    /// The one number of an answer for an input, if it is one.
    pub(super) fn finite(
        &self,
        answer: Result<(), Failure>,
        [number]: [f64; 1],
        input: f64,
    ) -> Result<f64, DriverError> {
        let judged = answer.map_err(refusal).and_then(|()| {
            let broken = DriverError::Broken(Status::DONE.code());
            number.is_finite().then_some(number).ok_or(broken)
        });
        if let (Err(DriverError::Broken(code)), Some(teller)) = (&judged, &self.running.teller) {
            let what = told(*code);
            teller.complain(format_args!("{what} for the input {input}"));
        }
        judged
    }
}

impl PartialEq for Model {
    fn eq(&self, other: &Self) -> bool {
        self.driver == other.driver && self.binding == other.binding
    }
}

impl fmt::Debug for Model {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut model = f.debug_struct("Model");
        model
            .field("driver", &self.driver)
            .field("binding", &self.binding);
        model.field("range", &self.range).finish()
    }
}

/// What a driver did that gave no finite number.
fn told(code: i32) -> String {
    match code {
        done if done == Status::DONE.code() => "gave no finite number".to_owned(),
        panicked if panicked == Status::PANICKED.code() => "panicked".to_owned(),
        other => format!("answered with the status {other}"),
    }
}

pub(super) fn refusal(failure: Failure) -> DriverError {
    match failure {
        Failure::Status(code) if code == Status::OUT_OF_RANGE.code() => DriverError::OutOfRange,
        Failure::Status(code) => DriverError::Broken(code),
        Failure::Host(why) => DriverError::Host(why),
    }
}

/// As [`refusal`], while the parameters are being bound.
fn unbound(failure: Failure) -> DriverError {
    match failure {
        Failure::Status(code) if code == Status::PARAMETERS.code() => DriverError::Parameters(
            "the driver can turn no input into a value with these parameters".to_owned(),
        ),
        Failure::Status(code) => DriverError::Broken(code),
        Failure::Host(why) => DriverError::Host(why),
    }
}

#[cfg(test)]
#[path = "model_tests.rs"]
mod tests;
