//! `nightbench calibrate PROBE --config FILE`: the guide on a running service and its log.
//!
//! Finds out whether it can run here, connects, and says at the end what is kept. It needs a service,
//! for live readings, and a terminal; points from a file need neither.

mod answers;
mod bench;
mod ending;
mod line;
mod offers;

use super::run as run_screens;
use crate::calibrate::session::Session;
use crate::calibrate::settling::Rules;
use crate::cli::calibration::Job;
use crate::cli::listen::tell;
use crate::cli::{Failure, ports};
use crate::control::client::ClientError;
use crate::words::{self, counted};
use bench::Bench;
use ending::Ending;
use line::Line;
use std::io::{self, IsTerminal};
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

/// What the guide is told on the command line.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<'a> {
    /// The probe's label.
    pub probe: &'a str,
    /// The configuration file.
    pub config: &'a Path,
    /// How long a probe must stand still before it is captured, at least.
    pub still_for: Duration,
}

/// Guides a person to a calibration. Exit code 2 where there is no terminal, or no service runs.
///
/// # Errors
/// Why it cannot begin, or what went wrong with the terminal; what was captured is kept.
pub fn run(job: Job, wanted: Wanted<'_>) -> Result<ExitCode, Failure> {
    if !is_fit_for_screens() {
        return cannot(&format!(
            "the guide draws on a terminal, and here is none (or one that `TERM` calls dumb); \
             `nightbench calibrate {} --config FILE --points FILE` takes the points from a file, \
             and `--status` says what is at hand",
            wanted.probe
        ));
    }
    let ending = Ending::heed()?;
    let line = match Line::connect(&job, ending) {
        Ok(line) => line,
        Err(ClientError::NoService(log)) => {
            return cannot(&format!(
                "the guide needs live readings, and no service runs on the log `{}`; start it with \
                 `systemctl start nightbench`, or in another terminal with \
                 `nightbench serve --config {}`; points that were kept are safe in the log",
                log.display(),
                wanted.config.display()
            ));
        }
        Err(error) => return Err(Failure::new(error.to_string())),
    };
    guide(job, line, wanted)
}

fn guide(job: Job, mut line: Line, wanted: Wanted<'_>) -> Result<ExitCode, Failure> {
    let least = wanted.still_for.as_secs_f64();
    let rules = Rules {
        least,
        ..Rules::default()
    };
    let history = job.history().clone();
    let mut session = Session::new(Bench::new(job, rules), history);
    run_screens(&mut session, &mut line).map_err(|error| {
        let why = words::system(&error);
        Failure::new(format!(
            "the terminal failed: {why}; points that were captured are kept"
        ))
    })?;
    ports::print(&left(&session, wanted))?;
    Ok(ExitCode::SUCCESS)
}

/// What a person should know who has left.
fn left(session: &Session<Bench>, Wanted { probe, config, .. }: Wanted<'_>) -> String {
    let points = session.points().len();
    let in_use = match session.history().active_number() {
        Some(number) => format!("calibration {number}"),
        None => "the configured parameters".to_owned(),
    };
    let go_on = format!(
        "`nightbench calibrate {probe} --config {}`",
        config.display()
    );
    let kept = match points {
        0 => format!("begin again with {go_on}"),
        _ => format!(
            "{} kept in the log, in no calibration yet; go on with {go_on}",
            counted(points, "point")
        ),
    };
    format!("probe `{probe}`: in use: {in_use}\n{kept}\n")
}

fn is_fit_for_screens() -> bool {
    let is_dumb = std::env::var_os("TERM").is_none_or(|term| term.is_empty() || term == "dumb");
    io::stdin().is_terminal() && io::stdout().is_terminal() && !is_dumb
}

fn cannot(why: &str) -> Result<ExitCode, Failure> {
    // Not as a line of a journal: nothing has begun.
    tell(&format!("nightbench: {why}"));
    Ok(ExitCode::from(2))
}
