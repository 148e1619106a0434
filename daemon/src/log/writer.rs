//! The one thread that writes the log. It owns the writing connection, is fed by a bounded channel,
//! and is also the only one that checkpoints.
//!
//! What was handed over waits in memory until the next commit and is written in one transaction; a
//! commit that fails (disk full) leaves all of it waiting, and is tried again with the next
//! interval.

use super::journal::{Entry, Kind};
use super::progress::Progress;
use super::tail::Tail;
use super::{Batch, LogError, Newest, Settings, Shared, open, rows, schema};
use crate::clock;
use crate::reading::{Reading, Series};
use rusqlite::Connection;
use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::Instant;

/// Readings that may wait in memory while nothing can be committed: 40 minutes of 200 a second,
/// some 80 MB. Then new ones are dropped, counted and journalled.
const MOST_WAITING: usize = 500_000;

/// Sequence numbers reserved on opening and with each commit: as many as can be given until the
/// next one. After a crash numbering goes on behind them, so a number that an outlet saw before the
/// crash is never given to another reading.
const RESERVED: u64 = MOST_WAITING as u64;

/// How whoever asked is told what became of it.
type Reply<T = ()> = oneshot::Sender<Result<T, LogError>>;

/// What the writer is asked for.
#[derive(Debug)]
pub enum Request {
    /// Append readings and entries.
    Append(Batch),
    /// Give the number of a series.
    Series(Series, Reply<Arc<Series>>),
    /// Keep an outlet's cursors.
    Progress(String, Progress),
    /// Commit from now on this often.
    CommitEvery(Duration),
    /// Commit now.
    Commit(Reply),
    /// Show that you live.
    Pulse,
    /// Commit, close and end.
    Close(Reply),
}

/// Opens the file and starts the thread.
pub fn start(settings: &Settings, inbox: mpsc::Receiver<Request>) -> Result<Arc<Shared>, LogError> {
    let lock = open::lock(&settings.path)?;
    let mut conn = open::open(&settings.path)?;
    schema::migrate(&mut conn)?;
    let next_seq = open::next_seq(&conn)?;
    rows::write_next_seq(&conn, next_seq + RESERVED)?;
    let shared = Arc::new(Shared {
        path: settings.path.clone(),
        boot: open::boot_number(&conn, &clock::boot_id())?,
        tail: Mutex::new(Tail::starting_after(next_seq - 1)),
        newest: watch::Sender::new(Newest {
            reading: next_seq - 1,
            moves: open::last_move(&conn)?,
            closed: false,
        }),
        pulse: AtomicU64::new(0),
    });
    let writer = Writer::new(conn, Arc::clone(&shared), settings.commit, next_seq);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()?;
    std::thread::Builder::new()
        .name("log-writer".to_owned())
        .spawn(move || {
            let (reply, closed) = runtime.block_on(writer.run(inbox));
            drop(lock);
            if let Some(reply) = reply {
                // Whoever asked may have gone; the log is closed all the same.
                let _ = reply.send(closed);
            }
        })?;
    Ok(shared)
}

struct Writer {
    conn: Connection,
    shared: Arc<Shared>,
    every: Duration,
    next_seq: u64,
    readings: Vec<Reading>,
    entries: Vec<Entry>,
    progress: HashMap<String, Progress>,
    /// When the next commit is due; none where nothing waits.
    due: Option<Instant>,
    trouble: Trouble,
}

/// What could not be written, for the journal once it can be.
#[derive(Default)]
struct Trouble {
    since_ms: Option<i64>,
    dropped: u64,
}

impl Writer {
    fn new(conn: Connection, shared: Arc<Shared>, every: Duration, next_seq: u64) -> Self {
        Self {
            conn,
            shared,
            every,
            next_seq,
            readings: Vec::new(),
            entries: Vec::new(),
            progress: HashMap::new(),
            due: None,
            trouble: Trouble::default(),
        }
    }

    /// Gives how closing went, and who wants to know: to be told once file and lock are let go.
    async fn run(
        mut self,
        inbox: mpsc::Receiver<Request>,
    ) -> (Option<Reply>, Result<(), LogError>) {
        let reply = self.serve_until_close(inbox).await;
        let closed = self.close();
        self.shared
            .newest
            .send_modify(|newest| newest.closed = true);
        (reply, closed)
    }

    /// Ends when it is asked to, or when nobody is left who could ask.
    async fn serve_until_close(&mut self, mut inbox: mpsc::Receiver<Request>) -> Option<Reply> {
        loop {
            self.shared.pulse.fetch_add(1, Ordering::Relaxed);
            let request = match self.due {
                None => inbox.recv().await,
                Some(due) => match tokio::time::timeout_at(due, inbox.recv()).await {
                    Ok(request) => request,
                    Err(_) => {
                        self.commit_or_tell();
                        continue;
                    }
                },
            };
            match request {
                Some(Request::Close(reply)) => return Some(reply),
                Some(request) => self.serve(request),
                None => return None,
            }
        }
    }

    fn serve(&mut self, request: Request) {
        match request {
            Request::Append(batch) => self.append(batch),
            Request::Series(series, reply) => {
                let _ = reply.send(self.number_series(series));
            }
            Request::Progress(outlet, progress) => {
                self.progress.insert(outlet, progress);
                self.commit_is_due();
            }
            Request::CommitEvery(every) => self.every = every,
            Request::Commit(reply) => {
                let _ = reply.send(self.commit());
            }
            // The loop itself counted.
            Request::Pulse | Request::Close(_) => {}
        }
        // A busy inbox must not put the commit off.
        if self.due.is_some_and(|due| due <= Instant::now()) {
            self.commit_or_tell();
        }
    }

