//! The C table: what crosses between a driver's library and the host, byte for byte.
//!
//! Every struct here is `repr(C)`. Within one [`MAJOR`] fields are only ever appended, and the sizes
//! say how many there are. Fields are private, so that safe code can only get a table from
//! [`Table::of`](crate::Table::of), which makes a sound one. Nothing is checked here: that is the
//! host's part.
//!
//! The C header is made from this file and those that `tests/header.rs` names, comments included: they are
//! written for both languages.

use std::ffi::c_char;
use std::fmt;

use crate::pairs::Pair;
use crate::{Output, Parameter, codes};

/// The interface's version: tables of another major one cannot be read at all.
pub const MAJOR: u32 = 1;
/// The interface's version, the lesser part: tables of a newer minor one have more fields at their end.
pub const MINOR: u32 = 1;
/// The symbol a driver's library exports: a `const Table *`, NUL at the end as linkers want it.
pub const SYMBOL: &[u8] = b"nightbench_driver\0";

/// A driver, as it crosses. Functions are pure: the same parameters and inputs give the same numbers,
/// from any thread. Nothing that the host hands over may be kept after the call.
#[repr(C)]
pub struct Table {
    /// Bytes of the whole table, as it is known to whoever wrote it.
    pub(crate) size: u32,
    /// Version of the interface that the table was written for.
    pub(crate) major: u32,
    /// The same, the lesser part.
    pub(crate) minor: u32,
    /// Bytes from one row of `parameters` to the next.
    pub(crate) parameter_size: u32,
    /// The driver's name, as in the configuration.
    pub(crate) name: Text,
    /// One line for a person.
    pub(crate) summary: Text,
    /// What is measured (`temperature`); none where the configuration says.
    pub(crate) quantity: Text,
    /// UCUM code of the value's unit (`Cel`); none where the configuration says.
    pub(crate) unit: Text,
    /// Electrical quantities that it takes, the preferred one first; at least one.
    pub(crate) inputs: *const u32,
    /// How many.
    pub(crate) input_count: usize,
    /// Its parameters; perhaps none.
    pub(crate) parameters: *const Parameter,
    /// How many.
    pub(crate) parameter_count: usize,
    /// Values of inputs. Required, where there are no `pairs`.
    pub(crate) evaluate: Option<EvaluateFn>,
    /// Slopes, value over input, at inputs. May be null: the host takes differences.
    pub(crate) slope: Option<EvaluateFn>,
    /// Inputs that can be turned into values with these parameters. Required, where there are no
    /// `pairs`.
    pub(crate) range: Option<RangeFn>,
    /// What is wrong with these parameters. May be null: nothing ever is.
    pub(crate) check: Option<CheckFn>,
    /// The start of a fit. Since 1.1; may be null: the present parameters are it.
    pub(crate) guess: Option<GuessFn>,
    /// How wrong the model can be after a fit. Since 1.1; may be null: it is taken for right.
    pub(crate) misfit: Option<MisfitFn>,
    /// All values that it gives for an input. Since 1.1; may be null: it gives one. The first is the
    /// one of `evaluate`, and has the quantity and the unit of the table.
    pub(crate) outputs: *const Output,
    /// How many.
    pub(crate) output_count: usize,
    /// Values of the outputs after the first. Since 1.1; may be null where there are none.
    pub(crate) evaluate_output: Option<EvaluateOutputFn>,
    /// Which way the values of `evaluate` go with a rising input, whatever the parameters: one of
    /// `NB_MONOTONIC_`. Since 1.1; the host looks whether it is so.
    pub(crate) monotonic: u32,
    /// A fixed table in the place of `evaluate` and `range`, with straight lines between its rows,
    /// whose inputs rise or fall. Since 1.1; may be null.
    pub(crate) pairs: *const Pair,
    /// How many.
    pub(crate) pair_count: usize,
}

/// The first fields of a table, whose layout never changes, whatever the major version.
#[derive(Clone, Copy)]
#[repr(C)]
pub(crate) struct Head {
    pub(crate) size: u32,
    pub(crate) major: u32,
    pub(crate) minor: u32,
    pub(crate) parameter_size: u32,
}

/// Writes `count` values, one per input; the two arrays do not overlap. Where some inputs are outside
/// the range their values are NaN and the status is `OUT_OF_RANGE`; the others are good.
pub(crate) type EvaluateFn = unsafe extern "C" fn(
    parameters: *const Slice,
    parameter_count: usize,
    inputs: *const f64,
    values: *mut f64,
    count: usize,
) -> i32;

/// As `evaluate`, for the output of this index: 1 is the one after the first.
pub(crate) type EvaluateOutputFn = unsafe extern "C" fn(
    parameters: *const Slice,
    parameter_count: usize,
    output: usize,
    inputs: *const f64,
    values: *mut f64,
    count: usize,
) -> i32;

