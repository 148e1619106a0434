//! Starts, keeps and stops one task per outlet.

use super::ServiceError;
use crate::config::{Config, Outlet, OutletKind};
use crate::log::{Batch, Entry, Kind, Log};
use crate::outlet::Courier;
use crate::outlet::file::FileReceiver;
use crate::outlet::line_protocol::LineProtocolReceiver;
use crate::outlet::mqtt::MqttReceiver;
use crate::reading::Moment;
use std::collections::BTreeMap;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// The outlets' tasks.
#[derive(Debug)]
pub struct Outlets {
    log: Log,
    running: BTreeMap<String, Running>,
    /// Told to end, but not ended yet; a successor of the same name waits for its own.
    leaving: Vec<JoinHandle<()>>,
}

#[derive(Debug)]
struct Running {
    site: String,
    table: Outlet,
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
            leaving: Vec::new(),
        }
    }

    /// Stops what is no longer wanted or is changed, and starts what is new, without waiting for
    /// what still delivers its last parcel.
    ///
    /// # Errors
    /// What the log says.
    pub async fn apply(&mut self, config: &Config) -> Result<(), ServiceError> {
        self.leaving.retain(|task| !task.is_finished());
        let mut ending = self.end_all_but(config);
        for table in &config.outlets {
            if !self.running.contains_key(&table.name) {
                let before = ending.remove(&table.name);
                self.start(&config.site, table, before).await?;
            }
        }
        self.leaving.extend(ending.into_values());
        Ok(())
    }

    /// Tells all to deliver what is left, and waits for them: each takes some seconds at most.
    pub async fn stop(&mut self) {
        let running = std::mem::take(&mut self.running);
        for one in running.values() {
            one.stop.cancel();
        }
        let leaving = std::mem::take(&mut self.leaving);
        for task in running.into_values().map(|one| one.task).chain(leaving) {
            // One that panicked was told of already; there is nothing left to wait for.
            let _ = task.await;
        }
    }

    /// Starts again what has died of a fault of our own; the batch tells of it.
    pub async fn revive(&mut self, now: Moment) -> Batch {
        let mut batch = Batch::default();
        let is_dead = |r: &Running| r.task.is_finished();
        let dead = self
            .running
            .iter()
            .find(|(_, r)| is_dead(r))
            .map(|(n, _)| n.clone());
        let Some(running) = dead.and_then(|name| self.running.remove(&name)) else {
            return batch;
        };
        let name = running.table.name.as_str();
        let text = format!(
            "outlet `{name}`: its sender failed (a fault of this program, please report it); started again"
        );
        tracing::error!("{text}");
        batch
            .entries
            .push(Entry::new(now, Kind::Outlet, name, text));
        if let Err(error) = self.start(&running.site, &running.table, None).await {
            tracing::error!("{error}");
        }
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

    /// A new outlet's cursors are set before this returns, so that it misses nothing that comes
    /// afterwards; a changed one goes on where the one before it left off.
    async fn start(
        &mut self,
        site: &str,
        table: &Outlet,
        before: Option<JoinHandle<()>>,
    ) -> Result<(), ServiceError> {
        let stop = CancellationToken::new();
        let (site, table) = (site.to_owned(), table.clone());
        let task = match before {
            None => {
                let courier = courier(&self.log, &table).await?;
                tokio::spawn(run(courier, site.clone(), table.clone(), stop.clone()))
            }
            Some(before) => {
                let after = after(
                    before,
                    self.log.clone(),
                    site.clone(),
                    table.clone(),
                    stop.clone(),
                );
                tokio::spawn(after)
            }
        };
        let name = table.name.clone();
        let running = Running {
            site,
            table,
            stop,
            task,
        };
        self.running.insert(name, running);
        Ok(())
    }
}

async fn courier(log: &Log, table: &Outlet) -> Result<Courier, ServiceError> {
    let made = Courier::new(&table.name, log, table.backlog_rate).await;
    made.map_err(|error| ServiceError::Outlet {
        outlet: table.name.clone(),
        what: error.to_string(),
    })
}

async fn after(
    before: JoinHandle<()>,
    log: Log,
    site: String,
    table: Outlet,
    stop: CancellationToken,
) {
    let _ = before.await;
    match courier(&log, &table).await {
        Ok(courier) => run(courier, site, table, stop).await,
        Err(error) => tracing::error!("{error}"),
    }
}

async fn run(courier: Courier, site: String, table: Outlet, stop: CancellationToken) {
    match table.kind {
        OutletKind::Mqtt(settings) => courier.run(MqttReceiver::new(site, settings), stop).await,
        OutletKind::LineProtocol(settings) => {
            let receiver = LineProtocolReceiver::new(site, settings);
            courier.run(receiver, stop).await;
        }
        OutletKind::LineProtocolFile(settings) => {
            courier.run(FileReceiver::new(site, settings), stop).await;
        }
    }
}
