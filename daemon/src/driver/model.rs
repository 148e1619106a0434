//! A driver with its parameters: a pure function whose every answer is checked.
//!
//! Calls allocate nothing and lock nothing. Uncertainty is not computed here.

use nightbench_driver::Status;
use nightbench_driver::host::Binding;

use super::{Driver, DriverError};

/// Step of the central difference, relative: the cube root of the rounding error, where the errors
/// of rounding and of the third derivative balance (Press et al., Numerical Recipes, 5.7).
const STEP: f64 = 6e-6;
/// Halvings that bring any range of inputs down to neighbouring numbers, or far below any use.
const HALVINGS: usize = 200;

/// A driver with its parameters: a pure function. Cheap to clone.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    pub(super) driver: Driver,
    pub(super) binding: Binding,
    range: (f64, f64),
}

impl Model {
    /// Asks the driver whether the parameters go together, and for the range of inputs.
    pub(super) fn new(driver: Driver, binding: Binding) -> Result<Self, DriverError> {
        let view = driver.view();
        if let Some(wrong) = view.check(&binding).map_err(unbound)? {
            return Err(DriverError::Parameters(wrong.to_owned()));
        }
        let range = view.range(&binding).map_err(unbound)?;
        if !(range.0.is_finite() && range.1.is_finite() && range.0 < range.1) {
            return Err(DriverError::Broken(Status::DONE.code()));
        }
        Ok(Self {
            driver,
            binding,
            range,
        })
    }

    /// The driver whose model it is.
    #[must_use]
    pub fn driver(&self) -> Driver {
        self.driver
    }

    /// The value for one input.
    ///
    /// # Errors
    /// `OutOfRange` outside [`Model::range`], `Broken` where the driver gave no finite number.
    pub fn evaluate(&self, input: f64) -> Result<f64, DriverError> {
        self.in_range(input)?;
        let mut value = [f64::NAN];
        let answer = self
            .driver
            .view()
            .evaluate(&self.binding, &[input], &mut value);
        finite(answer, value)
    }

    /// Slope of the value over the input at `input`, from the driver or by central difference.
    ///
    /// # Errors
    /// As [`Model::evaluate`].
    pub fn slope(&self, input: f64) -> Result<f64, DriverError> {
        self.in_range(input)?;
        if !self.driver.view().has_slope() {
            return self.difference(input);
        }
        let mut slope = [f64::NAN];
        let answer = self
            .driver
            .view()
            .slope(&self.binding, &[input], &mut slope);
        finite(answer, slope)
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

    /// Central difference; one-sided at the ends of the range.
    fn difference(&self, input: f64) -> Result<f64, DriverError> {
        self.difference_with(&[], input)
    }

    /// The same with some numbers changed, as in [`Model::evaluate_with`].
    pub(super) fn difference_with(
        &self,
        changes: &[(usize, f64)],
        input: f64,
    ) -> Result<f64, DriverError> {
        let (lowest, highest) = self.range;
        let step = STEP * input.abs().max((highest - lowest).min(1.0));
        let (low, high) = ((input - step).max(lowest), (input + step).min(highest));
        let value = |input| self.evaluate_with(changes, input);
        let slope = (value(high)? - value(low)?) / (high - low);
        finite(Ok(()), [slope])
    }

    /// Of the two inputs that enclose `value`, the one whose value is closer.
    fn nearer(&self, low: f64, high: f64, value: f64) -> Result<f64, DriverError> {
        let miss = |input| self.evaluate(input).map(|got| (got - value).abs());
        Ok(if miss(low)? < miss(high)? { low } else { high })
    }
}

/// The one number of an answer, if it is one.
pub(super) fn finite(answer: Result<(), Status>, [number]: [f64; 1]) -> Result<f64, DriverError> {
    answer.map_err(refusal)?;
    if number.is_finite() {
        Ok(number)
    } else {
        Err(DriverError::Broken(Status::DONE.code()))
    }
}

pub(super) fn refusal(status: Status) -> DriverError {
    match status {
        Status::OUT_OF_RANGE => DriverError::OutOfRange,
        other => DriverError::Broken(other.code()),
    }
}

/// As [`refusal`], while the parameters are being bound.
fn unbound(status: Status) -> DriverError {
    match status {
        Status::PARAMETERS => DriverError::Parameters(
            "the driver can turn no input into a value with these parameters".to_owned(),
        ),
        other => DriverError::Broken(other.code()),
    }
}

#[cfg(test)]
#[path = "model_tests.rs"]
mod tests;
