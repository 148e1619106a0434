//! Questions to a log from commands: by probe and time, beside a running service.

use super::reader::open_read_only;
use super::rows::{self, SeriesById};
use super::schema;
use super::{LogError, same_line, steps};
use crate::calibrate::Recorded;
use crate::reading::Reading;
use rusqlite::{Connection, params};
use std::path::Path;

/// Readings fetched in one go.
const PAGE: usize = 10_000;

/// An opened log, read-only.
#[derive(Debug)]
pub struct Query {
    conn: Connection,
    series: SeriesById,
}

impl Query {
    /// Opens a log that exists.
    ///
    /// # Errors
    /// What SQLite says; `IsAFolder`, `NotALog` and `Newer` as in [`schema::migrate`].
    pub fn open(path: &Path) -> Result<Self, LogError> {
        if path.is_dir() {
            return Err(LogError::IsAFolder);
        }
        let conn = open_read_only(path)?;
        if schema::checked_version(&conn)? == 0 {
            return Err(LogError::NotALog);
        }
        let series = rows::all_series(&conn)?;
        Ok(Self { conn, series })
    }

    /// Names of all probes that were ever logged, in alphabetical order.
    #[must_use]
    pub fn probes(&self) -> Vec<String> {
        let mut names: Vec<String> = self.series.values().map(|s| s.probe.clone()).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// Calls `visit` with each reading of a probe from `from_ms` up to, not with, `to_ms`
    /// (milliseconds since 1970), in the order in which they were acquired. `visit` returns false
    /// to end early. However long `visit` takes, no statement stays open meanwhile: that would keep
    /// the service from tidying up its write-ahead log.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn readings(
        &self,
        probe: &str,
        span: (i64, i64),
        mut visit: impl FnMut(Reading) -> bool,
    ) -> Result<(), LogError> {
        let mut after = 0;
        loop {
            let page = self.page_of_probe(probe, span, after)?;
            let Some(last) = page.last().map(|r| r.seq) else {
                return Ok(());
            };
            after = last;
            if !page.into_iter().all(&mut visit) {
                return Ok(());
            }
        }
    }

    fn page_of_probe(
        &self,
        probe: &str,
        (from_ms, to_ms): (i64, i64),
        after: u64,
    ) -> rusqlite::Result<Vec<Reading>> {
        let sql = format!(
            "SELECT {} FROM reading WHERE seq > ?1 AND time_ms >= ?2 AND time_ms < ?3 \
             AND series IN (SELECT id FROM series WHERE probe = ?4) ORDER BY seq LIMIT {PAGE}",
            rows::READING_COLUMNS
        );
        let mut statement = self.conn.prepare_cached(&sql)?;
        let bounds = params![rows::as_stored(after), from_ms, to_ms, probe];
        let mut found = statement.query(bounds)?;
        let mut page = Vec::new();
        while let Some(row) = found.next()? {
            page.extend(rows::reading_from(row, &self.series)?);
        }
        Ok(page)
    }

    /// Times of a probe's first and last reading, milliseconds since 1970; `None` where it has none.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn extent(&self, probe: &str) -> Result<Option<(i64, i64)>, LogError> {
        let sql = "SELECT min(time_ms), max(time_ms) FROM reading \
            WHERE series IN (SELECT id FROM series WHERE probe = ?1)";
        let extent = self.conn.query_row(sql, [probe], |row| {
            Ok(Option::zip(row.get(0)?, row.get(1)?))
        })?;
        Ok(extent)
    }

    /// The readings of all probes from `from_ms` up to, not with, `to_ms` (milliseconds since 1970):
    /// how many there are now, and between which numbers. `None` where there are none.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn stretch(&self, (from_ms, to_ms): (i64, i64)) -> Result<Option<Stretch>, LogError> {
        let sql = "SELECT count(*), coalesce(min(seq), 0), coalesce(max(seq), 0) FROM reading \
            WHERE time_ms >= ?1 AND time_ms < ?2";
        let stretch = self.conn.query_row(sql, params![from_ms, to_ms], |row| {
            Ok(Stretch {
                readings: rows::from_stored(row.get(0)?),
                first: rows::from_stored(row.get(1)?),
                last: rows::from_stored(row.get(2)?),
                times_ms: (from_ms, to_ms),
            })
        })?;
        Ok((stretch.readings > 0).then_some(stretch))
    }

    /// Readings of a stretch after a number, in the order in which they were acquired: at most
    /// `limit`, and then as many more as belong to the same board's line. Each page is a question of
    /// its own, so that a long stretch never keeps the service from tidying its log.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn page(
        &self,
        stretch: &Stretch,
        after: u64,
        limit: usize,
    ) -> Result<Vec<Reading>, LogError> {
        let sql = format!(
            "SELECT {} FROM reading WHERE seq > ?1 AND seq <= ?2 \
             AND time_ms >= ?3 AND time_ms < ?4 ORDER BY seq",
            rows::READING_COLUMNS
        );
        let mut statement = self.conn.prepare_cached(&sql)?;
        let (from_ms, to_ms) = stretch.times_ms;
        let [after, last] = [after, stretch.last].map(rows::as_stored);
        let mut found = statement.query(params![after, last, from_ms, to_ms])?;
        let mut page: Vec<Reading> = Vec::new();
        while let Some(row) = found.next()? {
            let Some(reading) = rows::reading_from(row, &self.series)? else {
                continue;
            };
            if page.len() >= limit && !page.last().is_some_and(|l| same_line(l, &reading)) {
                break;
            }
            page.push(reading);
        }
        Ok(page)
    }

    /// What happened in a probe's calibration, oldest first. A step that cannot be read is among
    /// them as such.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn steps(&self, probe: &str) -> Result<Vec<Recorded>, LogError> {
        Ok(steps::of_probe(&self.conn, probe)?)
    }

    /// As [`Query::steps`], of all probes.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn steps_of_all(&self) -> Result<Vec<Recorded>, LogError> {
        Ok(steps::of_all(&self.conn)?)
    }

    /// How many readings and alarm moves there are, and how many readings have no value.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn counts(&self) -> Result<Counts, LogError> {
        let sql = "SELECT (SELECT count(*) FROM reading), \
            (SELECT count(*) FROM reading WHERE value IS NULL), \
            (SELECT count(*) FROM journal WHERE kind = 'alarm')";
        let counts = self.conn.query_row(sql, [], |row| {
            Ok(Counts {
                readings: rows::from_stored(row.get(0)?),
                faults: rows::from_stored(row.get(1)?),
                moves: rows::from_stored(row.get(2)?),
            })
        })?;
        Ok(counts)
    }
}

/// The readings of some time, as they were when it was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// How many.
    pub readings: u64,
    /// The lowest number among them.
    pub first: u64,
    /// The highest number among them.
    pub last: u64,
    times_ms: (i64, i64),
}

/// What a log holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counts {
    /// Readings of all probes.
    pub readings: u64,
    /// Those without a value.
    pub faults: u64,
    /// Alarm moves.
    pub moves: u64,
}
