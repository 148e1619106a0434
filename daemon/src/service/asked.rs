//! What commands ask of the running service, answered by its main loop between two lines of a board.

use super::build::{self, FallenBack};
use super::{PATIENCE, Service, ServiceError};
use crate::clock;
use crate::config::{Board, Probe};
use crate::control::{Asked, BoardStatus, ProbeFacts, ProbeStatus, Server, Status, WatchedReading};
use crate::log::{Batch, Entry, Kind, Loudness};
use crate::reading::Moment;
use crate::words;

impl Service {
    /// Listens for commands. Where that cannot be, the night goes on without.
    pub(super) async fn listen(&mut self) {
        match Server::start(&self.log, self.ask.clone()) {
            Ok(server) => self.server = Some(server),
            Err(error) => {
                let text = format!(
                    "commands cannot reach this service: `{}` cannot be made ({}); readings, alarms and \
                     outlets are not affected; mend the folder or its rights, then restart",
                    crate::control::place::path(self.log.path()).display(),
                    words::system(&error)
                );
                self.tell(Entry::new(clock::now(), Kind::Log, "", text).loud(Loudness::Warning))
                    .await;
            }
        }
    }

    /// Answers one question. Whoever asked may have gone meanwhile.
    pub(super) async fn answer(&mut self, asked: Asked) {
        match asked {
            Asked::Probe(probe, reply) => {
                let _ = reply.send(self.facts(&probe));
            }
            Asked::Status(reply) => {
                let _ = reply.send(Box::new(self.status(clock::now())));
            }
            Asked::Recalibrated(probe, reply) => {
                let done = self.recalibrate().await;
                if let Err(error) = &done {
                    self.note_unused(&probe, error).await;
                }
                let _ = reply.send(match done {
                    Ok(fallen_back) => match fallen_back.get(&probe) {
                        None => Ok(()),
                        Some(why) => Err(format!(
                            "{why}; the running service is on the configured parameters of probe \
                             `{probe}`"
                        )),
                    },
                    Err(error) => Err(error.to_string()),
                });
            }
        }
    }

    fn facts(&self, probe: &str) -> Result<ProbeFacts, String> {
        let facts = ProbeFacts::of(&self.config, probe)
            .ok_or_else(|| ProbeFacts::unknown(&self.config, probe))?;
        Ok(self.calibrations.complete(facts))
    }

    /// Builds the flow anew under the same configuration, as a reload does, with the calibrations
    /// that the log now names: boards stay open, and other probes go on in the middle of their means.
    async fn recalibrate(&mut self) -> Result<FallenBack, ServiceError> {
        let numbers = self.sources.numbers(&self.config);
        let built = build::flow(&self.config, &numbers, &self.log, clock::now()).await?;
        let (flow, fallen_back) = built;
        self.calibrations
            .read(&self.config, &self.log, &fallen_back)
            .await?;
        let old = std::mem::replace(&mut self.flow, flow);
        let batch = self.flow.take_over(clock::now(), old);
        self.hand_over(batch, PATIENCE).await;
        Ok(fallen_back)
    }

    async fn note_unused(&mut self, probe: &str, error: &ServiceError) {
        let text = format!(
            "probe `{probe}`: what was put in use could not be taken: {error}; values go on as before"
        );
        let entry = Entry::new(clock::now(), Kind::Calibration, probe, text);
        self.tell(entry.loud(Loudness::Error)).await;
    }

    async fn tell(&mut self, entry: Entry) {
        self.hand_over(Batch::of(entry), PATIENCE).await;
    }

    fn status(&self, now: Moment) -> Status {
        let config = &self.config;
        Status {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            process: std::process::id(),
            site: config.site.clone(),
            log: self.log.path().display().to_string(),
            since_ms: self.since_ms,
            now_ms: now.wall_ms,
            boards: config.boards.iter().map(|b| self.board(b)).collect(),
            probes: config
                .probes
                .iter()
                .filter_map(|p| self.probe(p, now))
                .collect(),
            outlets: config
                .outlets
                .iter()
                .map(|outlet| self.outlets.status(&outlet.name))
                .collect(),
        }
    }

    fn board(&self, board: &Board) -> BoardStatus {
        BoardStatus {
            name: board.name.clone(),
            heard_ms: self.standing.heard(&board.name),
            said: self.standing.said(&board.name).cloned(),
        }
    }

    fn probe(&self, probe: &Probe, now: Moment) -> Option<ProbeStatus> {
        let reading = self.standing.reading(&probe.name);
        Some(ProbeStatus {
            facts: self.facts(&probe.name).ok()?,
            reading: reading.map(WatchedReading::from),
            age_ms: reading.map(|r| now.boot_ns.saturating_sub(r.at.boot_ns) / 1_000_000),
        })
    }
}
