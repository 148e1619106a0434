//! The one thread that writes the log. It owns the writing connection, is fed by a bounded channel,
//! and is also the only one that checkpoints.
//!
//! What was handed over waits in memory until the next commit and is written in one transaction; a
//! commit that fails (disk full) leaves all of it waiting, and is tried again with the next
//! interval.

use super::journal::{Entry, Kind, Loudness};
use super::open::Next;
use super::progress::Progress;
use super::tail::Tail;
use super::{Batch, LogError, Newest, Settings, Shared, open, rows, schema, steps};
use crate::clock;
use crate::reading::{Reading, Series};
use crate::words::counted;
use rusqlite::Connection;
use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::mpsc::error::TryRecvError;
use tokio::sync::{Notify, mpsc, oneshot, watch};
use tokio::time::{Instant, timeout_at};

/// Sequence numbers reserved ahead; at least half of them always are, which is as many as can wait
/// for a commit ([`super::MOST_WAITING`]).
/// After a crash numbering goes on behind them, so a number that an outlet saw before the crash is
/// never given to another reading.
const RESERVED: u64 = 1_000_000;
const _: () = assert!(RESERVED / 2 >= super::MOST_WAITING as u64);

/// How whoever asked is told what became of it.
type Reply<T = ()> = oneshot::Sender<Result<T, LogError>>;

