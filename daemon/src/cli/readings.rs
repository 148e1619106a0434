//! `nightbench readings`: a probe's readings from the log, as they are or as means over intervals.

use super::calibrations::Chosen;
use super::{Failure, Format, WhichLog, when, written};
use crate::config::{self, Config};
use crate::log::query::Query;
use crate::reading::{Estimate, Outcome, Quality, Reading};
use jiff::Timestamp;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

mod again;
mod interval;
mod write;

use again::Again;

/// Arguments of `readings`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The probe's label
    probe: String,
    #[command(flatten)]
    which: WhichLog,
    /// First moment: 2026-11-25T02:14:07+01:00, "2026-11-25 02:14" or 02:14 (local time), or -8h
    #[arg(long, value_name = "MOMENT", allow_hyphen_values = true)]
    from: Option<String>,
    /// Up to this moment, not with it
    #[arg(long, value_name = "MOMENT", allow_hyphen_values = true)]
    to: Option<String>,
    /// Mean, lowest and highest over each interval: 30s, 10m, 2m30s, 1h, 1d
    #[arg(long, value_name = "SPAN", value_parser = when::parse_span)]
    every: Option<i64>,
    /// Values by this one of the probe's calibrations, whatever made them: its number, or
    /// `configured` for the configuration's parameters. What the log holds stays as it is
    #[arg(long, value_name = "NUMBER", value_parser = Chosen::parse)]
    calibration: Option<Chosen>,
    /// How they are written
    #[arg(long, value_enum, default_value = "csv")]
    format: Format,
}

/// One row of the result: a reading, or what an interval of them comes to.
#[derive(Clone, Debug, PartialEq)]
struct Row {
    reading: Reading,
    /// Lowest and highest value and number of readings, where it is an interval.
    interval: Option<Interval>,
    /// Whether the value is by a calibration that was asked for.
    recomputed: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Interval {
    lowest: Option<f64>,
    highest: Option<f64>,
    readings: u64,
    /// Those with a value.
    good: u64,
}

/// Prints the readings.
///
/// # Errors
/// Where there is no such log, probe or moment.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let zone = when::zone();
    let now = when::now();
    let moment = |text: &Option<String>, otherwise: i64| match text {
        Some(text) => when::parse(text, now, &zone).map(Timestamp::as_millisecond),
        None => Ok(otherwise),
    };
    let span = (
        moment(&arguments.from, i64::MIN)?,
        moment(&arguments.to, i64::MAX)?,
    );
    check_order(span)?;
    let (path, config) = log_of(&arguments.which)?;
    let site = config
        .as_ref()
        .map_or_else(String::new, |config| config.site.clone());
    let query = open(&path)?;
    require_probe(&query, &arguments.probe, &path)?;
    let again = match arguments.calibration {
        None => None,
        Some(chosen) => {
            let again = Again::by(chosen, &arguments.probe, &query, config.as_ref());
            Some(again.map_err(|what| in_log(&path, &what))?)
        }
    };
    let out = BufWriter::new(io::stdout().lock());
    let (format, intervals) = (arguments.format, arguments.every.is_some());
    let writer = write::Writer::new(out, format, site, zone, intervals)
        .recomputed(again.as_ref().map(|again| again.how.clone()));
    print(arguments, &query, (span, &path), writer, again.as_ref())
}

fn print(
    arguments: &Arguments,
    query: &Query,
    (span, path): ((i64, i64), &Path),
    mut writer: write::Writer<impl Write>,
    again: Option<&Again>,
) -> Result<ExitCode, Failure> {
    let mut printed = writer.header();
    let mut means = arguments.every.map(interval::Means::new);
    let mut told = again::Told::default();
    let mut recompute = again.map(Again::recompute);
    let mut print = |row: Row| {
        printed = writer.row(&row);
        printed.is_ok()
    };
    let visit = |reading| {
        let (reading, recomputed) = match &mut recompute {
            None => (reading, false),
            Some(recompute) => again::parts(recompute.reading(reading)),
        };
        told.count(&reading, recomputed);
        match &mut means {
            None => print(Row {
                reading,
                interval: None,
                recomputed,
            }),
            Some(means) => means.take(reading, recomputed).is_none_or(&mut print),
        }
    };
    let visited = query.readings(&arguments.probe, span, visit);
    visited.map_err(|error| in_log(path, &error.to_string()))?;
    if let Some(last) = means.and_then(interval::Means::finish) {
        print(last);
    }
    if told.readings == 0 {
        let empty = empty(query, &arguments.probe, span, path)?;
        eprintln!("nightbench: {empty}");
    }
    told.say(again.zip(recompute.as_ref()));
    written(printed.and_then(|()| writer.flush()))
}

fn check_order((from, to): (i64, i64)) -> Result<(), Failure> {
    if from < to {
        return Ok(());
    }
    let [from, to] = [from, to].map(shown);
    Err(Failure::new(format!(
        "`--from` ({from}) is not before `--to` ({to}), so there is nothing between them; exchange \
         them, or correct one"
    )))
}

fn shown(ms: i64) -> String {
    when::rfc3339(ms, &when::zone())
}

/// What is said where nothing was found.
fn empty(
    query: &Query,
    probe: &str,
    (from, to): (i64, i64),
    path: &Path,
) -> Result<String, Failure> {
    let extent = query.extent(probe);
    let extent = extent.map_err(|error| in_log(path, &error.to_string()))?;
    let holds = match extent {
        Some((first, last)) => format!("the log holds {} to {}", shown(first), shown(last)),
        None => "the log holds none of this probe yet".to_owned(),
    };
    let span = match (from, to) {
        (i64::MIN, i64::MAX) => String::new(),
        (from, i64::MAX) => format!(" from {} on", shown(from)),
        (i64::MIN, to) => format!(" before {}", shown(to)),
        (from, to) => format!(" between {} and {}", shown(from), shown(to)),
    };
    Ok(format!("no readings of `{probe}`{span}; {holds}"))
}

/// Path of the log, and the configuration where that names it.
pub(super) fn log_of(which: &WhichLog) -> Result<(PathBuf, Option<Config>), Failure> {
    if let Some(log) = &which.log {
        return Ok((log.clone(), None));
    }
    let path = which.config.clone().unwrap_or_default();
    let (config, _) = config::load(&path).map_err(|error| Failure::new(error.to_string()))?;
    Ok((config.log.path.clone(), Some(config)))
}

pub(super) fn open(path: &Path) -> Result<Query, Failure> {
    if !path.exists() {
        return Err(in_log(
            path,
            "there is no such file; has the service run yet?",
        ));
    }
    Query::open(path).map_err(|error| in_log(path, &error.to_string()))
}

pub(super) fn in_log(path: &Path, what: &str) -> Failure {
    Failure::new(format!("log {}: {what}", path.display()))
}

fn require_probe(query: &Query, probe: &str, path: &Path) -> Result<(), Failure> {
    let probes = query.probes();
    if probes.iter().any(|known| known == probe) {
        return Ok(());
    }
    let there = match probes.as_slice() {
        [] => "it holds no probe yet".to_owned(),
        known => format!("it holds `{}`", known.join("`, `")),
    };
    Err(in_log(path, &format!("no probe `{probe}`; {there}")))
}
