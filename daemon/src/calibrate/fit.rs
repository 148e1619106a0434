//! The fit: which values of a family's terms go best with the points, and how sure that is.
//!
//! Weighted nonlinear least squares by Levenberg and Marquardt's method, in the electrical quantity,
//! for any driver. Reference values have a full covariance (points by one instrument share its error);
//! inputs have errors of their own ([`tangent`](self)). Knows neither points nor words: `make` does.

mod chi_square;
mod family;
mod outcome;
mod search;
mod slopes;
mod tangent;

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

use crate::calibrate::Residual;
use crate::driver::DriverError;
use nalgebra::DMatrix;

pub use chi_square::at_least as chance_of_at_least;
pub use family::Family;

/// Most points of one fit: work grows with the cube of their number, and no probe needs more.
pub const MOST_POINTS: usize = 200;

/// What is to be fitted.
#[derive(Clone, Debug)]
pub struct Problem<'a> {
    /// The curves to choose from.
    pub family: &'a Family,
    /// Where to start, one value for each term.
    pub start: Vec<f64>,
    /// Measured inputs of the points, electrical.
    pub inputs: &'a [f64],
    /// Their standard uncertainties, independent of each other; 0 for none.
    pub input_uncertainties: &'a [f64],
    /// Reference values of the points, in the unit of the value.
    pub values: &'a [f64],
    /// The covariance of the reference values.
    pub covariance: DMatrix<f64>,
}

/// What came out of a fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// The terms.
    pub theta: Vec<f64>,
    /// Which of them were stopped by a bound of the driver.
    pub at_bound: Vec<bool>,
    /// Covariance of the terms, from the stated uncertainties of the points; for a term at its bound
    /// as if it were free.
    pub covariance: DMatrix<f64>,
    /// Change of each term (row) with each point's reference value (column).
    pub gain: DMatrix<f64>,
    /// Change of each term (row) with each point's input (column).
    pub input_gain: DMatrix<f64>,
    /// How far each point lies from the curve; its uncertainty is that of reference and input.
    pub residuals: Vec<Residual>,
    /// The most likely true inputs.
    pub inputs: Vec<f64>,
    /// Weighted sum of squares.
    pub chi_square: f64,
    /// Points less terms.
    pub degrees_of_freedom: usize,
    /// How many curves were tried.
    pub evaluations: usize,
}

/// Why there is no fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Unfit {
    /// Nothing is free.
    #[error("there is nothing to fit: no term is free")]
    NoTerms,
    /// Fewer points than terms, or more points than can be taken.
    #[error(
        "{points} points cannot fix {terms} terms; at least {terms} and at most {MOST_POINTS} are needed"
    )]
    Points {
        /// How many there are.
        points: usize,
        /// How many terms are free.
        terms: usize,
    },
    /// A number of the points is not finite, or lists differ in length.
    #[error("a point holds something that is no finite number, or a negative uncertainty")]
    NoNumber,
    /// A term has no value to start from.
    #[error("a term has no value to start from: give it in the configuration")]
    NoStart,
    /// The driver does not take the terms where the fit starts.
    #[error("the driver refuses where the fit starts: {0}")]
    Start(DriverError),
    /// The curve has no value at a point where the fit starts, or the points have no uncertainty.
    #[error(
        "where the fit starts, the curve has no value at one of the points, or two points share all \
         of their uncertainty; look for a point outside the driver's range, and for one taken twice"
    )]
    Beginning,
    /// Some combination of terms is not fixed by the points.
    #[error(
        "the points do not fix all terms: they are too close together, or one term moves none of them"
    )]
    Undetermined,
    /// No best curve was found.
    #[error(
        "no curve of the driver goes through the points: the search ended at the edge of what the \
         driver takes, or found no end; look for a point that is wrong"
    )]
    NoEnd,
}

/// Fits the terms of a family to points.
///
/// # Errors
/// Why there is no fit; never panics, whatever comes in.
pub fn fit(problem: &Problem<'_>) -> Result<Fitted, Unfit> {
    check(problem)?;
    let found = search::search(problem)?;
    outcome::outcome(problem, found)
}

impl Fitted {
    /// The chance that points which are as uncertain as stated lie this far from the curve, or
    /// further; 1 where no degree of freedom is left.
    #[must_use]
    pub fn chance(&self) -> f64 {
        chance_of_at_least(self.chi_square, self.degrees_of_freedom)
    }

    /// The covariance times chi-square over its degrees of freedom: for points of equal, unknown
    /// uncertainty, as in JCGM 100:2008, H.3. As it is where no degree of freedom is left.
    #[must_use]
    pub fn scaled_covariance(&self) -> DMatrix<f64> {
        &self.covariance * self.birge_ratio().powi(2)
    }

    /// How much further the points lie from the curve than stated: the root of chi-square over its
    /// degrees of freedom (Birge, Physical Review 40 (1932) 207-227, from memory); 1 for none left.
    #[must_use]
    pub fn birge_ratio(&self) -> f64 {
        match self.degrees_of_freedom {
            0 => 1.0,
            left => (self.chi_square / left as f64).sqrt(),
        }
    }
}

fn check(problem: &Problem<'_>) -> Result<(), Unfit> {
    let (points, terms) = (problem.inputs.len(), problem.family.terms().len());
    if terms == 0 {
        return Err(Unfit::NoTerms);
    }
    if points < terms || points > MOST_POINTS {
        return Err(Unfit::Points { points, terms });
    }
    let whole = problem.values.len() == points
        && problem.input_uncertainties.len() == points
        && problem.covariance.shape() == (points, points)
        && problem.start.len() == terms;
    let numbers = [problem.inputs, problem.values, problem.input_uncertainties].concat();
    let finite = numbers
        .iter()
        .chain(problem.covariance.iter())
        .all(|x| x.is_finite());
    let signs = problem.input_uncertainties.iter().all(|u| *u >= 0.0);
    if !(whole && finite && signs) {
        return Err(Unfit::NoNumber);
    }
    let begins = problem.start.iter().all(|x| x.is_finite());
    if begins { Ok(()) } else { Err(Unfit::NoStart) }
}
