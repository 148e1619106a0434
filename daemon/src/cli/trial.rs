//! `nightbench try`: the whole service on a simulated board, without configuration and without any
//! other service.
//!
//! The board writes to a real pseudo-terminal, so the serial source, the log, the alarms and a file
//! outlet are the ones of a real night. The scenario is invented.

use super::{Failure, runtime, when};
use crate::config::{self, Config, Scene, SimulatedChannel};
use crate::log::query::Query;
use crate::service::watchdog::Watchdog;
use crate::service::{Control, Service, simulated_input};
use crate::source::pty::PtyBoard;
use crate::source::simulated::{Lines, SimulatedInput};
use jiff::tz::TimeZone;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;
use tokio::sync::mpsc;

mod show;

/// The scenario's configuration; the port is filled in.
const NIGHT: &str = include_str!("trial/night.toml");
/// How often the board writes a line.
const LINE_EVERY: Duration = Duration::from_millis(100);
/// Noise of the simulated converter, counts.
const NOISE: f64 = 1.5;
/// Seed of the noise: every night is the same one.
const SEED: u64 = 20_261_125;

/// Arguments of `try`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// How long it runs; Ctrl-C ends it earlier
    #[arg(long, value_name = "N", default_value_t = 60)]
    seconds: u64,
    /// How many times faster than life the invented night passes
    #[arg(long, value_name = "X", default_value_t = 600.0, value_parser = speed)]
    speed: f64,
    /// Where to write; a new folder for temporary files, if not given
    #[arg(long, value_name = "DIR")]
    folder: Option<PathBuf>,
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
    // The port is only known once the board is plugged in, and what the board sends depends on how
    // its probes are wired: so the configuration is read once without its port.
    let draft = parse(&folder, Path::new("/dev/null"))?;
    let scene_step = LINE_EVERY.mul_f64(arguments.speed);
    let lines = Lines::new(inputs(&draft), scene_step, SEED);
    let board = PtyBoard::plug_in(lines, LINE_EVERY)
        .map_err(|error| Failure::new(format!("the system gave no pseudo-terminal: {error}")))?;
    let config = parse(&folder, board.path())?;
    write_configuration(&folder, board.path())?;
    show::opening(&folder, arguments.seconds, arguments.speed);
    let log = config.log.path.clone();
    let played = runtime()?.block_on(play(config, Duration::from_secs(arguments.seconds)));
    board.unplug();
    played?;
    show::closing(&folder, &counts(&log)?);
    Ok(ExitCode::SUCCESS)
}

async fn play(config: Config, length: Duration) -> Result<(), Failure> {
    let failure = |error: crate::service::ServiceError| Failure::new(error.to_string());
    let mut service = Service::start(config, Watchdog::none())
        .await
        .map_err(failure)?;
    let (to_service, control) = mpsc::channel(1);
    let shown = tokio::spawn(show::follow(service.log().reader()));
    let end = tokio::spawn(async move {
        tokio::select! {
            () = tokio::time::sleep(length) => {}
            _ = tokio::signal::ctrl_c() => {}
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

fn parse(folder: &Path, port: &Path) -> Result<Config, Failure> {
    let (config, problems) = config::parse(&text(port), folder);
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

fn text(port: &Path) -> String {
    NIGHT.replace("PORT", &port.display().to_string())
}

/// What happens in the night: the vat leaves its range after half an hour, the sky grows dark and
/// light again, the tank runs empty slowly.
fn inputs(config: &Config) -> Vec<SimulatedInput> {
    let scenes = [
        (
            "a0",
            Scene::Ramp {
                start: 21.6,
                slope_per_hour: 0.7,
            },
        ),
        (
            "a1",
            Scene::Day {
                noon: 400.0,
                night: 2.0,
                start_hour: 16.0,
            },
        ),
        (
            "a2",
            Scene::Ramp {
                start: 80.0,
                slope_per_hour: -3.0,
            },
        ),
    ];
    let input = |(channel, scene): (&str, Scene)| {
        let seen = SimulatedChannel {
            channel: channel.to_owned(),
            scene,
            noise_count: NOISE,
        };
        config
            .boards
            .iter()
            .find_map(|board| simulated_input(config, board, &seen))
    };
    scenes.into_iter().filter_map(input).collect()
}

fn folder(arguments: &Arguments) -> Result<PathBuf, Failure> {
    let folder = arguments.folder.clone().unwrap_or_else(|| {
        let now = when::now()
            .to_zoned_datetime(TimeZone::system())
            .strftime("nightbench-try-%Y%m%d-%H%M%S")
            .to_string();
        std::env::temp_dir().join(now)
    });
    std::fs::create_dir_all(&folder)
        .map_err(|error| Failure::new(format!("folder {}: {error}", folder.display())))?;
    if folder.join("night.sqlite").exists() {
        let shown = folder.display();
        return Err(Failure::new(format!(
            "folder {shown} holds an earlier night; name another `--folder`"
        )));
    }
    folder
        .canonicalize()
        .map_err(|error| Failure::new(format!("folder {}: {error}", folder.display())))
}

fn write_configuration(folder: &Path, port: &Path) -> Result<(), Failure> {
    let path = folder.join("night.toml");
    let mut file = std::fs::File::create(&path)
        .map_err(|error| Failure::new(format!("{}: {error}", path.display())))?;
    file.write_all(text(port).as_bytes())
        .map_err(|error| Failure::new(format!("{}: {error}", path.display())))
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
    fn the_built_in_night_has_no_problem_and_three_inputs() {
        let (config, problems) =
            config::parse(&text(Path::new("/dev/serial/by-id/none")), Path::new("."));
        assert_eq!(problems, []);
        assert_eq!(config.map(|config| inputs(&config).len()), Some(3));
    }
}
