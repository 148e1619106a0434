//! What a driver declares about a parameter: name, unit, default and bounds, as it crosses.
//!
//! Values are not here (see [`Values`](crate::Values)), and nothing is checked here: the host reads
//! rows through [`host::View`](crate::host::View).

use crate::Text;
use crate::codes::{PARAMETER_CHOICE, PARAMETER_LIST, PARAMETER_NUMBER};

/// A parameter that a driver declares. In Rust it is made in `const` context by the functions below.
///
/// ```
/// use nightbench_driver::{Parameter, Text};
/// const FORMS: &[Text] = &Text::all(["linear", "table"]);
/// const PARAMETERS: &[Parameter] = &[
///     Parameter::choice("form", "how the values are computed", FORMS, 0),
///     Parameter::number("gain", "value for one unit of input", "1").or(1.0).fitted(1),
///     Parameter::list("table_x", "inputs of the table", "1", 1024),
/// ];
/// ```
#[repr(C)]
pub struct Parameter {
    /// Its key in the configuration.
    pub(crate) name: Text,
    /// One line for a person.
    pub(crate) summary: Text,
    /// UCUM code; `1` for plain numbers and choices.
    pub(crate) unit: Text,
    /// Whether it holds one number, a list of them or one of several words.
    pub(crate) kind: u32,
    /// A number's default, NaN for none; a choice's default index.
    pub(crate) fallback: f64,
    /// A number's lowest value that makes sense.
    pub(crate) lowest: f64,
    /// A number's highest value that makes sense.
    pub(crate) highest: f64,
    /// Most numbers in a list; 1 for a number or a choice.
    pub(crate) most: usize,
    /// The words of a choice.
    pub(crate) words: *const Text,
    /// How many.
    pub(crate) word_count: usize,
    /// Since 1.1: 0 where the number is given and never fitted, else its rank among the fitted ones.
    //
    // As wide as the `f64` above, so that it begins where a 1.0 row ends on every host: a narrower
    // field would slip into the padding that such a row has where pointers are 32 bits wide.
    pub(crate) fitted: u64,
}

// SAFETY: a row is never written to, and what it points to is immutable and lives as long as the
// library.
unsafe impl Sync for Parameter {}

impl Parameter {
    /// One number in this unit (UCUM code, `1` for a plain number), without default or bounds.
    #[must_use]
    pub const fn number(name: &'static str, summary: &'static str, unit: &'static str) -> Self {
        Self {
            name: Text::new(name),
            summary: Text::new(summary),
            unit: Text::new(unit),
            kind: PARAMETER_NUMBER,
            fallback: f64::NAN,
            lowest: f64::MIN,
            highest: f64::MAX,
            most: 1,
            words: std::ptr::null(),
            word_count: 0,
            fitted: 0,
        }
    }

    /// A list of at most `most` numbers, all in this unit.
    #[must_use]
    pub const fn list(
        name: &'static str,
        summary: &'static str,
        unit: &'static str,
        most: usize,
    ) -> Self {
        Self {
            kind: PARAMETER_LIST,
            most,
            ..Self::number(name, summary, unit)
        }
    }

    /// One of these words; `default` is the index of the one that is taken without a word.
    #[must_use]
    pub const fn choice(
        name: &'static str,
        summary: &'static str,
        words: &'static [Text],
        default: usize,
    ) -> Self {
        Self {
            kind: PARAMETER_CHOICE,
            fallback: default as f64,
            words: words.as_ptr(),
            word_count: words.len(),
            ..Self::number(name, summary, "1")
        }
    }

    /// A number's default, taken where the configuration is silent.
    #[must_use]
    pub const fn or(mut self, default: f64) -> Self {
        self.fallback = default;
        self
    }

    /// Smallest and largest number that make sense, both included.
    #[must_use]
    pub const fn within(mut self, lowest: f64, highest: f64) -> Self {
        self.lowest = lowest;
        self.highest = highest;
        self
    }

    /// The number becomes free in a fit, as the first (rank 1), second ... of its form: a fit to two
    /// points changes the numbers of ranks 1 and 2 that are given. 0: it is given, and never fitted.
    ///
    /// # Panics
    /// While compiling, for a list or a choice: only a number can be fitted.
    #[must_use]
    pub const fn fitted(mut self, rank: u32) -> Self {
        assert!(self.kind == PARAMETER_NUMBER, "only a number can be fitted");
        self.fitted = rank as u64;
        self
    }
}
