//! One reader for what is committed and for the writer's uncommitted tail: an outlet reads forward
//! through it and cannot tell where the one ends and the other begins.

use super::rows::{self, SeriesById};
use super::{LogError, Newest, Progress, Shared, Span, same_line, steps};
use crate::alarm::Move;
use crate::calibrate::Recorded;
use crate::reading::Reading;
use rusqlite::{Connection, OpenFlags, params};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// Reads forward in the log. Each outlet has its own; it opens its own read-only connection only
/// when it needs what is no longer in memory.
#[derive(Debug)]
pub struct LogReader {
    shared: Arc<Shared>,
    changes: watch::Receiver<Newest>,
    disk: Option<Disk>,
}

/// How a service ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LastEnd {
    /// It wrote that it stopped.
    pub stopped: bool,
    /// Wall time of the last reading in the log.
    pub last_reading_ms: Option<i64>,
}

#[derive(Debug)]
struct Disk {
    conn: Connection,
    series: SeriesById,
}

impl LogReader {
    pub(super) fn new(shared: Arc<Shared>) -> Self {
        Self {
            changes: shared.newest.subscribe(),
            shared,
            disk: None,
        }
    }

    /// The log's file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.shared.path
    }

    /// Lets the connection to the file go, for one who is close behind and lives from memory.
    pub fn rest(&mut self) {
        self.disk = None;
    }

    /// The newest sequence numbers, as of now.
    #[must_use]
    pub fn newest(&self) -> Newest {
        *self.changes.borrow()
    }

    /// Waits until something was appended since the last call; false when the log was closed.
    pub async fn changed(&mut self) -> bool {
        let changed = self.changes.changed().await.is_ok();
        changed && !self.changes.borrow().closed
    }

    /// Readings after `after` up to `until`, oldest first: at most `limit`, and then as many more
    /// as belong to the same board's line. Never waits for the card where memory reaches far enough.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn after(
        &mut self,
        mut after: u64,
        until: u64,
        limit: usize,
    ) -> Result<Vec<Reading>, LogError> {
        loop {
            if let Some(found) = self.in_memory(after, until, limit) {
                return Ok(found);
            }
            let committed = self.shared.tail().committed();
            let span = Span {
                after,
                until: until.min(committed),
            };
            let read = move |disk: &mut Disk, _: &Shared| disk.readings(span, limit);
            let found = self.on_disk(read).await?;
            if !found.is_empty() || until <= committed {
                return Ok(found);
            }
            // Numbers that a crash took with it lie between the card's end and what waits in memory.
            after = committed;
        }
    }

    fn in_memory(&self, after: u64, until: u64, limit: usize) -> Option<Vec<Reading>> {
        let tail = self.shared.tail();
        tail.reaches(after).then(|| tail.after(after, until, limit))
    }

    /// Alarm moves after a number of the journal, oldest first, committed or not.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn moves_after(&mut self, after: u64, limit: usize) -> Result<Vec<Move>, LogError> {
        // Looked at before the file, so that what moves from here to there is seen at least once.
        let (mut here, all_here) = {
            let tail = self.shared.tail();
            (tail.moves_after(after), tail.reaches_moves(after))
        };
        if all_here {
            here.truncate(limit);
            return Ok(here);
        }
        let mut moves = self
            .on_disk(move |disk, _| rows::moves_where(&disk.conn, "true", after, limit))
            .await?;
        let last = moves.last().map_or(after, |m| m.seq);
        let room = limit.saturating_sub(moves.len());
        moves.extend(here.into_iter().filter(|m| m.seq > last).take(room));
        Ok(moves)
    }

    /// The last move of each alarm that ever moved.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn standing_moves(&mut self) -> Result<Vec<Move>, LogError> {
        let last = "seq IN (SELECT max(seq) FROM journal WHERE kind = 'alarm' \
            GROUP BY subject, json_extract(data, '$.alarm'))";
        let mut standing = self
            .on_disk(move |disk, shared| {
                let waiting = shared.tail().moves_after(0);
                let committed = rows::moves_where(&disk.conn, last, 0, usize::MAX)?;
                Ok(committed.into_iter().chain(waiting).collect::<Vec<_>>())
            })
            .await?;
        standing.sort_by_key(|m| std::cmp::Reverse(m.seq));
        let mut seen = std::collections::HashSet::new();
        standing.retain(|m| seen.insert((m.probe.clone(), m.alarm.clone())));
        standing.reverse();
        Ok(standing)
    }

    /// The stored cursors of an outlet; `None` for one that the log does not know.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn progress(&mut self, outlet: &str) -> Result<Option<Progress>, LogError> {
        let outlet = outlet.to_owned();
        self.on_disk(move |disk, _| disk.progress(&outlet)).await
    }

    /// The wall time of a probe's last reading, milliseconds since 1970.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn last_time_of(&mut self, probe: &str) -> Result<Option<i64>, LogError> {
        let probe = probe.to_owned();
        self.on_disk(move |disk, _| disk.last_time_of(&probe)).await
    }

    /// What happened in a probe's calibration, oldest first: every step that was acknowledged. One
    /// that cannot be read is among them as such.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn steps(&mut self, probe: &str) -> Result<Vec<Recorded>, LogError> {
        let probe = probe.to_owned();
        self.on_disk(move |disk, _| steps::of_probe(&disk.conn, &probe))
            .await
    }

    /// How the service before this one ended; `None` in a new log.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn last_end(&mut self) -> Result<Option<LastEnd>, LogError> {
        self.on_disk(|disk, _| disk.last_end()).await
    }

    /// Runs a blocking read on a thread of the runtime's pool; the connection comes back with it.
    async fn on_disk<T: Send + 'static>(
        &mut self,
        read: impl FnOnce(&mut Disk, &Shared) -> rusqlite::Result<T> + Send + 'static,
    ) -> Result<T, LogError> {
        let shared = Arc::clone(&self.shared);
        let disk = self.disk.take();
        let task = tokio::task::spawn_blocking(move || {
            let mut disk = match disk {
                Some(disk) => disk,
                None => Disk::open(&shared.path)?,
            };
            read(&mut disk, &shared).map(|found| (disk, found))
        });
        let (disk, found) = task.await.map_err(|_| LogError::Ended)??;
        self.disk = Some(disk);
        Ok(found)
    }
}

