//! The search for the best terms: Levenberg and Marquardt's method within the driver's bounds.
//!
//! Steps beyond a bound stop at it; a term that the points push outwards there is held, and the
//! others go on. A curve that the driver refuses counts as infinitely far from the points, so that
//! the next step is shorter.

use super::tangent::Tangent;
use super::{Problem, Unfit, slopes};
use crate::measure::chain::Transfer;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};

/// Curves that may be tried for each term: NIST's hardest thermistor data take some hundred.
const PATIENCE: usize = 400;
/// As far from a point as this (in uncertainties) lies a curve that the driver refuses.
const REFUSED: f64 = 1e100;
/// A curve this near to all points (in uncertainties) goes through them; rounding is above that.
const THROUGH: f64 = 1e-11;

/// Where a search ended.
pub(super) struct Found {
    pub theta: Vec<f64>,
    pub at_bound: Vec<bool>,
    pub tangent: Tangent,
    /// Slopes over the terms in whitened units, points by terms.
    pub slopes: DMatrix<f64>,
    pub evaluations: usize,
}

/// Searches from the problem's start. First as if the inputs were exact, which finds the way from far
/// off (where the terms are linear, in one step); then with their errors from there.
pub(super) fn search(problem: &Problem<'_>) -> Result<Found, Unfit> {
    problem.family.at(&problem.start).map_err(Unfit::Start)?;
    if problem.input_uncertainties.iter().all(|u| *u == 0.0) {
        return within_bounds(problem);
    }
    let exact = vec![0.0; problem.inputs.len()];
    let near = exact_inputs(problem, &exact).and_then(|problem| within_bounds(&problem).ok());
    let Some(near) = near else {
        return within_bounds(problem);
    };
    let from_near = Problem {
        start: near.theta,
        ..problem.clone()
    };
    let found = within_bounds(&from_near)?;
    Ok(Found {
        evaluations: near.evaluations + found.evaluations,
        ..found
    })
}

/// The same with the inputs' errors counted as errors of the values, by the slope at the start.
fn exact_inputs<'a>(problem: &Problem<'a>, exact: &'a [f64]) -> Option<Problem<'a>> {
    let curve = problem.family.at(&problem.start).ok()?;
    let mut covariance = problem.covariance.clone();
    for (at, input) in problem.inputs.iter().enumerate() {
        let error = curve.slope(*input).ok()? * problem.input_uncertainties[at];
        covariance[(at, at)] += error * error;
    }
    Some(Problem {
        input_uncertainties: exact,
        covariance,
        ..problem.clone()
    })
}

/// Runs until no term is beyond its bound, or all that are have been held there.
fn within_bounds(problem: &Problem<'_>) -> Result<Found, Unfit> {
    let terms = problem.start.len();
    let mut theta = problem.start.clone();
    let mut held = vec![false; terms];
    let mut evaluations = 0;
    // Each round but the last holds one term at least, or goes on from a bound.
    for _ in 0..2 * terms + 1 {
        let run = Run::new(problem, &theta, &held)?;
        let (run, report) = LevenbergMarquardt::new()
            .with_patience(PATIENCE)
            .minimize(run);
        evaluations += report.number_of_evaluations;
        settled(&report.termination)?;
        let beyond = run.beyond();
        theta = run.clamped();
        if beyond.is_empty() {
            break;
        }
        let outwards = run.outwards(&beyond);
        for term in if outwards.is_empty() {
            beyond
        } else {
            outwards
        } {
            held[term] = true;
        }
        if held.iter().all(|one| *one) {
            break;
        }
    }
    let tangent = tangent(problem, &theta).ok_or(Unfit::NoEnd)?;
    let slopes = whitened_slopes(problem, &theta, &tangent).ok_or(Unfit::NoEnd)?;
    Ok(Found {
        theta,
        at_bound: held,
        tangent,
        slopes,
        evaluations,
    })
}

fn settled(reason: &TerminationReason) -> Result<(), Unfit> {
    // "No improvement possible" is an end at the limit of rounding. Whether an end is the best is
    // seen from the slopes there.
    let limit = matches!(reason, TerminationReason::NoImprovementPossible(_));
    if reason.was_successful() || limit {
        Ok(())
    } else {
        Err(Unfit::NoEnd)
    }
}

