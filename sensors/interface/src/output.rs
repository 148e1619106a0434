//! Further values that a driver gives for the same input, as they cross: a thermistor's temperature,
//! and the power that heats it.
//!
//! The first output is the driver's own value, which alone is calibrated. Nothing is checked here.

use crate::{Text, Values};

/// One of the values that a driver gives for an input. In Rust it is made by [`Output::new`].
#[repr(C)]
pub struct Output {
    /// Its name, as in the configuration.
    pub(crate) name: Text,
    /// What it is (`power`); none where the configuration says.
    pub(crate) quantity: Text,
    /// UCUM code of its unit (`mW`); none where the configuration says.
    pub(crate) unit: Text,
}

// SAFETY: a row is never written to, and what it points to is immutable and lives as long as the
// library.
unsafe impl Sync for Output {}

impl Output {
    /// A quantity (`power`) in a unit (UCUM code: `mW`) under a name of its own.
    #[must_use]
    pub const fn new(name: &'static str, quantity: &'static str, unit: &'static str) -> Self {
        Self {
            name: Text::new(name),
            quantity: Text::new(quantity),
            unit: Text::new(unit),
        }
    }
}

/// The value of an output for one input; `None` outside the range. The number is the output's place
/// in the list, from 1: the first one is asked of [`Driver::evaluate`](crate::Driver::evaluate).
pub type OutputValue = fn(Values<'_>, usize, f64) -> Option<f64>;

/// All outputs of a driver that has several.
///
/// ```
/// use nightbench_driver::{Output, Outputs};
/// const OUTPUTS: Option<Outputs> = Some(Outputs {
///     list: &[
///         Output::new("temperature", "temperature", "Cel"),
///         Output::new("heating", "power", "mW"),
///     ],
///     evaluate: |values, _, ohm| Some(1e3 * values.number("current").powi(2) * ohm),
/// });
/// ```
#[derive(Clone, Copy)]
pub struct Outputs {
    /// The first is the driver's own value, with its quantity and unit.
    pub list: &'static [Output],
    /// Values of the others.
    pub evaluate: OutputValue,
}
