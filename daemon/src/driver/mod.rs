//! Drivers as the host sees them: safe views of the C table, models bound to their parameters.

pub use nightbench_driver::Electrical;

/// A driver, built in or loaded.
#[derive(Clone, Copy, PartialEq)]
pub struct Driver;

impl std::fmt::Debug for Driver {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// A parameter that a driver declares.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// Key in the configuration: `r0`.
    pub name: &'static str,
    /// One line for a person.
    pub summary: &'static str,
    /// What it holds.
    pub kind: ParameterKind,
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

/// What went wrong in a driver.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DriverError {
    /// The input is outside what the driver can turn into a value.
    #[error("outside the driver's range")]
    OutOfRange,
    /// The driver answered with something that is no finite number, or with an unknown status.
    #[error("the driver gave no finite number (status {0})")]
    Broken(i32),
    /// The parameters do not go together; the text says which and why.
    #[error("{0}")]
    Parameters(String),
}

impl Driver {
    /// The driver's name: `thermistor`.
    #[must_use]
    pub fn name(&self) -> &'static str {
        unimplemented!()
    }
    /// One line for a person.
    #[must_use]
    pub fn summary(&self) -> &'static str {
        unimplemented!()
    }
    /// The electrical quantities it takes, the preferred one first.
    #[must_use]
    pub fn inputs(&self) -> &'static [Electrical] {
        unimplemented!()
    }
    /// What it measures (`temperature`); `None` where the configuration says.
    #[must_use]
    pub fn quantity(&self) -> Option<&'static str> {
        unimplemented!()
    }
    /// UCUM code of its unit (`Cel`); `None` where the configuration says.
    #[must_use]
    pub fn unit(&self) -> Option<&'static str> {
        unimplemented!()
    }
    /// Parameters in the driver's order.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        unimplemented!()
    }
    /// A model with these parameter values, one slice per declared parameter in its order: one
    /// number for `Number` and `Choice` (the index), any for `List`. A `Number` that was not given
    /// is NaN.
    ///
    /// # Errors
    /// `Parameters` with the driver's own words where they do not go together.
    pub fn bind(&self, _values: Vec<Vec<f64>>) -> Result<Model, DriverError> {
        unimplemented!()
    }
}

/// The drivers that are linked in.
#[must_use]
pub fn built_in() -> Vec<Driver> {
    unimplemented!()
}

/// The driver of this name.
#[must_use]
pub fn find(_name: &str) -> Option<Driver> {
    unimplemented!()
}

/// A driver with its parameters: a pure function.
#[derive(Clone, Debug, PartialEq)]
pub struct Model;

impl Model {
    /// The value for one input.
    ///
    /// # Errors
    /// `OutOfRange` outside [`Model::range`], `Broken` where the driver gave no finite number.
    pub fn evaluate(&self, _input: f64) -> Result<f64, DriverError> {
        unimplemented!()
    }
    /// Slope of the value over the input at `input`, from the driver or by central difference.
    ///
    /// # Errors
    /// As [`Model::evaluate`].
    pub fn slope(&self, _input: f64) -> Result<f64, DriverError> {
        unimplemented!()
    }
    /// The inputs it can turn into values, lowest and highest.
    #[must_use]
    pub fn range(&self) -> (f64, f64) {
        unimplemented!()
    }
    /// The input that gives `value`, found by bisection on [`Model::range`]: what simulation and
    /// checks need.
    ///
    /// # Errors
    /// `OutOfRange` where no input gives it.
    pub fn invert(&self, _value: f64) -> Result<f64, DriverError> {
        unimplemented!()
    }
}
