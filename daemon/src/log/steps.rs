//! Steps of calibrations: appended one at a time, and on the card before anybody is told so.
//!
//! What they mean is `calibrate`'s business.

use super::{Batch, Entry, Log, LogError, MOST_WAITING, rows, writer::Request};
use crate::calibrate::Step;
use rusqlite::{Connection, params};
use tokio::sync::oneshot;

/// A step on its way into the log.
#[derive(Debug)]
pub struct NewStep {
    /// The probe's label.
    pub probe: String,
    /// The step as JSON.
    pub data: String,
    /// What the journal says of it; numbered.
    pub entry: Entry,
}

impl Log {
    /// Appends a step of a probe's calibration with its journal entry; gives the step's number once
    /// both are committed.
    ///
    /// # Errors
    /// `Ended`, or what SQLite says; then neither is in the log, nor will be.
    pub async fn append_step(
        &self,
        probe: &str,
        step: &Step,
        entry: Entry,
    ) -> Result<u64, LogError> {
        let data = serde_json::to_string(step)
            .map_err(|error| rusqlite::Error::ToSqlConversionFailure(Box::new(error)))?;
        let room = self.requests.reserve().await;
        let room = room.map_err(|_| LogError::Ended)?;
        let (reply, answer) = oneshot::channel();
        let mut batch = Batch::of(entry);
        {
            // Handed over under the lock, as batches are: entries in the order of their numbers.
            let mut tail = self.shared.tail();
            tail.take(&mut batch, MOST_WAITING);
            let entry = batch.entries.remove(0);
            let probe = probe.to_owned();
            room.send(Request::Step(NewStep { probe, data, entry }, reply));
        }
        self.shared.urgent.notify_one();
        answer.await.map_err(|_| LogError::Ended)?
    }
}

/// Appends a step; gives its number.
///
/// # Errors
/// What SQLite says.
pub fn insert(conn: &Connection, step: &NewStep) -> rusqlite::Result<u64> {
    let sql = "INSERT INTO calibration_step (probe, time_ms, data) VALUES (?1, ?2, ?3)";
    conn.prepare_cached(sql)?
        .execute(params![step.probe, step.entry.at.wall_ms, step.data])?;
    Ok(rows::from_stored(conn.last_insert_rowid()))
}

/// The steps of a probe, oldest first. One that this version cannot read is left out: the journal's
/// text still tells it.
///
/// # Errors
/// What SQLite says.
pub fn of_probe(conn: &Connection, probe: &str) -> rusqlite::Result<Vec<(u64, Step)>> {
    let sql = "SELECT seq, data FROM calibration_step WHERE probe = ?1 ORDER BY seq";
    let mut statement = conn.prepare_cached(sql)?;
    let rows = statement.query_map([probe], |row| {
        Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?))
    })?;
    let mut steps = Vec::new();
    for row in rows {
        let (seq, data) = row?;
        if let Ok(step) = serde_json::from_str(&data) {
            steps.push((rows::from_stored(seq), step));
        }
    }
    Ok(steps)
}
