//! The service: order of start, reload and stop; nothing else.
//!
//! Start: log, probes, outlets, boards. Stop: boards, then what they brought, then outlets, then the
//! log, so that everything that was read is in the log before the process ends.

mod asked;
pub(crate) mod build;
mod drivers;
mod drops;
mod due;
mod observed;
mod outlets;
mod sources;
mod standing;
#[cfg(test)]
mod tests;
pub mod transfer;
pub mod watchdog;

pub use sources::input as simulated_input;

use crate::clock;
use crate::config::Config;
use crate::control::{Asked, MOST_CLIENTS, Server};
use crate::flow::Flow;
use crate::log::{Batch, Entry, Kind, Log, LogError, Loudness, Settings};
use crate::source::{EVENT_CAPACITY, Event};
use crate::words::counted;
use drops::{Drops, hand_over};
use due::Calibrations;
use outlets::Outlets;
use sources::Sources;
use standing::Standing;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::{MissedTickBehavior, timeout};
use watchdog::Watchdog;

/// How long the flow waits for room in the log's inbox before it drops readings.
const PATIENCE: Duration = Duration::from_secs(2);
/// Events taken from the boards in one go.
const EVENTS_AT_ONCE: usize = 64;
/// How long it waits when the service stops.
const LAST_PATIENCE: Duration = Duration::from_secs(10);
/// How long boards that are told to end may take to hand over what they have read: a program that
/// does not end when it is asked to is given 2 s before it is killed.
const LAST_LINES: Duration = Duration::from_secs(4);

/// What the service is told while it runs.
#[derive(Debug)]
pub enum Control {
    /// Take another configuration; the text says where it is from.
    Reload(Box<Config>, String),
    /// A configuration was refused; the text says why.
    Refused(String),
    /// Stop; the text says why.
    Stop(String),
}

/// Why the service could not start, or not take a configuration.
#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    /// The log.
    #[error("log {path}: {error}")]
    Log {
        /// The file.
        path: String,
        /// What is wrong.
        error: LogError,
    },
    /// A probe's parameters; a checked configuration has none of these.
    #[error("probe `{probe}`: {error}")]
    Probe {
        /// The probe.
        probe: String,
        /// What is wrong.
        error: crate::driver::DriverError,
    },
    /// An outlet.
    #[error("outlet `{outlet}`: {what}")]
    Outlet {
        /// The outlet.
        outlet: String,
        /// What is wrong.
        what: String,
    },
    /// The log took too long for some readings.
    #[error(
        "log {path}: {} could not be written before the end; check the disk",
        counted(*lost, "reading")
    )]
    Lost {
        /// The file.
        path: String,
        /// How many.
        lost: u64,
    },
    /// Something that only a restart can change.
    #[error("{0} cannot change while the service runs; restart it")]
    NeedsRestart(&'static str),
}

/// A running service.
#[derive(Debug)]
pub struct Service {
    config: Config,
    log: Log,
    flow: Flow,
    sources: Sources,
    outlets: Outlets,
    events: mpsc::Receiver<(usize, Event)>,
    watchdog: Watchdog,
    drops: Drops,
    server: Option<Server>,
    /// Kept, so that the way for questions is never closed.
    ask: mpsc::Sender<Asked>,
    asked: mpsc::Receiver<Asked>,
    standing: Standing,
    calibrations: Calibrations,
    since_ms: i64,
}

