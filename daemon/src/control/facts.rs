//! What the service says of itself: a probe as it is configured, a reading, how everything stands.
//!
//! Plain values, as JSON on the socket: fields are only added.

use crate::config::Config;
use crate::reading::{Estimate, Reading};
use serde::{Deserialize, Serialize};

/// What the service has configured for a probe, so that a command whose file differs can say so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProbeFacts {
    /// The probe's label.
    pub probe: String,
    /// The board it is wired to.
    pub board: String,
    /// The channel of that board.
    pub channel: String,
    /// The driver's name.
    pub driver: String,
    /// What is measured: `temperature`.
    pub quantity: String,
    /// UCUM code of the value's unit.
    pub unit: String,
    /// What the driver is given: `ohm`, `volt`, `ratio`, `number`.
    pub input: String,
    /// UCUM code of the electrical quantity's unit.
    pub electrical_unit: String,
    /// The configured parameters by name, choices as their index.
    pub parameters: Vec<(String, Vec<f64>)>,
    /// Mean over so many milliseconds is logged; every line, where it is `None`.
    pub every_ms: Option<u64>,
    /// Rank of the active calibration among the probe's, from 1; `None` for the configured parameters.
    pub calibration: Option<u32>,
    /// When the active calibration should be made again, milliseconds since 1970.
    pub due_ms: Option<i64>,
}

impl ProbeFacts {
    /// Of a probe in a configuration, under no calibration; `None` where it is not configured.
    #[must_use]
    pub fn of(config: &Config, probe: &str) -> Option<Self> {
        let probe = config.probes.iter().find(|p| p.name == probe)?;
        let names = probe.driver.parameters().into_iter().map(|p| p.name);
        let names = names.map(|name| name.to_string());
        Some(Self {
            probe: probe.name.clone(),
            board: probe.board.clone(),
            channel: probe.channel.clone(),
            driver: probe.driver.name().to_owned(),
            quantity: probe.quantity.clone(),
            unit: probe.unit.clone(),
            input: probe.input.word().to_owned(),
            electrical_unit: probe.input.unit().to_owned(),
            parameters: names.zip(probe.parameters.iter().cloned()).collect(),
            every_ms: probe
                .every
                .map(|every| u64::try_from(every.as_millis()).unwrap_or(u64::MAX)),
            calibration: None,
            due_ms: None,
        })
    }

    /// The refusal for a probe that is not configured, in words.
    #[must_use]
    pub fn unknown(config: &Config, probe: &str) -> String {
        let names: Vec<&str> = config.probes.iter().map(|p| p.name.as_str()).collect();
        format!(
            "no probe `{}` is configured in the running service; there is `{}`",
            super::protocol::shortened(probe),
            names.join("`, `")
        )
    }
}

/// A reading as it was made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WatchedReading {
    /// The log's number of it.
    pub seq: u64,
    /// Milliseconds since 1970.
    pub time_ms: i64,
    /// Nanoseconds of `CLOCK_BOOTTIME`: goes on in suspend, never steps.
    pub boot_ns: u64,
    /// The log's number of the boot.
    pub boot: u32,
    /// What the board said, counts.
    pub raw: Option<f64>,
    /// Ohms, volts or ratio.
    pub electrical: Option<f64>,
    /// The value; `None` for a fault.
    pub value: Option<f64>,
    /// Standard uncertainty of the value, same unit.
    pub uncertainty: Option<f64>,
    /// `good`, `open_circuit`, …: as in the outlets.
    pub quality: String,
    /// Standard deviation of the averaged samples, counts.
    pub spread: Option<f64>,
    /// How many samples went in.
    pub samples: u32,
    /// UCUM code of the value's unit.
    pub unit: String,
    /// UCUM code of the electrical quantity's unit.
    pub electrical_unit: String,
    /// Which of the probe's calibrations made the value, from 1; 0 for the configured parameters.
    pub calibration: u32,
}

impl From<&Reading> for WatchedReading {
    fn from(reading: &Reading) -> Self {
        let estimate = reading.outcome.estimate();
        Self {
            seq: reading.seq,
            time_ms: reading.at.wall_ms,
            boot_ns: reading.at.boot_ns,
            boot: reading.at.boot,
            raw: reading.raw,
            electrical: reading.electrical,
            value: estimate.map(Estimate::value),
            uncertainty: estimate.map(Estimate::uncertainty),
            quality: reading.outcome.quality().tag().to_owned(),
            spread: reading.spread,
            samples: reading.samples,
            unit: reading.series.unit.clone(),
            electrical_unit: reading.series.electrical_unit.clone(),
            calibration: reading.series.calibration,
        }
    }
}

/// How everything stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Status {
    /// Of the program.
    pub version: String,
    /// Its process.
    pub process: u32,
    /// The site's name.
    pub site: String,
    /// The log's file.
    pub log: String,
    /// When it started, milliseconds since 1970.
    pub since_ms: i64,
    /// When it said this.
    pub now_ms: i64,
    /// In the order of the configuration.
    pub boards: Vec<BoardStatus>,
    /// In the order of the configuration.
    pub probes: Vec<ProbeStatus>,
    /// In the order of the configuration.
    pub outlets: Vec<OutletStatus>,
}

/// Something that was said, and when.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Said {
    /// Milliseconds since 1970.
    pub time_ms: i64,
    /// For a person.
    pub text: String,
}

/// How a board stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BoardStatus {
    /// Its name.
    pub name: String,
    /// When the last samples of it went into a reading.
    pub heard_ms: Option<i64>,
    /// Its last journal entry since the start.
    pub said: Option<Said>,
}

/// How a probe stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProbeStatus {
    /// As it is configured.
    #[serde(flatten)]
    pub facts: ProbeFacts,
    /// Its last reading since the start.
    pub reading: Option<WatchedReading>,
    /// How old that is, milliseconds.
    pub age_ms: Option<u64>,
}

/// How an outlet stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OutletStatus {
    /// Its name.
    pub name: String,
    /// Since when its connection stands; `None` where it does not.
    pub connected_ms: Option<i64>,
    /// When its receiver acknowledged something last, since the start.
    pub delivered_ms: Option<i64>,
    /// The number of the last live reading that was acknowledged since the start.
    pub acknowledged: Option<u64>,
    /// Readings that it has still to deliver; those of an outage as of the last commit.
    pub waiting: Option<u64>,
    /// What went wrong last since the start, also where it works again.
    pub trouble: Option<Said>,
}
