//! The one thread that writes the log. It owns the writing connection, is fed by a bounded channel,
//! and is also the only one that checkpoints.
//!
//! What was handed over waits in memory until the next commit and is written in one transaction; a
//! commit that fails (disk full) leaves all of it waiting, and is tried again with the next
//! interval.

use super::journal::{Entry, Kind};
use super::progress::Progress;
use super::tail::Tail;
use super::{Batch, LogError, Newest, Settings, Shared, rows, schema};
use crate::clock;
use crate::reading::{Reading, Series};
use rusqlite::{Connection, params};
use std::collections::HashMap;
use std::fs::{File, TryLockError};
use std::io::{Read, Write};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::Instant;

/// Sequence numbers reserved with each commit. After a crash numbering goes on behind them, so a
/// number that an outlet saw before the crash is never given to another reading.
const RESERVED: u64 = 65_536;

/// Readings that may wait in memory while nothing can be committed: 40 minutes of 200 a second,
/// some 80 MB. Then new ones are dropped, counted and journalled.
const MOST_WAITING: usize = 500_000;

/// What the writer is asked for.
#[derive(Debug)]
pub enum Request {
    /// Append readings and entries.
    Append(Batch),
    /// Give the number of a series.
    Series(Series, oneshot::Sender<Result<Arc<Series>, LogError>>),
    /// Keep an outlet's cursors.
    Progress(String, Progress),
    /// Commit from now on this often.
    CommitEvery(Duration),
    /// Commit now.
    Commit(oneshot::Sender<Result<(), LogError>>),
    /// Show that you live.
    Pulse,
    /// Commit, close and end.
    Close(oneshot::Sender<Result<(), LogError>>),
}

/// Opens the file and starts the thread.
pub fn start(settings: &Settings, inbox: mpsc::Receiver<Request>) -> Result<Arc<Shared>, LogError> {
    let lock = lock(&settings.path)?;
    let mut conn = open(&settings.path)?;
    schema::migrate(&mut conn)?;
    let next_seq = next_seq(&conn)?;
    let shared = Arc::new(Shared {
        path: settings.path.clone(),
        boot: boot_number(&conn, &clock::boot_id())?,
        tail: Mutex::new(Tail::starting_after(next_seq - 1)),
        newest: watch::Sender::new(Newest {
            reading: next_seq - 1,
            moves: last_move(&conn)?,
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
            runtime.block_on(writer.run(inbox));
            drop(lock);
        })?;
    Ok(shared)
}

/// Holds a lock beside the log for as long as the writer lives: two writers would each believe that
/// they number the readings.
fn lock(log: &Path) -> Result<File, LogError> {
    let mut path = log.as_os_str().to_owned();
    path.push(".lock");
    let mut file = File::options()
        .create(true)
        .truncate(false)
        .read(true)
        .write(true)
        .open(path)?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let mut holder = String::new();
            file.read_to_string(&mut holder)?;
            return Err(LogError::InUse(holder.trim().to_owned()));
        }
        Err(TryLockError::Error(error)) => return Err(error.into()),
    }
    file.set_len(0)?;
    writeln!(file, "{}", std::process::id())?;
    Ok(file)
}

fn open(path: &Path) -> Result<Connection, LogError> {
    let conn = Connection::open(path)?;
    conn.busy_timeout(Duration::from_secs(5))?;
    conn.pragma_update(None, "journal_mode", "WAL")?;
    // FULL syncs the write-ahead log at each commit: the commit interval is then what a power cut
    // can take, not "some commits". NORMAL writes about half as much to the card.
    conn.pragma_update(None, "synchronous", "FULL")?;
    conn.pragma_update(None, "foreign_keys", true)?;
    Ok(conn)
}

fn next_seq(conn: &Connection) -> rusqlite::Result<u64> {
    let sql = "SELECT max(coalesce((SELECT max(seq) + 1 FROM reading), 1), \
        coalesce((SELECT CAST(value AS INTEGER) FROM meta WHERE key = 'next_seq'), 1))";
    conn.query_row(sql, [], |row| row.get(0))
        .map(rows::from_stored)
}

fn last_move(conn: &Connection) -> rusqlite::Result<u64> {
    let sql = "SELECT coalesce(max(seq), 0) FROM journal WHERE kind = 'alarm'";
    conn.query_row(sql, [], |row| row.get(0))
        .map(rows::from_stored)
}

fn boot_number(conn: &Connection, name: &str) -> rusqlite::Result<u32> {
    conn.execute("INSERT OR IGNORE INTO boot (name) VALUES (?1)", [name])?;
    conn.query_row("SELECT id FROM boot WHERE name = ?1", [name], |row| {
        row.get(0)
    })
}