impl Service {
    /// Opens the log, then starts outlets and boards.
    ///
    /// # Errors
    /// What is wrong with the log or an outlet's settings. Boards and receivers that are not there
    /// are no error: they are looked for for as long as it takes.
    pub async fn start(config: Config, watchdog: Watchdog) -> Result<Self, ServiceError> {
        let log = open_log(&config)?;
        let (to_flow, events) = mpsc::channel(EVENT_CAPACITY);
        let mut sources = Sources::new(to_flow);
        let numbers = sources.numbers(&config);
        let (flow, fallen_back) = build::flow(&config, &numbers, &log, clock::now()).await?;
        let (ask, asked) = mpsc::channel(MOST_CLIENTS);
        let mut calibrations = Calibrations::default();
        calibrations.read(&config, &log, &fallen_back).await?;
        let mut service = Self {
            outlets: Outlets::new(log.clone()),
            sources,
            config,
            log,
            flow,
            events,
            watchdog,
            drops: Drops::default(),
            server: None,
            ask,
            asked,
            standing: Standing::default(),
            calibrations,
            since_ms: clock::now().wall_ms,
        };
        service.journal_start().await;
        let due = service.calibrations.due(clock::now());
        service.hand_over(due, PATIENCE).await;
        service
            .hand_over(
                drivers::loaded(&service.config, None, clock::now()),
                PATIENCE,
            )
            .await;
        let orphans = build::orphans(&service.config, &service.log, clock::now()).await?;
        service.hand_over(orphans, PATIENCE).await;
        let new_outlets = service.outlets.prepare(&service.config).await?;
        service.outlets.apply(&service.config, new_outlets);
        service.sources.start_new(&service.config, &numbers);
        service.listen().await;
        Ok(service)
    }

    /// The log, for those who want to look on.
    #[must_use]
    pub fn log(&self) -> &Log {
        &self.log
    }

    /// Tells the service manager that all is started; gives the same in words.
    #[must_use]
    pub fn ready(&self) -> String {
        let status = format!(
            "ready: {}, log {}",
            parts(&self.config),
            self.log.path().display()
        );
        self.watchdog.ready(&status);
        status
    }

    /// Runs until told to stop, or until nobody can tell any more; gives the reason.
    pub async fn run(&mut self, mut control: mpsc::Receiver<Control>) -> String {
        let mut ticks = tokio::time::interval(self.watchdog.tick());
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut events = Vec::with_capacity(EVENTS_AT_ONCE);
        loop {
            tokio::select! {
                told = control.recv() => match told {
                    Some(Control::Stop(why)) => return why,
                    None => return "its control has ended".to_owned(),
                    Some(Control::Refused(why)) => self.note_refused(&why).await,
                    Some(Control::Reload(config, from)) => self.reload(*config, &from).await,
                },
                _ = self.events.recv_many(&mut events, EVENTS_AT_ONCE) => {
                    self.take(&mut events).await;
                }
                Some(asked) = self.asked.recv() => self.answer(asked).await,
                _ = ticks.tick() => self.tick().await,
            }
        }
    }

    /// Stops in order; everything that was read is in the log afterwards.
    ///
    /// # Errors
    /// What the log says of the last commit, or how many readings it could not take.
    pub async fn stop(mut self, why: &str) -> Result<(), ServiceError> {
        self.watchdog.stopping();
        if let Some(server) = self.server.take() {
            server.stop().await;
        }
        let leaving = self.sources.stop();
        self.take_last_lines(leaving).await;
        let rest = self.flow.flush();
        self.hand_over(rest, LAST_PATIENCE).await;
        let stopped = Entry::new(clock::now(), Kind::Stop, "", format!("stopped: {why}"));
        self.hand_over(Batch::of(stopped), LAST_PATIENCE).await;
        let committed = self.log.commit().await;
        self.outlets.stop().await;
        let closed = self.log.close().await;
        let path = || self.log.path().display().to_string();
        committed.and(closed).map_err(|error| ServiceError::Log {
            path: path(),
            error,
        })?;
        match self.drops.readings {
            0 => Ok(()),
            lost => Err(ServiceError::Lost { path: path(), lost }),
        }
    }

    async fn take(&mut self, events: &mut Vec<(usize, Event)>) {
        let mut batch = Batch::default();
        for (board, event) in events.drain(..) {
            batch.append(self.flow.event(board, &event));
        }
        batch.append(drivers::noted());
        self.hand_over(batch, PATIENCE).await;
    }

