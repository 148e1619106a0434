//! `nightbench try`: the whole service on a simulated board, without configuration and without any
//! other service.
//!
//! The board writes to a real pseudo-terminal, so the serial source, the log, the alarms and a file
//! outlet are the ones of a real night. The scenario is invented.

use super::{Failure, runtime, when};
use crate::config::{self, Config, Source as SourceTable};
use crate::log::query::Query;
use crate::service::watchdog::Watchdog;
use crate::service::{Control, Service, simulated_input};
use crate::source::pty::PtyBoard;
use crate::source::simulated::{Lines, SimulatedInput};
use crate::words;
use jiff::tz::TimeZone;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;

mod show;

/// The scenario's configuration; its pace is filled in.
const NIGHT: &str = include_str!("trial/night.toml");
/// How often the board writes a line.
const LINE_EVERY: Duration = Duration::from_millis(100);

/// Arguments of `try`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// How long it runs; Ctrl-C ends it earlier
    #[arg(long, value_name = "N", default_value_t = 60, value_parser = seconds)]
    seconds: u64,
    /// How many times faster than life the invented night passes
    #[arg(long, value_name = "X", default_value_t = 600.0, value_parser = speed)]
    speed: f64,
    /// Where to write; a new folder for temporary files, if not given
    #[arg(long, value_name = "DIR")]
    folder: Option<PathBuf>,
}

fn seconds(text: &str) -> Result<u64, String> {
    text.parse()
        .map_err(|_| "write whole seconds, such as 60".to_owned())
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(speed) if speed > 0.0 && speed <= 100_000.0 => Ok(speed),
        _ => Err("write a number above 0, at most 100000".to_owned()),
    }
}

/// Plays the night.
///
/// # Errors
/// Where the folder cannot be written, or the system has no pseudo-terminal.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let folder = folder(arguments)?;
    let text = text(arguments.speed);
    let mut config = parse(&text, &folder)?;
    let board = plug_in(&mut config)?;
    write_configuration(&folder, &text)?;
    show::opening(&folder, arguments.seconds, arguments.speed);
    let log = config.log.path.clone();
    let played = runtime()?.block_on(play(config, Duration::from_secs(arguments.seconds)));
    board.unplug();
    played?;
    show::closing(&folder, &counts(&log)?);
    Ok(ExitCode::SUCCESS)
}

/// Puts the simulated board behind a real pseudo-terminal, and its port into the configuration.
fn plug_in(config: &mut Config) -> Result<PtyBoard, Failure> {
    let broken = || Failure::new("the built-in night has no simulated board, please report it");
    let inputs = inputs(config);
    let board = config.boards.first_mut().ok_or_else(broken)?;
    let SourceTable::Simulated { every, seed, .. } = board.source else {
        return Err(broken());
    };
    let plugged = PtyBoard::plug_in(Lines::new(inputs, every, seed), LINE_EVERY)
        .map_err(|error| in_words("the system gave no pseudo-terminal", &error))?;
    board.source = SourceTable::Serial {
        port: plugged.path().to_owned(),
        baud: 115_200,
    };
    Ok(plugged)
}

async fn play(config: Config, length: Duration) -> Result<(), Failure> {
    let failure = |error: crate::service::ServiceError| Failure::new(error.to_string());
    let mut service = Service::start(config, Watchdog::none())
        .await
        .map_err(failure)?;
    let (to_service, control) = mpsc::channel(1);
    let mut terminate = signal(SignalKind::terminate())
        .map_err(|error| in_words("signals cannot be received", &error))?;
    let shown = tokio::spawn(show::follow(service.log().reader()));
    let end = tokio::spawn(async move {
        tokio::select! {
            () = tokio::time::sleep(length) => {}
            _ = tokio::signal::ctrl_c() => {}
            _ = terminate.recv() => {}
        }
        let _ = to_service
            .send(Control::Stop("the trial is over".to_owned()))
            .await;
    });
    let why = service.run(control).await;
    end.abort();
    let stopped = service.stop(&why).await.map_err(failure);
    // The log has ended, and with it what follows it.
    let _ = shown.await;
    stopped
}

fn parse(text: &str, folder: &Path) -> Result<Config, Failure> {
    let (config, problems) = config::parse(text, folder);
    config.ok_or_else(|| {
        let first = problems
            .first()
            .map(ToString::to_string)
            .unwrap_or_default();
        Failure::new(format!(
            "the built-in night is at fault, please report it: {first}"
        ))
    })
}

/// The night at this speed: a line each [`LINE_EVERY`] for the one who looks on.
fn text(speed: f64) -> String {
    let every = format!(
        "{}ms",
        (LINE_EVERY.as_millis() as f64 * speed).ceil().max(1.0)
    );
    NIGHT
        .replace("EVERY", &every)
        .replace("SPEED", &format!("{speed:?}"))
}

fn inputs(config: &Config) -> Vec<SimulatedInput> {
    let of_board = |board: &crate::config::Board| match &board.source {
        SourceTable::Simulated { scene, .. } => {
            let input = |seen| simulated_input(config, board, seen);
            scene.iter().filter_map(input).collect()
        }
        _ => Vec::new(),
    };
    config.boards.iter().flat_map(of_board).collect()
}

fn folder(arguments: &Arguments) -> Result<PathBuf, Failure> {
    let folder = arguments.folder.clone().unwrap_or_else(|| {
        let now = when::now()
            .to_zoned_datetime(TimeZone::system())
            .strftime("nightbench-try-%Y%m%d-%H%M%S")
            .to_string();
        std::env::temp_dir().join(now)
    });
    let failure = |error| in_words(&format!("folder {}", folder.display()), &error);
    std::fs::create_dir_all(&folder).map_err(failure)?;
    if folder.join("night.sqlite").exists() {
        let shown = folder.display();
        return Err(Failure::new(format!(
            "folder {shown} holds an earlier night; name another `--folder`"
        )));
    }
    folder.canonicalize().map_err(failure)
}

fn write_configuration(folder: &Path, text: &str) -> Result<(), Failure> {
    let path = folder.join("night.toml");
    std::fs::File::create_new(&path)
        .and_then(|mut file| file.write_all(text.as_bytes()))
        .map_err(|error| in_words(&path.display().to_string(), &error))
}

fn in_words(what: &str, error: &std::io::Error) -> Failure {
    Failure::new(format!("{what}: {}", words::system(error)))
}

fn counts(log: &Path) -> Result<crate::log::query::Counts, Failure> {
    Query::open(log)
        .and_then(|query| query.counts())
        .map_err(|error| Failure::new(format!("log {}: {error}", log.display())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_built_in_night_has_no_problem_and_three_inputs_at_any_speed() {
        for speed in [1e-3, 0.7, 1.0, 600.0, 1e5] {
            let (config, problems) = config::parse(&text(speed), Path::new("."));
            assert_eq!(problems, [], "{speed}");
            assert_eq!(config.map(|config| inputs(&config).len()), Some(3));
        }
    }
}
