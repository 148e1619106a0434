//! What a maker may add for the host's fit: where to start it, and how wrong the model itself can be.
//!
//! Both are optional, and neither is a fit: the host varies the parameters that are marked by
//! [`Parameter::fitted`] until the driver's own values meet the points.

use crate::driver::position;
use crate::{Parameter, Values};

/// The start of a fit: from the present parameters and the points to a full set of parameters,
/// with the form to be fitted for that many points. `None` where these points give none (too few
/// that differ, values that do not exist).
pub type Guess = fn(Values<'_>, Points<'_>, &mut Start<'_>) -> Option<()>;

/// Standard uncertainty of the model itself at an input, in the unit of the value: how far a probe
/// of the kind may lie from the curve that was fitted, its points being exact. `None` where nothing
/// can be said.
pub type Misfit = fn(Values<'_>, Fit<'_>, f64) -> Option<f64>;

/// Inputs and the value of each.
#[derive(Clone, Copy, Debug)]
pub struct Points<'a> {
    inputs: &'a [f64],
    values: &'a [f64],
}

/// What was fitted.
#[derive(Clone, Copy, Debug)]
pub struct Fit<'a> {
    /// The inputs of the points that the parameters were fitted to.
    pub nodes: &'a [f64],
    /// How many parameters were free.
    pub free: usize,
}

/// The parameters from which a fit is to start. What is not set stays as it is at present; lists
/// always do.
pub struct Start<'a> {
    declared: &'static [Parameter],
    numbers: &'a mut [f64],
}

impl<'a> Points<'a> {
    /// `None` where the two are not of one length.
    #[must_use]
    pub fn new(inputs: &'a [f64], values: &'a [f64]) -> Option<Self> {
        (inputs.len() == values.len()).then_some(Self { inputs, values })
    }

    /// How many there are.
    #[must_use]
    pub fn count(self) -> usize {
        self.inputs.len()
    }

    /// Each with its input first.
    pub fn iter(self) -> impl Iterator<Item = (f64, f64)> + Clone + 'a {
        self.inputs.iter().copied().zip(self.values.iter().copied())
    }

    /// The only one; `None` where there are more, or none.
    #[must_use]
    pub fn one(self) -> Option<(f64, f64)> {
        let mut points = self.iter();
        points.next().filter(|_| self.count() == 1)
    }

    /// The only two.
    #[must_use]
    pub fn two(self) -> Option<[(f64, f64); 2]> {
        let mut points = self.iter();
        let two = [points.next()?, points.next()?];
        (self.count() == 2).then_some(two)
    }
}

impl<'a> Start<'a> {
    /// `numbers` holds one for each declared parameter.
    pub(crate) fn new(declared: &'static [Parameter], numbers: &'a mut [f64]) -> Self {
        Self { declared, numbers }
    }

    /// A number, or the index of a choice's word.
    ///
    /// # Panics
    /// Where the driver does not declare this name; the host sees `Status::PANICKED`.
    pub fn set(&mut self, name: &str, number: f64) {
        let place = position(self.declared, name).and_then(|index| self.numbers.get_mut(index));
        let Some(place) = place else {
            panic!("the driver sets the parameter `{name}`, which it does not declare");
        };
        *place = number;
    }

    /// A number is not given any more: it belongs to a form that is left.
    ///
    /// # Panics
    /// As [`Start::set`].
    pub fn clear(&mut self, name: &str) {
        self.set(name, f64::NAN);
    }
}
