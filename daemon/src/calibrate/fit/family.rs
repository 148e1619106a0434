//! A driver with some of its parameters free: one curve for each set of values of these terms.
//!
//! Knows how to make the curves and how their values change with the terms. Which terms are free is
//! decided in `plan`, which values they take in `fit`.

use super::slopes;
use crate::calibrate::{Curve, Term};
use crate::driver::{Driver, DriverError, ParameterKind};
use crate::measure::chain::Transfer;

/// A driver with its parameters, some of them free.
#[derive(Clone, Debug, PartialEq)]
pub struct Family {
    driver: Driver,
    parameters: Vec<Vec<f64>>,
    pivot: f64,
    terms: Vec<Term>,
    bounds: Vec<(f64, f64)>,
}

impl Family {
    /// The curves of `driver` with these parameters (one list for each that it declares, as for
    /// [`Driver::bind`]), in which `terms` are free. A line on top turns at `pivot`, in the unit of
    /// the value.
    #[must_use]
    pub fn new(driver: Driver, parameters: Vec<Vec<f64>>, pivot: f64, terms: Vec<Term>) -> Self {
        let bounds = terms.iter().map(|term| bounds(driver, *term)).collect();
        Self {
            driver,
            parameters,
            pivot,
            terms,
            bounds,
        }
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
                let parameters = self.driver.parameters();
                parameters.get(*at).map_or("", |one| one.name)
            }
            Some(Term::Offset) => "offset",
            Some(Term::Slope) => "slope",
            None => "",
        }
    }

    /// The terms as they stand in the parameters, or the driver's defaults: where a fit starts. NaN
    /// for one that was not given and has no default.
    #[must_use]
    pub fn start(&self) -> Vec<f64> {
        let value = |term: &Term| match term {
            Term::Parameter(index) => self.given(*index),
            Term::Offset | Term::Slope => 0.0,
        };
        self.terms.iter().map(value).collect()
    }

    /// Smallest and largest value of the term at `index`: as the driver declares, no limit for a
    /// line on top.
    #[must_use]
    pub fn bounds(&self, index: usize) -> (f64, f64) {
        self.bounds
            .get(index)
            .copied()
            .unwrap_or((f64::MIN, f64::MAX))
    }

    /// The curve at these values of the terms.
    ///
    /// # Errors
    /// As [`Driver::bind`]; values that are no finite numbers are out of bounds.
    pub fn at(&self, theta: &[f64]) -> Result<Curve, DriverError> {
        let mut curve = Curve::plain(self.driver.bind(self.parameters(theta))?);
        curve.pivot = self.pivot;
        for (term, value) in self.terms.iter().zip(theta) {
            match term {
                Term::Parameter(_) => {}
                Term::Offset => curve.offset = *value,
                Term::Slope => curve.slope = *value,
            }
        }
        if curve.offset.is_finite() && curve.slope.is_finite() {
            Ok(curve)
        } else {
            let text = "offset and slope must be finite numbers".to_owned();
            Err(DriverError::Parameters(text))
        }
    }

    /// All of the driver's parameters at these values of the terms.
    #[must_use]
    pub fn parameters(&self, theta: &[f64]) -> Vec<Vec<f64>> {
        let mut parameters = self.parameters.clone();
        for (term, value) in self.terms.iter().zip(theta) {
            if let Term::Parameter(index) = term
                && let Some(own) = parameters.get_mut(*index)
            {
                *own = vec![*value];
            }
        }
        parameters
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

    fn given(&self, index: usize) -> f64 {
        let given = self.parameters.get(index).and_then(|one| one.first());
        let default = || match declared(self.driver, index) {
            Some(ParameterKind::Number { default, .. }) => default,
            _ => None,
        };
        let given = given.copied().filter(|one| !one.is_nan());
        given.or_else(default).unwrap_or(f64::NAN)
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

fn bounds(driver: Driver, term: Term) -> (f64, f64) {
    let declared = match term {
        Term::Parameter(index) => declared(driver, index),
        Term::Offset | Term::Slope => None,
    };
    match declared {
        Some(ParameterKind::Number { bounds, .. }) => bounds,
        _ => (f64::MIN, f64::MAX),
    }
}

fn declared(driver: Driver, index: usize) -> Option<ParameterKind> {
    let parameters = driver.parameters();
    parameters.get(index).map(|one| one.kind.clone())
}
