//! From the command line to the question: which probe, which converter, which range.

use super::{Arguments, quantity};
use crate::calibrate::divider_choice::Question;
use crate::cli::Failure;
use crate::config::{self, Config};
use crate::driver::{self, Driver, Model, Parameter, ParameterKind};
use crate::measure::front_end::{FrontEnd, Side};
use std::path::Path;

/// A converter of 10 bits, as most cheap boards have.
const DEFAULT_BITS: u32 = 10;

/// The question, and what the answer is told with.
pub(super) struct Asked {
    pub(super) question: Question,
    /// UCUM code of the value's unit; empty where it has none.
    pub(super) unit: String,
    /// The probe in words: "driver `thermistor`", "probe `vat`".
    pub(super) probe: String,
    /// The resistor that the configuration has, ohm.
    pub(super) present_ohm: Option<f64>,
    /// Watt per kelvin.
    pub(super) dissipation: Option<f64>,
}

/// What is known of the probe before its range is.
struct Probe {
    name: String,
    model: Model,
    unit: String,
    front_end: Option<FrontEnd>,
}

/// Reads the command line, and the configuration that it names.
pub(super) fn read(arguments: &Arguments) -> Result<Asked, Failure> {
    let probe = match (&arguments.driver, &arguments.config) {
        (Some(name), _) => by_driver(name, &arguments.set)?,
        (None, Some(path)) => by_configuration(path, arguments.probe.as_deref().unwrap_or(""))?,
        (None, None) => {
            return Err(Failure::new(
                "name a driver, or a configuration and a probe",
            ));
        }
    };
    let unit = if probe.unit.is_empty() {
        "1"
    } else {
        &probe.unit
    };
    let value = |option: &str, text: &str| option_value(option, quantity::read(text, unit));
    let supply = arguments
        .supply
        .as_deref()
        .map(|text| quantity::read(text, "V"));
    let dissipation = arguments.dissipation.as_deref().map(quantity::dissipation);
    let (full_scale, side, present_ohm) = converter(arguments, probe.front_end);
    Ok(Asked {
        question: Question {
            model: probe.model,
            range: (value("from", &arguments.from)?, value("to", &arguments.to)?),
            full_scale,
            side,
            supply_volt: supply
                .map(|volt| option_value("supply", volt))
                .transpose()?,
            relative: probe.unit == "lx",
            series: arguments.series.into(),
        },
        unit: probe.unit,
        probe: probe.name,
        present_ohm,
        dissipation: dissipation
            .map(|one| option_value("dissipation", one))
            .transpose()?,
    })
}

fn option_value(option: &str, read: Result<f64, String>) -> Result<f64, Failure> {
    read.map_err(|wrong| Failure::new(format!("--{option}: {wrong}")))
}

/// Full scale, side and resistor: what is said, else what the channel has.
fn converter(arguments: &Arguments, front_end: Option<FrontEnd>) -> (f64, Side, Option<f64>) {
    let bits = |bits: u32| ((1_u64 << bits) - 1) as f64;
    let said = arguments.full_scale.or(arguments.bits.map(bits));
    let side = arguments.probe_side.map(Side::from);
    let wired = match front_end {
        Some(FrontEnd::Divider {
            probe,
            resistor_ohm,
            full_scale,
        }) => Some((full_scale, probe, resistor_ohm)),
        Some(FrontEnd::AbsoluteDivider(divider)) => {
            Some((divider.full_scale, divider.probe, divider.resistor_ohm))
        }
        _ => None,
    };
    (
        said.or(wired.map(|wired| wired.0))
            .unwrap_or(bits(DEFAULT_BITS)),
        side.or(wired.map(|wired| wired.1)).unwrap_or(Side::Low),
        wired.map(|wired| wired.2),
    )
}

fn by_driver(name: &str, settings: &[String]) -> Result<Probe, Failure> {
    let driver = driver::find(name).ok_or_else(|| {
        let names: Vec<String> = driver::built_in()
            .iter()
            .map(|one| format!("`{}`", one.name()))
            .collect();
        Failure::new(format!(
            "there is no driver `{name}`; there are {}",
            names.join(", ")
        ))
    })?;
    let values = values(&driver, settings).map_err(Failure::new)?;
    let model = driver.bind(values).map_err(|error| {
        Failure::new(format!(
            "driver `{name}`: {error}; give parameters with --set NAME=VALUE"
        ))
    })?;
    Ok(Probe {
        name: format!("driver `{name}`"),
        model,
        unit: driver.unit().unwrap_or_default().to_owned(),
        front_end: None,
    })
}

/// One list per parameter, in the driver's order.
fn values(driver: &Driver, settings: &[String]) -> Result<Vec<Vec<f64>>, String> {
    let declared = driver.parameters();
    let mut values = vec![Vec::new(); declared.len()];
    for setting in settings {
        let (name, text) = setting
            .split_once('=')
            .ok_or_else(|| format!("--set {setting}: write it as `--set r0=10kOhm`"))?;
        let index = declared.iter().position(|one| one.name == name.trim());
        let index = index.ok_or_else(|| {
            let names: Vec<String> = declared
                .iter()
                .map(|one| format!("`{}`", one.name))
                .collect();
            let (driver, names) = (driver.name(), names.join(", "));
            format!("--set {setting}: driver `{driver}` has no parameter `{name}`; it has {names}")
        })?;
        values[index] =
            value(&declared[index], text).map_err(|wrong| format!("--set {setting}: {wrong}"))?;
    }
    Ok(values)
}

fn value(parameter: &Parameter, text: &str) -> Result<Vec<f64>, String> {
    match parameter.kind {
        ParameterKind::Number { unit, .. } => quantity::read(text, unit).map(|one| vec![one]),
        ParameterKind::List { unit, .. } => text
            .split(',')
            .map(|one| quantity::read(one, unit))
            .collect(),
        ParameterKind::Choice { words, .. } => {
            let index = words.iter().position(|word| *word == text.trim());
            let index = index.ok_or_else(|| format!("it must be one of {}", words.join(", ")))?;
            Ok(vec![index as f64])
        }
    }
}

fn by_configuration(path: &Path, name: &str) -> Result<Probe, Failure> {
    let (config, _) = config::load(path).map_err(|error| Failure::new(error.to_string()))?;
    let probe = config
        .probes
        .iter()
        .find(|probe| probe.name == name)
        .ok_or_else(|| {
            let names: Vec<String> = config
                .probes
                .iter()
                .map(|probe| format!("`{}`", probe.name))
                .collect();
            let (file, names) = (path.display(), names.join(", "));
            Failure::new(format!("`{file}` has no probe `{name}`; it has {names}"))
        })?;
    Ok(Probe {
        name: format!("probe `{name}`"),
        model: probe.model.clone(),
        unit: probe.unit.clone(),
        front_end: front_end(&config, &probe.board, &probe.channel),
    })
}

fn front_end(config: &Config, board: &str, channel: &str) -> Option<FrontEnd> {
    let board = config.boards.iter().find(|one| one.name == board)?;
    let channel = board.channels.iter().find(|one| one.name == channel)?;
    Some(channel.front_end)
}
