//! What will go wrong tonight: looks at everything that a night depends on, and says what to do.
//!
//! Each check is a probe, which asks the host or a receiver, and a judgement, which is pure. The
//! probes disturb no running service: they open no serial port, take no lock, connect under client
//! identifiers of their own and leave the status topic alone. What they leave behind is told: a
//! message and a point at each receiver. Nothing is mended here.

mod alarms;
mod boards;
mod bounded;
mod certificates;
mod clock;
mod echo;
mod finding;
mod host;
mod log;
mod manager;
mod outlets;
pub mod report;
mod secrets;

pub use finding::{Finding, Report, Section, Severity};
pub use host::Host;
pub use outlets::MEASUREMENT;

use crate::config::{self, Config, LoadError, Problem};
use host::Process;
use std::path::Path;
use std::time::Duration;

/// Longest trial of one receiver or board: whoever is in the same house answers within one second.
const TRIED_WITHIN: Duration = Duration::from_secs(5);

/// Looks at the host, and at all that a configuration names; without one at the host's ports.
pub async fn examine(host: &Host, file: Option<&Path>) -> Report {
    let Some(file) = file else {
        return host_alone(host).await;
    };
    match config::load(file) {
        Ok((config, warnings)) => with(host, file, &config, &warnings).await,
        Err(error) => Report {
            chapters: vec![
                (Section::Configuration, refused(file, &error)),
                (Section::Clock, clock::examine(host).await),
            ],
            left: Vec::new(),
        },
    }
}

async fn host_alone(host: &Host) -> Report {
    Report {
        chapters: vec![
            (Section::Clock, clock::examine(host).await),
            (Section::Ports, boards::ports(host)),
            (Section::Service, manager::examine(host).await),
        ],
        left: Vec::new(),
    }
}

async fn with(host: &Host, file: &Path, config: &Config, warnings: &[Problem]) -> Report {
    let (clock, (log, boards), outlets, certificates, secrets, manager) = tokio::join!(
        clock::examine(host),
        log_and_boards(host, config),
        outlets::examine(&config.site, &config.outlets),
        certificates::examine(&config.outlets),
        secrets::examine(config),
        manager::examine(host),
    );
    Report {
        chapters: vec![
            (Section::Configuration, usable(file, warnings)),
            (Section::Clock, clock),
            (Section::Log, log),
            (Section::Boards, boards),
            (Section::Outlets, outlets.findings),
            (Section::Certificates, certificates),
            (Section::Secrets, secrets),
            (Section::Service, manager),
            (Section::Alarms, alarms::examine(config)),
        ],
        left: outlets.left,
    }
}

/// Both ask who writes to the log.
async fn log_and_boards(host: &Host, config: &Config) -> (Vec<Finding>, Vec<Finding>) {
    let path = config.log.path.clone();
    let place = format!("log `{}`", path.display());
    let writer = bounded::examine(&place, &config.log.path, move |_| log::writer(&path)).await;
    let service = writer.clone().ok().flatten();
    tokio::join!(
        log_findings(&place, config, writer),
        boards::examine(host, config, service.as_ref()),
    )
}

/// The look through the log is bounded by itself, the wait for its medium here.
async fn log_findings(
    place: &str,
    config: &Config,
    writer: Result<Option<Process>, Finding>,
) -> Vec<Finding> {
    let writer = match writer {
        Ok(writer) => writer,
        Err(hung) => return vec![hung],
    };
    let (file, config) = (config.log.path.clone(), config.clone());
    let look = move |_: &str| log::examine(&config, writer.as_ref());
    let found = bounded::examine(place, &file, look).await;
    found.unwrap_or_else(|hung| vec![hung])
}

fn usable(file: &Path, warnings: &[Problem]) -> Vec<Finding> {
    let mut findings = vec![Finding::ok(
        format!("`{}`", file.display()),
        "it can be used",
    )];
    findings.extend(warnings.iter().map(|it| problem(file, it)));
    findings
}

fn refused(file: &Path, error: &LoadError) -> Vec<Finding> {
    match error {
        LoadError::Faulty { problems, .. } => problems.iter().map(|it| problem(file, it)).collect(),
        other => {
            let place = format!("`{}`", file.display());
            vec![Finding::told(
                Severity::Wrong,
                place,
                &other.to_string(),
                "",
            )]
        }
    }
}

fn problem(file: &Path, problem: &Problem) -> Finding {
    let Problem {
        line,
        column,
        place,
        what,
        right,
        ..
    } = problem;
    let at = format!("{}:{line}:{column}", file.display());
    let what = match &**place {
        "" => what.clone(),
        place => format!("{place}: {what}"),
    };
    if problem.is_error() {
        Finding::wrong(at, what, right)
    } else {
        Finding::advice(at, what, right)
    }
}
