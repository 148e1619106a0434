//! `nightbench divider`: which resistor to solder in beside a probe.
//!
//! Computes; asks no board, and changes nothing. What is computed, and why, is
//! `calibrate::divider_choice`'s.

mod plot;
mod quantity;
mod question;
mod show;

use super::{Failure, ports};
use crate::calibrate::divider_choice::{NoAnswer, Series, choose};
use crate::measure::front_end::Side;
use std::path::PathBuf;
use std::process::ExitCode;

/// Arguments of `divider`.
#[derive(Debug, clap::Args)]
#[group(id = "which", required = true, args = ["driver", "config"])]
pub struct Arguments {
    /// The probe's driver, e.g. `thermistor`
    #[arg(long, value_name = "NAME", conflicts_with = "config")]
    driver: Option<String>,
    /// A parameter of the driver, as often as needed: `r0=10kOhm`, `beta=3950K`
    #[arg(long, value_name = "NAME=VALUE", conflicts_with = "config")]
    set: Vec<String>,
    /// The configuration that has the probe; converter and wiring are its channel's
    #[arg(long, value_name = "FILE", requires = "probe")]
    config: Option<PathBuf>,
    /// The probe in that configuration
    #[arg(long, value_name = "PROBE", requires = "config")]
    probe: Option<String>,
    /// One end of the range of use: `0Cel`
    #[arg(long, value_name = "VALUE", allow_hyphen_values = true)]
    from: String,
    /// The other end: `40Cel`
    #[arg(long, value_name = "VALUE", allow_hyphen_values = true)]
    to: String,
    /// The converter's code of a full-scale input: 1023, 1024, 4095 ...
    #[arg(long, value_name = "COUNT", conflicts_with = "bits", value_parser = full_scale)]
    full_scale: Option<f64>,
    /// The converter's bits, for a full scale of 2^BITS - 1 [default: 10]
    #[arg(long, value_name = "BITS", value_parser = clap::value_parser!(u32).range(4..=32))]
    bits: Option<u32>,
    /// Where the probe sits: between node and ground, or between supply and node [default: low]
    #[arg(long, value_enum)]
    probe_side: Option<Where>,
    /// Volts across the divider, for self-heating: `5V`
    #[arg(long, value_name = "VOLTS")]
    supply: Option<String>,
    /// The probe's dissipation constant where it is used, for self-heating: `1.5mW/K`
    #[arg(long, value_name = "CONSTANT", requires = "supply")]
    dissipation: Option<String>,
    /// The series that resistors are made in
    #[arg(long, value_enum, ignore_case = true, default_value_t = Which::E24)]
    series: Which,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Where {
    /// Probe between node and ground
    Low,
    /// Probe between supply and node
    High,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Which {
    /// 12 values a decade
    #[value(name = "E12")]
    E12,
    /// 24 values a decade
    #[value(name = "E24")]
    E24,
    /// 96 values a decade
    #[value(name = "E96")]
    E96,
}

impl From<Which> for Series {
    fn from(which: Which) -> Self {
        match which {
            Which::E12 => Self::E12,
            Which::E24 => Self::E24,
            Which::E96 => Self::E96,
        }
    }
}

impl From<Where> for Side {
    fn from(side: Where) -> Self {
        match side {
            Where::Low => Self::Low,
            Where::High => Self::High,
        }
    }
}

/// Chooses, and prints the answer.
///
/// # Errors
/// What cannot be understood of the command line or the configuration, a range that the probe does not
/// have, and where stdout cannot be written to.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    ports::print(&answer(arguments)?)?;
    Ok(ExitCode::SUCCESS)
}

fn answer(arguments: &Arguments) -> Result<String, Failure> {
    let asked = question::read(arguments)?;
    let refused = |none: NoAnswer| Failure::new(format!("{}: {none}", asked.probe));
    let choice = choose(&asked.question).map_err(refused)?;
    show::answer(&asked, &choice).map_err(refused)
}

fn full_scale(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok();
    let number = number.filter(|number| (15.0..=4_294_967_296.0).contains(number));
    number.ok_or_else(|| "write the highest code, from 15 to 4294967296: 1023".to_owned())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