impl Disk {
    fn open(path: &Path) -> rusqlite::Result<Self> {
        let conn = open_read_only(path)?;
        let series = rows::all_series(&conn)?;
        Ok(Self { conn, series })
    }

    fn readings(&mut self, span: Span, limit: usize) -> rusqlite::Result<Vec<Reading>> {
        // Series are only ever added, so a missing one means that it is new.
        let found = self.try_readings(span, limit)?;
        if let Some(found) = found {
            return Ok(found);
        }
        self.series = rows::all_series(&self.conn)?;
        Ok(self.try_readings(span, limit)?.unwrap_or_default())
    }

    /// `None` where a reading's series is not known yet.
    fn try_readings(&self, span: Span, limit: usize) -> rusqlite::Result<Option<Vec<Reading>>> {
        let sql = format!(
            "SELECT {} FROM reading WHERE seq > ?1 AND seq <= ?2 ORDER BY seq",
            rows::READING_COLUMNS
        );
        let mut statement = self.conn.prepare_cached(&sql)?;
        let bounds = params![rows::as_stored(span.after), rows::as_stored(span.until)];
        let mut found_rows = statement.query(bounds)?;
        let mut found: Vec<Reading> = Vec::new();
        while let Some(row) = found_rows.next()? {
            let Some(reading) = rows::reading_from(row, &self.series)? else {
                return Ok(None);
            };
            if found.len() >= limit && !found.last().is_some_and(|l| same_line(l, &reading)) {
                break;
            }
            found.push(reading);
        }
        Ok(Some(found))
    }

