//! Steps of calibrations as rows of the log: JSON, only ever appended.
//!
//! A point with its raw series is the largest: some 35 bytes for each sample, so an hour of one
//! sample a second is about 130 kB. What the steps come to is not known here
//! (`calibrate::history`).

use super::{LogError, rows};
use crate::calibrate::{Recorded, Step};
use rusqlite::{Connection, OptionalExtension, Row, params};

/// A step on its way into the log.
#[derive(Debug)]
pub(super) struct New {
    probe: String,
    time_ms: i64,
    data: String,
    /// Given by the log when it was inserted.
    pub(super) number: u64,
}

impl New {
    /// The step as text, once that has been read back: what is kept for ever must be readable, and
    /// JSON has no NaN.
    pub(super) fn of(probe: &str, time_ms: i64, step: &Step) -> Result<Self, LogError> {
        let unkeepable = |error: serde_json::Error| LogError::Unkeepable(error.to_string());
        let data = serde_json::to_string(step).map_err(unkeepable)?;
        let read_back: Step = serde_json::from_str(&data).map_err(unkeepable)?;
        if read_back != *step {
            let why = "it reads back as another one; every number in it must be finite";
            return Err(LogError::Unkeepable(why.to_owned()));
        }
        Ok(Self {
            probe: probe.to_owned(),
            time_ms,
            data,
            number: 0,
        })
    }

    pub(super) fn insert(&mut self, conn: &Connection) -> rusqlite::Result<()> {
        let sql = "INSERT INTO calibration_step (probe, time_ms, data) VALUES (?1, ?2, ?3)";
        let row = params![self.probe, self.time_ms, self.data];
        conn.prepare_cached(sql)?.execute(row)?;
        self.number = rows::from_stored(conn.last_insert_rowid());
        Ok(())
    }
}

/// Steps of one probe, oldest first.
pub(super) fn of_probe(conn: &Connection, probe: &str) -> rusqlite::Result<Vec<Recorded>> {
    all_where(conn, "probe = ?1", [probe])
}

/// Steps of all probes, oldest first.
pub(super) fn of_all(conn: &Connection) -> rusqlite::Result<Vec<Recorded>> {
    all_where(conn, "true", [])
}

fn all_where(
    conn: &Connection,
    condition: &str,
    bound: impl rusqlite::Params,
) -> rusqlite::Result<Vec<Recorded>> {
    // A log that is only read may be of the version that had none.
    let table = "SELECT 1 FROM sqlite_schema WHERE name = 'calibration_step'";
    let there = conn.query_row(table, [], |_| Ok(())).optional()?;
    if there.is_none() {
        return Ok(Vec::new());
    }
    let sql = format!(
        "SELECT seq, probe, time_ms, data FROM calibration_step WHERE {condition} ORDER BY seq"
    );
    let mut statement = conn.prepare_cached(&sql)?;
    statement.query_map(bound, from_row)?.collect()
}

fn from_row(row: &Row<'_>) -> rusqlite::Result<Recorded> {
    // As bytes: text that is damaged need not be text.
    let data = row.get_ref(3)?.as_bytes().unwrap_or_default();
    Ok(Recorded {
        number: rows::from_stored(row.get(0)?),
        probe: row.get(1)?,
        time_ms: row.get(2)?,
        step: Recorded::read(data),
    })
}
