//! The log: one SQLite file, one thread that writes it, any number of readers.
//!
//! Everything that was measured and everything that happened is here; outlets, commands and pages
//! only read. A power cut costs at most the last commit interval ([`Settings::commit`]).

mod folder;
pub mod journal;
mod open;
pub mod progress;
pub mod query;
pub mod reader;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod reader_tests;
mod rows;
pub mod schema;
pub mod steps;
mod tail;
#[cfg(test)]
pub mod testing;
#[cfg(test)]
mod tests;
mod wording;
mod writer;

pub use folder::missing_above;
pub use journal::{Entry, Kind, Loudness};
pub use progress::{Progress, Span};
pub use reader::LogReader;
pub use tail::same_line;

use crate::alarm::Move;
use crate::calibrate::Step;
use crate::outlet::words;
use crate::reading::{Reading, Series};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tail::Tail;
use tokio::sync::{Notify, mpsc, oneshot, watch};
use tokio::time::timeout;
use writer::Request;

/// Batches that wait for the writer: some ten minutes of a busy bench.
const REQUEST_CAPACITY: usize = 8192;

/// Readings that may wait in memory while nothing can be committed: 40 minutes of 200 a second,
/// some 140 MB. Then new ones are dropped, counted and journalled.
const MOST_WAITING: usize = 500_000;

/// Readings that wait when a source faster than the card has to wait as well (a replay as fast as it
/// goes), and when the writer commits without waiting for the interval.
const CROWDED: usize = 50_000;

/// How often such a source looks whether there is room again.
const ROOM_LOOK: Duration = Duration::from_millis(5);

/// How the log is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// The SQLite file.
    pub path: PathBuf,
    /// How often what was read is committed: what a power cut can take.
    pub commit: Duration,
}

/// What went wrong with the log.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// What SQLite said.
    #[error("{}", wording::of_sqlite(.0))]
    Sqlite(#[from] rusqlite::Error),
    /// The folder or a file beside the log could not be made, or a thread could not be started.
    #[error("{}; check the folder, its owner, and the disk's space", words(.0))]
    Io(#[from] std::io::Error),
    /// The file is another program's database.
    #[error("the file is a database, but no log of this program; name the log's own file")]
    NotALog,
    /// The path is that of a folder.
    #[error("it is a folder; name the file in it")]
    IsAFolder,
    /// A folder above the log's own is missing. Only the last one is made: on a path with more
    /// missing a disk is not mounted, and readings would fill the one below it.
    #[error(
        "the folder `{}` is not there, so no log is begun; mount the stick or disk that it is on, or \
         make it",
        .0.display()
    )]
    NoFolder(PathBuf),
    /// The file was written by a later version.
    #[error("the log is of version {found}, this program knows up to {known}; update nightbench")]
    Newer {
        /// Version of the file.
        found: u32,
        /// Latest version known here.
        known: u32,
    },
    /// The linked SQLite can lose committed transactions.
    #[error("SQLite {0} can lose committed readings; build with the bundled one (3.51.3 or later)")]
    OldSqlite(String),
    /// Another service writes to this log.
    #[error(
        "another service (process {0}) writes to this log; stop it, or choose another `path` in `[log]`"
    )]
    InUse(String),
    /// The step of a calibration would not be read back as it is.
    #[error("the step cannot be kept: {0}; nothing was written")]
    Unkeepable(String),
    /// The writer has ended.
    #[error("the log's writer has ended")]
    Ended,
}

/// What one event of the flow brings into the log, in one piece.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Batch {
    /// Readings in order; the log gives them their numbers.
    pub readings: Vec<Reading>,
    /// Journal entries in order. A move's `reading_seq` is the position of its reading in
    /// `readings` until the log puts the number there; see [`Move`].
    pub entries: Vec<Entry>,
    /// Commit at once instead of with the next interval: alarm moves and notes.
    pub at_once: bool,
}

impl Batch {
    /// A batch of one journal entry.
    #[must_use]
    pub fn of(entry: Entry) -> Self {
        Self {
            at_once: entry.alarm.is_some(),
            entries: vec![entry],
            ..Self::default()
        }
    }

