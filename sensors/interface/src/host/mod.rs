//! The host's side: reads a table once, checks it, and calls it from safe code.
//!
//! [`View`] is the checked table, [`Binding`] the parameter values that go with it. Whether a value
//! makes sense (finite, in range, within bounds) is not judged here.

mod binding;
mod flaw;
mod read;
mod version;
mod view;

#[cfg(test)]
mod tests;

pub use binding::Binding;
pub use flaw::Flaw;
pub use view::View;

/// A parameter that a driver declares.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// Key in the configuration: `r0`.
    pub name: &'static str,
    /// One line for a person.
    pub summary: &'static str,
    /// What it holds.
    pub kind: ParameterKind,
    /// 0 where it is given and never fitted; else its rank: a fit of k terms changes the first k of
    /// those that are given, in this order. Always 0 for lists and choices.
    pub fitted: u32,
}

/// One of the values that a driver gives for an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Output {
    /// Its name in the configuration.
    pub name: &'static str,
    /// What it is; `None` where the configuration says.
    pub quantity: Option<&'static str>,
    /// UCUM code of its unit; `None` where the configuration says.
    pub unit: Option<&'static str>,
}

/// What a parameter holds.
#[derive(Clone, Debug, PartialEq)]
pub enum ParameterKind {
    /// One number. No default means that it must be given (where the chosen form uses it; the
    /// driver's own check says so).
    Number {
        /// UCUM code of its unit; `1` for a plain number.
        unit: &'static str,
        /// Taken where the configuration is silent.
        default: Option<f64>,
        /// Smallest and largest that make sense.
        bounds: (f64, f64),
    },
    /// A list of numbers, e.g. coefficients or a table's column.
    List {
        /// UCUM code of the unit of each; `1` for plain numbers.
        unit: &'static str,
        /// Most numbers it may hold.
        most: usize,
    },
    /// One of several words; handed to the driver as the word's index.
    Choice {
        /// The words.
        words: &'static [&'static str],
        /// Index of the default.
        default: usize,
    },
}

impl ParameterKind {
    pub(crate) fn is_list(&self) -> bool {
        matches!(self, Self::List { .. })
    }
}
