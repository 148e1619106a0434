//! A log in a folder of its own, and readings for it, for the tests of this program.

#![allow(clippy::unwrap_used)]

use super::{Batch, Entry, Kind, Log, LogReader, Settings};
use crate::alarm::{Move, State};
use crate::reading::{Estimate, Moment, Outcome, Quality, Reading, Series, Stamp};
use rusqlite::Connection;
use std::future::Future;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tempfile::TempDir;

/// Commits only when it is asked to.
pub const NEVER: Duration = Duration::from_secs(3600);

/// Room in the writer's inbox is not what these tests are about.
const PATIENCE: Duration = Duration::from_secs(10);

/// A series as the log numbers its first.
pub fn series() -> Series {
    Series {
        id: 1,
        probe: "vat".to_owned(),
        board: "bench".to_owned(),
        channel: "a0".to_owned(),
        driver: "thermistor".to_owned(),
        quantity: "temperature".to_owned(),
        unit: "Cel".to_owned(),
        electrical_unit: "Ohm".to_owned(),
        calibration: 0,
    }
}

/// A good reading with this number, of the board's line with this number.
pub fn reading(seq: u64, line: u64) -> Reading {
    Reading {
        seq,
        series: Arc::new(series()),
        at: Stamp {
            wall_ms: 1_780_000_000_000 + i64::try_from(seq).unwrap_or(0),
            boot_ns: line * 1_000_000,
            boot: 1,
        },
        raw: Some(512.0),
        electrical: Some(10_000.0),
        outcome: Estimate::new(25.0, 0.05)
            .map_or(Outcome::Fault(Quality::DriverFailed), Outcome::Value),
        spread: None,
        samples: 1,
    }
}

/// A move of the alarm `high` of this probe, judged on the reading at this place of its batch.
pub fn alarm_move(probe: &str, to: State, place: u64) -> Entry {
    let alarm = Move {
        seq: 0,
        reading_seq: place,
        probe: probe.to_owned(),
        board: "bench".to_owned(),
        alarm: "high".to_owned(),
        from: if to == State::Active {
            State::Normal
        } else {
            State::Active
        },
        to,
        at: reading(1, 1).at,
        value: Some(68.4),
        limit: Some(68.0),
        unit: "Cel".to_owned(),
        quality: Quality::Good,
        action: "stir".to_owned(),
    };
    let at = Moment {
        wall_ms: alarm.at.wall_ms,
        boot_ns: alarm.at.boot_ns,
    };
    let mut entry = Entry::new(at, Kind::Alarm, probe, alarm.text());
    entry.alarm = Some(alarm);
    entry
}

/// An entry that is no move.
pub fn remark() -> Entry {
    let at = Moment {
        wall_ms: 1_780_000_000_000,
        boot_ns: 1,
    };
    Entry::new(at, Kind::Board, "bench", "board `bench`: a remark")
}

/// A log with one series, in a folder that goes with it.
pub struct Bench {
    /// The log, in `cellar.sqlite`.
    pub log: Log,
    /// Where it stands.
    pub folder: TempDir,
}

impl Bench {
    /// Commits when it is asked to.
    pub async fn new() -> Self {
        Self::committing(NEVER).await
    }

    /// Commits this often.
    pub async fn committing(every: Duration) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let log = open(&folder.path().join("cellar.sqlite"), every).await;
        Self { log, folder }
    }

    /// Appends one line of `count` readings for each of `lines`, and returns when readers see them.
    pub async fn lines(&self, lines: impl IntoIterator<Item = (u64, usize)>) {
        let line = |(line, count)| std::iter::repeat_with(move || reading(0, line)).take(count);
        let readings = lines.into_iter().flat_map(line).collect();
        self.append(readings, Vec::new()).await;
    }

    /// Appends so many readings, each a line of its own.
    pub async fn readings(&self, count: u64) {
        self.lines((1..=count).map(|line| (line, 1))).await;
    }

    /// Appends, and returns when the writer has it.
    pub async fn append(&self, readings: Vec<Reading>, entries: Vec<Entry>) {
        let at_once = entries.iter().any(|entry| entry.alarm.is_some());
        self.hand_over(readings, entries, at_once).await;
    }

    /// Appends what stays in memory until a commit is asked for, moves as well.
    pub async fn append_uncommitted(&self, entries: Vec<Entry>) {
        self.hand_over(Vec::new(), entries, false).await;
    }

    async fn hand_over(&self, readings: Vec<Reading>, entries: Vec<Entry>, at_once: bool) {
        let batch = Batch {
            readings,
            entries,
            at_once,
        };
        self.log.append(batch, PATIENCE).await.unwrap();
        // The writer answers in order.
        self.log.series(series()).await.unwrap();
    }

    /// Closes the log and opens it again.
    pub async fn reopened(mut self) -> Self {
        self.log.close().await.unwrap();
        self.log = open(self.log.path(), NEVER).await;
        self
    }

    /// A second connection to the file, for reading.
    pub fn beside(&self) -> Connection {
        super::reader::open_read_only(self.log.path()).unwrap()
    }

    /// Commits, and gives the journal's texts of one kind.
    pub async fn journal(&self, kind: Kind) -> Vec<String> {
        self.log.commit().await.unwrap();
        let conn = self.beside();
        let sql = "SELECT text FROM journal WHERE kind = ?1 ORDER BY seq";
        let mut statement = conn.prepare(sql).unwrap();
        let texts = statement.query_map([kind.word()], |row| row.get(0));
        texts.unwrap().collect::<Result<_, _>>().unwrap()
    }

    /// What a kill at this moment would leave: a copy of the file with its write-ahead log.
    pub fn killed(&self, name: &str) -> PathBuf {
        let copy = self.folder.path().join(name);
        for ending in ["", "-wal"] {
            let (from, to) = (with(self.log.path(), ending), with(&copy, ending));
            std::fs::copy(from, to).unwrap();
        }
        copy
    }
}

/// Opens a log, makes its first series, and leaves what it says to the test.
pub async fn open(path: &Path, commit: Duration) -> Log {
    let path = path.to_owned();
    let log = Log::open(&Settings { path, commit }).unwrap();
    assert_eq!(log.series(series()).await.unwrap().id, 1);
    log
}

/// The one number that a question to the file gives.
pub fn number(conn: &Connection, sql: &str) -> i64 {
    conn.query_row(sql, [], |row| row.get(0)).unwrap()
}

/// All readings after `after`.
pub async fn all_after(reader: &mut LogReader, after: u64) -> Vec<Reading> {
    reader.after(after, u64::MAX, usize::MAX).await.unwrap()
}

/// Sequence numbers of readings.
pub fn seqs(readings: &[Reading]) -> Vec<u64> {
    readings.iter().map(|reading| reading.seq).collect()
}

/// A path with more at its end.
pub fn with(path: &Path, ending: &str) -> PathBuf {
    let mut path = path.as_os_str().to_owned();
    path.push(ending);
    path.into()
}

/// Runs a future to its end, for property tests.
pub fn run<T>(future: impl Future<Output = T>) -> T {
    let mut runtime = tokio::runtime::Builder::new_current_thread();
    runtime.enable_time().build().unwrap().block_on(future)
}
