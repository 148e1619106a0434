//! What a maker writes: the trait, and the parameter values it is handed.
//!
//! No unsafe code is asked of a maker, and none of the C table is seen here.

use crate::fit::{Guess, Misfit};
use crate::table::Slice;
use crate::{Electrical, Monotonic, Outputs, Parameter};

/// Slope of the value over the input; `None` outside the range.
pub type Slope = fn(Values<'_>, f64) -> Option<f64>;

/// What is wrong with the parameter values, in words for a person; names in `backticks`.
pub type Check = Result<(), &'static str>;

/// A model from an electrical quantity to a physical one: pure functions of parameters and input.
pub trait Driver: 'static {
    /// The name that stands in the configuration: `thermistor`.
    const NAME: &'static str;
    /// One line for a person.
    const SUMMARY: &'static str;
    /// The electrical quantities it takes, the preferred one first.
    const INPUTS: &'static [Electrical];
    /// What it measures (`temperature`); `None` where the configuration says.
    const QUANTITY: Option<&'static str>;
    /// UCUM code of the value's unit (`Cel`); `None` where the configuration says.
    const UNIT: Option<&'static str>;
    /// Its parameters.
    const PARAMETERS: &'static [Parameter];
    /// The slope, where there is a formula for it; without, the host takes differences.
    const SLOPE: Option<Slope> = None;
    /// The start of a fit; without, the host starts from the present parameters.
    const GUESS: Option<Guess> = None;
    /// How wrong the model can be between and beyond the points of a fit; without, the host takes it
    /// for right.
    const MISFIT: Option<Misfit> = None;

    /// All outputs, where it gives more than one value for an input.
    const OUTPUTS: Option<Outputs> = None;
    /// Which way its values go with a rising input, whatever the parameters; the host looks whether
    /// it is so.
    const MONOTONIC: Monotonic = Monotonic::Unknown;

    /// Lowest and highest input that can be turned into a value with these parameters; `None` where
    /// there is no such input.
    fn range(values: Values<'_>) -> Option<(f64, f64)>;

    /// The value of one input; `None` outside the range. Must give a finite number for every input
    /// in the range, and must not be surprised by any other.
    fn evaluate(values: Values<'_>, input: f64) -> Option<f64>;

    /// The same for many inputs of one batch. Where something can be worked out of the parameters
    /// once for all of them, do so here; it must give the bits that [`Driver::evaluate`] gives.
    fn prepared(values: Values<'_>) -> impl Fn(f64) -> Option<f64> {
        move |input| Self::evaluate(values, input)
    }

    /// Whether the parameters go together; bounds and choices were checked by the host.
    ///
    /// # Errors
    /// What is wrong, in words for a person.
    fn check(_values: Values<'_>) -> Check {
        Ok(())
    }
}

/// The values of a driver's parameters, by name.
#[derive(Clone, Copy)]
pub struct Values<'a> {
    declared: &'static [Parameter],
    slices: &'a [Slice],
}

impl<'a> Values<'a> {
    /// `None` where the count differs from the declared one or the pointer is null.
    ///
    /// # Safety
    /// `slices` points to `count` slices, each to as many numbers as it says (or is null with length
    /// 0), all of them unchanged for `'a`.
    pub(crate) unsafe fn new(
        declared: &'static [Parameter],
        slices: *const Slice,
        count: usize,
    ) -> Option<Self> {
        if count != declared.len() || (slices.is_null() && count > 0) {
            return None;
        }
        let slices = match count {
            0 => &[],
            // SAFETY: not null, and the caller vouches for `count` slices.
            _ => unsafe { std::slice::from_raw_parts(slices, count) },
        };
        Some(Self { declared, slices })
    }

    /// A number; NaN where it was not given and has no default.
    ///
    /// # Panics
    /// Where the driver does not declare this name; the host sees `Status::PANICKED`.
    #[must_use]
    pub fn number(self, name: &str) -> f64 {
        self.list(name).first().copied().unwrap_or(f64::NAN)
    }

    /// Whether a number or list was given, or has a default.
    ///
    /// # Panics
    /// As [`Values::number`].
    #[must_use]
    pub fn has(self, name: &str) -> bool {
        self.list(name).first().is_some_and(|first| !first.is_nan())
    }

    /// The index of the chosen word.
    ///
    /// # Panics
    /// As [`Values::number`].
    #[must_use]
    pub fn choice(self, name: &str) -> usize {
        // A float cast saturates, and turns NaN to 0.
        self.number(name) as usize
    }

    /// A list; empty where it was not given.
    ///
    /// # Panics
    /// As [`Values::number`].
    #[must_use]
    pub fn list(self, name: &str) -> &'a [f64] {
        let Some(slice) = position(self.declared, name).and_then(|index| self.slices.get(index))
        else {
            panic!("the driver reads the parameter `{name}`, which it does not declare");
        };
        if slice.data.is_null() || slice.length == 0 {
            return &[];
        }
        // SAFETY: not null, and whoever made these values vouched for pointer and length.
        unsafe { std::slice::from_raw_parts(slice.data, slice.length) }
    }
}

/// Where the parameter of this name stands.
pub(crate) fn position(declared: &[Parameter], name: &str) -> Option<usize> {
    declared.iter().position(|one| one.is_called(name))
}

impl Parameter {
    /// Only for rows of this library: those of a loaded one are read by the host's view.
    fn is_called(&self, name: &str) -> bool {
        // SAFETY: a row that safe code can hold was made by `Parameter::number`, from a `&str`.
        let own =
            unsafe { std::slice::from_raw_parts(self.name.data.cast::<u8>(), self.name.length) };
        own == name.as_bytes()
    }
}
