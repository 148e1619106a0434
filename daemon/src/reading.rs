//! The values every step of the flow passes on: estimates, qualities, series, readings.
//!
//! A value cannot be had without its standard uncertainty and its quality: [`Reading`] has no
//! public field for it. Nothing here knows a clock, a file or a board.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::sync::Arc;

/// A number with its standard uncertainty, both finite (JCGM 100:2008, 2.3.1).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    value: f64,
    uncertainty: f64,
}

impl Estimate {
    /// `None` where either number is not finite or the uncertainty is negative. A zero has no sign
    /// afterwards: the log keeps none.
    #[must_use]
    pub fn new(value: f64, uncertainty: f64) -> Option<Self> {
        (value.is_finite() && uncertainty.is_finite() && uncertainty >= 0.0).then_some(Self {
            value: value + 0.0,
            uncertainty: uncertainty + 0.0,
        })
    }

    /// The best estimate, in the unit of the series it belongs to.
    #[must_use]
    pub fn value(self) -> f64 {
        self.value
    }

    /// One standard deviation, in the same unit as the value.
    #[must_use]
    pub fn uncertainty(self) -> f64 {
        self.uncertainty
    }
}

/// Good, or why there is no number.
///
/// The discriminants are stored in the log: never renumber, only add.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[repr(u8)]
pub enum Quality {
    /// A number to trust within its uncertainty.
    Good = 0,
    /// The converter sees what a broken lead or an unplugged probe gives.
    OpenCircuit = 1,
    /// The converter sees what two touching leads give.
    ShortCircuit = 2,
    /// The converter is at, or beyond, an end of its range.
    Saturated = 3,
    /// The electrical quantity is outside what the driver can turn into a value.
    OutOfRange = 4,
    /// The board's line names the channel, but what stands there is no number.
    Unreadable = 5,
    /// The board talks, but has not named this channel for too long.
    Stale = 6,
    /// Nothing readable has come from the board for too long.
    BoardSilent = 7,
    /// The driver did not answer, or answered with something that is no number.
    DriverFailed = 8,
    /// A number, but outside the calibrated range: its uncertainty has grown accordingly.
    Extrapolated = 9,
}

impl Quality {
    /// Every quality, in the order of the stored codes.
    pub const ALL: [Self; 10] = [
        Self::Good,
        Self::OpenCircuit,
        Self::ShortCircuit,
        Self::Saturated,
        Self::OutOfRange,
        Self::Unreadable,
        Self::Stale,
        Self::BoardSilent,
        Self::DriverFailed,
        Self::Extrapolated,
    ];

    /// The number stored in the log.
    #[must_use]
    pub fn code(self) -> u8 {
        self as u8
    }

    /// The quality of a stored number; `None` for one that this version does not know.
    #[must_use]
    pub fn from_code(code: u8) -> Option<Self> {
        Self::ALL.get(usize::from(code)).copied()
    }

    /// In words, as people read it: `open circuit`.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::OpenCircuit => "open circuit",
            Self::ShortCircuit => "short circuit",
            Self::Saturated => "saturated",
            Self::OutOfRange => "out of range",
            Self::Unreadable => "unreadable",
            Self::Stale => "stale",
            Self::BoardSilent => "board silent",
            Self::DriverFailed => "driver failed",
            Self::Extrapolated => "outside the calibrated range",
        }
    }

    /// As a machine reads it, without spaces: `open_circuit`.
    #[must_use]
    pub fn tag(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::OpenCircuit => "open_circuit",
            Self::ShortCircuit => "short_circuit",
            Self::Saturated => "saturated",
            Self::OutOfRange => "out_of_range",
            Self::Unreadable => "unreadable",
            Self::Stale => "stale",
            Self::BoardSilent => "board_silent",
            Self::DriverFailed => "driver_failed",
            Self::Extrapolated => "extrapolated",
        }
    }

    /// Whether a reading of this quality carries a value.
    #[must_use]
    pub fn has_value(self) -> bool {
        matches!(self, Self::Good | Self::Extrapolated)
    }

    /// What a person should look at; empty for `Good`.
    #[must_use]
    pub fn advice(self) -> &'static str {
        match self {
            Self::Good => "",
            Self::OpenCircuit => "check the plug and the lead for a break",
            Self::ShortCircuit => "check for touching leads or water in the probe",
            Self::Saturated => "check the wiring, and `full_scale` in the configuration",
            Self::OutOfRange => "check the probe and the driver's parameters",
            Self::Unreadable => "look at the board's lines: this field is no number",
            Self::Stale => "look at the board's lines: this field is missing",
            Self::BoardSilent => "check the board's power and cable, and what it sends",
            Self::DriverFailed => "run the driver's own check, and read the journal",
            Self::Extrapolated => {
                "add a reference point out here, or trust it only within its uncertainty"
            }
        }
    }
}

