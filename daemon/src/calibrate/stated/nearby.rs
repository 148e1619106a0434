//! How a value moves with the fitted terms: models bound once, a step to either side of each term.
//!
//! Central differences of ready models cost two calls a term and allocate nothing.

use crate::calibrate::{Calibration, Curve, Term};
use crate::driver::{DriverError, Model};

/// More terms than any fit here frees.
pub(super) const MOST_TERMS: usize = 8;

/// Step of a term, relative to itself: far above what rounding leaves of a value, far below where a
/// curve bends (Press et al., Numerical Recipes, 5.7).
const STEP: f64 = 1e-5;

/// Neighbours of a fitted curve, one for each term.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Nearby(Vec<Direction>);

#[derive(Clone, Debug, PartialEq)]
enum Direction {
    /// A parameter of the driver.
    Parameter(Box<Pair>),
    /// The line's constant.
    Offset,
    /// The line's slope.
    Slope,
}

/// A model a step to either side; a bound may leave one side only.
#[derive(Clone, Debug, PartialEq)]
struct Pair {
    low: Option<Model>,
    high: Option<Model>,
    step: f64,
}

impl Nearby {
    /// The neighbours of a calibration's curve, whose model this is.
    pub(super) fn new(calibration: &Calibration, model: &Model) -> Result<Self, DriverError> {
        let terms = &calibration.terms;
        if terms.len() > MOST_TERMS {
            let text = format!("a fit of {} terms; at most {MOST_TERMS}", terms.len());
            return Err(DriverError::Parameters(text));
        }
        let direction = |(at, term): (usize, &Term)| match term {
            Term::Offset => Ok(Direction::Offset),
            Term::Slope => Ok(Direction::Slope),
            Term::Parameter(index) => {
                let spread = deviation(calibration, at);
                pair(model, *index, spread).map(|pair| Direction::Parameter(pair.into()))
            }
        };
        let directions = terms.iter().enumerate().map(direction);
        directions.collect::<Result<_, _>>().map(Self)
    }

    /// How many of the terms are the driver's own.
    pub(super) fn free(&self) -> usize {
        let own = |direction: &&Direction| matches!(direction, Direction::Parameter(_));
        self.0.iter().filter(own).count()
    }

    /// Change of the curve's value with each term, at this input, where its model gives `plain`; what
    /// is beyond the terms is 0.
    pub(super) fn gradient(
        &self,
        (curve, plain): (&Curve, f64),
        input: f64,
    ) -> Result<[f64; MOST_TERMS], DriverError> {
        let mut gradient = [0.0; MOST_TERMS];
        for (change, direction) in gradient.iter_mut().zip(&self.0) {
            *change = match direction {
                Direction::Offset => 1.0,
                Direction::Slope => plain - curve.pivot,
                Direction::Parameter(pair) => (1.0 + curve.slope) * pair.slope(plain, input)?,
            };
        }
        Ok(gradient)
    }
}

impl Pair {
    /// Where one side has no value at this input (the end of its range is moved as well), the other
    /// one stands for both.
    fn slope(&self, plain: f64, input: f64) -> Result<f64, DriverError> {
        let at = |model: &Option<Model>| model.as_ref()?.evaluate(input).ok();
        match (at(&self.low), at(&self.high)) {
            (Some(low), Some(high)) => Ok((high - low) / (2.0 * self.step)),
            (Some(low), None) => Ok((plain - low) / self.step),
            (None, Some(high)) => Ok((high - plain) / self.step),
            (None, None) => Err(DriverError::OutOfRange),
        }
    }
}

/// Standard deviation of one term.
fn deviation(calibration: &Calibration, at: usize) -> f64 {
    let loadings = calibration.sources.iter();
    let own = loadings.filter_map(|source| source.loading.get(at));
    own.fold(0.0, |sum: f64, loading| sum.hypot(*loading))
}

fn pair(model: &Model, index: usize, spread: f64) -> Result<Pair, DriverError> {
    let Some(present) = model.number(index) else {
        let text = format!("the calibration fitted parameter {index}, which is no number");
        return Err(DriverError::Parameters(text));
    };
    let step = step(present, spread);
    let bound = |value: f64| model.with(&[(index, value)]);
    match (bound(present - step), bound(present + step)) {
        (Err(error), Err(_)) => Err(error),
        (low, high) => Ok(Pair {
            low: low.ok(),
            high: high.ok(),
            step,
        }),
    }
}

/// A term that is zero has no size of its own; what it is uncertain by has.
fn step(present: f64, spread: f64) -> f64 {
    let step = STEP * present.abs();
    if step > 0.0 {
        return step;
    }
    if spread > 0.0 { spread } else { STEP }
}
