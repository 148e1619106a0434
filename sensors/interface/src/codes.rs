//! Numbers with a meaning that cross the border, once for both languages.
//!
//! Makers in Rust and hosts have types for them: [`Status`](crate::Status),
//! [`Electrical`](crate::Electrical), [`Monotonic`](crate::Monotonic),
//! [`ParameterKind`](crate::host::ParameterKind).

/// How a call ended: all values are there.
pub const DONE: i32 = 0;
/// How a call ended: at least one input has no value; it is NaN, the others are as ever.
pub const OUT_OF_RANGE: i32 = 1;
/// How a call ended: the parameters do not go together.
pub const PARAMETERS: i32 = 2;
/// How a call ended: the driver panicked; the panic was stopped at the border.
pub const PANICKED: i32 = 3;
/// How a call ended: a null pointer, or another count of parameters than declared.
pub const WRONG_CALL: i32 = 4;

/// Which way values go with a rising input: nothing is promised.
pub const MONOTONIC_UNKNOWN: u32 = 0;
/// Which way values go with a rising input: never down.
pub const MONOTONIC_RISING: u32 = 1;
/// Which way values go with a rising input: never up.
pub const MONOTONIC_FALLING: u32 = 2;

/// Electrical quantity: resistance, ohm.
pub const OHM: u32 = 0;
/// Electrical quantity: voltage, volt.
pub const VOLT: u32 = 1;
/// Electrical quantity: fraction of the converter's full scale, 0 to 1.
pub const RATIO: u32 = 2;
/// Electrical quantity: the board's number as it is.
pub const NUMBER: u32 = 3;

/// A parameter is one number.
pub const PARAMETER_NUMBER: u32 = 0;
/// A parameter is a list of numbers.
pub const PARAMETER_LIST: u32 = 1;
/// A parameter is one of several words.
pub const PARAMETER_CHOICE: u32 = 2;
