//! What a fit asks of a model: which numbers are free, values at other numbers, where to start, how
//! wrong the model itself can be. Every answer is checked as any other.
//!
//! No fit is made here. A fit asks thousands of times, so the calls in its loop allocate nothing.

use nightbench_driver::Status;
use nightbench_driver::host::Binding;

use super::model::{Model, refusal};
use super::{DriverError, ParameterKind, values};

/// Share of a number by which it is changed to see whether the model reads it at all.
const NUDGE: f64 = 1e-3;
/// Where in the range it is looked at: where one input does not show it, another does.
const LOOKS: [f64; 5] = [0.05, 0.3, 0.5, 0.7, 0.95];

impl Model {
    /// Every parameter by its name, in the driver's order: one number, the index of a choice, or a
    /// list; empty for a number that was not given. [`Driver::bind`](super::Driver::bind) takes the
    /// same values.
    #[must_use]
    pub fn parameters(&self) -> Vec<(&'static str, Vec<f64>)> {
        let declared = self.driver().declaration().parameters.iter();
        let given = |values: &[f64]| values.iter().copied().filter(|one| !one.is_nan()).collect();
        declared
            .zip(self.binding.values())
            .map(|(parameter, values)| (parameter.name, given(values)))
            .collect()
    }

    /// The number of the parameter with this index; `None` for a list, a choice, and a number that
    /// was not given.
    #[must_use]
    pub fn number(&self, index: usize) -> Option<f64> {
        let parameter = self.driver().declaration().parameters.get(index)?;
        let is_number = matches!(parameter.kind, ParameterKind::Number { .. });
        let number = *self.binding.values().get(index)?.first()?;
        (is_number && !number.is_nan()).then_some(number)
    }

    /// Smallest and largest number that make sense for the parameter with this index; `None` where it
    /// is no number.
    #[must_use]
    pub fn bounds(&self, index: usize) -> Option<(f64, f64)> {
        match self.driver().declaration().parameters.get(index)?.kind {
            ParameterKind::Number { bounds, .. } => Some(bounds),
            _ => None,
        }
    }

    /// The numbers that a fit may change, as index and rank, in the order in which they become free:
    /// those that the driver marks, that are given, and that the present form reads. None for an
    /// output after the first.
    #[must_use]
    pub fn fitted(&self) -> Vec<(usize, u32)> {
        let parameters = self.driver().declaration().parameters.iter().enumerate();
        let is_own = self.driver().output == 0;
        let marked = parameters.filter(|(_, parameter)| is_own && parameter.fitted > 0);
        let mut fitted: Vec<(usize, u32)> = marked
            .map(|(index, parameter)| (index, parameter.fitted))
            .filter(|(index, _)| self.reads(*index))
            .collect();
        fitted.sort_by_key(|(index, rank)| (*rank, *index));
        fitted
    }

    /// The model with some numbers changed (choices by their index), checked as a whole.
    ///
    /// # Errors
    /// As [`Driver::bind`](super::Driver::bind); `Parameters` also for an index that does not exist,
    /// and for a list.
    pub fn with(&self, changes: &[(usize, f64)]) -> Result<Self, DriverError> {
        self.admit(changes)?;
        let mut values: Vec<Vec<f64>> = self
            .binding
            .values()
            .iter()
            .map(|one| one.to_vec())
            .collect();
        for (index, number) in changes {
            values[*index] = vec![*number];
        }
        self.rebound(values)
    }

    /// As [`Model::evaluate`], with some numbers changed for this call. Bounds and choices are
    /// checked; whether the parameters go together is not asked, so it is cheap enough for a fit.
    ///
    /// # Errors
    /// `Parameters` where a change is out of bounds, `OutOfRange` where the driver gives no value for
    /// the input with these parameters, `Broken` where it gives no finite number.
    pub fn evaluate_with(&self, changes: &[(usize, f64)], input: f64) -> Result<f64, DriverError> {
        self.admit(changes)?;
        let mut value = [f64::NAN];
        let answer = self
            .engine()
            .evaluate(self.bound(changes), &[input], &mut value);
        self.finite(answer, value, input)
    }

    /// As [`Model::slope`], with changes as in [`Model::evaluate_with`].
    ///
    /// # Errors
    /// As [`Model::evaluate_with`].
    pub fn slope_with(&self, changes: &[(usize, f64)], input: f64) -> Result<f64, DriverError> {
        self.admit(changes)?;
        if !self.has_slope() {
            return self.difference_with(changes, input);
        }
        let mut slope = [f64::NAN];
        let answer = self
            .engine()
            .slope(self.bound(changes), &[input], &mut slope);
        self.finite(answer, slope, input)
    }

