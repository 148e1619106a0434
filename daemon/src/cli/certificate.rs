//! `nightbench certificate`: a probe's calibration on paper, as text, JSON or a page to print.
//!
//! It only reads the log; what the certificate says is `calibrate::certificate`'s.

use super::calibration::{Job, Sheet};
use super::{Failure, ports};
use crate::words;
use std::fs;
use std::path::PathBuf;
use std::process::ExitCode;

/// Arguments of `certificate`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The probe's label
    probe: String,
    /// The configuration file
    #[arg(long, value_name = "FILE")]
    config: PathBuf,
    /// Of this calibration, by its number; else of the one in use
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u32).range(1..))]
    calibration: Option<u32>,
    /// How it is written
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// Into this file instead of stdout
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For a terminal or a mail, 80 columns wide
    Text,
    /// With all digits
    Json,
    /// A page to print, with drawings
    Html,
}

/// Prints it.
///
/// # Errors
/// Where there is no such probe or calibration, or it cannot be written.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let job = Job::open(&arguments.config, &arguments.probe)?;
    let number = arguments.calibration.or(job.history().active_number());
    let number = number.ok_or_else(|| not_calibrated(&job))?;
    let sheet = Sheet::of(&job, job.usable(number)?)?;
    let certificate = sheet.certificate();
    let text = match arguments.format {
        Format::Text => certificate.text(),
        Format::Json => certificate.json(),
        Format::Html => certificate.html(),
    };
    match &arguments.out {
        None => ports::print(&text)?,
        Some(file) => fs::write(file, text).map_err(|error| {
            let why = words::system(&error);
            Failure::new(format!("`{}` cannot be written: {why}", file.display()))
        })?,
    }
    Ok(ExitCode::SUCCESS)
}

fn not_calibrated(job: &Job) -> Failure {
    let probe = &job.probe().name;
    Failure::new(match job.history().calibrations() {
        [] => {
            format!("probe `{probe}` was never calibrated; `nightbench calibrate {probe}` does it")
        }
        made => format!(
            "probe `{probe}` is on its configured parameters; name one of its {} with \
             `--calibration NUMBER`",
            words::counted(made.len(), "calibration")
        ),
    })
}