    /// Lets the readings go; the alarm moves stay, without a reading.
    pub fn drop_readings(&mut self) {
        self.readings.clear();
        for alarm in self.entries.iter_mut().filter_map(|e| e.alarm.as_mut()) {
            alarm.reading_seq = 0;
        }
    }

    /// Whether there is nothing to write.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.readings.is_empty() && self.entries.is_empty()
    }

    /// Puts another batch behind this one.
    pub fn append(&mut self, mut other: Self) {
        let shift = self.readings.len() as u64;
        for entry in &mut other.entries {
            if let Some(alarm) = entry.alarm.as_mut().filter(|a| a.reading_seq != 0) {
                alarm.reading_seq += shift;
            }
        }
        self.readings.append(&mut other.readings);
        self.entries.append(&mut other.entries);
        self.at_once |= other.at_once;
    }
}

/// The newest sequence numbers, for those who wait for more.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Newest {
    /// Of the readings, committed or not.
    pub reading: u64,
    /// Of the alarm moves in the journal, committed or not.
    pub moves: u64,
    /// The log is closed: nothing more will come.
    pub closed: bool,
}

/// What the writer shares with the readers.
#[derive(Debug)]
struct Shared {
    path: PathBuf,
    boot: u32,
    tail: Mutex<Tail>,
    newest: watch::Sender<Newest>,
    /// Counts up each time the writer has been through its loop: the watchdog looks at it.
    pulse: AtomicU64,
    /// Readings dropped because too many waited.
    dropped: AtomicU64,
    /// The last commit did not work.
    failing: AtomicBool,
    /// Wakes the writer before its commit is due.
    urgent: Notify,
}

impl Shared {
    fn is_crowded(&self) -> bool {
        !self.failing.load(Ordering::Relaxed) && self.tail().waiting() >= 2 * CROWDED
    }

    /// A poisoned lock only means that a reader's thread died; the tail itself is whole.
    fn tail(&self) -> MutexGuard<'_, Tail> {
        self.tail.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The way to the log's writer; cheap to clone.
#[derive(Clone, Debug)]
pub struct Log {
    shared: Arc<Shared>,
    requests: mpsc::Sender<Request>,
}

impl Log {
    /// Opens or makes the log and starts its writer.
    ///
    /// # Errors
    /// What is wrong with the file, its folder, or the linked SQLite.
    pub fn open(settings: &Settings) -> Result<Self, LogError> {
        schema::assert_sqlite_version()?;
        folder::make(&settings.path)?;
        let (requests, inbox) = mpsc::channel(REQUEST_CAPACITY);
        let shared = writer::start(settings, inbox)?;
        Ok(Self { shared, requests })
    }

    /// Numbers the readings of a batch, shows them to the outlets and hands the batch to the writer,
    /// waiting at most `patience` for room. An outlet never waits for the card: it has seen the
    /// reading before the writer has.
    ///
    /// # Errors
    /// Gives the batch back where there was no room, or the writer has ended.
    pub async fn append(&self, mut batch: Batch, patience: Duration) -> Result<(), Batch> {
        let _ = timeout(patience, self.room()).await;
        let Ok(Ok(room)) = timeout(patience, self.requests.reserve()).await else {
            return Err(batch);
        };
        let at_once = batch.at_once || self.requests.capacity() < REQUEST_CAPACITY / 2;
        let newest = {
            // Handed over under the lock: the writer gets batches in the order of their numbers.
            let mut tail = self.shared.tail();
            let dropped = tail.take(&mut batch, MOST_WAITING);
            self.shared.dropped.fetch_add(dropped, Ordering::Relaxed);
            room.send(Request::Append(batch));
            Newest {
                reading: tail.newest(),
                moves: tail.newest_entry_and_move().1,
                closed: false,
            }
        };
        if at_once {
            self.shared.urgent.notify_one();
        }
        self.shared.newest.send_if_modified(|known| {
            let is_new = newest.reading > known.reading || newest.moves > known.moves;
            known.reading = known.reading.max(newest.reading);
            known.moves = known.moves.max(newest.moves);
            is_new
        });
        Ok(())
    }

