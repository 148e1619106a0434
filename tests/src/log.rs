//! The program's log, read from outside: SQLite's own library, read-only, no code of the program.

use rusqlite::{Connection, OpenFlags, Row};
use std::path::{Path, PathBuf};

/// A reading as it lies in the log.
#[derive(Clone, Debug, PartialEq)]
pub struct Logged {
    /// The log's number.
    pub seq: i64,
    /// The probe's label.
    pub probe: String,
    /// The board's label.
    pub board: String,
    /// UCUM code of the value's unit.
    pub unit: String,
    /// Milliseconds since 1970.
    pub time_ms: i64,
    /// Counts.
    pub raw: Option<f64>,
    /// Ohms, volts or ratio.
    pub electrical: Option<f64>,
    /// The value.
    pub value: Option<f64>,
    /// Standard uncertainty, in the value's unit.
    pub uncertainty: Option<f64>,
    /// How many samples went in.
    pub samples: i64,
    /// Stored code of the quality.
    pub quality: i64,
}

/// A journal entry as it lies in the log.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The journal's number.
    pub seq: i64,
    /// What kind of event.
    pub kind: String,
    /// Board, probe, outlet or alarm.
    pub subject: String,
    /// In words.
    pub text: String,
    /// For machines, where there is more to say.
    pub data: String,
}

/// A log file. Each question opens it anew, so that no reader holds back the writer.
#[derive(Clone, Debug)]
pub struct Log {
    path: PathBuf,
}

impl Log {
    /// The log in this file, which need not be there yet.
    #[must_use]
    pub fn at(path: &Path) -> Self {
        Self {
            path: path.to_owned(),
        }
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// All committed readings by sequence number; none where there is no log yet.
    #[must_use]
    pub fn readings(&self) -> Vec<Logged> {
        const READINGS: &str = "SELECT r.seq, s.probe, s.board, s.unit, r.time_ms, r.raw, \
             r.electrical, r.value, r.uncertainty, r.samples, r.quality \
             FROM reading r JOIN series s ON s.id = r.series ORDER BY r.seq";
        self.rows(READINGS, |row| {
            Ok(Logged {
                seq: row.get(0)?,
                probe: row.get(1)?,
                board: row.get(2)?,
                unit: row.get(3)?,
                time_ms: row.get(4)?,
                raw: row.get(5)?,
                electrical: row.get(6)?,
                value: row.get(7)?,
                uncertainty: row.get(8)?,
                samples: row.get(9)?,
                quality: row.get(10)?,
            })
        })
    }

    /// Committed readings of one probe.
    #[must_use]
    pub fn of(&self, probe: &str) -> Vec<Logged> {
        let mut readings = self.readings();
        readings.retain(|reading| reading.probe == probe);
        readings
    }

    /// How many readings of a probe are committed.
    #[must_use]
    pub fn count(&self, probe: &str) -> usize {
        let query = "SELECT count(*) FROM reading r JOIN series s ON s.id = r.series \
             WHERE s.probe = ?1";
        let count = self.open().and_then(|log| {
            log.query_row(query, [probe], |row| row.get::<_, i64>(0))
                .ok()
        });
        count.map_or(0, |count| usize::try_from(count).unwrap_or(0))
    }

    /// All committed journal entries by number.
    #[must_use]
    pub fn journal(&self) -> Vec<Entry> {
        let query = "SELECT seq, kind, coalesce(subject, ''), coalesce(text, ''), \
             coalesce(data, '') FROM journal ORDER BY seq";
        self.rows(query, |row| {
            Ok(Entry {
                seq: row.get(0)?,
                kind: row.get(1)?,
                subject: row.get(2)?,
                text: row.get(3)?,
                data: row.get(4)?,
            })
        })
    }

    /// Journal entries that speak of `subject` and hold `word` in kind or text.
    #[must_use]
    pub fn entries(&self, subject: &str, word: &str) -> Vec<Entry> {
        let mut entries = self.journal();
        entries.retain(|entry| {
            entry.subject.contains(subject)
                && (entry.kind.contains(word) || entry.text.contains(word))
        });
        entries
    }

    /// Numbers in use, readings and journal apart: the highest of each.
    #[must_use]
    pub fn highest(&self) -> (i64, i64) {
        let query = "SELECT (SELECT coalesce(max(seq), 0) FROM reading), \
             (SELECT coalesce(max(seq), 0) FROM journal)";
        let pair = self.rows(query, |row| Ok((row.get(0)?, row.get(1)?)));
        pair.first().copied().unwrap_or_default()
    }

    /// What SQLite says to `PRAGMA integrity_check`.
    ///
    /// # Panics
    /// Where the file is no database.
    #[must_use]
    pub fn integrity(&self) -> String {
        let log = self.open().expect("the log is there");
        log.query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .expect("the log is a database")
    }

    fn open(&self) -> Option<Connection> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        Connection::open_with_flags(&self.path, flags).ok()
    }

    /// No rows where the file or its tables are not there yet.
    fn rows<T>(&self, query: &str, read: impl Fn(&Row<'_>) -> rusqlite::Result<T>) -> Vec<T> {
        let Some(log) = self.open() else {
            return Vec::new();
        };
        let Ok(mut statement) = log.prepare(query) else {
            return Vec::new();
        };
        let rows = statement.query_map([], |row| read(row));
        rows.and_then(Iterator::collect)
            .expect("the log's columns have the agreed types")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_that_is_not_there_yet_is_empty() {
        let folder = tempfile::tempdir().expect("a folder");
        let log = Log::at(&folder.path().join("none.sqlite"));
        assert_eq!(log.readings(), []);
        assert_eq!(log.journal(), []);
        assert_eq!(log.count("mash"), 0);
        assert_eq!(log.highest(), (0, 0));
    }
}
