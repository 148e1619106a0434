//! Readings of the past by another calibration than the one that made them.
//!
//! What a reading's stored uncertainty holds is taken apart again: the calibration's own part is
//! known at its input, the rest is of the electrical quantity (noise, converter's step, resistor) and
//! goes through the other curve's slope. A fault stays a fault.

use super::{Conversion, History, Made};
use crate::driver::DriverError;
use crate::reading::{Estimate, Outcome, Quality, Reading, Series};
use std::collections::HashMap;
use std::sync::Arc;

/// What a reading comes to.
#[derive(Clone, Debug, PartialEq)]
pub enum Recomputed {
    /// By the calibration that was asked for.
    Anew(Reading),
    /// As it was logged: the calibration does not take what it holds.
    AsLogged(Reading),
}

/// Turns readings into those by `wanted`. `made` are the conversions that may have made them, as
/// many as are known.
pub fn recompute<'a>(
    wanted: &'a Conversion,
    made: &'a [Conversion],
) -> impl FnMut(Reading) -> Recomputed + 'a {
    let mut series = HashMap::new();
    move |mut reading: Reading| {
        let Some(outcome) = outcome(&reading, wanted, made) else {
            return Recomputed::AsLogged(reading);
        };
        reading.outcome = outcome;
        let named = series.entry(reading.series.id);
        let named = named.or_insert_with(|| Arc::new(renamed(&reading.series, wanted.number)));
        reading.series = Arc::clone(named);
        Recomputed::Anew(reading)
    }
}

impl History {
    /// Conversions by all calibrations that can still be computed.
    #[must_use]
    pub fn conversions(&self) -> Vec<Conversion> {
        let by = |made: &Made| Conversion::by(made.number, &made.calibration).ok();
        self.calibrations().iter().filter_map(by).collect()
    }
}

/// `None` where the calibration does not take what the reading holds.
fn outcome(reading: &Reading, wanted: &Conversion, made: &[Conversion]) -> Option<Outcome> {
    let series = &reading.series;
    if wanted.electrical_unit != series.electrical_unit || wanted.unit != series.unit {
        return None;
    }
    let Some(stored) = reading.outcome.estimate() else {
        return Some(reading.outcome);
    };
    // What that calibration itself made is right to the last bit; configured parameters change.
    if series.calibration != 0 && series.calibration == wanted.number {
        return Some(reading.outcome);
    }
    let input = reading.electrical?;
    let old = made.iter().find(|one| one.number == series.calibration);
    Some(judged(wanted, old, input, stored))
}

fn judged(wanted: &Conversion, old: Option<&Conversion>, input: f64, stored: Estimate) -> Outcome {
    let uncertainty = electrical_uncertainty(old.unwrap_or(wanted), old.is_some(), input, stored);
    match uncertainty.and_then(|uncertainty| wanted.with(input, uncertainty)) {
        Ok(estimate) if wanted.is_extrapolated(input) => Outcome::Extrapolated(estimate),
        Ok(estimate) => Outcome::Value(estimate),
        Err(DriverError::OutOfRange) => Outcome::Fault(Quality::OutOfRange),
        Err(_) => Outcome::Fault(Quality::DriverFailed),
    }
}

/// Standard uncertainty of the electrical quantity in a reading that `made` made. Where it is only
/// a stand-in for what did (`is_known` false), its slope serves, and all of the stored uncertainty
/// is taken for the electrical quantity's.
fn electrical_uncertainty(
    made: &Conversion,
    is_known: bool,
    input: f64,
    stored: Estimate,
) -> Result<f64, DriverError> {
    let own = if is_known { made.own(input)? } else { 0.0 };
    let rest = (stored.uncertainty().powi(2) - own.powi(2)).max(0.0).sqrt();
    Ok(rest / made.slope(input)?.abs())
}

/// Series of one probe that differ only in the calibration become one: it has no number of the log.
fn renamed(series: &Series, calibration: u32) -> Series {
    Series {
        id: 0,
        calibration,
        ..series.clone()
    }
}