    /// The values of many inputs in one call, into `values`.
    ///
    /// # Errors
    /// As [`Model::evaluate`], where any input has no value; `values` are then not to be used. `Broken`
    /// also where the two are not of one length.
    pub fn evaluate_all(&self, inputs: &[f64], values: &mut [f64]) -> Result<(), DriverError> {
        self.all_in_range(inputs)?;
        let same_length = inputs.len() == values.len();
        if !same_length {
            return Err(DriverError::Broken(Status::WRONG_CALL.code()));
        }
        let answer = self.engine().evaluate(self.bound(&[]), inputs, values);
        answer.map_err(refusal)?;
        all_finite(values)
    }

    /// The model from which a fit to these points (input and value) starts, in the form to be fitted
    /// for that many. The present one, where the driver has no opinion.
    ///
    /// # Errors
    /// `OutOfRange` where the driver can make no start from these points, `Parameters` where what it
    /// makes of them is out of bounds or does not go together, `Broken` where it fails.
    pub fn guess(&self, points: &[(f64, f64)]) -> Result<Self, DriverError> {
        let [_, has_guess, _] = self.driver().adds();
        if !has_guess {
            return Ok(self.clone());
        }
        let (inputs, values): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
        let start = self.engine().guess(&self.binding, &inputs, &values);
        self.rebound(start.map_err(refusal)?)
    }

    /// The same driver, and the same process of a loaded one, with other parameters.
    pub(super) fn rebound(&self, values: Vec<Vec<f64>>) -> Result<Self, DriverError> {
        let declared = &self.driver().declaration().parameters;
        let values = values::complete(declared, values).map_err(DriverError::Parameters)?;
        Self::new(self.driver(), self.running().clone(), Binding::new(values))
    }

    /// Standard uncertainty of the model itself at `input`, in the unit of the value, after `free`
    /// numbers were fitted to points at the inputs `nodes`. 0 where nothing was fitted, or where the
    /// driver takes its model for right.
    ///
    /// # Errors
    /// `OutOfRange` where the driver can say nothing (fewer distinct nodes than free numbers, an input
    /// out of its range), `Broken` where it gives no finite number, or a negative one.
    pub fn misfit(&self, nodes: &[f64], free: usize, input: f64) -> Result<f64, DriverError> {
        let [.., has_misfit] = self.driver().adds();
        if free == 0 || !has_misfit {
            return Ok(0.0);
        }
        self.in_range(input)?;
        let mut misfit = [f64::NAN];
        let answer = self
            .engine()
            .misfit(&self.binding, (nodes, free), &[input], &mut misfit);
        match self.finite(answer, misfit, input)? {
            negative if negative < 0.0 => Err(DriverError::Broken(Status::DONE.code())),
            misfit => Ok(misfit),
        }
    }

    /// Whether changes keep to bounds and choices.
    fn admit(&self, changes: &[(usize, f64)]) -> Result<(), DriverError> {
        let declared = &self.driver().declaration().parameters;
        for (index, number) in changes {
            let parameter = declared.get(*index).ok_or_else(|| {
                DriverError::Parameters(format!("the driver has no parameter number {}", index + 1))
            })?;
            values::admit(parameter, *number).map_err(DriverError::Parameters)?;
        }
        Ok(())
    }

    /// Whether any value changes with the number of this index.
    fn reads(&self, index: usize) -> bool {
        let (Some(number), Some((least, most))) = (self.number(index), self.bounds(index)) else {
            return false;
        };
        let nudge = if number == 0.0 {
            NUDGE
        } else {
            NUDGE * number.abs()
        };
        let moved = if number + nudge <= most {
            number + nudge
        } else {
            (number - nudge).max(least)
        };
        let bits = |value: Result<f64, DriverError>| value.map(f64::to_bits);
        let differs = |input: f64| {
            bits(self.evaluate(input)) != bits(self.evaluate_with(&[(index, moved)], input))
        };
        self.looks().any(differs)
    }

    /// Inputs over the range; that nearest to 0 is among them, where a range is so wide that rounding
    /// hides what is added.
    fn looks(&self) -> impl Iterator<Item = f64> {
        let (low, high) = self.range();
        let zero = 0.0_f64.clamp(low, high);
        let spread = LOOKS.into_iter().map(move |part| low + part * (high - low));
        std::iter::once(zero).chain(spread)
    }
}

/// Looks at all of them without a branch for each, which several at a time allow.
fn all_finite(values: &[f64]) -> Result<(), DriverError> {
    if values
        .iter()
        .fold(true, |all, value| all & value.is_finite())
    {
        Ok(())
    } else {
        Err(DriverError::Broken(Status::DONE.code()))
    }
}

#[cfg(test)]
#[path = "fit_tests.rs"]
mod tests;
