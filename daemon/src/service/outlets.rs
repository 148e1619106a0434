//! Starts, keeps and stops one task per outlet.

use super::ServiceError;
use super::observed::Observed;
use super::standing::OutletStanding;
use crate::config::{Config, Outlet, OutletKind};
use crate::control::OutletStatus;
use crate::log::{Batch, Entry, Kind, Log, Loudness};
use crate::outlet::file::FileReceiver;
use crate::outlet::line_protocol::LineProtocolReceiver;
use crate::outlet::mqtt::MqttReceiver;
use crate::outlet::{Courier, Receiver};
use crate::reading::Moment;
use std::collections::BTreeMap;
use std::time::Duration;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// Wait before an outlet that could not begin tries again.
const BEGIN_AGAIN: Duration = Duration::from_secs(5);

/// The outlets' tasks.
#[derive(Debug)]
pub struct Outlets {
    log: Log,
    running: BTreeMap<String, Running>,
    /// Told to end, but not ended yet; a successor of the same name waits for its own.
    leaving: BTreeMap<String, JoinHandle<()>>,
}

/// Couriers by the names of their outlets.
pub type Prepared = BTreeMap<String, Courier>;

/// How an outlet's task begins.
enum Start {
    /// With a courier whose cursors are set.
    With(Box<Courier>),
    /// Where the task before it, if any, leaves off.
    After(Option<JoinHandle<()>>),
}

#[derive(Debug)]
struct Running {
    site: String,
    table: Outlet,
    standing: OutletStanding,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

impl Outlets {
    /// None running yet.
    #[must_use]
    pub fn new(log: Log) -> Self {
        Self {
            log,
            running: BTreeMap::new(),
            leaving: BTreeMap::new(),
        }
    }

    /// Couriers for outlets that are new under a configuration. Their cursors are set when this
    /// returns, so that they miss nothing that comes afterwards.
    ///
    /// # Errors
    /// What the log says; nothing has changed then.
    pub async fn prepare(&self, config: &Config) -> Result<Prepared, ServiceError> {
        let mut prepared = Prepared::new();
        for table in &config.outlets {
            if !self.knows(&table.name) {
                prepared.insert(table.name.clone(), courier(&self.log, table).await?);
            }
        }
        Ok(prepared)
    }

    /// Stops what is no longer wanted or is changed, and starts what is new, without waiting for
    /// what still delivers its last parcel.
    pub fn apply(&mut self, config: &Config, mut prepared: Prepared) {
        self.leaving.retain(|_, task| !task.is_finished());
        let ending = self.end_all_but(config);
        self.leaving.extend(ending);
        for table in &config.outlets {
            if !self.running.contains_key(&table.name) {
                let start = match prepared.remove(&table.name) {
                    Some(courier) => Start::With(Box::new(courier)),
                    None => Start::After(self.leaving.remove(&table.name)),
                };
                self.start(&config.site, table, start);
            }
        }
    }

    /// How an outlet stands.
    #[must_use]
    pub fn status(&self, name: &str) -> OutletStatus {
        let running = self.running.get(name);
        let standing = running.map(|running| running.standing.clone());
        standing.unwrap_or_default().status(name)
    }

    /// Tells all to deliver what is left, and waits for them: each takes some seconds at most.
    pub async fn stop(&mut self) {
        let running = std::mem::take(&mut self.running);
        for one in running.values() {
            one.stop.cancel();
        }
        let leaving = std::mem::take(&mut self.leaving).into_values();
        for task in running.into_values().map(|one| one.task).chain(leaving) {
            // One that panicked was told of already; there is nothing left to wait for.
            let _ = task.await;
        }
    }

