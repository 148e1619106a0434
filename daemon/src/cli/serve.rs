//! `nightbench serve`: signals to the service's control, and back to an exit code.

use super::{Failure, one_of, runtime};
use crate::config;
use crate::service::watchdog::Watchdog;
use crate::service::{Control, Service};
use crate::words;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::mpsc;

/// Arguments of `serve`.
#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
pub struct Arguments {
    /// The configuration file; read again on SIGHUP
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// The same without its option, as `check` takes it.
    #[arg(value_name = "FILE", hide = true)]
    file: Option<PathBuf>,
}

/// Runs the service until a signal ends it.
///
/// # Errors
/// Where it could not start, or its last commit failed.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    // Read before any thread starts: the environment is not safe to read beside one that writes it.
    let watchdog = Watchdog::from_environment();
    let path = one_of(arguments.config.as_deref(), arguments.file.as_deref());
    let config = load(path).map_err(Failure::new)?;
    let runtime = runtime()?;
    let served = runtime.block_on(serve(config, watchdog, path));
    // The log is closed. A read or a name look-up that hangs in the kernel must not keep the process
    // from ending.
    runtime.shutdown_background();
    served
}

async fn serve(
    config: config::Config,
    watchdog: Watchdog,
    path: &Path,
) -> Result<ExitCode, Failure> {
    let (to_service, control) = mpsc::channel(4);
    // Signals count from here on: one that comes during the start is not lost.
    let signals = Signals::catch().map_err(|error| {
        let why = words::system(&error);
        Failure::new(format!("signals cannot be received: {why}"))
    })?;
    let failure = |error: crate::service::ServiceError| Failure::new(error.to_string());
    let mut service = Service::start(config, watchdog).await.map_err(failure)?;
    let status = service.ready();
    tracing::info!("{status}");
    let forward = tokio::spawn(signals.forward(path.to_owned(), to_service));
    let why = service.run(control).await;
    tracing::info!("stopping: {why}");
    let stopped = service.stop(&why).await.map_err(failure);
    forward.abort();
    stopped?;
    tracing::info!("stopped; everything that was read is in the log");
    Ok(ExitCode::SUCCESS)
}

struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hang_up: Signal,
}

impl Signals {
    fn catch() -> std::io::Result<Self> {
        Ok(Self {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }

    /// Until one of them ends the service.
    async fn forward(mut self, path: PathBuf, to_service: mpsc::Sender<Control>) {
        loop {
            let told = tokio::select! {
                _ = self.terminate.recv() => Control::Stop("SIGTERM".to_owned()),
                _ = self.interrupt.recv() => Control::Stop("SIGINT".to_owned()),
                _ = self.hang_up.recv() => reload(path.clone()).await,
            };
            if to_service.send(told).await.is_err() {
                return;
            }
        }
    }
}

/// Read beside the flow: a driver's library may take its time to describe itself.
async fn reload(path: PathBuf) -> Control {
    let from = format!("`{}`", path.display());
    match tokio::task::spawn_blocking(move || load(&path)).await {
        Ok(Ok(config)) => Control::Reload(Box::new(config), from),
        Ok(Err(why)) => Control::Refused(why),
        Err(_) => Control::Refused(format!("configuration {from}: reading it was broken off")),
    }
}

/// The configuration, where it has no errors; warnings are said.
fn load(path: &Path) -> Result<config::Config, String> {
    let (config, warnings) = config::load(path).map_err(|error| error.to_string())?;
    let file = path.display().to_string();
    for warning in &warnings {
        tracing::warn!("{}", warning.in_file(&file));
    }
    Ok(config)
}
