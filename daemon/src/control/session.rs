//! One client's connection, from the server's first line to the client's end.

use super::facts::{OutletStatus, ProbeFacts, WatchedReading};
use super::lines::{Lines, NoLine};
use super::protocol::{self, Answer, Hello, Request};
use super::{Asked, LONGEST_LINE, steps};
use crate::calibrate::Step;
use crate::log::{Log, LogReader};
use serde::Serialize;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::UnixStream;
use tokio::net::unix::{OwnedReadHalf, OwnedWriteHalf};
use tokio::sync::{Mutex, mpsc, oneshot};
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// A client that takes nothing for so long is dropped. What waits for it meanwhile is what the
/// kernel holds, and readings that are in the log anyway.
const PATIENCE: Duration = Duration::from_secs(5);

/// Readings of all probes looked through in one go.
const AT_ONCE: usize = 512;

/// What all connections share.
#[derive(Clone, Debug)]
pub struct Office {
    /// Where readings come from and steps go.
    pub log: Log,
    /// The way to the service's main loop.
    pub asked: mpsc::Sender<Asked>,
    /// The service stops.
    pub stop: CancellationToken,
    /// Held while a step is taken.
    pub taking: Arc<Mutex<()>>,
    /// A client that asks nothing for so long makes room for others; one that watches is not idle.
    pub idle: Duration,
}

/// The connection is over: the client has gone, or was dropped.
#[derive(Debug)]
pub struct Over;

/// A connection.
#[derive(Debug)]
pub struct Session {
    office: Office,
    lines: Lines<OwnedReadHalf>,
    out: OwnedWriteHalf,
}

impl Session {
    /// With a client that has just connected.
    #[must_use]
    pub fn new(office: Office, stream: UnixStream) -> Self {
        let (from, out) = stream.into_split();
        Self {
            office,
            lines: Lines::new(from),
            out,
        }
    }

    /// Answers until the client ends, or the service stops.
    pub async fn run(mut self) {
        let Err(Over) = self.serve().await;
    }

    async fn serve(&mut self) -> Result<Infallible, Over> {
        self.say(&Hello::ours()).await?;
        let mut line = self.asked().await?;
        loop {
            line = match protocol::parse(&line) {
                Ok(Request::Watch { probe }) => self.watch(&probe).await?,
                Ok(request) => {
                    let answer = self.answer(request).await;
                    self.say(&answer).await?;
                    self.asked().await?
                }
                Err(why) => {
                    self.say(&Answer::Refused(why)).await?;
                    self.asked().await?
                }
            };
        }
    }

    async fn answer(&mut self, request: Request) -> Answer {
        let answer = match request {
            Request::Step { probe, step } => self.take(&probe, &step).await,
            Request::Probe { probe } => self.probe(&probe).await.map(Answer::Probe),
            Request::Status => self.status().await,
            // Answered by many lines, elsewhere.
            Request::Watch { .. } => Err("it is watched already".to_owned()),
        };
        answer.unwrap_or_else(Answer::Refused)
    }

    /// Sends each reading of a probe as it is made, until the client's next line, which it gives.
    async fn watch(&mut self, probe: &str) -> Result<Vec<u8>, Over> {
        let mut reader = self.office.log.reader();
        // Marked as seen before anything is promised.
        let mut after = reader.newest().reading;
        match self.probe(probe).await {
            Ok(facts) => self.say(&Answer::Watching(facts)).await?,
            Err(why) => {
                self.say(&Answer::Refused(why)).await?;
                return self.asked().await;
            }
        }
        loop {
            after = self.send_readings(&mut reader, probe, after).await?;
            reader.rest();
            let stop = self.office.stop.clone();
            tokio::select! {
                line = self.next() => return line,
                changed = reader.changed() => if !changed { return Err(Over) },
                () = stop.cancelled() => return Err(Over),
            }
        }
    }

    /// Sends what there is of a probe after a number; gives the number to go on from.
    async fn send_readings(
        &mut self,
        reader: &mut LogReader,
        probe: &str,
        mut after: u64,
    ) -> Result<u64, Over> {
        loop {
            let found = reader.after(after, u64::MAX, AT_ONCE).await;
            let found = found.map_err(|_| Over)?;
            let Some(last) = found.last() else {
                return Ok(after);
            };
            after = last.seq;
            let of_probe = found.iter().filter(|r| r.series.probe == probe);
            let answer = |r| Answer::Reading(Box::new(WatchedReading::from(r)));
            let lines: Vec<u8> = of_probe.flat_map(|r| protocol::line(&answer(r))).collect();
            self.write(&lines).await?;
        }
    }

