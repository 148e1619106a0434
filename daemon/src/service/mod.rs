//! The service: order of start, reload and stop; nothing else.
//!
//! Start: log, probes, outlets, boards. Stop: boards, then what they brought, then outlets, then the
//! log, so that everything that was read is in the log before the process ends.

mod build;
mod outlets;
mod sources;
#[cfg(test)]
mod tests;
pub mod watchdog;

pub use sources::input as simulated_input;

use crate::clock;
use crate::config::Config;
use crate::flow::Flow;
use crate::log::{Batch, Entry, Kind, Log, LogError, Settings};
use crate::source::{EVENT_CAPACITY, Event};
use outlets::Outlets;
use sources::Sources;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::MissedTickBehavior;
use watchdog::Watchdog;

/// How long the flow waits for room in the log's inbox before it drops readings.
const PATIENCE: Duration = Duration::from_secs(2);
/// Events taken from the boards in one go.
const EVENTS_AT_ONCE: usize = 64;
/// How long boards may take to hand over what they have read when the service stops.
const LAST_LINES: Duration = Duration::from_secs(2);

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
}

/// What could not be handed to the log.
#[derive(Debug, Default)]
struct Drops {
    readings: u64,
    /// Entries and moves wait; only readings are dropped.
    held: Batch,
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
        let flow = build::flow(&config, &numbers, &log, clock::now()).await?;
        let mut service = Self {
            outlets: Outlets::new(log.clone()),
            sources,
            config,
            log,
            flow,
            events,
            watchdog,
            drops: Drops::default(),
        };
        service.journal_start().await;
        service.outlets.apply(&service.config).await?;
        service.sources.apply(&service.config, &numbers);
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
            "ready: {} boards, {} probes, {} outlets, log {}",
            self.config.boards.len(),
            self.config.probes.len(),
            self.config.outlets.len(),
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
                _ = ticks.tick() => self.tick().await,
            }
        }
    }

    /// Stops in order; everything that was read is in the log afterwards.
    ///
    /// # Errors
    /// What the log says of the last commit.
    pub async fn stop(mut self, why: &str) -> Result<(), ServiceError> {
        self.watchdog.stopping();
        self.sources.stop();
        self.take_last_events().await;
        let rest = self.flow.flush();
        self.hand_over(rest).await;
        self.note(Kind::Stop, format!("stopped: {why}")).await;
        let path = self.log.path().display().to_string();
        let in_log = |error| ServiceError::Log { path, error };
        if let Err(error) = self.log.commit().await {
            self.outlets.stop().await;
            return Err(in_log(error));
        }
        self.outlets.stop().await;
        self.log.close().await.map_err(in_log)
    }

    async fn take(&mut self, events: &mut Vec<(usize, Event)>) {
        let mut batch = Batch::default();
        for (board, event) in events.drain(..) {
            batch.append(self.flow.event(board, &event));
        }
        self.hand_over(batch).await;
    }

    /// Until every source has ended; then the channel has nothing more.
    async fn take_last_events(&mut self) {
        let mut events = Vec::with_capacity(EVENTS_AT_ONCE);
        let all = async {
            while self.events.recv_many(&mut events, EVENTS_AT_ONCE).await > 0 {
                let mut batch = Batch::default();
                for (board, event) in events.drain(..) {
                    batch.append(self.flow.event(board, &event));
                }
                hand_over(&self.log, &mut self.drops, batch).await;
            }
        };
        if tokio::time::timeout(LAST_LINES, all).await.is_err() {
            tracing::warn!("a board did not let go in time; its last line may be missing");
        }
    }

    async fn tick(&mut self) {
        let now = clock::now();
        let mut batch = self.flow.tick(now);
        batch.append(self.sources.revive(&self.config, now));
        batch.append(self.outlets.revive(now).await);
        self.hand_over(batch).await;
        self.watchdog.feed(&self.log);
    }

    async fn reload(&mut self, config: Config, from: &str) {
        match self.apply(config).await {
            Ok(()) => {
                tracing::info!("configuration {from} taken");
                self.note(Kind::Configuration, format!("configuration {from} taken"))
                    .await;
            }
            Err(error) => {
                self.note_refused(&format!("configuration {from}: {error}"))
                    .await
            }
        }
        self.watchdog.reloaded();
    }

    /// Everything that can fail comes before anything changes.
    async fn apply(&mut self, config: Config) -> Result<(), ServiceError> {
        if config.log.path != self.config.log.path {
            return Err(ServiceError::NeedsRestart("`path` in `[log]`"));
        }
        let now = clock::now();
        let numbers = self.sources.numbers(&config);
        let flow = build::flow(&config, &numbers, &self.log, now).await?;
        let old = std::mem::replace(&mut self.flow, flow);
        let batch = self.flow.take_over(now, old);
        self.hand_over(batch).await;
        self.log.set_commit(config.log.commit).await;
        self.sources.apply(&config, &numbers);
        self.config = config;
        self.outlets.apply(&self.config).await
    }

    async fn note_refused(&mut self, why: &str) {
        let text = format!("{why}; the configuration in force goes on");
        tracing::error!("{text}");
        self.note(Kind::Configuration, text).await;
        self.watchdog.reloaded();
    }

    async fn journal_start(&mut self) {
        let text = format!(
            "nightbench {} started: {} boards, {} probes, {} outlets",
            env!("CARGO_PKG_VERSION"),
            self.config.boards.len(),
            self.config.probes.len(),
            self.config.outlets.len()
        );
        let text = match build::unclean_end(&self.log).await {
            Some(end) => format!("{text}; {end}"),
            None => text,
        };
        self.note(Kind::Start, text).await;
    }

    async fn note(&mut self, kind: Kind, text: String) {
        let batch = Batch {
            entries: vec![Entry::new(clock::now(), kind, "", text)],
            ..Batch::default()
        };
        self.hand_over(batch).await;
    }

    async fn hand_over(&mut self, batch: Batch) {
        hand_over(&self.log, &mut self.drops, batch).await;
    }
}

/// Gives a batch to the log. Where there is no room in time its readings are dropped and counted;
/// entries and alarm moves are held for the next try.
async fn hand_over(log: &Log, drops: &mut Drops, batch: Batch) {
    let mut all = std::mem::take(&mut drops.held);
    all.append(batch);
    if all.is_empty() {
        return;
    }
    if drops.readings > 0 {
        let text = format!(
            "the log could not keep up: {} readings were dropped; check the disk",
            drops.readings
        );
        all.entries
            .push(Entry::new(clock::now(), Kind::Log, "", text));
    }
    match log.append(all, PATIENCE).await {
        Ok(()) => drops.readings = 0,
        Err(mut refused) => {
            drops.readings += refused.readings.len() as u64;
            refused.readings.clear();
            for alarm in refused.entries.iter_mut().filter_map(|e| e.alarm.as_mut()) {
                alarm.reading_seq = 0;
            }
            refused.entries.retain(|e| e.kind != Kind::Log);
            drops.held = refused;
        }
    }
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
