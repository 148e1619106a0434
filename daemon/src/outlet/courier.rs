//! The loop that every outlet shares: what goes first, how far it has come, when to try again.
//!
//! Alarm moves go before live readings, live readings before late ones. A cursor moves only when
//! the receiver has acknowledged; after any trouble the connection is made afresh and what was not
//! acknowledged is sent again.

mod notes;

use super::{Parcel, Receipt, Receiver, Trouble};
use crate::log::{Log, LogError, LogReader, Progress};
use notes::Notes;
use std::time::Duration;
use tokio::time::{Instant, sleep_until};
use tokio_util::sync::CancellationToken;

/// First wait after a failure; it doubles up to [`LONGEST_WAIT`].
const FIRST_WAIT: Duration = Duration::from_millis(500);
/// Longest wait between tries: a broker that comes back is found within this.
const LONGEST_WAIT: Duration = Duration::from_secs(10);
/// Wait where a person has to mend something first.
const PERSON_WAIT: Duration = Duration::from_secs(30);
/// How long a stopping service waits for an outlet to send what is left.
const LAST_DELIVERY: Duration = Duration::from_secs(5);
/// How long a connection must stand to count as a good one.
const SETTLED: Duration = Duration::from_secs(10);
/// Alarm moves in one parcel at most.
const MOVES: usize = 100;

/// How an outlet is fed.
#[derive(Debug)]
pub struct Courier {
    name: String,
    log: Log,
    reader: LogReader,
    progress: Progress,
    backlog_rate: u32,
    /// Not before this moment may the next live parcel go.
    live_from: Instant,
    /// Not before this moment may the next late parcel go.
    late_from: Instant,
    /// The service stops: what is live goes at once.
    stopping: bool,
    /// [`SETTLED`]; tests shorten it.
    settled_after: Duration,
    /// From when on the connection counts as a good one.
    settled_from: Instant,
    /// Whether something was acknowledged since the last connect.
    delivered: bool,
    notes: Notes,
}

/// How a connection ended.
enum End {
    Stopped,
    Trouble(Trouble),
}

impl Courier {
    /// A courier for the outlet with this name; it goes on where the one before it left off.
    ///
    /// # Errors
    /// What the log says.
    pub async fn new(name: &str, log: &Log, backlog_rate: u32) -> Result<Self, LogError> {
        // The cursors of the one before it may not be in the file yet; without them this one would
        // be taken for new, and what is still owed would never be sent.
        log.commit().await?;
        let mut reader = log.reader();
        let newest = reader.newest();
        let stored = reader.progress(name).await?;
        let mut courier = Self {
            name: name.to_owned(),
            log: log.clone(),
            reader,
            progress: stored.unwrap_or_else(|| Progress::starting_at(newest.reading, newest.moves)),
            backlog_rate,
            live_from: Instant::now(),
            late_from: Instant::now(),
            stopping: false,
            settled_after: SETTLED,
            settled_from: Instant::now(),
            delivered: false,
            notes: Notes::new(name, log),
        };
        courier.keep().await;
        Ok(courier)
    }

    /// Delivers until `stop`, then what is left (for a few seconds at most), then closes.
    pub async fn run(mut self, mut receiver: impl Receiver, stop: CancellationToken) {
        let mut wait = Backoff::default();
        loop {
            let end = tokio::select! {
                end = self.connect_and_serve(&mut receiver, &mut wait, &stop) => end,
                () = patience_after(&stop) => End::Stopped,
            };
            let End::Trouble(trouble) = end else { break };
            self.notes.tell_trouble(&trouble).await;
            tokio::select! {
                () = stop.cancelled() => break,
                () = tokio::time::sleep(wait.next(&trouble)) => {}
            }
        }
        self.keep().await;
        self.notes.tell_untold_refusals().await;
    }

