//! `nightbench readings`: a probe's readings from the log, as they are or as means over intervals.

use super::{Failure, Format, WhichLog, when, written};
use crate::config;
use crate::log::query::Query;
use crate::reading::{Estimate, Outcome, Quality, Reading};
use jiff::Timestamp;
use std::io::{self, BufWriter};
use std::path::PathBuf;
use std::process::ExitCode;

mod interval;
mod write;

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
    let (path, site) = log_of(&arguments.which)?;
    let query = open(&path)?;
    require_probe(&query, &arguments.probe, &path)?;
    let out = BufWriter::new(io::stdout().lock());
    let mut writer =
        write::Writer::new(out, arguments.format, site, zone, arguments.every.is_some());
    let mut printed = writer.header();
    let mut means = arguments.every.map(interval::Means::new);
    let mut nothing = true;
    let mut print = |row: Row| {
        nothing = false;
        printed = writer.row(&row);
        printed.is_ok()
    };
    query
        .readings(&arguments.probe, span, |reading| match &mut means {
            None => print(Row {
                reading,
                interval: None,
            }),
            Some(means) => means.take(reading).is_none_or(&mut print),
        })
        .map_err(|error| in_log(&path, &error.to_string()))?;
    if let Some(last) = means.and_then(interval::Means::finish) {
        print(last);
    }
    if nothing {
        eprintln!(
            "nightbench: {}",
            empty(&query, &arguments.probe, span, &path)?
        );
    }
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
    path: &std::path::Path,
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

fn log_of(which: &WhichLog) -> Result<(PathBuf, String), Failure> {
    if let Some(log) = &which.log {
        return Ok((log.clone(), String::new()));
    }
    let path = which.config.clone().unwrap_or_default();
    let (config, _) = config::load(&path).map_err(|error| Failure::new(error.to_string()))?;
    Ok((config.log.path, config.site))
}

fn open(path: &std::path::Path) -> Result<Query, Failure> {
    if !path.exists() {
        return Err(in_log(
            path,
            "there is no such file; has the service run yet?",
        ));
    }
    Query::open(path).map_err(|error| in_log(path, &error.to_string()))
}

fn in_log(path: &std::path::Path, what: &str) -> Failure {
    Failure::new(format!("log {}: {what}", path.display()))
}

fn require_probe(query: &Query, probe: &str, path: &std::path::Path) -> Result<(), Failure> {
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