/// What the writer is asked for.
#[derive(Debug)]
pub enum Request {
    /// Append readings and entries.
    Append(Batch),
    /// Append a step of a calibration with its entry, commit, and give its number.
    Step(steps::New, Batch, Reply<u64>),
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
    let mut conn = open::open(&settings.path)?;
    let lock = open::lock(&settings.path)?;
    open::prepare(&conn)?;
    schema::migrate(&mut conn)?;
    let next = open::next_numbers(&conn)?;
    // Before any number is given out: one that an outlet saw is never used again.
    rows::write_next(&conn, "next_seq", next.reading + RESERVED)?;
    rows::write_next(&conn, "next_entry", next.entry + RESERVED)?;
    let last_move = open::last_move(&conn)?;
    let shared = Arc::new(Shared {
        path: settings.path.clone(),
        boot: open::boot_number(&conn, &clock::boot_id())?,
        tail: Mutex::new(Tail::starting_after(
            next.reading - 1,
            next.entry - 1,
            last_move,
        )),
        newest: watch::Sender::new(Newest {
            reading: next.reading - 1,
            moves: last_move,
            closed: false,
        }),
        pulse: AtomicU64::new(0),
        dropped: AtomicU64::new(0),
        failing: AtomicBool::new(false),
        urgent: Notify::new(),
    });
    let reserved = Next {
        reading: next.reading + RESERVED,
        entry: next.entry + RESERVED,
    };
    let writer = Writer::new(conn, Arc::clone(&shared), settings.commit, reserved);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()?;
    std::thread::Builder::new()
        .name("log-writer".to_owned())
        .spawn(move || {
            let (reply, closed) = runtime.block_on(writer.run(inbox));
            // Let go by word: a program that is just being started still holds a copy of it.
            let _ = lock.unlock();
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
    /// The first numbers that are not reserved in the file.
    reserved: Next,
    readings: Vec<Reading>,
    entries: Vec<Entry>,
    step: Option<steps::New>,
    progress: HashMap<String, Progress>,
    /// When the next commit is due; none where nothing waits.
    due: Option<Instant>,
    trouble: Trouble,
}

/// What could not be written, for the journal once it can be.
#[derive(Default)]
struct Trouble {
    since_ms: Option<i64>,
}

impl Writer {
    fn new(conn: Connection, shared: Arc<Shared>, every: Duration, reserved: Next) -> Self {
        Self {
            conn,
            shared,
            every,
            reserved,
            readings: Vec::new(),
            entries: Vec::new(),
            step: None,
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
            match self.due {
                None => match inbox.recv().await? {
                    Request::Close(reply) => return Some(reply),
                    request => self.serve(request),
                },
                // Readings only have to be there when the commit is due: until then they wait in
                // the inbox, and nobody is woken for each.
                Some(due) => {
                    let _ = timeout_at(due, self.shared.urgent.notified()).await;
                    if let Some(end) = self.serve_all(&mut inbox) {
                        return end;
                    }
                }
            }
        }
    }

    /// All that is in the inbox, then the commit, where it is due. Gives how it ended, if it did.
    fn serve_all(&mut self, inbox: &mut mpsc::Receiver<Request>) -> Option<Option<Reply>> {
        // What comes meanwhile came just now: it can wait for the next commit.
        for _ in 0..inbox.len().max(1) {
            match inbox.try_recv() {
                Ok(Request::Close(reply)) => return Some(Some(reply)),
                Ok(request) => self.serve(request),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => return Some(None),
            }
        }
        if self.due.is_some_and(|due| due <= Instant::now()) {
            self.commit_or_tell();
        }
        None
    }

    fn serve(&mut self, request: Request) {
        match request {
            Request::Append(batch) => self.append(batch),
            Request::Step(step, batch, reply) => {
                let _ = reply.send(self.keep_step(step, batch));
            }
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
    }

    fn append(&mut self, mut batch: Batch) {
        self.readings.append(&mut batch.readings);
        self.entries.append(&mut batch.entries);
        self.commit_is_due();
        // A flood must not fill the memory.
        let flood = self.readings.len() >= super::CROWDED && !self.is_failing();
        if batch.at_once || flood {
            self.commit_or_tell();
        }
    }

    /// A step is kept at once or not at all: whoever asked is waiting to hear which.
    fn keep_step(&mut self, step: steps::New, mut batch: Batch) -> Result<u64, LogError> {
        let others = self.entries.len();
        self.entries.append(&mut batch.entries);
        self.step = Some(step);
        let committed = self.commit();
        let step = self.step.take();
        if let Err(error) = committed {
            self.entries.truncate(others);
            return Err(error);
        }
        Ok(step.map_or(0, |step| step.number))
    }

    fn is_failing(&self) -> bool {
        self.shared.failing.load(Ordering::Relaxed)
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
            self.shared.failing.store(true, Ordering::Relaxed);
            let now = clock::now();
            if self.trouble.since_ms.is_none() {
                self.trouble.since_ms = Some(now.wall_ms);
                tracing::error!(
                    "log {}: cannot be written ({error}); nothing stored is harmed, new readings \
                     wait in memory ({} at most); check the disk's space and state",
                    self.shared.path.display(),
                    super::MOST_WAITING
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
        if let Err(error) = self.write_all() {
            self.due = Some(Instant::now() + self.every);
            return Err(error.into());
        }
        self.shared.failing.store(false, Ordering::Relaxed);
        self.told_committed();
        let waited = self.readings.len();
        self.readings.clear();
        self.entries.clear();
        self.progress.clear();
        self.tell_recovery(waited);
        Ok(())
    }

    fn told_committed(&self) {
        let mut tail = self.shared.tail();
        if let Some(last) = self.readings.last() {
            tail.committed_up_to(last.seq);
        }
        if let Some(last) = self.entries.last() {
            tail.entries_committed_up_to(last.seq);
        }
    }

    fn has_work(&self) -> bool {
        !(self.readings.is_empty() && self.entries.is_empty() && self.progress.is_empty())
            || self.step.is_some()
    }

    /// The entry that tells of a time without commits; it follows with the next one. All that waited
    /// is written by now: this must not be the cause of another commit within the first.
    fn tell_recovery(&mut self, waited: usize) {
        let trouble = std::mem::take(&mut self.trouble);
        let Some(since_ms) = trouble.since_ms else {
            return;
        };
        let now = clock::now();
        let seconds = (now.wall_ms - since_ms) / 1000;
        let dropped = self.shared.dropped.swap(0, Ordering::Relaxed);
        let were = if dropped == 1 { "was" } else { "were" };
        let text = format!(
            "could not be written for {seconds} s; {} waited in memory, {dropped} {were} dropped",
            counted(waited, "reading")
        );
        let entry = Entry::new(now, Kind::Log, "", format!("log: {text}")).loud(Loudness::Warning);
        entry.say();
        let mut batch = Batch::of(entry);
        self.shared.tail().take(&mut batch, super::MOST_WAITING);
        self.append(batch);
    }

    /// All that waits, in one transaction.
    fn write_all(&mut self) -> rusqlite::Result<()> {
        let behavior = rusqlite::TransactionBehavior::Immediate;
        let boot = self.shared.boot;
        let transaction = self.conn.transaction_with_behavior(behavior)?;
        for reading in &self.readings {
            rows::insert_reading(&transaction, reading)?;
        }
        for entry in &self.entries {
            rows::insert_entry(&transaction, boot, entry)?;
        }
        if let Some(step) = &mut self.step {
            step.insert(&transaction)?;
        }
        for (outlet, progress) in &self.progress {
            rows::write_progress(&transaction, outlet, progress)?;
        }
        let next = |last: Option<u64>, reserved: u64| {
            // Rarely: each time is a page more on the card.
            last.filter(|last| last + 1 + RESERVED / 2 > reserved)
                .map_or(reserved, |last| last + 1 + RESERVED)
        };
        let reading = next(self.readings.last().map(|r| r.seq), self.reserved.reading);
        let entry = next(self.entries.last().map(|e| e.seq), self.reserved.entry);
        if reading > self.reserved.reading {
            rows::write_next(&transaction, "next_seq", reading)?;
        }
        if entry > self.reserved.entry {
            rows::write_next(&transaction, "next_entry", entry)?;
        }
        transaction.commit()?;
        self.reserved = Next { reading, entry };
        Ok(())
    }

    fn close(&mut self) -> Result<(), LogError> {
        self.commit()?;
        let tail = self.shared.tail();
        let (reading, entry) = (tail.newest(), tail.newest_entry_and_move().0);
        drop(tail);
        rows::write_next(&self.conn, "next_seq", reading + 1)?;
        rows::write_next(&self.conn, "next_entry", entry + 1)?;
        // Leaves one file behind instead of three; a reader in the way is no harm.
        let _ = self
            .conn
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()));
        Ok(())
    }
}