    /// One connection's life, the last words included.
    async fn connect_and_serve(
        &mut self,
        receiver: &mut impl Receiver,
        wait: &mut Backoff,
        stop: &CancellationToken,
    ) -> End {
        if let Err(trouble) = self.connect(receiver).await {
            return End::Trouble(trouble);
        }
        loop {
            self.stopping = stop.is_cancelled();
            match self.deliver_next(receiver).await {
                Err(trouble) => return End::Trouble(trouble),
                Ok(true) => {
                    self.notes.tell_working().await;
                    self.delivered = true;
                    self.settle(wait).await;
                }
                Ok(false) if self.stopping => {
                    receiver.close().await;
                    return End::Stopped;
                }
                Ok(false) => {
                    self.settle(wait).await;
                    if let Some(trouble) = self.wait_for_more(receiver, stop).await {
                        return End::Trouble(trouble);
                    }
                }
            }
        }
    }

    /// A connection that has stood for a while is a good one: only then are the back-off and the
    /// trouble before it forgotten, so that a flapping one is tried, and told of, ever less often.
    /// What was never acknowledged was never good, however long it stood: a receiver without a
    /// connection of its own is only known by its answers.
    async fn settle(&mut self, wait: &mut Backoff) {
        if self.delivered && Instant::now() >= self.settled_from {
            wait.reset();
            self.notes.tell_recovery(&self.progress).await;
        }
    }

    /// Connects; what came meanwhile is late from now on.
    async fn connect(&mut self, receiver: &mut impl Receiver) -> Result<(), Trouble> {
        receiver.connect().await?;
        self.settled_from = Instant::now() + self.settled_after;
        self.delivered = false;
        self.progress.reconnected(self.reader.newest().reading);
        if receiver.keeps_alarm_states() {
            self.standing_alarms(receiver).await?;
        }
        Ok(())
    }

    /// A receiver that keeps states may have lost them: it is told anew where each alarm stands,
    /// after the moves that it has not had yet.
    async fn standing_alarms(&mut self, receiver: &mut impl Receiver) -> Result<(), Trouble> {
        let had = self.progress.moves;
        while self.deliver_moves(receiver).await? {}
        let mut moves = self.reader.standing_moves().await.map_err(log_trouble)?;
        moves.retain(|m| m.seq <= had);
        if !moves.is_empty() {
            receiver.deliver(Parcel::Moves(&moves)).await?;
        }
        Ok(())
    }

    /// The next parcel by rank; false where there is nothing to send now.
    async fn deliver_next(&mut self, receiver: &mut impl Receiver) -> Result<bool, Trouble> {
        Ok(self.deliver_moves(receiver).await?
            || self.deliver_live(receiver).await?
            || self.deliver_late(receiver).await?)
    }

    async fn deliver_moves(&mut self, receiver: &mut impl Receiver) -> Result<bool, Trouble> {
        // Asked before the moves are read: one that comes meanwhile must not be passed over.
        let newest = self.reader.newest().moves;
        if newest <= self.progress.moves {
            return Ok(false);
        }
        let moves = self.reader.moves_after(self.progress.moves, MOVES).await;
        let moves = moves.map_err(log_trouble)?;
        let Some(last) = moves.last().map(|m| m.seq) else {
            self.progress.moves_acknowledged(newest);
            return Ok(false);
        };
        let receipt = receiver.deliver(Parcel::Moves(&moves)).await?;
        self.progress.moves_acknowledged(last);
        self.acknowledged(receipt).await;
        Ok(true)
    }

    async fn deliver_live(&mut self, receiver: &mut impl Receiver) -> Result<bool, Trouble> {
        let waits = !self.stopping && Instant::now() < self.live_from;
        if waits || !self.has_live() {
            return Ok(false);
        }
        let found = self
            .reader
            .after(self.progress.live, u64::MAX, receiver.batch())
            .await;
        let readings = found.map_err(log_trouble)?;
        let Some(last) = readings.last().map(|r| r.seq) else {
            return Ok(false);
        };
        let receipt = receiver.deliver(Parcel::Live(&readings)).await?;
        self.progress.live_acknowledged(last);
        self.live_from = Instant::now() + receiver.live_every();
        self.acknowledged(receipt).await;
        Ok(true)
    }