    /// Takes what sources bring that were told to end, until they have ended.
    async fn take_last_lines(&mut self, leaving: Vec<JoinHandle<()>>) {
        let mut events = Vec::with_capacity(EVENTS_AT_ONCE);
        let end = async {
            for task in leaving {
                // One that panicked has nothing more to bring.
                let _ = task.await;
            }
        };
        let end = timeout(LAST_LINES, end);
        tokio::pin!(end);
        loop {
            tokio::select! {
                _ = self.events.recv_many(&mut events, EVENTS_AT_ONCE) => {
                    self.take(&mut events).await;
                }
                ended = &mut end => {
                    if ended.is_err() {
                        tracing::warn!("a board did not let go in time; its last line may be missing");
                    }
                    break;
                }
            }
        }
        while let Ok(event) = self.events.try_recv() {
            events.push(event);
        }
        self.take(&mut events).await;
    }

    async fn tick(&mut self) {
        let now = clock::now();
        let mut batch = self.flow.tick(now);
        batch.append(self.sources.revive(&self.config, now).await);
        batch.append(self.outlets.revive(now).await);
        batch.append(self.calibrations.due(now));
        batch.append(drivers::noted());
        self.hand_over(batch, PATIENCE).await;
        self.watchdog.feed(&self.log);
    }

    async fn reload(&mut self, config: Config, from: &str) {
        match self.apply(config).await {
            Ok(()) => {
                self.note(Kind::Configuration, format!("configuration {from} taken"))
                    .await;
                self.watchdog.reloaded();
            }
            Err(error) => {
                self.note_refused(&format!("configuration {from}: {error}"))
                    .await
            }
        }
    }

    /// Everything that can fail comes before anything changes.
    async fn apply(&mut self, config: Config) -> Result<(), ServiceError> {
        if config.log.path != self.config.log.path {
            return Err(ServiceError::NeedsRestart("`path` in `[log]`"));
        }
        let numbers = self.sources.numbers(&config);
        let built = build::flow(&config, &numbers, &self.log, clock::now()).await?;
        let (new_flow, fallen_back) = built;
        let new_outlets = self.outlets.prepare(&config).await?;
        self.calibrations
            .read(&config, &self.log, &fallen_back)
            .await?;
        // Nothing can fail from here on. Lines of boards that go still belong to the old flow.
        let leaving = self.sources.leave(&numbers);
        self.take_last_lines(leaving).await;
        let old_flow = std::mem::replace(&mut self.flow, new_flow);
        let batch = self.flow.take_over(clock::now(), old_flow);
        self.hand_over(batch, PATIENCE).await;
        let changed = drivers::loaded(&config, Some(&self.config), clock::now());
        self.hand_over(changed, PATIENCE).await;
        self.log.set_commit(config.log.commit).await;
        self.sources.start_new(&config, &numbers);
        self.outlets.apply(&config, new_outlets);
        self.config = config;
        Ok(())
    }

    async fn note_refused(&mut self, why: &str) {
        let text = format!("the configuration in force goes on: {why}");
        let entry = Entry::new(clock::now(), Kind::Configuration, "", text).loud(Loudness::Error);
        self.hand_over(Batch::of(entry), PATIENCE).await;
        self.watchdog.reloaded();
    }

    async fn journal_start(&mut self) {
        let version = env!("CARGO_PKG_VERSION");
        let text = format!("nightbench {version} started: {}", parts(&self.config));
        let text = match build::unclean_end(&self.log).await {
            Some(end) => format!("{text}; {end}"),
            None => text,
        };
        self.note(Kind::Start, text).await;
    }

    async fn note(&mut self, kind: Kind, text: String) {
        let entry = Entry::new(clock::now(), kind, "", text);
        self.hand_over(Batch::of(entry), PATIENCE).await;
    }

    async fn hand_over(&mut self, batch: Batch, patience: Duration) {
        self.standing.saw(&batch);
        hand_over(&self.log, &mut self.drops, batch, patience).await;
    }
}

/// `1 board, 3 probes, 2 outlets`.
fn parts(config: &Config) -> String {
    format!(
        "{}, {}, {}",
        counted(config.boards.len(), "board"),
        counted(config.probes.len(), "probe"),
        counted(config.outlets.len(), "outlet")
    )
}

fn open_log(config: &Config) -> Result<Log, ServiceError> {
    let settings = Settings {
        path: config.log.path.clone(),
        commit: config.log.commit,
    };
    Log::open(&settings).map_err(|error| ServiceError::Log {
        path: settings.path.display().to_string(),
        error,
    })
}