    /// Starts again what has died of a fault of our own; the batch tells of it.
    pub async fn revive(&mut self, now: Moment) -> Batch {
        let mut batch = Batch::default();
        let finished = self.running.iter().find(|(_, r)| r.task.is_finished());
        let name = finished.map(|(name, _)| name.clone());
        let Some(Running {
            site, table, task, ..
        }) = name.and_then(|n| self.running.remove(&n))
        else {
            return batch;
        };
        // One that could not begin has said so itself.
        if task.await.is_err_and(|e| e.is_panic()) {
            let name = table.name.as_str();
            let text = format!(
                "outlet `{name}`: its sender failed (a fault of this program, please report it); started again"
            );
            let entry = Entry::new(now, Kind::Outlet, name, text).loud(Loudness::Error);
            batch.entries.push(entry);
        }
        self.start(&site, &table, Start::After(None));
        batch
    }

    /// Tells those to end that are not wanted as they are; gives their tasks by name.
    fn end_all_but(&mut self, config: &Config) -> BTreeMap<String, JoinHandle<()>> {
        let stays = |r: &Running| config.site == r.site && config.outlets.contains(&r.table);
        let (stay, go): (BTreeMap<_, _>, BTreeMap<_, _>) = std::mem::take(&mut self.running)
            .into_iter()
            .partition(|(_, running)| stays(running));
        self.running = stay;
        let end = |(name, running): (String, Running)| {
            running.stop.cancel();
            (name, running.task)
        };
        go.into_iter().map(end).collect()
    }

    /// Whether an outlet of this name runs, or is still about to end.
    fn knows(&self, name: &str) -> bool {
        self.running.contains_key(name) || self.leaving.contains_key(name)
    }

    fn start(&mut self, site: &str, table: &Outlet, start: Start) {
        let stop = CancellationToken::new();
        let standing = OutletStanding::default();
        let task = Task {
            log: self.log.clone(),
            site: site.to_owned(),
            table: table.clone(),
            standing: standing.clone(),
            stop: stop.clone(),
        };
        let running = Running {
            site: site.to_owned(),
            table: table.clone(),
            standing,
            stop,
            task: tokio::spawn(task.run(start)),
        };
        self.running.insert(table.name.clone(), running);
    }
}

async fn courier(log: &Log, table: &Outlet) -> Result<Courier, ServiceError> {
    let made = Courier::new(&table.name, log, table.backlog_rate).await;
    made.map_err(|error| ServiceError::Outlet {
        outlet: table.name.clone(),
        what: error.to_string(),
    })
}

/// Goes on where the one before left off, once it has ended.
async fn succeed(before: Option<JoinHandle<()>>, log: &Log, table: &Outlet) -> Option<Courier> {
    if let Some(before) = before {
        let _ = before.await;
    }
    let made = courier(log, table).await;
    made.inspect_err(|error| tracing::error!("{error}; tried again"))
        .ok()
}

/// The task of one outlet.
struct Task {
    log: Log,
    site: String,
    table: Outlet,
    standing: OutletStanding,
    stop: CancellationToken,
}

impl Task {
    /// Where it cannot begin it ends, and is started again with a later tick.
    async fn run(self, start: Start) {
        let courier = match start {
            Start::With(courier) => *courier,
            Start::After(before) => match succeed(before, &self.log, &self.table).await {
                Some(courier) => courier,
                None => return tokio::time::sleep(BEGIN_AGAIN).await,
            },
        };
        let site = self.site.clone();
        match self.table.kind.clone() {
            OutletKind::Mqtt(settings) => {
                self.feed(courier, MqttReceiver::new(site, settings)).await;
            }
            OutletKind::LineProtocol(settings) => {
                let receiver = LineProtocolReceiver::new(site, settings);
                self.feed(courier, receiver).await;
            }
            OutletKind::LineProtocolFile(settings) => {
                self.feed(courier, FileReceiver::new(site, settings)).await;
            }
        }
    }

    async fn feed(self, courier: Courier, receiver: impl Receiver + Sync) {
        let observed = Observed::new(receiver, self.standing);
        courier.run(observed, self.stop).await;
    }
}
