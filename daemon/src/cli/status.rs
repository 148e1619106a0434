//! `nightbench status`: how the running service stands, as it says itself.

use super::{Failure, WhichLog, when, written};
use crate::config;
use crate::control::client::{Client, ClientError};
use crate::log::query::Query;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

mod show;

/// Arguments of `status`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    #[command(flatten)]
    which: WhichLog,
}

/// Prints how the service stands.
///
/// # Errors
/// Where no service runs on the log, or it cannot be asked.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let log = log_of(&arguments.which)?;
    let status = Client::connect(&log).and_then(|mut client| client.status());
    let status = status.map_err(|error| match error {
        ClientError::NoService(_) => Failure::new(format!("{error}; {}", last_reading(&log))),
        error => Failure::new(error.to_string()),
    })?;
    let text = show::text(&status, &when::zone());
    written(io::stdout().write_all(text.as_bytes()))
}

fn log_of(which: &WhichLog) -> Result<PathBuf, Failure> {
    if let Some(log) = &which.log {
        return Ok(log.clone());
    }
    let path = which.config.clone().unwrap_or_default();
    let (config, _) = config::load(&path).map_err(|error| Failure::new(error.to_string()))?;
    Ok(config.log.path)
}

/// When the log's last reading was, in words.
fn last_reading(log: &Path) -> String {
    if !log.exists() {
        return "there is no log yet".to_owned();
    }
    match Query::open(log).and_then(|query| newest(&query)) {
        Err(error) => format!("its log cannot be read: {error}"),
        Ok(None) => "its log holds no reading".to_owned(),
        Ok(Some(ms)) => {
            let zone = when::zone();
            format!("its last reading was at {}", when::rfc3339(ms, &zone))
        }
    }
}

fn newest(query: &Query) -> Result<Option<i64>, crate::log::LogError> {
    let mut newest = None;
    for probe in query.probes() {
        newest = newest.max(query.extent(&probe)?.map(|(_, last)| last));
    }
    Ok(newest)
}