    fn progress(&self, outlet: &str) -> rusqlite::Result<Option<Progress>> {
        let mut progress = Progress::default();
        let mut known = false;
        let mut statement = self
            .conn
            .prepare_cached("SELECT lane, seq FROM cursor WHERE outlet = ?1")?;
        let lanes = statement.query_map([outlet], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?))
        })?;
        for lane in lanes {
            let (lane, seq) = lane?;
            known = true;
            match lane.as_str() {
                "live" => progress.live = rows::from_stored(seq),
                _ => progress.moves = rows::from_stored(seq),
            }
        }
        let sql = "SELECT after_seq, until_seq FROM backlog WHERE outlet = ?1 ORDER BY after_seq";
        let mut statement = self.conn.prepare_cached(sql)?;
        let spans = statement.query_map([outlet], |row| {
            Ok(Span {
                after: rows::from_stored(row.get(0)?),
                until: rows::from_stored(row.get(1)?),
            })
        })?;
        progress.spans = spans.collect::<rusqlite::Result<_>>()?;
        Ok(known.then_some(progress))
    }

    fn last_end(&self) -> rusqlite::Result<Option<LastEnd>> {
        let sql = "SELECT kind = 'stop', \
            (SELECT time_ms FROM reading ORDER BY seq DESC LIMIT 1) \
            FROM journal WHERE kind IN ('start', 'stop') ORDER BY seq DESC LIMIT 1";
        let mut statement = self.conn.prepare(sql)?;
        let mut found = statement.query([])?;
        let end = |row: &rusqlite::Row<'_>| {
            Ok(LastEnd {
                stopped: row.get(0)?,
                last_reading_ms: row.get(1)?,
            })
        };
        found.next()?.map(end).transpose()
    }

    fn last_time_of(&self, probe: &str) -> rusqlite::Result<Option<i64>> {
        // Backwards from the end: a probe in use is found within a few rows. One that was last
        // seen more than this many readings ago has nothing to fear from the clock.
        const FAR_ENOUGH: i64 = 100_000;
        let sql = "SELECT time_ms FROM \
            (SELECT time_ms, series FROM reading ORDER BY seq DESC LIMIT ?2) \
            WHERE series IN (SELECT id FROM series WHERE probe = ?1) LIMIT 1";
        let mut statement = self.conn.prepare_cached(sql)?;
        let mut found = statement.query(params![probe, FAR_ENOUGH])?;
        found.next()?.map(|row| row.get(0)).transpose()
    }
}

/// Opens a log for reading, beside a running service or without one.
///
/// A reader of a write-ahead log has to write beside it. One who may not can still read a log that
/// nobody writes: it is whole without its companions.
///
/// # Errors
/// What SQLite says.
pub fn open_read_only(path: &Path) -> rusqlite::Result<Connection> {
    match open_with(path, "") {
        Err(error) if is_a_matter_of_rights(&error) && !has_write_ahead_log(path) => {
            open_with(path, "?immutable=1")
        }
        opened => opened,
    }
}

/// As [`open_read_only`], but makes no file: not the index (`-shm`) that another user's service
/// could not write to afterwards. `None` where that cannot be: the log was cut off and copied
/// without its index.
///
/// # Errors
/// What SQLite says.
pub fn open_without_trace(path: &Path) -> rusqlite::Result<Option<Connection>> {
    let beside = |end: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        Path::new(&name).exists()
    };
    match (beside("-wal"), beside("-shm")) {
        (false, _) => open_with(path, "?immutable=1").map(Some),
        (true, true) => open_with(path, "").map(Some),
        (true, false) => Ok(None),
    }
}

fn open_with(path: &Path, options: &str) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_NO_MUTEX
        | OpenFlags::SQLITE_OPEN_URI;
    let conn = Connection::open_with_flags(uri(path, options), flags)?;
    conn.busy_timeout(Duration::from_secs(5))?;
    // Opening alone reads nothing: what is wrong shows here.
    conn.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))?;
    Ok(conn)
}

/// The path as a URI of SQLite's: what has a meaning there is written in hexadecimal.
fn uri(path: &Path, options: &str) -> String {
    let mut uri = String::from("file:");
    for byte in path.as_os_str().as_encoded_bytes() {
        match byte {
            b'%' | b'?' | b'#' | 0x80.. => uri.push_str(&format!("%{byte:02X}")),
            plain => uri.push(char::from(*plain)),
        }
    }
    uri + options
}

fn is_a_matter_of_rights(error: &rusqlite::Error) -> bool {
    use rusqlite::ErrorCode::{CannotOpen, ReadOnly};
    matches!(error.sqlite_error_code(), Some(ReadOnly | CannotOpen))
}

fn has_write_ahead_log(path: &Path) -> bool {
    let mut wal = path.as_os_str().to_owned();
    wal.push("-wal");
    std::fs::metadata(wal).is_ok_and(|file| file.len() > 0)
}