/// Writes the lowest and the highest input; `PARAMETERS` where there is none.
pub(crate) type RangeFn = unsafe extern "C" fn(
    parameters: *const Slice,
    parameter_count: usize,
    lowest: *mut f64,
    highest: *mut f64,
) -> i32;

/// `PARAMETERS` and a text for a person where the parameters do not go together.
pub(crate) type CheckFn =
    unsafe extern "C" fn(parameters: *const Slice, parameter_count: usize, text: *mut Text) -> i32;

/// Where to start a fit to `count` points, an input and a value each.
///
/// `start` holds one number per parameter: the present number or index, NaN for a list. The driver
/// writes what is to be different; lists stay as they are whatever is written. `OUT_OF_RANGE` where
/// the points give no start.
pub(crate) type GuessFn = unsafe extern "C" fn(
    parameters: *const Slice,
    parameter_count: usize,
    inputs: *const f64,
    values: *const f64,
    count: usize,
    start: *mut f64,
) -> i32;

/// Writes the standard uncertainty of the model itself at each input, in the unit of the value, after
/// `free_count` parameters were fitted to points whose inputs are the nodes.
pub(crate) type MisfitFn = unsafe extern "C" fn(
    parameters: *const Slice,
    parameter_count: usize,
    nodes: *const f64,
    node_count: usize,
    free_count: usize,
    inputs: *const f64,
    values: *mut f64,
    count: usize,
) -> i32;

/// UTF-8 text that lives as long as its library; null for none.
#[derive(Clone, Copy)]
#[repr(C)]
pub struct Text {
    /// The first byte.
    pub(crate) data: *const c_char,
    /// Bytes, without a NUL at the end.
    pub(crate) length: usize,
}

/// The value of one parameter: one number, or a list. A number that was not given is NaN, a choice
/// is its word's index.
#[derive(Clone, Copy)]
#[repr(C)]
pub struct Slice {
    /// The first number; null where there is none.
    pub(crate) data: *const f64,
    /// How many.
    pub(crate) length: usize,
}

/// How a call across the table ended. Any `i32` may come back, so this is no enum.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(transparent)]
pub struct Status(pub(crate) i32);

// SAFETY: a table is never written to after it was made, and what it points to is immutable and
// lives as long as the library.
unsafe impl Sync for Table {}
// SAFETY: as above; a text is a pointer to immutable bytes.
unsafe impl Sync for Text {}
// SAFETY: as above, whichever thread reads them.
unsafe impl Send for Text {}

impl Text {
    /// No text.
    pub const NONE: Self = Self {
        data: std::ptr::null(),
        length: 0,
    };

    /// This text.
    #[must_use]
    pub const fn new(text: &'static str) -> Self {
        Self {
            data: text.as_ptr().cast(),
            length: text.len(),
        }
    }

    /// These texts, e.g. the words of a choice.
    #[must_use]
    pub const fn all<const N: usize>(texts: [&'static str; N]) -> [Self; N] {
        let mut all = [Self::NONE; N];
        let mut index = 0;
        while index < N {
            all[index] = Self::new(texts[index]);
            index += 1;
        }
        all
    }

    pub(crate) const fn of(text: Option<&'static str>) -> Self {
        match text {
            Some(text) => Self::new(text),
            None => Self::NONE,
        }
    }
}

impl Slice {
    pub(crate) const NONE: Self = Self {
        data: std::ptr::null(),
        length: 0,
    };

    pub(crate) fn new(values: &[f64]) -> Self {
        Self {
            data: values.as_ptr(),
            length: values.len(),
        }
    }
}

impl Status {
    /// All values are there.
    pub const DONE: Self = Self(codes::DONE);
    /// At least one input is outside what the driver can turn into a value.
    pub const OUT_OF_RANGE: Self = Self(codes::OUT_OF_RANGE);
    /// The parameters do not go together.
    pub const PARAMETERS: Self = Self(codes::PARAMETERS);
    /// The driver panicked; the panic was stopped at the border.
    pub const PANICKED: Self = Self(codes::PANICKED);
    /// The host called with a null pointer or another number of parameters than declared.
    pub const WRONG_CALL: Self = Self(codes::WRONG_CALL);

    /// The status of a number that crossed.
    #[must_use]
    pub fn from_code(code: i32) -> Self {
        Self(code)
    }

    /// The number that crossed.
    #[must_use]
    pub fn code(self) -> i32 {
        self.0
    }

    pub(crate) fn done(self) -> Result<(), Self> {
        if self == Self::DONE {
            Ok(())
        } else {
            Err(self)
        }
    }
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::DONE => f.write_str("done"),
            Self::OUT_OF_RANGE => f.write_str("outside the driver's range"),
            Self::PARAMETERS => f.write_str("the parameters do not go together"),
            Self::PANICKED => f.write_str("the driver panicked"),
            Self::WRONG_CALL => f.write_str("the driver was called wrongly"),
            Self(code) => write!(f, "unknown status {code}"),
        }
    }
}

impl std::error::Error for Status {}
