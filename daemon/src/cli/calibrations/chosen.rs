//! Which calibration is meant on the command line: a number, or the configured parameters.

use crate::calibrate::History;
use crate::calibrate::history::{Conversion, Made};
use crate::config::{Config, Probe};
use crate::driver::Model;
use crate::service::transfer;
use std::fmt;

/// A calibration of a probe, or what the configuration says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chosen {
    /// The configuration's parameters.
    Configured,
    /// The calibration of this number, from 1.
    Number(u32),
}

impl Chosen {
    /// `configured`, or a number; 0 is the configured parameters, as in listings.
    ///
    /// # Errors
    /// What would be right, for a person.
    pub fn parse(text: &str) -> Result<Self, String> {
        match (text, text.parse()) {
            ("configured", _) | (_, Ok(0)) => Ok(Self::Configured),
            (_, Ok(number)) => Ok(Self::Number(number)),
            _ => Err(format!(
                "`{text}` is no calibration; write its number, or `configured`"
            )),
        }
    }

    /// The calibration of this number.
    ///
    /// # Errors
    /// Where there is none such that can be read, with those that are there.
    pub fn made<'h>(number: u32, probe: &str, history: &'h History) -> Result<&'h Made, String> {
        let made = history.calibration(number);
        made.ok_or_else(|| missing(probe, number, history))
    }

    /// How it turns the probe's electrical quantity into values.
    ///
    /// # Errors
    /// Where there is none such, or it cannot be computed here; for a person.
    pub fn conversion(
        self,
        probe: &str,
        history: &History,
        config: Option<&Config>,
    ) -> Result<Conversion, String> {
        let number = match self {
            Self::Configured => return configured(probe, config),
            Self::Number(number) => number,
        };
        let made = Self::made(number, probe, history)?;
        let by = Conversion::by(number, &made.calibration, model(probe, config));
        by.map_err(|why| format!("calibration {number} of probe `{probe}` {why}"))
    }
}

impl fmt::Display for Chosen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Configured => f.write_str("the configured parameters"),
            Self::Number(number) => write!(f, "calibration {number}"),
        }
    }
}

/// The model of a probe as it is configured, where it is.
pub fn model<'c>(probe: &str, config: Option<&'c Config>) -> Option<&'c Model> {
    let mut probes = config.into_iter().flat_map(|config| &config.probes);
    let found = probes.find(|one| one.name == probe);
    found.map(|one| &one.model)
}

fn configured(probe: &str, config: Option<&Config>) -> Result<Conversion, String> {
    let config = config.ok_or_else(|| {
        "`configured` means the configuration's parameters; give `--config FILE` instead of `--log`"
            .to_owned()
    })?;
    let named = |one: &&Probe| one.name == probe;
    let found = config.probes.iter().find(named);
    let found = found.ok_or_else(|| format!("the configuration has no probe `{probe}`"))?;
    let boards = config.boards.iter().filter(|one| one.name == found.board);
    let mut channels = boards.flat_map(|board| &board.channels);
    let channel = channels.find(|one| one.name == found.channel);
    let channel = channel.ok_or_else(|| {
        let (board, channel) = (&found.board, &found.channel);
        format!("the configuration has no board `{board}` with channel `{channel}`")
    })?;
    let stated = transfer::configured(found, channel);
    let here = transfer::here(found, channel);
    Ok(Conversion::configured(
        stated,
        here,
        found.input.unit(),
        &found.unit,
    ))
}

fn missing(probe: &str, number: u32, history: &History) -> String {
    let numbers = history.calibrations().iter();
    let numbers: Vec<_> = numbers.map(|made| made.number.to_string()).collect();
    let there = match numbers.as_slice() {
        [] => "it was never calibrated".to_owned(),
        numbers => format!("there is {}", numbers.join(", ")),
    };
    format!("no calibration {number} of probe `{probe}` that can be read; {there}")
}
