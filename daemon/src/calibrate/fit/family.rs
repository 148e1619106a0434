//! A driver with some of its parameters free: one curve for each set of values of these terms.
//!
//! Knows how to make the curves and how their values change with the terms. Which terms are free is
//! decided in `plan`, which values they take in `fit`.

use super::slopes;
use crate::calibrate::{Curve, Term};
use crate::driver::{DriverError, Model};
use crate::measure::chain::Transfer;

/// A driver with its parameters, some of them free.
#[derive(Clone, Debug, PartialEq)]
pub struct Family {
    base: Model,
    pivot: f64,
    terms: Vec<Term>,
}

impl Family {
    /// The curves of `base` in which `terms` are free. A line on top turns at `pivot`, in the unit of
    /// the value.
    #[must_use]
    pub fn new(base: Model, pivot: f64, terms: Vec<Term>) -> Self {
        Self { base, pivot, terms }
    }

    /// What is free, in order.
    #[must_use]
    pub fn terms(&self) -> &[Term] {
        &self.terms
    }

    /// Where a line on top turns, in the unit of the value.
    #[must_use]
    pub fn pivot(&self) -> f64 {
        self.pivot
    }

    /// The name of the term at `index`: a parameter's, `offset` or `slope`.
    #[must_use]
    pub fn name(&self, index: usize) -> &'static str {
        match self.terms.get(index) {
            Some(Term::Parameter(at)) => {
                let declared = self.base.driver().parameters();
                declared.get(*at).map_or("", |one| one.name)
            }
            Some(Term::Offset) => "offset",
            Some(Term::Slope) => "slope",
            None => "",
        }
    }

    /// The terms as they stand: where a fit starts. NaN for one that was not given.
    #[must_use]
    pub fn start(&self) -> Vec<f64> {
        let value = |term: &Term| match term {
            Term::Parameter(index) => self.base.number(*index).unwrap_or(f64::NAN),
            Term::Offset | Term::Slope => 0.0,
        };
        self.terms.iter().map(value).collect()
    }

    /// Smallest and largest value of the term at `index`: as the driver declares, no limit for a
    /// line on top.
    #[must_use]
    pub fn bounds(&self, index: usize) -> (f64, f64) {
        let declared = match self.terms.get(index) {
            Some(Term::Parameter(at)) => self.base.bounds(*at),
            _ => None,
        };
        declared.unwrap_or((f64::MIN, f64::MAX))
    }

    /// The curve at these values of the terms.
    ///
    /// # Errors
    /// As [`Model::with`]; values that are no finite numbers are out of bounds.
    pub fn at(&self, theta: &[f64]) -> Result<Curve, DriverError> {
        let (mut offset, mut slope, mut changes) = (0.0, 0.0, Vec::new());
        for (term, value) in self.terms.iter().zip(theta) {
            match term {
                Term::Parameter(index) => changes.push((*index, *value)),
                Term::Offset => offset = *value,
                Term::Slope => slope = *value,
            }
        }
        if !(offset.is_finite() && slope.is_finite()) {
            let text = "offset and slope must be finite numbers".to_owned();
            return Err(DriverError::Parameters(text));
        }
        Ok(Curve {
            model: self.base.with(&changes)?,
            offset,
            slope,
            pivot: self.pivot,
        })
    }

    /// Change of the value at `input` with each term. `None` where the curve, or one beside it, has
    /// no value there.
    #[must_use]
    pub fn gradient(&self, theta: &[f64], input: f64) -> Option<Vec<f64>> {
        let columns = slopes::of(self, theta, &[input])?;
        columns
            .iter()
            .map(|column| column.first().copied())
            .collect()
    }

    /// Values at these inputs; `None` where one of them has none.
    pub(super) fn values(&self, theta: &[f64], inputs: &[f64]) -> Option<Vec<f64>> {
        let curve = self.at(theta).ok()?;
        inputs
            .iter()
            .map(|input| curve.evaluate(*input).ok())
            .collect()
    }
}