    fn append(&mut self, batch: Batch) {
        let Batch {
            mut readings,
            mut entries,
            at_once,
        } = batch;
        let room = MOST_WAITING.saturating_sub(self.readings.len());
        self.trouble.dropped += readings.len().saturating_sub(room) as u64;
        readings.truncate(room);
        self.number(&mut readings, &mut entries);
        self.entries.append(&mut entries);
        if !readings.is_empty() {
            self.publish(&readings);
            self.readings.append(&mut readings);
        }
        self.commit_is_due();
        if at_once {
            self.commit_or_tell();
        }
    }

    /// Gives each reading its number, and each alarm move the number of its reading.
    fn number(&mut self, readings: &mut [Reading], entries: &mut [Entry]) {
        let first = self.next_seq;
        for reading in readings.iter_mut() {
            reading.seq = self.next_seq;
            self.next_seq += 1;
            // SQLite keeps no sign of a zero; what is live must be what is read back.
            for number in [
                &mut reading.raw,
                &mut reading.electrical,
                &mut reading.spread,
            ] {
                *number = number.map(|number| number + 0.0);
            }
        }
        let last = readings.len() as u64;
        for alarm in entries.iter_mut().filter_map(|e| e.alarm.as_mut()) {
            alarm.reading_seq = match alarm.reading_seq {
                position if (1..=last).contains(&position) => first + position - 1,
                // Judged on none, or on one that was dropped.
                _ => 0,
            };
        }
    }

    /// Outlets see a reading at once, before it is committed.
    fn publish(&mut self, readings: &[Reading]) {
        let mut tail = self.shared.tail();
        for reading in readings {
            tail.push(reading.clone());
        }
        let newest = tail.newest();
        drop(tail);
        self.shared.newest.send_modify(|n| n.reading = newest);
    }

    fn commit_is_due(&mut self) {
        if self.due.is_none() {
            self.due = Some(Instant::now() + self.every);
        }
    }

    fn number_series(&mut self, mut series: Series) -> Result<Arc<Series>, LogError> {
        series.id = rows::series_id(&self.conn, &series)?;
        Ok(Arc::new(series))
    }

    fn commit_or_tell(&mut self) {
        if let Err(error) = self.commit() {
            let now = clock::now();
            if self.trouble.since_ms.is_none() {
                self.trouble.since_ms = Some(now.wall_ms);
                tracing::error!(
                    "log {}: cannot be written ({error}); nothing stored is harmed, new readings \
                     wait in memory ({MOST_WAITING} at most); check the disk's space and state",
                    self.shared.path.display()
                );
            }
            self.due = Some(Instant::now() + self.every);
        }
    }

    fn commit(&mut self) -> Result<(), LogError> {
        self.due = None;
        if !self.has_work() {
            return Ok(());
        }
        let last_move = match self.write_all() {
            Ok(last_move) => last_move,
            Err(error) => {
                self.due = Some(Instant::now() + self.every);
                return Err(error.into());
            }
        };
        self.entries.clear();
        self.progress.clear();
        self.tell_recovery();
        if let Some(last) = self.readings.last() {
            self.shared.tail().committed_up_to(last.seq);
        }
        self.readings.clear();
        if let Some(seq) = last_move {
            self.shared.newest.send_modify(|n| n.moves = seq);
        }
        Ok(())
    }

    fn has_work(&self) -> bool {
        !(self.readings.is_empty() && self.entries.is_empty() && self.progress.is_empty())
    }

    /// The entry that tells of a time without commits; it follows with the next one.
    fn tell_recovery(&mut self) {
        let trouble = std::mem::take(&mut self.trouble);
        let Some(since_ms) = trouble.since_ms else {
            return;
        };
        let now = clock::now();
        let seconds = (now.wall_ms - since_ms) / 1000;
        let text = format!(
            "could not be written for {seconds} s; {} readings waited in memory, {} were dropped",
            self.readings.len(),
            trouble.dropped
        );
        self.entries.push(Entry::new(now, Kind::Log, "", text));
        self.commit_is_due();
    }

    /// One transaction; gives the number of the last alarm move in it.
    fn write_all(&mut self) -> rusqlite::Result<Option<u64>> {
        let behavior = rusqlite::TransactionBehavior::Immediate;
        let boot = self.shared.boot;
        let transaction = self.conn.transaction_with_behavior(behavior)?;
        for reading in &self.readings {
            rows::insert_reading(&transaction, reading)?;
        }
        let mut last_move = None;
        for entry in &self.entries {
            let seq = rows::insert_entry(&transaction, boot, entry)?;
            last_move = if entry.alarm.is_some() {
                Some(seq)
            } else {
                last_move
            };
        }
        for (outlet, progress) in &self.progress {
            rows::write_progress(&transaction, outlet, progress)?;
        }
        rows::write_next_seq(&transaction, self.next_seq + RESERVED)?;
        transaction.commit()?;
        Ok(last_move)
    }

    fn close(&mut self) -> Result<(), LogError> {
        self.commit()?;
        rows::write_next_seq(&self.conn, self.next_seq)?;
        // Leaves one file behind instead of three; a reader in the way is no harm.
        let _ = self
            .conn
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()));
        Ok(())
    }
}
