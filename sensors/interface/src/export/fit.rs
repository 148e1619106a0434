//! The two optional functions of a table that serve the host's fit; as the others, they check what
//! they are handed and stop panics.

use super::{each, guarded};
use crate::fit::{Fit, Points, Start};
use crate::table::{Slice, Status};
use crate::{Driver, Values};

/// # Safety
/// As [`GuessFn`](crate::table::GuessFn) says: `parameter_count` slices, `count` inputs and values,
/// and room for `parameter_count` numbers, already set, that overlap with nothing.
pub(super) unsafe extern "C" fn guess<D: Driver>(
    parameters: *const Slice,
    parameter_count: usize,
    inputs: *const f64,
    values: *const f64,
    count: usize,
    start: *mut f64,
) -> i32 {
    guarded(|| {
        if inputs.is_null() || values.is_null() || start.is_null() {
            return Status::WRONG_CALL;
        }
        // SAFETY: the caller vouches for the slices and for the three arrays; none is null.
        let (bound, inputs, values, start) = unsafe {
            (
                Values::new(D::PARAMETERS, parameters, parameter_count),
                std::slice::from_raw_parts(inputs, count),
                std::slice::from_raw_parts(values, count),
                std::slice::from_raw_parts_mut(start, parameter_count),
            )
        };
        let (Some(bound), Some(points)) = (bound, Points::new(inputs, values)) else {
            return Status::WRONG_CALL;
        };
        let mut start = Start::new(D::PARAMETERS, start);
        let made = D::GUESS.and_then(|guess| guess(bound, points, &mut start));
        made.map_or(Status::OUT_OF_RANGE, |()| Status::DONE)
    })
}

/// # Safety
/// As [`MisfitFn`](crate::table::MisfitFn) says: `parameter_count` slices, `node_count` nodes,
/// `count` inputs and room for `count` values that overlap with nothing.
pub(super) unsafe extern "C" fn misfit<D: Driver>(
    parameters: *const Slice,
    parameter_count: usize,
    nodes: *const f64,
    node_count: usize,
    free: usize,
    inputs: *const f64,
    values: *mut f64,
    count: usize,
) -> i32 {
    guarded(|| {
        if nodes.is_null() {
            return Status::WRONG_CALL;
        }
        // SAFETY: not null, and the caller vouches for the count.
        let nodes = unsafe { std::slice::from_raw_parts(nodes, node_count) };
        let fit = Fit { nodes, free };
        let one = |bound| move |input| D::MISFIT.and_then(|misfit| misfit(bound, fit, input));
        // SAFETY: the caller's promise for the rest is handed on unchanged.
        Status(unsafe { each::<D, _>(one, (parameters, parameter_count), inputs, values, count) })
    })
}
