//! Whether the calibration in use fits the probe as it is configured.

use super::History;
use crate::calibrate::Calibration;
use crate::config::Probe;

/// The calibration in use, with its number, where it fits the probe; `None` where the configured
/// parameters are in use.
///
/// # Errors
/// Why the one in use does not fit, for a person; then there are only the configured parameters.
pub fn active<'a>(
    history: &'a History,
    probe: &Probe,
) -> Result<Option<(u32, &'a Calibration)>, String> {
    let Some(number) = history.active_number() else {
        return Ok(None);
    };
    let made = history.calibration(number);
    let made = made.ok_or_else(|| format!("calibration {number} cannot be read"))?;
    match unusable(&made.calibration, probe) {
        None => Ok(Some((number, &made.calibration))),
        Some(why) => Err(format!("calibration {number} {why}")),
    }
}

/// Why a calibration does not fit a probe, as the end of a sentence about it.
#[must_use]
pub fn unusable(calibration: &Calibration, probe: &Probe) -> Option<String> {
    let differs = |what: &str, its: &str, configured: &str| {
        (its != configured).then(|| {
            format!("is of {what} `{its}`, but the probe is configured for `{configured}`")
        })
    };
    if let Err(why) = probe.driver.check_calibrated() {
        return Some(format!("does not fit the probe: {why}"));
    }
    differs("driver", &calibration.driver, probe.driver.name())
        .or_else(|| differs("input", &calibration.input, probe.input.word()))
        .or_else(|| differs("unit", &calibration.unit, &probe.unit))
}