    async fn take(&mut self, probe: &str, step: &Step) -> Result<Answer, String> {
        let taking = Arc::clone(&self.office.taking);
        let _one_at_a_time = taking.lock().await;
        let facts = self.probe(probe).await?;
        let appended = steps::append(&self.office.log, &facts, step).await;
        let number = appended.map_err(|error| error.to_string())?;
        let remark = match step {
            Step::Activated { .. } => self.put_in_force(probe).await.err(),
            _ => None,
        };
        Ok(Answer::Done { number, remark })
    }

    async fn put_in_force(&self, probe: &str) -> Result<(), String> {
        let (reply, answer) = oneshot::channel();
        let asked = Asked::Recalibrated(probe.to_owned(), reply);
        match self.ask(asked, answer).await {
            Ok(done) => done,
            Err(_) => {
                Err("the service is stopping: it is in use from its next start on".to_owned())
            }
        }
    }

    async fn probe(&self, probe: &str) -> Result<Box<ProbeFacts>, String> {
        let (reply, answer) = oneshot::channel();
        let facts = self
            .ask(Asked::Probe(probe.to_owned(), reply), answer)
            .await??;
        Ok(Box::new(facts))
    }

    async fn status(&self) -> Result<Answer, String> {
        let (reply, answer) = oneshot::channel();
        let mut status = self.ask(Asked::Status(reply), answer).await?;
        let mut reader = self.office.log.reader();
        for outlet in &mut status.outlets {
            outlet.waiting = waiting(&mut reader, outlet).await;
        }
        Ok(Answer::Status(status))
    }

    /// Asks the service's main loop, which may be busy for a while with a reload.
    async fn ask<T>(&self, asked: Asked, answer: oneshot::Receiver<T>) -> Result<T, String> {
        let asking = async {
            self.office.asked.send(asked).await.ok()?;
            answer.await.ok()
        };
        let answer = tokio::select! {
            answer = asking => answer,
            () = self.office.stop.cancelled() => None,
        };
        answer.ok_or_else(|| "the service is stopping".to_owned())
    }

    /// The next line of a client that is not watching.
    async fn asked(&mut self) -> Result<Vec<u8>, Over> {
        let idle = self.office.idle;
        match timeout(idle, self.next()).await {
            Ok(line) => line,
            Err(_) => {
                let seconds = idle.as_secs();
                let why = format!("nothing was asked for {seconds} s; the connection ends");
                self.say(&Answer::Refused(why)).await?;
                Err(Over)
            }
        }
    }

    async fn next(&mut self) -> Result<Vec<u8>, Over> {
        let stop = self.office.stop.clone();
        let line = tokio::select! {
            line = self.lines.next() => line,
            () = stop.cancelled() => Err(NoLine::Gone),
        };
        match line {
            Ok(line) => Ok(line),
            Err(NoLine::Gone) => Err(Over),
            Err(NoLine::TooLong) => {
                let why = format!("a line has at most {LONGEST_LINE} bytes; the connection ends");
                self.say(&Answer::Refused(why)).await?;
                Err(Over)
            }
        }
    }

    async fn say<T: Serialize>(&mut self, said: &T) -> Result<(), Over> {
        self.write(&protocol::line(said)).await
    }

    async fn write(&mut self, bytes: &[u8]) -> Result<(), Over> {
        match timeout(PATIENCE, self.out.write_all(bytes)).await {
            Ok(Ok(())) => Ok(()),
            Ok(Err(_)) | Err(_) => Err(Over),
        }
    }
}

/// How many readings an outlet has still to deliver: what is live as of now, late ones as of the last
/// commit.
async fn waiting(reader: &mut LogReader, outlet: &OutletStatus) -> Option<u64> {
    let stored = reader.progress(&outlet.name).await.ok()??;
    let live = stored.live.max(outlet.acknowledged.unwrap_or(0));
    let late: u64 = stored.spans.iter().map(|s| s.until - s.after).sum();
    Some(reader.newest().reading.saturating_sub(live) + late)
}
