//! A point as a fit takes it, and what two of them share.
//!
//! Numbers only.

use crate::calibrate::fit::{Family, Fitted, Problem, Unfit, fit};
use crate::calibrate::{Curve, Point, Reference, Term};
use crate::measure::chain::Transfer;
use nalgebra::{DMatrix, DVector};

/// Least uncertainty of an input, relative: far below any converter, it keeps apart points of which
/// nothing but a shared error is stated.
const LEAST: f64 = 1e-7;

/// A point that is fitted to.
#[derive(Clone, Copy, Debug)]
pub(in crate::calibrate) struct Taken<'a> {
    /// The number of its step in the log.
    pub number: u64,
    /// The point.
    pub point: &'a Point,
}

impl Taken<'_> {
    /// Reference value.
    pub fn value(&self) -> f64 {
        self.point.compared.value
    }

    /// Electrical quantity.
    pub fn input(&self) -> f64 {
        self.point.captured.mean
    }

    /// Standard uncertainty of the electrical quantity.
    pub fn input_uncertainty(&self) -> f64 {
        self.point
            .captured
            .uncertainty
            .max(LEAST * self.input().abs())
    }

    /// Whether both were compared with the same thing, and so share its error.
    pub fn shares_with(&self, other: &Self) -> bool {
        let (own, other) = (
            &self.point.compared.reference,
            &other.point.compared.reference,
        );
        match (own, other) {
            // One barometer, or one altitude and its weather: neither knows of the other's error.
            (
                Reference::Boiling { altitude: own, .. },
                Reference::Boiling {
                    altitude: other, ..
                },
            ) => own.is_some() == other.is_some(),
            (own, other) => own == other,
        }
    }
}

/// Fits a family to these points. Where they are more than the terms, what the driver's model cannot
/// follow at them is admitted: a residual of that size is no contradiction.
///
/// # Errors
/// As [`fit`].
pub(in crate::calibrate) fn fit_to(
    taken: &[Taken<'_>],
    family: &Family,
    start: Vec<f64>,
) -> Result<Fitted, Unfit> {
    let list = |what: fn(&Taken<'_>) -> f64| -> Vec<f64> { taken.iter().map(what).collect() };
    let misfit = misfit(taken, family, &start);
    fit(&Problem {
        family,
        start,
        inputs: &list(|one| one.input()),
        input_uncertainties: &list(|one| one.input_uncertainty()),
        values: &list(|one| one.value()),
        covariance: covariance(taken) + DMatrix::from_diagonal(&misfit),
    })
}

/// Variance of the model itself at each point, which no fit of as many points as terms shows; 0 where
/// the driver says none.
pub(in crate::calibrate) fn misfit(
    taken: &[Taken<'_>],
    family: &Family,
    start: &[f64],
) -> DVector<f64> {
    let nodes: Vec<f64> = taken.iter().map(Taken::input).collect();
    let own = |term: &&Term| matches!(term, Term::Parameter(_));
    let free = family.terms().iter().filter(own).count();
    let curve = family.at(start).ok().filter(|_| taken.len() > start.len());
    let variance = |node: &f64| {
        let misfit = curve.as_ref()?.model.misfit(&nodes, free, *node).ok()?;
        Some(misfit * misfit)
    };
    let each = nodes.iter().map(|node| variance(node).unwrap_or(0.0));
    DVector::from_iterator(nodes.len(), each)
}

/// Covariance of the reference values.
pub(in crate::calibrate) fn covariance(taken: &[Taken<'_>]) -> DMatrix<f64> {
    let common = |at: usize| taken[at].point.compared.common;
    DMatrix::from_fn(taken.len(), taken.len(), |row, column| {
        let own = taken[row].point.compared.own;
        let shared = if taken[row].shares_with(&taken[column]) {
            common(row) * common(column)
        } else {
            0.0
        };
        if row == column {
            shared + own * own
        } else {
            shared
        }
    })
}

/// Standard uncertainty of the difference of two points, references and inputs, in the unit of the
/// value.
pub(in crate::calibrate) fn of_difference(
    one: &Taken<'_>,
    other: &Taken<'_>,
    nominal: &Curve,
) -> f64 {
    let between = covariance(&[*one, *other]);
    let values = between[(0, 0)] + between[(1, 1)] - 2.0 * between[(0, 1)];
    let inputs = [one, other].map(|taken| {
        // Where the nominal curve has no value, its slope is not known either.
        let slope = nominal.slope(taken.input()).unwrap_or(0.0);
        slope * taken.input_uncertainty()
    });
    values.max(0.0).sqrt().hypot(inputs[0]).hypot(inputs[1])
}
