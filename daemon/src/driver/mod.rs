//! Drivers as the host sees them: safe views of the C table, models bound to their parameters.
//!
//! [`find`] a [`Driver`], or [`open`] one from a shared library, [`bind`](Driver::bind) its
//! parameters, and the [`Model`] is a function from the electrical quantity to the physical one.
//! What a fit asks of it is in `fit`. Everything a driver returns is checked here, so nobody behind
//! this module meets a NaN.
//!
//! A linked-in driver is called where it stands. A loaded one runs in a child process (`remote` is
//! the service's side of it, `host_process` the child's), because nothing else holds a wild pointer
//! or an endless loop; only where the configuration trusts it that far it is called in place, too.

mod elf;
mod engine;
pub mod examine;
mod fit;
mod frames;
mod host_process;
mod library;
mod load;
mod loaded;
mod model;
mod monotonic;
mod notes;
mod output;
mod registry;
mod remote;
mod sandbox;
mod trust;
mod values;
mod vet;

pub use host_process::run as run_host_process;
pub use loaded::{OWN_PROGRAM, Settings, open};
pub use model::Model;
pub use nightbench_driver::host::{Output, Parameter, ParameterKind};
pub use nightbench_driver::{Electrical, Monotonic};
pub use notes::{Note, await_notes, take_notes};
pub use registry::{Driver, built_in, find};

/// What can take parameters: a driver, or a model whose driver runs already.
pub trait Binds {
    /// The driver.
    fn driver(&self) -> Driver;

    /// The driver with these parameters, one slice for each that it declares.
    ///
    /// # Errors
    /// As [`Driver::bind`].
    fn bind(&self, values: Vec<Vec<f64>>) -> Result<Model, DriverError>;
}

impl Binds for Driver {
    fn driver(&self) -> Driver {
        *self
    }

    fn bind(&self, values: Vec<Vec<f64>>) -> Result<Model, DriverError> {
        Self::bind(self, values)
    }
}

/// A loaded driver goes on in the process that it runs in.
impl Binds for &Model {
    fn driver(&self) -> Driver {
        Model::driver(self)
    }

    fn bind(&self, values: Vec<Vec<f64>>) -> Result<Model, DriverError> {
        self.rebound(values)
    }
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
    /// The process that runs a loaded driver gave no answer; the text says why.
    #[error("{0}")]
    Host(std::sync::Arc<str>),
}
