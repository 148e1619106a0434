//! Which point disagrees: each is left out in turn and compared with the fit of the others.

use super::{Taken, fit_to};
use crate::calibrate::fit::{Family, Fitted};
use crate::measure::chain::Transfer;
use nalgebra::DVector;

/// A point against the fit of the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Worst {
    /// Its place in the list.
    pub at: usize,
    /// Fit of the others less reference, in the unit of the value.
    pub error: f64,
    /// Standard uncertainty of that: the point's own, and the fit's there.
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
    let value = family.at(&fit.theta).ok()?.evaluate(out.input()).ok()?;
    let gradient = DVector::from_vec(family.gradient(&fit.theta, out.input())?);
    let of_fit = (gradient.transpose() * &fit.covariance * gradient)[(0, 0)];
    Some(Worst {
        at,
        error: value - out.value(),
        uncertainty: whole.residuals[at]
            .uncertainty
            .hypot(of_fit.max(0.0).sqrt()),
    })
}
