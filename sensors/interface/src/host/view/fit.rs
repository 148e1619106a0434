//! What a fit asks of a driver: values at other parameters, where to start, how wrong the model is.

use super::{Curve, Status, View};
use crate::host::Binding;
use crate::pairs;
use crate::table::{EvaluateFn, Slice};

impl View {
    /// Whether the driver can say where a fit starts.
    #[must_use]
    pub fn has_guess(&self) -> bool {
        self.guess.is_some()
    }

    /// Whether the driver knows how wrong its model can be.
    #[must_use]
    pub fn has_misfit(&self) -> bool {
        self.misfit.is_some()
    }

    /// As [`View::evaluate`], with some parameters changed for this call: numbers or choices by
    /// their index. Nothing is allocated, so that a fit can do it thousands of times.
    ///
    /// # Errors
    /// As [`View::evaluate`]; `WRONG_CALL` also where there is no parameter of an index.
    pub fn evaluate_with(
        &self,
        binding: &Binding,
        changes: &[(usize, f64)],
        inputs: &[f64],
        values: &mut [f64],
    ) -> Result<(), Status> {
        match self.curve {
            Curve::Formula(function, _) => {
                self.call_with(function, binding, changes, inputs, values)
            }
            Curve::Pairs(pairs) => {
                let value = |input| pairs::interpolate(pairs, input);
                self.fixed(value, binding, inputs, values)
            }
        }
    }

    /// As [`View::slope`], with changes as in [`View::evaluate_with`].
    ///
    /// # Errors
    /// As [`View::slope`]; `WRONG_CALL` also where there is no parameter of an index.
    pub fn slope_with(
        &self,
        binding: &Binding,
        changes: &[(usize, f64)],
        inputs: &[f64],
        slopes: &mut [f64],
    ) -> Result<(), Status> {
        if let Curve::Pairs(pairs) = self.curve {
            return self.fixed(|input| pairs::slope(pairs, input), binding, inputs, slopes);
        }
        let function = self.slope.ok_or(Status::WRONG_CALL)?;
        self.call_with(function, binding, changes, inputs, slopes)
    }

    fn call_with(
        &self,
        function: EvaluateFn,
        binding: &Binding,
        changes: &[(usize, f64)],
        inputs: &[f64],
        values: &mut [f64],
    ) -> Result<(), Status> {
        same_length(inputs, values)?;
        let arrays = (inputs.as_ptr(), values.as_mut_ptr());
        self.lent(binding, changes, |slices| {
            // SAFETY: as many slices as declared, which live for this call; as many values as
            // inputs; a `&mut` overlaps nothing.
            unsafe {
                function(
                    slices.as_ptr(),
                    slices.len(),
                    arrays.0,
                    arrays.1,
                    inputs.len(),
                )
            }
        })
    }

    /// Calls with the slices of a binding, some of them changed.
    pub(super) fn lent(
        &self,
        binding: &Binding,
        changes: &[(usize, f64)],
        call: impl FnOnce(&[Slice]) -> i32,
    ) -> Result<(), Status> {
        self.counted(binding)?;
        let code = match changes {
            [] => Some(call(binding.slices())),
            _ => binding.changed(changes, call),
        };
        code.map_or(Err(Status::WRONG_CALL), |code| Status(code).done())
    }

    /// Values that no parameter changes.
    fn fixed(
        &self,
        value: impl Fn(f64) -> Option<f64>,
        binding: &Binding,
        inputs: &[f64],
        values: &mut [f64],
    ) -> Result<(), Status> {
        self.counted(binding)?;
        same_length(inputs, values)?;
        crate::export::fill(value, inputs, values).done()
    }

    /// A full set of parameters from which to fit to these points, one list per parameter.
    ///
    /// # Errors
    /// `OUT_OF_RANGE` where the points give none; `WRONG_CALL` where the lengths differ or the
    /// driver [has no guess](View::has_guess); else whatever the driver answered.
    pub fn guess(
        &self,
        binding: &Binding,
        inputs: &[f64],
        values: &[f64],
    ) -> Result<Vec<Vec<f64>>, Status> {
        self.counted(binding)?;
        let guess = self.guess.ok_or(Status::WRONG_CALL)?;
        if inputs.len() != values.len() {
            return Err(Status::WRONG_CALL);
        }
        let present = binding.values().iter();
        let mut start: Vec<f64> = present
            .map(|one| one.first().copied().unwrap_or(f64::NAN))
            .collect();
        let (slices, points) = (binding.slices(), (inputs.as_ptr(), values.as_ptr()));
        // SAFETY: as many slices and places of the start as declared, as many values as inputs; a
        // vector of our own overlaps nothing.
        let code = unsafe {
            guess(
                slices.as_ptr(),
                slices.len(),
                points.0,
                points.1,
                inputs.len(),
                start.as_mut_ptr(),
            )
        };
        Status(code)
            .done()
            .map(|()| self.completed(binding, &start))
    }

    /// Numbers and choices of the start, lists as they are.
    fn completed(&self, binding: &Binding, start: &[f64]) -> Vec<Vec<f64>> {
        let present = binding.values().iter().zip(&self.parameters);
        let completed = present.zip(start).map(|((present, parameter), number)| {
            if parameter.kind.is_list() {
                present.to_vec()
            } else {
                vec![*number]
            }
        });
        completed.collect()
    }

    /// Standard uncertainty of the model itself at inputs, in the unit of the value, after `free`
    /// parameters were fitted to points at `nodes`.
    ///
    /// # Errors
    /// As [`View::evaluate`]; `WRONG_CALL` also where the driver
    /// [knows none](View::has_misfit).
    pub fn misfit(
        &self,
        binding: &Binding,
        (nodes, free): (&[f64], usize),
        inputs: &[f64],
        misfits: &mut [f64],
    ) -> Result<(), Status> {
        self.counted(binding)?;
        let misfit = self.misfit.ok_or(Status::WRONG_CALL)?;
        if inputs.len() != misfits.len() {
            return Err(Status::WRONG_CALL);
        }
        let slices = binding.slices();
        // SAFETY: as many slices as declared, as many places as inputs; a `&mut` overlaps nothing.
        let code = unsafe {
            misfit(
                slices.as_ptr(),
                slices.len(),
                nodes.as_ptr(),
                nodes.len(),
                free,
                inputs.as_ptr(),
                misfits.as_mut_ptr(),
                inputs.len(),
            )
        };
        Status(code).done()
    }
}

pub(super) fn same_length(inputs: &[f64], values: &[f64]) -> Result<(), Status> {
    if inputs.len() == values.len() {
        Ok(())
    } else {
        Err(Status::WRONG_CALL)
    }
}