fn tangent(problem: &Problem<'_>, theta: &[f64]) -> Option<Tangent> {
    Tangent::of(problem, &problem.family.at(theta).ok()?)
}

fn whitened_slopes(
    problem: &Problem<'_>,
    theta: &[f64],
    tangent: &Tangent,
) -> Option<DMatrix<f64>> {
    let columns = slopes::of(problem.family, theta, &tangent.inputs)?;
    let columns: Vec<DVector<f64>> = columns.into_iter().map(DVector::from_vec).collect();
    let white = tangent.whiten(&DMatrix::from_columns(&columns))?;
    white.iter().all(|x| x.is_finite()).then_some(white)
}

/// One run of the method, over the terms that are not held.
struct Run<'a> {
    problem: &'a Problem<'a>,
    /// All terms, before bounds.
    theta: Vec<f64>,
    free: Vec<usize>,
    /// Size of each free term: the method sees terms over size.
    sizes: Vec<f64>,
    tangent: Option<Tangent>,
}

impl<'a> Run<'a> {
    fn new(problem: &'a Problem<'a>, theta: &[f64], held: &[bool]) -> Result<Self, Unfit> {
        let free: Vec<usize> = (0..theta.len()).filter(|term| !held[*term]).collect();
        let size = |term: &usize| match theta[*term].abs() {
            0.0 => 1.0,
            size => size,
        };
        let run = Self {
            problem,
            theta: theta.to_vec(),
            sizes: free.iter().map(size).collect(),
            free,
            tangent: tangent(problem, theta),
        };
        match run.tangent {
            Some(_) => Ok(run),
            None => Err(Unfit::Beginning),
        }
    }

    fn clamped(&self) -> Vec<f64> {
        let bounded = |(term, value): (usize, &f64)| {
            let (low, high) = self.problem.family.bounds(term);
            value.max(low).min(high)
        };
        self.theta.iter().enumerate().map(bounded).collect()
    }

    /// Free terms beyond their bounds.
    fn beyond(&self) -> Vec<usize> {
        let clamped = self.clamped();
        let beyond = |term: &usize| self.theta[*term] != clamped[*term];
        self.free.iter().copied().filter(beyond).collect()
    }

    /// Those of `beyond` that the points push further out.
    fn outwards(&self, beyond: &[usize]) -> Vec<usize> {
        let clamped = self.clamped();
        let gradient = self.gradient(&clamped);
        let outwards = |term: &usize| {
            let out = self.theta[*term] - clamped[*term];
            gradient
                .as_ref()
                .is_none_or(|gradient| gradient[*term] * out < 0.0)
        };
        beyond.iter().copied().filter(outwards).collect()
    }

    /// Change of half the sum of squares with each term.
    fn gradient(&self, theta: &[f64]) -> Option<DVector<f64>> {
        let tangent = self.tangent.as_ref()?;
        let slopes = whitened_slopes(self.problem, theta, tangent)?;
        Some(slopes.transpose() * tangent.whitened()?)
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Run<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, scaled: &DVector<f64>) {
        for ((term, size), value) in self.free.iter().zip(&self.sizes).zip(scaled.iter()) {
            self.theta[*term] = value * size;
        }
        self.tangent = tangent(self.problem, &self.clamped());
    }

    fn params(&self) -> DVector<f64> {
        let scaled = self.free.iter().zip(&self.sizes);
        let scaled: Vec<f64> = scaled
            .map(|(term, size)| self.theta[*term] / size)
            .collect();
        DVector::from_vec(scaled)
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let count = self.problem.inputs.len();
        let refused = || DVector::from_element(count, REFUSED);
        let whitened = self.tangent.as_ref().and_then(Tangent::whitened);
        let whitened = whitened.unwrap_or_else(refused);
        let through = whitened.amax() < THROUGH;
        Some(if through {
            DVector::zeros(count)
        } else {
            whitened
        })
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let slopes = whitened_slopes(self.problem, &self.clamped(), self.tangent.as_ref()?)?;
        let columns = self.free.iter().zip(&self.sizes);
        let columns: Vec<DVector<f64>> = columns
            .map(|(term, size)| slopes.column(*term) * *size)
            .collect();
        Some(DMatrix::from_columns(&columns))
    }
}