impl fmt::Display for Quality {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// When a line was read, or began by its board's clock: wall clock for the record, boot time for durations.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Moment {
    /// Milliseconds since 1970-01-01T00:00:00Z by the host's wall clock.
    pub wall_ms: i64,
    /// Nanoseconds of `CLOCK_BOOTTIME`: goes on in suspend, never steps.
    pub boot_ns: u64,
}

/// A moment as it is kept: the wall time may have been moved by a millisecond or more, so that the
/// stamps of one probe strictly increase.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Stamp {
    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub wall_ms: i64,
    /// Nanoseconds of `CLOCK_BOOTTIME` within the boot.
    pub boot_ns: u64,
    /// Which boot of the host, as numbered by the log.
    pub boot: u32,
}

/// What a run of readings has in common. A probe that moves to another channel, or whose driver
/// gives another unit, starts a new series; the probe's name joins them.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Series {
    /// The log's number of it.
    pub id: u32,
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
    /// UCUM code of the value's unit: `Cel`.
    pub unit: String,
    /// UCUM code of the electrical quantity's unit: `Ohm`, `V`, or `1` for a ratio or plain number.
    pub electrical_unit: String,
    /// Which of the probe's calibrations made the values, counted from 1; 0 for the configured
    /// parameters.
    pub calibration: u32,
}

/// What came out of measuring: a number, or the reason why there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outcome {
    /// A value in the series' unit.
    Value(Estimate),
    /// A value outside the calibrated range.
    Extrapolated(Estimate),
    /// No value; never a quality that has one.
    Fault(Quality),
}

impl Outcome {
    /// The quality of either case.
    #[must_use]
    pub fn quality(self) -> Quality {
        match self {
            Self::Value(_) => Quality::Good,
            Self::Extrapolated(_) => Quality::Extrapolated,
            Self::Fault(quality) => quality,
        }
    }

    /// The number, where there is one.
    #[must_use]
    pub fn estimate(self) -> Option<Estimate> {
        match self {
            Self::Value(estimate) | Self::Extrapolated(estimate) => Some(estimate),
            Self::Fault(_) => None,
        }
    }
}

/// One logged reading of one probe.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The log's number; 0 until the log's writer gave one.
    pub seq: u64,
    /// Probe, board, driver and unit.
    pub series: Arc<Series>,
    /// When it was acquired.
    pub at: Stamp,
    /// What the board said, in counts (the mean, where several samples were averaged); never
    /// corrected.
    pub raw: Option<f64>,
    /// Ohms, volts or ratio, as the series says.
    pub electrical: Option<f64>,
    /// The value with its uncertainty, or the fault.
    pub outcome: Outcome,
    /// Standard deviation of the averaged samples, in counts as the front end takes them (corrected,
    /// and scaled to the supply); `None` where only one was taken.
    pub spread: Option<f64>,
    /// How many samples went in; 0 for a fault without samples (board silent).
    pub samples: u32,
}
