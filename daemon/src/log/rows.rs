//! Readings, series and moves as rows of the tables, both ways.

use super::journal::Entry;
use super::progress::Progress;
use crate::alarm::Move;
use crate::reading::{Estimate, Outcome, Quality, Reading, Series, Stamp};
use rusqlite::{Connection, Row, params};
use std::collections::HashMap;
use std::sync::Arc;

/// Columns of a reading, in the order that [`reading_from`] expects.
pub const READING_COLUMNS: &str = "seq, series, time_ms, boot, boot_ns, raw, electrical, value, \
     uncertainty, spread, samples, quality";

/// Appends one reading.
///
/// # Errors
/// What SQLite says.
pub fn insert_reading(conn: &Connection, reading: &Reading) -> rusqlite::Result<()> {
    let sql = "INSERT INTO reading VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)";
    let estimate = reading.outcome.estimate();
    conn.prepare_cached(sql)?.execute(params![
        as_stored(reading.seq),
        reading.series.id,
        reading.at.wall_ms,
        reading.at.boot,
        as_stored(reading.at.boot_ns),
        reading.raw,
        reading.electrical,
        estimate.map(Estimate::value),
        estimate.map(Estimate::uncertainty),
        reading.spread,
        reading.samples,
        reading.outcome.quality().code(),
    ])?;
    Ok(())
}

/// SQLite's integers are signed; sequence numbers and boot time never come near the end.
pub fn as_stored(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// The other way; a negative number in the file is a damaged one and counts as 0.
pub fn from_stored(number: i64) -> u64 {
    u64::try_from(number).unwrap_or(0)
}

/// The series of a log by their numbers.
pub type SeriesById = HashMap<u32, Arc<Series>>;

/// Reads one reading; `None` where its series is not in `series`.
///
/// # Errors
/// What SQLite says of a column.
pub fn reading_from(row: &Row<'_>, series: &SeriesById) -> rusqlite::Result<Option<Reading>> {
    let Some(series) = series.get(&row.get(1)?) else {
        return Ok(None);
    };
    Ok(Some(Reading {
        seq: from_stored(row.get(0)?),
        series: Arc::clone(series),
        at: Stamp {
            wall_ms: row.get(2)?,
            boot: row.get(3)?,
            boot_ns: from_stored(row.get(4)?),
        },
        raw: row.get(5)?,
        electrical: row.get(6)?,
        outcome: outcome_from(row)?,
        spread: row.get(9)?,
        samples: row.get(10)?,
    }))
}

/// A quality that this version does not know is no number to trust: it reads `driver failed`.
fn outcome_from(row: &Row<'_>) -> rusqlite::Result<Outcome> {
    let quality = Quality::from_code(row.get(11)?).unwrap_or(Quality::DriverFailed);
    let value: Option<f64> = row.get(7)?;
    let uncertainty: Option<f64> = row.get(8)?;
    let estimate = value
        .zip(uncertainty)
        .and_then(|(v, u)| Estimate::new(v, u));
    Ok(match (quality, estimate) {
        (Quality::Good, Some(estimate)) => Outcome::Value(estimate),
        (Quality::Extrapolated, Some(estimate)) => Outcome::Extrapolated(estimate),
        (Quality::Good | Quality::Extrapolated, None) => Outcome::Fault(Quality::DriverFailed),
        (fault, _) => Outcome::Fault(fault),
    })
}

/// All series of a log.
///
/// # Errors
/// What SQLite says.
pub fn all_series(conn: &Connection) -> rusqlite::Result<SeriesById> {
    // A log that is only read is not brought to today's version first.
    let knows = "SELECT count(*) FROM pragma_table_info('series') WHERE name = 'calibration'";
    let calibration = match conn.query_row(knows, [], |row| row.get(0))? {
        0_i64 => "0",
        _ => "calibration",
    };
    let sql = format!(
        "SELECT id, probe, board, channel, driver, quantity, unit, electrical_unit, {calibration} \
         FROM series"
    );
    let mut statement = conn.prepare_cached(&sql)?;
    let rows = statement.query_map([], |row| {
        let series = Series {
            id: row.get(0)?,
            probe: row.get(1)?,
            board: row.get(2)?,
            channel: row.get(3)?,
            driver: row.get(4)?,
            quantity: row.get(5)?,
            unit: row.get(6)?,
            electrical_unit: row.get(7)?,
            calibration: row.get(8)?,
        };
        Ok((series.id, Arc::new(series)))
    })?;
    rows.collect()
}

/// The number of a series, made where it is new.
///
/// # Errors
/// What SQLite says.
pub fn series_id(conn: &Connection, series: &Series) -> rusqlite::Result<u32> {
    let insert = "INSERT OR IGNORE INTO series \
        (probe, board, channel, driver, quantity, unit, electrical_unit, calibration) \
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
    let select = "SELECT id FROM series WHERE probe = ?1 AND board = ?2 AND channel = ?3 \
        AND driver = ?4 AND quantity = ?5 AND unit = ?6 AND electrical_unit = ?7 \
        AND calibration = ?8";
    let identity = params![
        series.probe,
        series.board,
        series.channel,
        series.driver,
        series.quantity,
        series.unit,
        series.electrical_unit,
        series.calibration
    ];
    conn.execute(insert, identity)?;
    conn.query_row(select, identity, |row| row.get(0))
}

/// Moves whose row fits `condition` (SQL over the journal's columns), oldest first. A damaged one
/// is left out: the journal's text still tells it.
///
/// # Errors
/// What SQLite says.
pub fn moves_where(
    conn: &Connection,
    condition: &str,
    after: u64,
    limit: usize,
) -> rusqlite::Result<Vec<Move>> {
    let sql = format!(
        "SELECT seq, data FROM journal WHERE kind = 'alarm' AND seq > ?1 AND {condition} \
         ORDER BY seq"
    );
    let mut statement = conn.prepare_cached(&sql)?;
    let rows = statement.query_map([as_stored(after)], |row| {
        Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?))
    })?;
    let mut moves = Vec::new();
    for row in rows {
        // Counted here, not by SQL: fewer than asked for means that there are no more.
        if moves.len() >= limit {
            break;
        }
        let (seq, data) = row?;
        if let Ok(mut alarm_move) = serde_json::from_str::<Move>(&data) {
            alarm_move.seq = from_stored(seq);
            moves.push(alarm_move);
        }
    }
    Ok(moves)
}