struct Writer {
    conn: Connection,
    shared: Arc<Shared>,
    every: Duration,
    next_seq: u64,
    /// Numbers below this are reserved in the file.
    reserved: u64,
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
            reserved: next_seq,
            readings: Vec::new(),
            entries: Vec::new(),
            progress: HashMap::new(),
            due: None,
            trouble: Trouble::default(),
        }
    }

    async fn run(mut self, mut inbox: mpsc::Receiver<Request>) {
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
                Some(Request::Close(reply)) => {
                    let _ = reply.send(self.close());
                    return;
                }
                Some(request) => self.serve(request),
                None => {
                    let _ = self.close();
                    return;
                }
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
        if at_once || self.next_seq >= self.reserved {
            self.commit_or_tell();
        }
    }

    /// Gives each reading its number, and each alarm move the number of its reading.
    fn number(&mut self, readings: &mut [Reading], entries: &mut [Entry]) {
        let first = self.next_seq;
        for reading in readings.iter_mut() {
            reading.seq = self.next_seq;
            self.next_seq += 1;
        }
        for alarm in entries.iter_mut().filter_map(|e| e.alarm.as_mut()) {
            alarm.reading_seq = match alarm.reading_seq {
                0 => 0,
                position => first + position - 1,
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
        let reserved = self.next_seq + RESERVED;
        let last_move = match self.write_all(reserved) {
            Ok(last_move) => last_move,
            Err(error) => {
                self.due = Some(Instant::now() + self.every);
                return Err(error.into());
            }
        };
        self.reserved = reserved;
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
            || self.next_seq >= self.reserved
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
    fn write_all(&mut self, reserved: u64) -> rusqlite::Result<Option<u64>> {
        let behavior = rusqlite::TransactionBehavior::Immediate;
        let boot = self.shared.boot;
        let transaction = self.conn.transaction_with_behavior(behavior)?;
        for reading in &self.readings {
            rows::insert_reading(&transaction, reading)?;
        }
        let mut last_move = None;
        for entry in &self.entries {
            let seq = insert_entry(&transaction, boot, entry)?;
            last_move = if entry.alarm.is_some() {
                Some(seq)
            } else {
                last_move
            };
        }
        for (outlet, progress) in &self.progress {
            write_progress(&transaction, outlet, progress)?;
        }
        write_next_seq(&transaction, reserved)?;
        transaction.commit()?;
        Ok(last_move)
    }

    fn close(&mut self) -> Result<(), LogError> {
        self.commit()?;
        write_next_seq(&self.conn, self.next_seq)?;
        // Leaves one file behind instead of three; a reader in the way is no harm.
        let _ = self
            .conn
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()));
        Ok(())
    }
}

fn write_next_seq(conn: &Connection, next_seq: u64) -> rusqlite::Result<()> {
    let sql = "INSERT INTO meta VALUES ('next_seq', ?1) \
        ON CONFLICT (key) DO UPDATE SET value = excluded.value";
    conn.prepare_cached(sql)?.execute([next_seq.to_string()])?;
    Ok(())
}

fn insert_entry(conn: &Connection, boot: u32, entry: &Entry) -> rusqlite::Result<u64> {
    let sql = "INSERT INTO journal (time_ms, boot, boot_ns, kind, subject, text, data) \
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    let data = entry
        .alarm
        .as_ref()
        .and_then(|a| serde_json::to_string(a).ok());
    conn.prepare_cached(sql)?.execute(params![
        entry.at.wall_ms,
        boot,
        rows::as_stored(entry.at.boot_ns),
        entry.kind.word(),
        entry.subject,
        entry.text,
        data
    ])?;
    Ok(rows::from_stored(conn.last_insert_rowid()))
}

fn write_progress(conn: &Connection, outlet: &str, progress: &Progress) -> rusqlite::Result<()> {
    let cursor = "INSERT INTO cursor VALUES (?1, ?2, ?3) \
        ON CONFLICT (outlet, lane) DO UPDATE SET seq = excluded.seq";
    for (lane, seq) in [("live", progress.live), ("moves", progress.moves)] {
        conn.prepare_cached(cursor)?
            .execute(params![outlet, lane, rows::as_stored(seq)])?;
    }
    conn.prepare_cached("DELETE FROM backlog WHERE outlet = ?1")?
        .execute([outlet])?;
    let mut insert = conn.prepare_cached("INSERT OR REPLACE INTO backlog VALUES (?1, ?2, ?3)")?;
    for span in &progress.spans {
        let (after, until) = (rows::as_stored(span.after), rows::as_stored(span.until));
        insert.execute(params![outlet, after, until])?;
    }
    Ok(())
}
