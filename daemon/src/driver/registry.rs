//! Which drivers there are, and what each says of itself.
//!
//! The shipped drivers are linked in and read through the same table as any other.

use std::sync::{Arc, LazyLock};

use nightbench_driver::host::{Binding, Flaw, View};
use nightbench_driver::{Electrical, Table};

use super::engine::Engine;
use super::frames::Declaration;
use super::loaded::Loaded;
use super::notes::Teller;
use super::{DriverError, Model, Parameter, values};

/// A driver, built in or loaded, and one of its outputs. Cheap to copy; two are equal where name,
/// output and table are the same, or name, output, library and the way it is run.
#[derive(Clone, Copy)]
pub struct Driver {
    described: &'static Described,
    /// Which of its outputs is meant.
    pub(super) output: usize,
}

/// What is known of a driver for the life of the process, as its code itself is.
pub(super) struct Described {
    /// Its name in configurations.
    pub(super) name: &'static str,
    /// What it says of itself.
    pub(super) declaration: Declaration,
    /// Where its code is.
    pub(super) origin: Origin,
}

/// Where a driver's code is.
pub(super) enum Origin {
    /// In this program; the address of its table, and the table.
    Linked(usize, Arc<dyn Engine>),
    /// In a library.
    Loaded(Loaded),
}

/// A driver that can be asked.
#[derive(Clone, Debug)]
pub(super) struct Running {
    /// Whom to ask.
    pub(super) engine: Arc<dyn Engine>,
    /// Who tells what was wrong with its answers; nobody where it is linked in, and tested here.
    pub(super) teller: Option<Arc<Teller>>,
}

/// Checked once, at the first look.
static BUILT_IN: LazyLock<Vec<Driver>> = LazyLock::new(|| {
    let tables = [
        &nightbench_thermistor::TABLE,
        &nightbench_photoresistor::TABLE,
        &nightbench_divider::TABLE,
    ];
    // A flaw in a shipped table would be a mistake of ours; the test below finds it.
    tables
        .into_iter()
        .filter_map(|table| Driver::new(table).ok())
        .collect()
});

/// The drivers that are linked in.
#[must_use]
pub fn built_in() -> Vec<Driver> {
    BUILT_IN.clone()
}

/// The driver of this name.
#[must_use]
pub fn find(name: &str) -> Option<Driver> {
    BUILT_IN
        .iter()
        .find(|driver| driver.name() == name)
        .copied()
}

impl Driver {
    /// The driver of a linked-in table. Its description is kept for the life of the process, as the
    /// table itself is.
    ///
    /// # Errors
    /// What is wrong with the table.
    pub fn new(table: &'static Table) -> Result<Self, Flaw> {
        let view = View::new(table)?;
        Ok(Self::described(Described {
            name: view.name(),
            declaration: Declaration::of(&view),
            origin: Origin::Linked(view.address(), Arc::new(view)),
        }))
    }

    /// A driver of this description, which is kept for the life of the process.
    pub(super) fn described(described: Described) -> Self {
        Self {
            described: Box::leak(Box::new(described)),
            output: 0,
        }
    }

    /// The same driver, meaning the output of this index.
    pub(super) fn meaning(&self, output: usize) -> Self {
        Self { output, ..*self }
    }

    /// The driver's name: `thermistor`.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.described.name
    }

    /// One line for a person.
    #[must_use]
    pub fn summary(&self) -> &'static str {
        self.described.declaration.summary
    }

    /// The electrical quantities it takes, the preferred one first.
    #[must_use]
    pub fn inputs(&self) -> &'static [Electrical] {
        &self.described.declaration.inputs
    }

    /// Parameters in the driver's order.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        self.described.declaration.parameters.clone()
    }

    /// A model with these parameter values, one list per declared parameter in its order: one
    /// number for `Number` and `Choice` (the index), any for `List`. A `Number` that was not given
    /// is NaN and takes its default; so does an empty list for a `Number` or `Choice`.
    ///
    /// # Errors
    /// `Parameters` where a value is out of bounds, no finite number or no known choice, or with the
    /// driver's own words where they do not go together; `Broken` where the driver's check fails.
    pub fn bind(&self, values: Vec<Vec<f64>>) -> Result<Model, DriverError> {
        self.bind_for("", values)
    }

    /// The same for a probe: a loaded driver runs in one process for each probe, and messages name
    /// the probe.
    ///
    /// # Errors
    /// As [`Driver::bind`]; `Host` where its process does not run.
    pub fn bind_for(&self, probe: &str, values: Vec<Vec<f64>>) -> Result<Model, DriverError> {
        let values = values::complete(&self.described.declaration.parameters, values)
            .map_err(DriverError::Parameters)?;
        Model::new(*self, self.running(probe)?, Binding::new(values))
    }

    /// Version of the interface that it was built against, major and minor.
    #[must_use]
    pub fn interface(&self) -> (u32, u32) {
        self.described.declaration.interface
    }

    /// What it calls itself; a loaded one may have another [name](Driver::name) in configurations.
    #[must_use]
    pub fn own_name(&self) -> &'static str {
        self.described.declaration.name
    }

    /// The library of a loaded driver: file and SHA-256; `None` for one that is linked in.
    #[must_use]
    pub fn library(&self) -> Option<(&'static std::path::Path, &'static str)> {
        match &self.described.origin {
            Origin::Linked(..) => None,
            Origin::Loaded(loaded) => Some(loaded.file()),
        }
    }

    /// What it says of itself.
    pub(super) fn declaration(&self) -> &'static Declaration {
        &self.described.declaration
    }

    fn running(&self, probe: &str) -> Result<Running, DriverError> {
        match &self.described.origin {
            Origin::Linked(_, engine) => Ok(Running {
                engine: Arc::clone(engine),
                teller: None,
            }),
            Origin::Loaded(loaded) => loaded.running(self.name(), probe),
        }
    }
}

impl PartialEq for Driver {
    fn eq(&self, other: &Self) -> bool {
        let same_code = match (&self.described.origin, &other.described.origin) {
            (Origin::Linked(one, _), Origin::Linked(other, _)) => one == other,
            // Loaded ones are described once.
            _ => std::ptr::eq(self.described, other.described),
        };
        self.name() == other.name() && self.output == other.output && same_code
    }
}

impl std::fmt::Debug for Driver {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_drivers_are_all_there() {
        let names: Vec<_> = built_in().iter().map(Driver::name).collect();
        assert_eq!(names, ["thermistor", "photoresistor", "divider"]);
    }

    #[test]
    fn a_driver_is_found_by_its_name_and_equals_itself_only() {
        for driver in built_in() {
            assert_eq!(find(driver.name()), Some(driver));
        }
        assert_ne!(find("thermistor"), find("divider"));
        assert_eq!(find("Thermistor"), None);
        assert_eq!(find(""), None);
    }

    #[test]
    fn only_the_divider_leaves_quantity_and_unit_to_the_configuration() {
        let said: Vec<_> = built_in()
            .iter()
            .map(|one| (one.quantity(), one.unit()))
            .collect();
        assert_eq!(
            said,
            [
                (Some("temperature"), Some("Cel")),
                (Some("illuminance"), Some("lx")),
                (None, None)
            ]
        );
    }
}
