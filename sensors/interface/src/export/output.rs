//! The optional function of a table that gives the outputs after the first; as the others, it checks
//! what it is handed and stops panics.

use super::each;
use crate::Driver;
use crate::table::Slice;

/// # Safety
/// As [`EvaluateOutputFn`](crate::table::EvaluateOutputFn) says: `parameter_count` slices, `count`
/// inputs and room for `count` values that overlap with nothing.
pub(super) unsafe extern "C" fn evaluate<D: Driver>(
    parameters: *const Slice,
    parameter_count: usize,
    output: usize,
    inputs: *const f64,
    values: *mut f64,
    count: usize,
) -> i32 {
    let one = |bound| {
        move |input| D::OUTPUTS.and_then(|outputs| (outputs.evaluate)(bound, output, input))
    };
    // SAFETY: the caller's promise is handed on unchanged.
    unsafe { each::<D, _>(one, (parameters, parameter_count), inputs, values, count) }
}
