//! Who computes: a table in this process, or a child process that holds a loaded one.
//!
//! An engine calls and passes on what came back. Whether an answer makes sense is judged by the
//! model, the same way for all of them.

use nightbench_driver::Status;
use nightbench_driver::host::{Binding, View};
use std::fmt;
use std::sync::Arc;

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Failure {
    /// The driver's own status.
    Status(i32),
    /// The process that runs the driver gave none; the text says why.
    Host(Arc<str>),
}

impl From<Status> for Failure {
    fn from(status: Status) -> Self {
        Self::Status(status.code())
    }
}

/// With which parameters something is asked: those that are bound, some changed for this call.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bound<'a> {
    /// The parameters.
    pub(super) binding: &'a Binding,
    /// Indices of numbers or choices, with what they are instead.
    pub(super) changes: &'a [(usize, f64)],
    /// Which output; 0 is the driver's own value.
    pub(super) output: usize,
}

impl<'a> From<&'a Binding> for Bound<'a> {
    fn from(binding: &'a Binding) -> Self {
        Self {
            binding,
            changes: &[],
            output: 0,
        }
    }
}

/// What a driver can be asked. Arrays of one call are of the same length.
pub(super) trait Engine: fmt::Debug + Send + Sync {
    /// Values of inputs, of the output that is meant.
    fn evaluate(&self, bound: Bound<'_>, inputs: &[f64], values: &mut [f64])
    -> Result<(), Failure>;

    /// Slopes at inputs; only of the driver's own value, and only where it has a formula.
    fn slope(&self, bound: Bound<'_>, inputs: &[f64], slopes: &mut [f64]) -> Result<(), Failure>;

    /// Values and slopes at once: one way there and back.
    fn both(
        &self,
        bound: Bound<'_>,
        inputs: &[f64],
        values: &mut [f64],
        slopes: &mut [f64],
    ) -> Result<(), Failure> {
        self.evaluate(bound, inputs, values)?;
        self.slope(bound, inputs, slopes)
    }

    /// Lowest and highest input.
    fn range(&self, binding: &Binding) -> Result<(f64, f64), Failure>;

    /// What is wrong with the parameters; `None` where nothing is.
    fn check(&self, binding: &Binding) -> Result<Option<String>, Failure>;

    /// Where a fit to points (inputs, values) starts: a full set of parameters.
    fn guess(
        &self,
        binding: &Binding,
        inputs: &[f64],
        values: &[f64],
    ) -> Result<Vec<Vec<f64>>, Failure>;

    /// How wrong the model is at inputs, after so many parameters were fitted to points at nodes.
    fn misfit(
        &self,
        binding: &Binding,
        fitted: (&[f64], usize),
        inputs: &[f64],
        misfits: &mut [f64],
    ) -> Result<(), Failure>;
}

/// A table in this process, linked in.
impl Engine for View {
    fn evaluate(
        &self,
        bound: Bound<'_>,
        inputs: &[f64],
        values: &mut [f64],
    ) -> Result<(), Failure> {
        let parameters = (bound.binding, bound.changes);
        Ok(self.evaluate_output(parameters, bound.output, inputs, values)?)
    }

    fn slope(&self, bound: Bound<'_>, inputs: &[f64], slopes: &mut [f64]) -> Result<(), Failure> {
        Ok(self.slope_with(bound.binding, bound.changes, inputs, slopes)?)
    }

    fn range(&self, binding: &Binding) -> Result<(f64, f64), Failure> {
        Ok(self.range(binding)?)
    }

    fn check(&self, binding: &Binding) -> Result<Option<String>, Failure> {
        Ok(self.check(binding)?.map(str::to_owned))
    }

    fn guess(
        &self,
        binding: &Binding,
        inputs: &[f64],
        values: &[f64],
    ) -> Result<Vec<Vec<f64>>, Failure> {
        Ok(self.guess(binding, inputs, values)?)
    }

    fn misfit(
        &self,
        binding: &Binding,
        fitted: (&[f64], usize),
        inputs: &[f64],
        misfits: &mut [f64],
    ) -> Result<(), Failure> {
        Ok(self.misfit(binding, fitted, inputs, misfits)?)
    }
}
