//! What a driver gives beside its own value, and which way that one goes.

use super::fit::same_length;
use super::{Status, View};
use crate::Monotonic;
use crate::host::{Binding, Output};

impl View {
    /// All outputs, the driver's own value first; empty where that is the only one.
    #[must_use]
    pub fn outputs(&self) -> &[Output] {
        &self.outputs
    }

    /// Which way the driver says that its values go.
    #[must_use]
    pub fn monotonic(&self) -> Monotonic {
        self.monotonic
    }

    /// As [`View::evaluate_with`], for the output of this index; 0 is the driver's own value.
    ///
    /// # Errors
    /// As [`View::evaluate_with`]; `WRONG_CALL` also where there is no such output.
    pub fn evaluate_output(
        &self,
        (binding, changes): (&Binding, &[(usize, f64)]),
        output: usize,
        inputs: &[f64],
        values: &mut [f64],
    ) -> Result<(), Status> {
        if output == 0 {
            return self.evaluate_with(binding, changes, inputs, values);
        }
        let known = output < self.outputs.len();
        let function = self.evaluate_output.filter(|_| known);
        let function = function.ok_or(Status::WRONG_CALL)?;
        same_length(inputs, values)?;
        let arrays = (inputs.as_ptr(), values.as_mut_ptr());
        self.lent(binding, changes, |slices| {
            let parameters = (slices.as_ptr(), slices.len());
            // SAFETY: as many slices as declared, which live for this call; as many values as
            // inputs; a `&mut` overlaps nothing.
            unsafe {
                function(
                    parameters.0,
                    parameters.1,
                    output,
                    arrays.0,
                    arrays.1,
                    inputs.len(),
                )
            }
        })
    }
}