/// Keeps where the numbering of readings (`next_seq`) or entries (`next_entry`) goes on.
///
/// # Errors
/// What SQLite says.
pub fn write_next(conn: &Connection, key: &str, next: u64) -> rusqlite::Result<()> {
    let sql = "INSERT INTO meta VALUES (?1, ?2) \
        ON CONFLICT (key) DO UPDATE SET value = excluded.value";
    conn.prepare_cached(sql)?
        .execute([key, &next.to_string()])?;
    Ok(())
}

/// Appends an entry to the journal.
///
/// # Errors
/// What SQLite says.
pub fn insert_entry(conn: &Connection, boot: u32, entry: &Entry) -> rusqlite::Result<()> {
    let sql = "INSERT INTO journal VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
    let data = entry
        .alarm
        .as_ref()
        .and_then(|a| serde_json::to_string(a).ok());
    conn.prepare_cached(sql)?.execute(params![
        as_stored(entry.seq),
        entry.at.wall_ms,
        boot,
        as_stored(entry.at.boot_ns),
        entry.kind.word(),
        entry.subject,
        entry.text,
        data
    ])?;
    Ok(())
}

/// Keeps an outlet's cursors.
///
/// # Errors
/// What SQLite says.
pub fn write_progress(
    conn: &Connection,
    outlet: &str,
    progress: &Progress,
) -> rusqlite::Result<()> {
    let cursor = "INSERT INTO cursor VALUES (?1, ?2, ?3) \
        ON CONFLICT (outlet, lane) DO UPDATE SET seq = excluded.seq";
    for (lane, seq) in [("live", progress.live), ("moves", progress.moves)] {
        conn.prepare_cached(cursor)?
            .execute(params![outlet, lane, as_stored(seq)])?;
    }
    conn.prepare_cached("DELETE FROM backlog WHERE outlet = ?1")?
        .execute([outlet])?;
    let mut insert = conn.prepare_cached("INSERT OR REPLACE INTO backlog VALUES (?1, ?2, ?3)")?;
    for span in &progress.spans {
        let (after, until) = (as_stored(span.after), as_stored(span.until));
        insert.execute(params![outlet, after, until])?;
    }
    Ok(())
}
