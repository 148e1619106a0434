//! The C table: what crosses between a driver's library and the host, byte for byte.
//!
//! Every struct here is `repr(C)`. Within one [`MAJOR`] fields are only ever appended, and the sizes
//! in the head say how many there are. Fields are private, so that safe code can only get a table
//! from [`Table::of`](crate::Table::of), which makes a sound one. Nothing is checked here: that is
//! the host's part.

use std::fmt;

use crate::Parameter;

/// Tables of another major version cannot be read at all.
pub const MAJOR: u32 = 1;
/// Tables of a newer minor version have more fields at their end.
pub const MINOR: u32 = 1;
/// The symbol a driver's library exports: a `const Table *`, NUL at the end as linkers want it.
pub const SYMBOL: &[u8] = b"nightbench_driver\0";

/// A driver, as it crosses.
#[repr(C)]
pub struct Table {
    pub(crate) head: Head,
    /// The driver's name, as in the configuration.
    pub(crate) name: Text,
    /// One line for a person.
    pub(crate) summary: Text,
    /// What is measured; null where the configuration says.
    pub(crate) quantity: Text,
    /// UCUM code of the value's unit; null where the configuration says.
    pub(crate) unit: Text,
    /// Codes of [`Electrical`](crate::Electrical), the preferred one first.
    pub(crate) inputs: *const u32,
    pub(crate) input_count: usize,
    /// Rows, each `head.parameter_size` bytes after the one before.
    pub(crate) parameters: *const Parameter,
    pub(crate) parameter_count: usize,
    /// Values of inputs. Required.
    pub(crate) evaluate: Option<EvaluateFn>,
    /// Slopes, value over input, at inputs. May be null: the host takes differences.
    pub(crate) slope: Option<EvaluateFn>,
    /// Inputs that can be turned into values with these parameters. Required.
    pub(crate) range: Option<RangeFn>,
    /// What is wrong with these parameters. May be null: nothing ever is.
    pub(crate) check: Option<CheckFn>,
    /// The start of a fit. Since 1.1; may be null: the present parameters are it.
    pub(crate) guess: Option<GuessFn>,
    /// How wrong the model can be after a fit. Since 1.1; may be null: it is taken for right.
    pub(crate) misfit: Option<MisfitFn>,
}

/// The part whose layout never changes, whatever the major version.
#[derive(Clone, Copy)]
#[repr(C)]
pub(crate) struct Head {
    /// Bytes of the whole table.
    pub(crate) size: u32,
    pub(crate) major: u32,
    pub(crate) minor: u32,
    /// Bytes from one row of `parameters` to the next.
    pub(crate) parameter_size: u32,
}

/// `(parameters, parameter_count, inputs, values, count) -> status`.
///
/// Writes `count` values, one per input; the two arrays do not overlap. Where some inputs are
/// outside the range their values are NaN and the status is `OUT_OF_RANGE`; the others are good.
pub(crate) type EvaluateFn =
    unsafe extern "C" fn(*const Slice, usize, *const f64, *mut f64, usize) -> i32;

/// `(parameters, parameter_count, lowest, highest) -> status`.
pub(crate) type RangeFn = unsafe extern "C" fn(*const Slice, usize, *mut f64, *mut f64) -> i32;

/// `(parameters, parameter_count, text) -> status`: `PARAMETERS` and a text where they do not go
/// together.
pub(crate) type CheckFn = unsafe extern "C" fn(*const Slice, usize, *mut Text) -> i32;

/// `(parameters, parameter_count, inputs, values, count, start) -> status`.
///
/// `start` holds one number per parameter: the present number or index, NaN for a list. The driver
/// writes what is to be different; lists stay as they are whatever is written. `OUT_OF_RANGE` where
/// the points give no start.
pub(crate) type GuessFn =
    unsafe extern "C" fn(*const Slice, usize, *const f64, *const f64, usize, *mut f64) -> i32;

/// `(parameters, parameter_count, nodes, node_count, free, inputs, values, count) -> status`.
///
/// As [`EvaluateFn`]; `nodes` are the inputs of the points that `free` parameters were fitted to.
pub(crate) type MisfitFn = unsafe extern "C" fn(
    *const Slice,
    usize,
    *const f64,
    usize,
    usize,
    *const f64,
    *mut f64,
    usize,
) -> i32;

/// UTF-8 text that lives as long as its library; null for none.
#[derive(Clone, Copy)]
#[repr(C)]
pub struct Text {
    pub(crate) data: *const u8,
    pub(crate) length: usize,
}

/// The value of one parameter: one number, or a list. A number that was not given is NaN, a choice
/// is its word's index.
#[derive(Clone, Copy)]
#[repr(C)]
pub struct Slice {
    pub(crate) data: *const f64,
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
            data: text.as_ptr(),
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
    pub const DONE: Self = Self(0);
    /// At least one input is outside what the driver can turn into a value.
    pub const OUT_OF_RANGE: Self = Self(1);
    /// The parameters do not go together.
    pub const PARAMETERS: Self = Self(2);
    /// The driver panicked; the panic was stopped at the border.
    pub const PANICKED: Self = Self(3);
    /// The host called with a null pointer or another number of parameters than declared.
    pub const WRONG_CALL: Self = Self(4);

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