    async fn deliver_late(&mut self, receiver: &mut impl Receiver) -> Result<bool, Trouble> {
        let Some(span) = self.progress.spans.front().copied() else {
            return Ok(false);
        };
        if Instant::now() < self.late_from {
            return Ok(false);
        }
        let limit = receiver.batch().min(self.late_batch());
        let found = self.reader.after(span.after, span.until, limit).await;
        let readings = found.map_err(log_trouble)?;
        let Some(last) = readings.last().map(|r| r.seq) else {
            // A span whose end was never committed, or whose readings are no longer kept.
            self.progress.oldest_span_is_empty();
            self.keep().await;
            return Ok(true);
        };
        let receipt = receiver.deliver(Parcel::Backlog(&readings)).await?;
        self.progress.late_acknowledged(last);
        let seconds = readings.len() as f64 / f64::from(self.backlog_rate.max(1));
        self.late_from = Instant::now() + Duration::from_secs_f64(seconds);
        self.acknowledged(receipt).await;
        Ok(true)
    }

    /// Late readings go in parcels of a quarter of a second's allowance, so that what is live waits
    /// no longer than that behind one.
    fn late_batch(&self) -> usize {
        (self.backlog_rate / 4).max(1) as usize
    }

    /// Waits for something to send; the trouble, where the connection fails meanwhile.
    async fn wait_for_more(
        &mut self,
        receiver: &mut impl Receiver,
        stop: &CancellationToken,
    ) -> Option<Trouble> {
        let late = !self.progress.spans.is_empty();
        if !late {
            self.reader.rest();
        }
        let live = self.has_live();
        let troubled = self.notes.is_troubled() && self.delivered;
        let reader = &mut self.reader;
        tokio::select! {
            () = stop.cancelled() => None,
            changed = reader.changed() => (!changed).then(|| log_trouble(LogError::Ended)),
            trouble = receiver.idle() => Some(trouble),
            () = sleep_until(self.live_from), if live => None,
            () = sleep_until(self.late_from), if late => None,
            () = sleep_until(self.settled_from), if troubled => None,
        }
    }

    fn has_live(&self) -> bool {
        self.reader.newest().reading > self.progress.live
    }

    async fn acknowledged(&mut self, receipt: Receipt) {
        self.keep().await;
        self.notes.tell_refusals(&receipt.refused).await;
    }

    async fn keep(&mut self) {
        self.log.keep_progress(&self.name, self.progress.clone());
    }
}

/// Ends some seconds after `stop`: what has not been delivered by then is delivered after the next
/// start.
async fn patience_after(stop: &CancellationToken) {
    stop.cancelled().await;
    tokio::time::sleep(LAST_DELIVERY).await;
}

fn log_trouble(error: LogError) -> Trouble {
    Trouble::Later {
        what: format!("the log could not be read ({error})"),
        after: None,
    }
}

/// Waits that double, with a jitter so that a hundred benches do not all come back at once.
#[derive(Debug, Default)]
struct Backoff {
    failures: u32,
}

impl Backoff {
    fn reset(&mut self) {
        self.failures = 0;
    }

    fn next(&mut self, trouble: &Trouble) -> Duration {
        let doubled = FIRST_WAIT * 2u32.saturating_pow(self.failures.min(10));
        self.failures += 1;
        let wait = match trouble {
            Trouble::Later {
                after: Some(after), ..
            } => *after,
            Trouble::Later { after: None, .. } => doubled.min(LONGEST_WAIT),
            Trouble::Person { .. } => PERSON_WAIT,
        };
        wait.mul_f64(fastrand::f64().mul_add(0.4, 1.0))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
