//! The command line of `nightbench calibrate`, and what each of its options does.

use super::Job;
use super::show;
use super::standing;
use crate::calibrate::points_file::{self, Subject};
use crate::calibrate::{Point, Reference, Refusal, Role};
use crate::cli::calibrations::Chosen;
use crate::cli::{Failure, ports};
use crate::config::unit::Unit;
use crate::config::{Problem, read_text};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

const WITHOUT: &str = "\
say what is to be done: `--points FILE` makes a calibration from a file of points (with `--activate`
puts it in use), `--use NUMBER` puts a calibration in use, `--use configured` goes back to the
configured parameters, `--withdraw POINT` takes a point out, `--status` says what is at hand";

/// Arguments of `calibrate`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The probe's label
    probe: String,
    /// The configuration file
    #[arg(long, value_name = "FILE")]
    config: PathBuf,
    /// Make a calibration from this file of reference points
    #[arg(long, value_name = "FILE", conflicts_with_all = ["chosen", "withdraw", "status"])]
    points: Option<PathBuf>,
    /// Put it in use at once, where no point is questioned
    #[arg(long, requires = "points")]
    activate: bool,
    /// Put a calibration in use by its number, or go back: `configured`
    #[arg(long = "use", value_name = "NUMBER", value_parser = Chosen::parse,
          conflicts_with_all = ["withdraw", "status"])]
    chosen: Option<Chosen>,
    /// A point that shall not count any more, by its number
    #[arg(long, value_name = "POINT", conflicts_with = "status")]
    withdraw: Option<u64>,
    /// Why, in a few words; kept in the log
    #[arg(long, value_name = "TEXT", default_value = "")]
    why: String,
    /// Say what is at hand, and which point to take next
    #[arg(long)]
    status: bool,
}

/// Does what the options say.
///
/// # Errors
/// Why it could not be done; what was kept by then is said.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let why = arguments.why.trim();
    let mut job = Job::open(&arguments.config, &arguments.probe)?;
    if let Some(file) = &arguments.points {
        return from_file(&mut job, file, arguments.activate.then_some(why));
    }
    if let Some(chosen) = arguments.chosen {
        job.activate(chosen, why)?;
        return said(&show::in_use(&job));
    }
    if let Some(point) = arguments.withdraw {
        job.withdraw(
            point,
            if why.is_empty() {
                "no reason given"
            } else {
                why
            },
        )?;
        return said(&show::withdrawn(&job, point));
    }
    if arguments.status {
        return said(&standing::text(&job));
    }
    eprintln!("{WITHOUT}");
    Ok(ExitCode::from(2))
}

fn said(text: &str) -> Result<ExitCode, Failure> {
    ports::print(text)?;
    Ok(ExitCode::SUCCESS)
}

/// Points to a calibration. `activate` is why it is put in use, where it shall be.
fn from_file(job: &mut Job, file: &Path, activate: Option<&str>) -> Result<ExitCode, Failure> {
    job.connect()?;
    let points = read(job, file)?;
    let kept = keep(job, points)?;
    let questioned = show::questioned(job, &kept);
    let mut text = String::new();
    if kept.iter().any(|(_, point)| is_fitted(point)) {
        let number = job.make(&kept)?;
        text += &show::made(job, number)?;
        text += &questioned;
        text += &match (activate, questioned.is_empty()) {
            (Some(why), true) => {
                job.activate(Chosen::Number(number), why)?;
                show::in_use(job)
            }
            (Some(_), false) => show::not_activated(job, number),
            (None, _) => show::how_to_activate(job, number),
        };
    } else {
        text += &verified(job, &kept)?;
        text += &questioned;
    }
    text += &job.resistors();
    let held_back = activate.is_some() && !questioned.is_empty();
    ports::print(&text)?;
    Ok(if held_back {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}

/// Points that are all kept out verify the calibration in use.
fn verified(job: &mut Job, points: &[(u64, Point)]) -> Result<String, Failure> {
    let checks = points.iter().filter(|(_, point)| point.role == Role::Check);
    let checks: Vec<&(u64, Point)> = checks.collect();
    if checks.is_empty() {
        return Ok(String::new());
    }
    let Some(number) = job.history().active_number() else {
        return Ok(show::nothing_to_verify(job));
    };
    let step = job.usable(number)?.step;
    for (number, point) in checks {
        job.verify(step, (*number, point))?;
    }
    show::made(job, number)
}

pub(super) fn is_fitted(point: &Point) -> bool {
    let is_resistor = matches!(point.compared.reference, Reference::Resistor { .. });
    point.role == Role::Fit && !is_resistor
}

/// The points of a file, each captured; every fault at once, and nothing kept where there is one.
fn read(job: &Job, file: &Path) -> Result<Vec<Point>, Failure> {
    let text = read_text(file).map_err(|error| {
        let words = error.to_string();
        Failure::new(words.replacen("configuration", "file of points", 1))
    })?;
    let subject = Subject {
        unit: Unit::of(&job.probe().unit),
        input: job.probe().input,
    };
    let (points, problems) = points_file::points(&text, &subject, |entry| job.capture(entry));
    let Some(points) = points else {
        return Err(faulty(file, &problems));
    };
    may_be_made(job, &points).map_err(|refusal| {
        let file = file.display();
        Failure::new(format!(
            "{file}: no calibration, and nothing was kept (points are counted in the order of the \
             file): {refusal}"
        ))
    })?;
    Ok(points)
}

fn faulty(file: &Path, problems: &[Problem]) -> Failure {
    let name = file.display().to_string();
    let lines: Vec<String> = problems
        .iter()
        .map(|one| one.in_file(&name).to_string())
        .collect();
    Failure::new(format!("nothing was kept:\n{}", lines.join("\n")))
}

/// Tried before anything is kept.
fn may_be_made(job: &Job, points: &[Point]) -> Result<(), Refusal> {
    if !points.iter().any(is_fitted) {
        return Ok(());
    }
    let numbered: Vec<(u64, Point)> = (1..).zip(points.iter().cloned()).collect();
    job.fit(&numbered).map(|_| ())
}

/// Keeps what is not kept yet; one that was withdrawn stays out.
fn keep(job: &mut Job, points: Vec<Point>) -> Result<Vec<(u64, Point)>, Failure> {
    let mut kept = Vec::new();
    for point in points {
        let withdrawn = job.kept(&point).and_then(|taken| {
            let why = taken.withdrawn.as_deref()?;
            Some(format!(
                "point {} was withdrawn ({why}), and is left out",
                taken.number
            ))
        });
        if let Some(withdrawn) = withdrawn {
            tracing::warn!("{withdrawn}");
            continue;
        }
        kept.push((job.keep_point(&point)?, point));
    }
    Ok(kept)
}
