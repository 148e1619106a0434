//! From a [`Driver`] to its C table, and from the table to the exported symbol.
//!
//! The functions here are what the host calls: they check what they are handed, stop panics, and
//! keep nothing.

mod fit;
mod output;

use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::table::{MAJOR, MINOR, Slice, Status, Table, Text};
use crate::{Driver, Parameter, Values};

/// Makes `pub static TABLE`, the C table of a [`Driver`].
#[macro_export]
macro_rules! driver_table {
    ($driver:ty) => {
        /// This driver's table, as linked-in and loading hosts read it.
        pub static TABLE: $crate::Table = $crate::Table::of::<$driver>();
    };
}

/// Exports a table as the one symbol of a shared library; to be used in a `cdylib` target only.
///
/// The symbol is data and not a function, so a host reads the version before any driver code runs.
#[macro_export]
macro_rules! export_driver {
    ($table:path) => {
        /// The symbol that hosts look for.
        #[unsafe(export_name = "nightbench_driver")]
        pub static NIGHTBENCH_DRIVER: &$crate::Table = &$table;
    };
}

impl Table {
    /// The table of a driver; [`driver_table!`](crate::driver_table) calls it.
    #[must_use]
    pub const fn of<D: Driver>() -> Self {
        Self {
            size: size_of::<Self>() as u32,
            major: MAJOR,
            minor: MINOR,
            parameter_size: size_of::<Parameter>() as u32,
            name: Text::new(D::NAME),
            summary: Text::new(D::SUMMARY),
            quantity: Text::of(D::QUANTITY),
            unit: Text::of(D::UNIT),
            inputs: D::INPUTS.as_ptr().cast(),
            input_count: D::INPUTS.len(),
            parameters: D::PARAMETERS.as_ptr(),
            parameter_count: D::PARAMETERS.len(),
            evaluate: Some(evaluate::<D>),
            slope: if D::SLOPE.is_some() {
                Some(slope::<D>)
            } else {
                None
            },
            range: Some(range::<D>),
            check: Some(check::<D>),
            guess: if D::GUESS.is_some() {
                Some(fit::guess::<D>)
            } else {
                None
            },
            misfit: if D::MISFIT.is_some() {
                Some(fit::misfit::<D>)
            } else {
                None
            },
            outputs: match D::OUTPUTS {
                Some(outputs) => outputs.list.as_ptr(),
                None => std::ptr::null(),
            },
            output_count: match D::OUTPUTS {
                Some(outputs) => outputs.list.len(),
                None => 0,
            },
            evaluate_output: if D::OUTPUTS.is_some() {
                Some(output::evaluate::<D>)
            } else {
                None
            },
            monotonic: D::MONOTONIC as u32,
            pairs: std::ptr::null(),
            pair_count: 0,
        }
    }
}

/// # Safety
/// As [`EvaluateFn`](crate::table::EvaluateFn) says: `parameter_count` slices, `count` inputs and
/// room for `count` values that overlap with nothing.
unsafe extern "C" fn evaluate<D: Driver>(
    parameters: *const Slice,
    parameter_count: usize,
    inputs: *const f64,
    values: *mut f64,
    count: usize,
) -> i32 {
    // SAFETY: the caller's promise is handed on unchanged.
    unsafe {
        each::<D, _>(
            D::prepared,
            (parameters, parameter_count),
            inputs,
            values,
            count,
        )
    }
}

/// # Safety
/// As [`evaluate`].
unsafe extern "C" fn slope<D: Driver>(
    parameters: *const Slice,
    parameter_count: usize,
    inputs: *const f64,
    values: *mut f64,
    count: usize,
) -> i32 {
    let function = D::SLOPE.unwrap_or(|_, _| None);
    // SAFETY: the caller's promise is handed on unchanged.
    unsafe {
        each::<D, _>(
            |values| move |input| function(values, input),
            (parameters, parameter_count),
            inputs,
            values,
            count,
        )
    }
}

/// # Safety
/// As [`evaluate`].
unsafe fn each<'a, D: Driver, F: Fn(f64) -> Option<f64>>(
    prepare: impl FnOnce(Values<'a>) -> F,
    (parameters, parameter_count): (*const Slice, usize),
    inputs: *const f64,
    values: *mut f64,
    count: usize,
) -> i32 {
    guarded(|| {
        if inputs.is_null() || values.is_null() {
            return Status::WRONG_CALL;
        }
        // SAFETY: the caller vouches for the slices, and for both arrays; neither is null.
        let (bound, inputs, values) = unsafe {
            (
                Values::new(D::PARAMETERS, parameters, parameter_count),
                std::slice::from_raw_parts(inputs, count),
                std::slice::from_raw_parts_mut(values, count),
            )
        };
        bound.map_or(Status::WRONG_CALL, |bound| {
            fill(prepare(bound), inputs, values)
        })
    })
}

/// The values of a function, where it has one for each input.
pub(crate) fn fill(
    function: impl Fn(f64) -> Option<f64>,
    inputs: &[f64],
    values: &mut [f64],
) -> Status {
    let mut status = Status::DONE;
    for (input, value) in inputs.iter().zip(values) {
        *value = function(*input).unwrap_or_else(|| {
            status = Status::OUT_OF_RANGE;
            f64::NAN
        });
    }
    status
}

/// # Safety
/// `parameter_count` slices; `lowest` and `highest` are null or may be written.
unsafe extern "C" fn range<D: Driver>(
    parameters: *const Slice,
    parameter_count: usize,
    lowest: *mut f64,
    highest: *mut f64,
) -> i32 {
    guarded(|| {
        // SAFETY: the caller vouches for the slices, and for both places.
        let (bound, lowest, highest) = unsafe {
            (
                Values::new(D::PARAMETERS, parameters, parameter_count),
                lowest.as_mut(),
                highest.as_mut(),
            )
        };
        let (Some(bound), Some(lowest), Some(highest)) = (bound, lowest, highest) else {
            return Status::WRONG_CALL;
        };
        let Some(range) = D::range(bound) else {
            return Status::PARAMETERS;
        };
        (*lowest, *highest) = range;
        Status::DONE
    })
}

/// # Safety
/// `parameter_count` slices; `text` is null or may be written.
unsafe extern "C" fn check<D: Driver>(
    parameters: *const Slice,
    parameter_count: usize,
    text: *mut Text,
) -> i32 {
    guarded(|| {
        // SAFETY: the caller vouches for the slices, and for the place of the text.
        let (bound, text) = unsafe {
            (
                Values::new(D::PARAMETERS, parameters, parameter_count),
                text.as_mut(),
            )
        };
        let (Some(bound), Some(text)) = (bound, text) else {
            return Status::WRONG_CALL;
        };
        let Err(wrong) = D::check(bound) else {
            return Status::DONE;
        };
        *text = Text::new(wrong);
        Status::PARAMETERS
    })
}

/// Runs driver code so that no panic leaves it: unwinding out of `extern "C"` ends the process.
fn guarded(call: impl FnOnce() -> Status) -> i32 {
    // Unwind safe: nothing outlives the call but numbers that the host discards on this status.
    let status = catch_unwind(AssertUnwindSafe(call)).unwrap_or_else(|payload| {
        // Dropping a payload can itself panic, and then nothing would catch it.
        std::mem::forget(payload);
        Status::PANICKED
    });
    status.code()
}
