//! What a search's end means: covariance, gains, residuals, and whether it is an end at all.
//!
//! Linear algebra only; the curve is not asked for anything but its values at the measured inputs.

use super::search::Found;
use super::{Fitted, Problem, Unfit};
use crate::calibrate::Residual;
use crate::measure::chain::Transfer;
use nalgebra::{DMatrix, DVector};

/// Slopes over the terms, each of length one, whose least singular value is below this part of the
/// largest are taken to depend on each other; they are good to 1e-12.
const DEPENDENT: f64 = 1e-10;
/// Rounds of the singular value decomposition; a few times the number of terms is usual.
const ROUNDS: usize = 1000;
/// Chi-square may be above its least by this, and by this part of itself: far below what matters.
const ABOVE: (f64, f64) = (1e-2, 1e-4);

/// The outcome of a search.
pub(super) fn outcome(problem: &Problem<'_>, found: Found) -> Result<Fitted, Unfit> {
    let back = inverse(&found.slopes).ok_or(Unfit::Undetermined)?;
    let misfit = found.tangent.whitened().ok_or(Unfit::NoEnd)?;
    let chi_square = misfit.norm_squared();
    // Points as far off as numbers go have no best curve.
    let is_end = left(&found, &misfit, &back) <= ABOVE.0 + ABOVE.1 * chi_square;
    if !(chi_square.is_finite() && is_end) {
        return Err(Unfit::NoEnd);
    }
    let gain = found.tangent.unwhiten(&back).ok_or(Unfit::Undetermined)?;
    let slopes = DVector::from_column_slice(&found.tangent.slopes);
    Ok(Fitted {
        residuals: residuals(problem, &found).ok_or(Unfit::NoEnd)?,
        covariance: &back * back.transpose(),
        input_gain: -&gain * DMatrix::from_diagonal(&slopes),
        gain,
        chi_square,
        degrees_of_freedom: problem.inputs.len() - problem.start.len(),
        theta: found.theta,
        at_bound: found.at_bound,
        inputs: found.tangent.inputs,
        evaluations: found.evaluations,
    })
}

/// The pseudo-inverse of the slopes; `None` where they depend on each other.
fn inverse(slopes: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let lengths: Vec<f64> = slopes.column_iter().map(|column| column.norm()).collect();
    if !lengths
        .iter()
        .all(|length| length.is_finite() && *length > 0.0)
    {
        return None;
    }
    let mut alike = slopes.clone();
    for (mut column, length) in alike.column_iter_mut().zip(&lengths) {
        column /= *length;
    }
    let parts = alike.try_svd(true, true, f64::EPSILON, ROUNDS)?;
    let (least, most) = (parts.singular_values.min(), parts.singular_values.max());
    if least <= DEPENDENT * most {
        return None;
    }
    let mut back = parts.pseudo_inverse(0.0).ok()?;
    for (mut row, length) in back.row_iter_mut().zip(&lengths) {
        row /= *length;
    }
    back.iter().all(|x| x.is_finite()).then_some(back)
}

/// By how much chi-square would still fall with one more full step of the terms that are free.
fn left(found: &Found, misfit: &DVector<f64>, back: &DMatrix<f64>) -> f64 {
    let any_held = found.at_bound.iter().any(|held| *held);
    if !any_held {
        return (&found.slopes * (back * misfit)).norm_squared();
    }
    let free = (0..found.at_bound.len()).filter(|term| !found.at_bound[*term]);
    let columns: Vec<DVector<f64>> = free
        .map(|term| found.slopes.column(term).into_owned())
        .collect();
    if columns.is_empty() {
        return 0.0;
    }
    let slopes = DMatrix::from_columns(&columns);
    inverse(&slopes).map_or(f64::INFINITY, |back| {
        (&slopes * (back * misfit)).norm_squared()
    })
}

fn residuals(problem: &Problem<'_>, found: &Found) -> Option<Vec<Residual>> {
    let curve = problem.family.at(&found.theta).ok()?;
    let residual = |at: usize| {
        let value = curve.evaluate(problem.inputs[at]).ok()?;
        Some(Residual {
            error: value - problem.values[at],
            uncertainty: found.tangent.covariance[(at, at)].sqrt(),
        })
    };
    (0..problem.inputs.len()).map(residual).collect()
}
