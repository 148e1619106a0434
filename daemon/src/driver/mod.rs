//! Drivers as the host sees them: safe views of the C table, models bound to their parameters.
//!
//! [`find`] a [`Driver`], [`bind`](Driver::bind) its parameters, and the [`Model`] is a pure
//! function from the electrical quantity to the physical one. What a fit asks of it is in `fit`. Everything a driver returns is
//! checked here, so nobody behind this module meets a NaN. Loading shared libraries is not done
//! here.

mod fit;
mod model;
mod registry;
mod values;

pub use model::Model;
pub use nightbench_driver::Electrical;
pub use nightbench_driver::host::{Parameter, ParameterKind};
pub use registry::{Driver, built_in, find};

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
