//! `nightbench calibrate` without its guide, and what everything around a calibration shares: one probe
//! as it is configured, its history from the log, and the way by which steps are kept.
//!
//! What a calibration is, is decided in `crate::calibrate`; here it is only asked for, kept and shown.
//! The log is read beside a running service, and written by that service, or without one directly.

mod act;
mod arguments;
mod capture;
mod converter;
mod differences;
mod keep;
mod resistors;
mod sheet;
mod show;
mod standing;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

pub use arguments::{Arguments, run};
pub use differences::differences;
pub use sheet::Sheet;
pub use standing::as_verified;

use super::{Failure, when};
use crate::calibrate::history::History;
use crate::calibrate::reference::likely_cause::{self, Doubt};
use crate::calibrate::{self, Calibration, Compared, Point, Reference, Refusal, Subject, make};
use crate::config::unit::{Dimension, Unit};
use crate::config::{self, Channel, Config, Probe};
use crate::driver::Model;
use crate::log::query::Query;
use crate::service::{build, transfer};
use keep::Way;
use std::path::Path;

/// The calibration of one probe, as a command has it in hand.
#[derive(Debug)]
pub struct Job {
    config: Config,
    probe: Probe,
    channel: Channel,
    nominal: Model,
    here: calibrate::Channel,
    history: History,
    way: Option<Way>,
    remark: Option<String>,
}

impl Job {
    /// Opens what belongs to a probe of a configuration. Nothing is connected or written yet.
    ///
    /// # Errors
    /// Where the configuration has faults or no such probe, or the log cannot be read; for a person.
    pub fn open(file: &Path, probe: &str) -> Result<Self, Failure> {
        let (config, _) = config::load(file).map_err(|error| Failure::new(error.to_string()))?;
        let (probe, channel) = wired(&config, probe, file)?;
        let nominal = probe.model.clone();
        Ok(Self {
            history: history(&config, &probe.name)?,
            here: transfer::here(&probe, &channel),
            way: None,
            remark: None,
            config,
            probe,
            channel,
            nominal,
        })
    }

    /// The configuration.
    #[must_use]
    pub fn config(&self) -> &Config {
        &self.config
    }

    /// The probe as it is configured.
    #[must_use]
    pub fn probe(&self) -> &Probe {
        &self.probe
    }

    /// Its channel as it is configured.
    #[must_use]
    pub fn channel(&self) -> &Channel {
        &self.channel
    }

    /// Takes over what is known of its calibration by now.
    pub fn learn(&mut self, history: History) {
        self.history = history;
    }

    /// Its driver with the configured parameters.
    #[must_use]
    pub fn nominal(&self) -> &Model {
        &self.nominal
    }

    /// What the log holds of its calibration, and what was kept since.
    #[must_use]
    pub fn history(&self) -> &History {
        &self.history
    }

    /// How far a probe of this kind on this channel may be off its nominal curve at an input
    /// (half-width, in the unit of the value); `None` where nothing is known.
    #[must_use]
    pub fn allowed(&self, input: f64) -> Option<f64> {
        let value = self.nominal.evaluate(input).ok()?;
        let relative = (self.nominal.slope(input).ok()? * input).abs();
        let kind = self.probe.trust.tolerance.half_width(value, relative)?;
        // A tolerance is the half-width of a rectangular distribution (JCGM 100:2008, 4.3.7).
        let resistor = self.here.scale_uncertainty * 3.0_f64.sqrt() * relative;
        Some(kind + resistor)
    }

    /// Why a point cannot be true by the nominal curve, where it cannot.
    #[must_use]
    pub fn doubt(&self, compared: &Compared, mean: f64) -> Option<Doubt> {
        let unit = &self.probe.unit;
        if matches!(compared.reference, Reference::Resistor { .. }) {
            let allowed = self.here.scale_uncertainty * 3.0_f64.sqrt() * compared.value;
            return likely_cause::doubt(compared, mean, allowed, unit);
        }
        let nominal = self.nominal.evaluate(mean).ok()?;
        likely_cause::doubt(compared, nominal, self.allowed(mean)?, unit)
    }

    /// A calibration of these points, each with its number, made now; it is not kept.
    ///
    /// # Errors
    /// Why there is none, with what to do.
    pub fn fit(&self, points: &[(u64, Point)]) -> Result<Calibration, Refusal> {
        let made_ms = when::now().as_millisecond();
        let due = i64::try_from(self.probe.trust.calibration_due.as_millis()).unwrap_or(i64::MAX);
        make(
            points,
            &Subject {
                nominal: &self.nominal,
                unit: &self.probe.unit,
                input: self.probe.input,
                channel: &self.here,
                allowed: &|input| self.allowed(input),
                tolerance: self.probe.trust.tolerance,
                made_ms,
                due_ms: Some(made_ms.saturating_add(due)),
            },
        )
    }

    /// The largest error that a verification tolerates at a reference value, and whether that is
    /// assumed: half a kelvin, or a tenth of the value, where `verify_within` is not given (common
    /// practice: what a kitchen asks of a thermometer).
    #[must_use]
    pub fn tolerance(&self, value: f64) -> (f64, bool) {
        if let Some(within) = self.probe.trust.verify_within {
            return (within, false);
        }
        let unit = Unit::of(&self.probe.unit);
        let kelvin = match unit.dimension() {
            Some(Dimension::Temperature) => Unit::of("K").difference_in(0.5, &unit),
            _ => None,
        };
        (kelvin.unwrap_or(0.1 * value.abs()), true)
    }
}

/// The probe and its channel; a checked configuration has one for each.
fn wired(config: &Config, probe: &str, file: &Path) -> Result<(Probe, Channel), Failure> {
    let found = config.boards.iter().find_map(|board| {
        let mut probes = build::probes_of(config, board);
        probes.find(|(one, _)| one.name == probe)
    });
    let (probe, channel) = found.ok_or_else(|| {
        let names: Vec<&str> = config.probes.iter().map(|p| p.name.as_str()).collect();
        Failure::new(format!(
            "{}: no probe `{probe}`; there is `{}`",
            file.display(),
            names.join("`, `")
        ))
    })?;
    let can = probe.driver.check_calibrated();
    can.map_err(|why| Failure::new(format!("probe `{}`: {why}", probe.name)))?;
    Ok((probe.clone(), channel.clone()))
}

/// Before the first start there is no log, and so no history.
fn history(config: &Config, probe: &str) -> Result<History, Failure> {
    if !config.log.path.exists() {
        return Ok(History::default());
    }
    let query = log(config)?;
    let steps = query.steps(probe).map_err(|error| {
        let path = config.log.path.display();
        Failure::new(format!("log {path}: {error}"))
    })?;
    Ok(History::of(&steps))
}

fn log(config: &Config) -> Result<Query, Failure> {
    super::readings::open(&config.log.path)
}
