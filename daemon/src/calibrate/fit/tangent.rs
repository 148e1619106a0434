//! Errors in both: for one curve, the most likely true inputs, and what is left then.
//!
//! Errors of the electrical quantity are treated as unknown true inputs (errors in variables), which
//! are eliminated: with the curve replaced by its tangents at the true inputs, the points' misfit has
//! the covariance W = V + D U D, with V of the reference values, U of the inputs and D the slopes
//! (Britt and Luecke, Technometrics 15 (1973) 233-247, from memory). Repeated until the true inputs
//! stand, the weighted sum of squares is that of the full problem. Chooses no curve.

use super::Problem;
use crate::calibrate::Curve;
use crate::measure::chain::Transfer;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// True inputs that move by less than this part of their uncertainty stand.
const STANDS: f64 = 1e-10;
/// Rounds after which they are taken as they are: a bent curve needs three or four.
const ROUNDS: usize = 30;

/// A curve's tangents at the most likely true inputs.
pub(super) struct Tangent {
    /// The most likely true inputs.
    pub inputs: Vec<f64>,
    /// Slopes there, value over input.
    pub slopes: Vec<f64>,
    /// Curve less reference where the tangents meet the measured inputs.
    pub misfit: DVector<f64>,
    /// The covariance of the misfit.
    pub covariance: DMatrix<f64>,
    /// Its root: W = L L'.
    root: Cholesky<f64, Dyn>,
}

impl Tangent {
    /// Of this curve at these points. `None` where it has no value at one of them, or where the
    /// points' uncertainties make no covariance.
    pub fn of(problem: &Problem<'_>, curve: &Curve) -> Option<Self> {
        let measured = problem.inputs.to_vec();
        let mut tangent = Self::at(problem, curve, measured)?;
        if problem.input_uncertainties.iter().all(|u| *u == 0.0) {
            return Some(tangent);
        }
        for _ in 0..ROUNDS {
            let inputs = tangent.truer(problem);
            let moved = tangent.moved(problem, &inputs);
            // Beyond the driver's range there is no tangent: the one before must do.
            match Self::at(problem, curve, inputs) {
                Some(next) => tangent = next,
                None => break,
            }
            if moved < STANDS {
                break;
            }
        }
        Some(tangent)
    }

    fn at(problem: &Problem<'_>, curve: &Curve, inputs: Vec<f64>) -> Option<Self> {
        let count = inputs.len();
        let (mut slopes, mut misfit) = (Vec::with_capacity(count), DVector::zeros(count));
        let mut covariance = problem.covariance.clone();
        for (at, input) in inputs.iter().enumerate() {
            let slope = curve.slope(*input).ok()?;
            let there = curve.evaluate(*input).ok()? + slope * (problem.inputs[at] - input);
            misfit[at] = there - problem.values[at];
            covariance[(at, at)] += (slope * problem.input_uncertainties[at]).powi(2);
            slopes.push(slope);
        }
        let sound = covariance
            .iter()
            .chain(misfit.iter())
            .all(|x| x.is_finite());
        let root = sound.then(|| Cholesky::new(covariance.clone())).flatten()?;
        Some(Self {
            inputs,
            slopes,
            misfit,
            covariance,
            root,
        })
    }

    /// Where the tangents say that the true inputs are.
    fn truer(&self, problem: &Problem<'_>) -> Vec<f64> {
        let pull = self.root.solve(&self.misfit);
        let true_input = |at: usize| {
            let variance = problem.input_uncertainties[at].powi(2);
            problem.inputs[at] - variance * self.slopes[at] * pull[at]
        };
        (0..self.inputs.len()).map(true_input).collect()
    }

    /// The largest move from here to `inputs`, in uncertainties.
    fn moved(&self, problem: &Problem<'_>, inputs: &[f64]) -> f64 {
        let uncertainties = problem.input_uncertainties.iter();
        let moves = inputs.iter().zip(&self.inputs).zip(uncertainties);
        moves
            .filter(|(_, uncertainty)| **uncertainty > 0.0)
            .map(|((new, old), uncertainty)| (new - old).abs() / uncertainty)
            .fold(0.0, f64::max)
    }

    /// The misfit in uncorrelated units of one.
    pub fn whitened(&self) -> Option<DVector<f64>> {
        self.root.l().solve_lower_triangular(&self.misfit)
    }

    /// Columns of slopes over the terms in the same units.
    pub fn whiten(&self, columns: &DMatrix<f64>) -> Option<DMatrix<f64>> {
        self.root.l().solve_lower_triangular(columns)
    }

    /// `rows` times the inverse of the covariance's root: from whitened units back.
    pub fn unwhiten(&self, rows: &DMatrix<f64>) -> Option<DMatrix<f64>> {
        let turned = self
            .root
            .l()
            .transpose()
            .solve_upper_triangular(&rows.transpose());
        turned.map(|turned| turned.transpose())
    }
}