    /// Waits until not too much waits for a commit. While commits fail nobody waits: then memory is
    /// what there is.
    async fn room(&self) {
        while self.shared.is_crowded() {
            self.shared.urgent.notify_one();
            tokio::time::sleep(ROOM_LOOK).await;
        }
    }

    /// The log's number of a series, made where it is new.
    ///
    /// # Errors
    /// `Ended`, or what SQLite says.
    pub async fn series(&self, series: Series) -> Result<Arc<Series>, LogError> {
        self.ask(|reply| Request::Series(series, reply)).await?
    }

    /// Appends a step of a probe's calibration, with the journal entry that tells of it, in one
    /// transaction that is committed at once. Gives the step's number; by then it is in the file.
    /// The step's time is the entry's. Who calls says the entry.
    ///
    /// # Errors
    /// `Unkeepable`, `Ended`, or what SQLite says; then neither step nor entry is kept.
    pub async fn append_step(
        &self,
        probe: &str,
        step: &Step,
        entry: Entry,
    ) -> Result<u64, LogError> {
        let step = steps::New::of(probe, entry.at.wall_ms, step)?;
        let mut batch = Batch::of(entry);
        let (reply, answer) = oneshot::channel();
        let room = self.requests.reserve().await;
        let room = room.map_err(|_| LogError::Ended)?;
        {
            // As in `append`: the writer gets entries in the order of their numbers.
            let mut tail = self.shared.tail();
            tail.take(&mut batch, MOST_WAITING);
            room.send(Request::Step(step, batch, reply));
        }
        self.shared.urgent.notify_one();
        answer.await.map_err(|_| LogError::Ended)?
    }

    /// Keeps an outlet's cursors with the next commit.
    pub fn keep_progress(&self, outlet: &str, progress: Progress) {
        let request = Request::Progress(outlet.to_owned(), progress);
        // A writer that has ended, or whose inbox is full, keeps nothing: a later call does, or what
        // was sent is sent again. Nobody is woken for it, and no outlet waits for the card.
        let _ = self.requests.try_send(request);
    }

    /// Changes the commit interval.
    pub async fn set_commit(&self, every: Duration) {
        let _ = self.requests.send(Request::CommitEvery(every)).await;
        self.shared.urgent.notify_one();
    }

    /// Commits all that was handed over before.
    ///
    /// # Errors
    /// `Ended`, or what SQLite says.
    pub async fn commit(&self) -> Result<(), LogError> {
        self.ask(Request::Commit).await?
    }

    /// Commits, closes the file and ends the writer.
    ///
    /// # Errors
    /// `Ended`, or what SQLite says; then the last interval is not in the file.
    pub async fn close(&self) -> Result<(), LogError> {
        self.ask(Request::Close).await?
    }

    /// A reader of its own for one outlet.
    #[must_use]
    pub fn reader(&self) -> LogReader {
        LogReader::new(Arc::clone(&self.shared))
    }

    /// The log's number of this boot of the host.
    #[must_use]
    pub fn boot(&self) -> u32 {
        self.shared.boot
    }

    /// Where the log stands.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.shared.path
    }

    /// Where the writer's pulse stands: as long as it counts up, the writer lives.
    #[must_use]
    pub fn pulse(&self) -> u64 {
        self.shared.pulse.load(Ordering::Relaxed)
    }

    /// Asks the writer for a pulse; false where its inbox is full.
    #[must_use]
    pub fn ask_pulse(&self) -> bool {
        let asked = self.requests.try_send(Request::Pulse).is_ok();
        self.shared.urgent.notify_one();
        asked
    }

    async fn ask<T>(
        &self,
        request: impl FnOnce(oneshot::Sender<T>) -> Request,
    ) -> Result<T, LogError> {
        let (reply, answer) = oneshot::channel();
        let sent = self.requests.send(request(reply)).await;
        sent.map_err(|_| LogError::Ended)?;
        self.shared.urgent.notify_one();
        answer.await.map_err(|_| LogError::Ended)
    }
}

/// Moves as they stood last: one per probe and alarm.
pub type StandingMoves = Vec<Move>;
