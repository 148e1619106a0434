//! A stored calibration as its driver takes it. What does not fit is told, never guessed.

use crate::calibrate::{Calibration, Source};
use crate::driver::{Driver, DriverError};

/// Every parameter's values in the driver's order; empty for one that the calibration does not know,
/// because the driver has learnt it since.
pub(super) fn values(
    calibration: &Calibration,
    driver: Driver,
) -> Result<Vec<Vec<f64>>, DriverError> {
    if calibration.driver != driver.name() {
        return Err(DriverError::Parameters(format!(
            "the calibration was made for the driver `{}`, not for `{}`",
            calibration.driver,
            driver.name()
        )));
    }
    let declared = driver.parameters();
    let known = |name: &str| declared.iter().any(|parameter| parameter.name == name);
    if let Some((name, _)) = calibration.parameters.iter().find(|(name, _)| !known(name)) {
        return Err(DriverError::Parameters(format!(
            "the calibration has a parameter `{name}` that the driver `{}` does not know",
            driver.name()
        )));
    }
    let given = |name: &str| {
        let mut all = calibration.parameters.iter();
        let found = all.find(|(other, _)| other == name);
        found.map_or_else(Vec::new, |(_, values)| values.clone())
    };
    Ok(declared
        .iter()
        .map(|parameter| given(parameter.name))
        .collect())
}

/// The sources, where each has a loading for each term.
pub(super) fn sources(calibration: &Calibration) -> Result<Vec<Source>, DriverError> {
    let terms = calibration.terms.len();
    match calibration
        .sources
        .iter()
        .find(|source| source.loading.len() != terms)
    {
        None => Ok(calibration.sources.clone()),
        Some(source) => Err(DriverError::Parameters(format!(
            "the calibration fitted {terms} terms, but `{}` moves {}",
            source.name,
            source.loading.len()
        ))),
    }
}
