//! Which point disagrees: each is left out in turn and compared with the fit of the others.

use super::taken::{covariance, misfit};
use super::{Taken, fit_to};
use crate::calibrate::fit::{Family, Fitted};
use crate::measure::chain::Transfer;
use nalgebra::{DMatrix, RowDVector};

/// A point against the fit of the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Worst {
    /// Its place in the list.
    pub at: usize,
    /// Fit of the others less reference, in the unit of the value.
    pub error: f64,
    /// Standard uncertainty of that: of the point and of the fit there, less what they share.
    pub uncertainty: f64,
}

/// The point that disagrees most. With one degree of freedom all disagree alike, and none is named.
pub(super) fn worst(taken: &[Taken<'_>], family: &Family, whole: &Fitted) -> Option<Worst> {
    if whole.degrees_of_freedom < 2 {
        return None;
    }
    let against = |at: usize| against(taken, family, whole, at);
    let size = |one: &Worst| (one.error / one.uncertainty).abs();
    let all = (0..taken.len()).filter_map(against);
    all.max_by(|a, b| size(a).total_cmp(&size(b)))
}

fn against(taken: &[Taken<'_>], family: &Family, whole: &Fitted, at: usize) -> Option<Worst> {
    let mut others = taken.to_vec();
    let out = others.remove(at);
    let fit = fit_to(&others, family, whole.theta.clone()).ok()?;
    let curve = family.at(&fit.theta).ok()?;
    let gradient = RowDVector::from_vec(family.gradient(&fit.theta, out.input())?);
    let read = curve.slope(out.input()).ok()? * out.input_uncertainty();
    let inputs = others.iter().map(|one| one.input_uncertainty());
    let moved = &gradient * &fit.input_gain;
    let by_inputs = moved.iter().zip(inputs).map(|(gain, own)| gain * own);
    let uncertainty = by_inputs.fold(read, f64::hypot);
    others.push(out);
    let references =
        covariance(&others) + DMatrix::from_diagonal(&misfit(&others, family, &whole.theta));
    let by_references = of_references(references, &gradient * &fit.gain);
    Some(Worst {
        at,
        error: curve.evaluate(out.input()).ok()? - out.value(),
        uncertainty: uncertainty.hypot(by_references),
    })
}

/// Standard uncertainty of the difference between the fit of the first points, which follows their
/// reference values by this gain, and the reference value of the last. `covariance` is that of all
/// reference values, with what the model cannot follow: what they share cancels as far as the fit
/// follows it (JCGM 100:2008, 5.2.2).
fn of_references(covariance: DMatrix<f64>, gain: RowDVector<f64>) -> f64 {
    let last = gain.len();
    let sensitivity = gain.insert_column(last, -1.0);
    let variance = (&sensitivity * covariance * sensitivity.transpose())[(0, 0)];
    variance.max(0.0).sqrt()
}
