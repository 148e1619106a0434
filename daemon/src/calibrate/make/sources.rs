//! The causes of a calibration's uncertainty, each as the change of the terms with one standard
//! deviation of it; their outer products add up to the covariance (JCGM 100:2008, 5.2).
//!
//! What the model cannot follow is in none of them: the driver says it for each reading.

use crate::calibrate::fit::Fitted;
use crate::calibrate::judge::{CONTRADICTS, Taken, reference};
use crate::calibrate::{Reference, Shape, Source};
use nalgebra::{Cholesky, DMatrix, DVector};

/// What makes an ice point better, or something else instead of it.
const ICE: &str = "distilled water, finely crushed, stirred; or a reference thermometer";

/// Every cause, in the order of the points.
pub(super) fn sources(taken: &[Taken<'_>], fitted: &Fitted) -> Vec<Source> {
    let shared = shared(taken, fitted);
    let own = (0..taken.len()).flat_map(|at| own(&taken[at], at, fitted));
    let all = shared.into_iter().chain(own);
    let mut all: Vec<Source> = all
        .filter(|source| source.loading.iter().any(|one| *one != 0.0))
        .collect();
    all.extend(disagreement(&all, fitted));
    all
}

/// The covariance that they make.
pub(super) fn covariance(sources: &[Source], terms: usize) -> Vec<Vec<f64>> {
    let product = |row: usize, column: usize| {
        let each = sources
            .iter()
            .map(|source| source.loading[row] * source.loading[column]);
        each.sum()
    };
    let row = |row| (0..terms).map(|column| product(row, column)).collect();
    (0..terms).map(row).collect()
}

/// One for each reference that several points may share.
fn shared(taken: &[Taken<'_>], fitted: &Fitted) -> Vec<Source> {
    let firsts =
        (0..taken.len()).filter(|at| !taken[..*at].iter().any(|one| one.shares_with(&taken[*at])));
    let source = |first: usize| {
        let common = |one: &Taken<'_>| match one.shares_with(&taken[first]) {
            true => one.point.compared.common,
            false => 0.0,
        };
        let errors = DVector::from_iterator(taken.len(), taken.iter().map(common));
        let compared = &taken[first].point.compared;
        let (name, remedy) = match &compared.reference {
            Reference::Boiling { .. } => (
                "air pressure at the boiling point".to_owned(),
                "a barometer's reading at the place, of known uncertainty",
            ),
            Reference::Instrument { .. } => (
                reference(&compared.reference),
                "a reference that is known better would pay",
            ),
            Reference::Ice => (reference(&compared.reference), ICE),
            other => (reference(other), "a value that is known better would pay"),
        };
        source(name, remedy, compared.common_shape, &fitted.gain * errors)
    };
    firsts.map(source).collect()
}

/// A point's own two: how it was made, and what the probe read meanwhile.
fn own(taken: &Taken<'_>, at: usize, fitted: &Fitted) -> [Source; 2] {
    let (number, compared) = (taken.number, &taken.point.compared);
    let remedy = match compared.reference {
        Reference::Ice => ICE,
        Reference::Boiling { .. } => "pure water at a rolling boil, the tip just below its surface",
        _ => "the probe bound to the reference in stirred water, or more such points",
    };
    let made = fitted.gain.column(at) * compared.own;
    let read = fitted.input_gain.column(at) * taken.input_uncertainty();
    [
        source(
            format!("point {number}: {}", reference(&compared.reference)),
            remedy,
            Shape::Normal,
            made,
        ),
        source(
            format!("point {number}: noise and converter step"),
            "a longer capture, or a converter of finer steps",
            Shape::Normal,
            read,
        ),
    ]
}

/// Where the points contradict each other: what widens the uncertainty to what they show (Birge's
/// ratio). As many as there are terms, since it moves them as all the others together do.
fn disagreement(others: &[Source], fitted: &Fitted) -> Vec<Source> {
    if fitted.chance() >= CONTRADICTS {
        return Vec::new();
    }
    let more = fitted.birge_ratio().powi(2) - 1.0;
    let terms = fitted.theta.len();
    let rows = covariance(others, terms).concat();
    let Some(root) = root(&DMatrix::from_row_slice(terms, terms, &rows)) else {
        return Vec::new();
    };
    let name = |_| "the points disagree".to_owned();
    let columns = root
        .column_iter()
        .map(|column| column * more.max(0.0).sqrt());
    let remedy = "the point that disagrees taken again";
    columns
        .map(|loading| source(name(()), remedy, Shape::Normal, loading))
        .collect()
}

/// A root of a covariance whose terms may differ by many powers of ten.
fn root(covariance: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let sizes = covariance.diagonal().map(f64::sqrt);
    if !sizes.iter().all(|size| *size > 0.0) {
        return None;
    }
    let alike = covariance.component_div(&(&sizes * sizes.transpose()));
    let root = Cholesky::new(alike)?.unpack();
    Some(DMatrix::from_diagonal(&sizes) * root)
}

fn source(name: String, remedy: &str, shape: Shape, loading: DVector<f64>) -> Source {
    Source {
        name,
        remedy: remedy.to_owned(),
        shape,
        loading: loading.iter().copied().collect(),
    }
}
