//! The log's tables, version by version. What a released version wrote is never edited here, only
//! followed by a migration.

use super::LogError;
use rusqlite::Connection;

/// Written into the file's header, so that no other program's database is taken for a log.
const APPLICATION_ID: i32 = 0x6E62_6C67; // "nblg"

/// First SQLite without the WAL-reset bug, as `sqlite3_libversion_number` gives it
/// (fixed in 3.51.3, 2026-03-13).
const EARLIEST_SQLITE: i32 = 3_051_003;

/// One step from each version to the next; the version is `PRAGMA user_version`.
const MIGRATIONS: [&str; 2] = [VERSION_1, VERSION_2];

/// Today's version.
const TODAY: u32 = MIGRATIONS.len() as u32;

/// Readings are appended in order of arrival and keyed by their sequence number alone: a table
/// keyed by probe and time writes several times as much to the card.
const VERSION_1: &str = "
CREATE TABLE meta (
    key TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE boot (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE series (
    id INTEGER PRIMARY KEY,
    probe TEXT NOT NULL,
    board TEXT NOT NULL,
    channel TEXT NOT NULL,
    driver TEXT NOT NULL,
    quantity TEXT NOT NULL,
    unit TEXT NOT NULL,
    electrical_unit TEXT NOT NULL,
    UNIQUE (probe, board, channel, driver, quantity, unit, electrical_unit)
) STRICT;

CREATE TABLE reading (
    seq INTEGER PRIMARY KEY,
    series INTEGER NOT NULL REFERENCES series (id),
    time_ms INTEGER NOT NULL,
    boot INTEGER NOT NULL REFERENCES boot (id),
    boot_ns INTEGER NOT NULL,
    raw REAL,
    electrical REAL,
    value REAL,
    uncertainty REAL,
    spread REAL,
    samples INTEGER NOT NULL,
    quality INTEGER NOT NULL,
    CHECK ((quality = 0) = (value IS NOT NULL)),
    CHECK ((value IS NULL) = (uncertainty IS NULL))
) STRICT;

CREATE TRIGGER reading_is_never_rewritten BEFORE UPDATE ON reading
BEGIN SELECT RAISE(ABORT, 'a reading is never rewritten'); END;

CREATE TABLE journal (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    time_ms INTEGER NOT NULL,
    boot INTEGER NOT NULL REFERENCES boot (id),
    boot_ns INTEGER NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    text TEXT NOT NULL,
    data TEXT
) STRICT;

CREATE INDEX journal_alarm ON journal (seq) WHERE kind = 'alarm';

CREATE TRIGGER journal_is_never_rewritten BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'the journal is never rewritten'); END;

CREATE TABLE cursor (
    outlet TEXT NOT NULL,
    lane TEXT NOT NULL CHECK (lane IN ('live', 'moves')),
    seq INTEGER NOT NULL,
    PRIMARY KEY (outlet, lane)
) STRICT, WITHOUT ROWID;

CREATE TABLE backlog (
    outlet TEXT NOT NULL,
    after_seq INTEGER NOT NULL,
    until_seq INTEGER NOT NULL,
    PRIMARY KEY (outlet, after_seq)
) STRICT, WITHOUT ROWID;
";

/// Series know the calibration that made their values; a reading may have a value and a quality
/// that says it is outside the calibrated range (9); calibrations are kept step by step.
///
/// Readings stay where they are, and only the text of their table's `CHECK` is changed: the way of
/// SQLite's documentation (ALTER TABLE, 7, "Making Other Kinds Of Table Schema Changes") for what
/// changes nothing on disk. A copy of a year's readings would want three times their space on the
/// card, and longer than a service manager waits for a start: it would begin anew for ever.
const VERSION_2: &str = "
CREATE TABLE series_2 (
    id INTEGER PRIMARY KEY,
    probe TEXT NOT NULL,
    board TEXT NOT NULL,
    channel TEXT NOT NULL,
    driver TEXT NOT NULL,
    quantity TEXT NOT NULL,
    unit TEXT NOT NULL,
    electrical_unit TEXT NOT NULL,
    calibration INTEGER NOT NULL DEFAULT 0,
    UNIQUE (probe, board, channel, driver, quantity, unit, electrical_unit, calibration)
) STRICT;
INSERT INTO series_2 SELECT *, 0 FROM series;
DROP TABLE series;
ALTER TABLE series_2 RENAME TO series;

PRAGMA writable_schema = ON;
UPDATE sqlite_schema
SET sql = replace(sql, '(quality = 0) = (value', '(quality IN (0, 9)) = (value')
WHERE type = 'table' AND name = 'reading';
PRAGMA writable_schema = RESET;

CREATE TABLE calibration_step (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    probe TEXT NOT NULL,
    time_ms INTEGER NOT NULL,
    data TEXT NOT NULL
) STRICT;

CREATE INDEX calibration_step_probe ON calibration_step (probe, seq);

CREATE TRIGGER calibration_is_never_rewritten BEFORE UPDATE ON calibration_step
BEGIN SELECT RAISE(ABORT, 'a calibration is never rewritten'); END;

CREATE TRIGGER calibration_is_never_deleted BEFORE DELETE ON calibration_step
BEGIN SELECT RAISE(ABORT, 'a calibration is never deleted'); END;
";

/// Refuses a SQLite that is known to lose committed transactions.
///
/// # Errors
/// `OldSqlite` with the version found.
pub fn assert_sqlite_version() -> Result<(), LogError> {
    let found = rusqlite::version_number();
    if found < EARLIEST_SQLITE {
        return Err(LogError::OldSqlite(rusqlite::version().to_owned()));
    }
    Ok(())
}

/// Brings an opened file to today's version, in one transaction.
///
/// # Errors
/// `NotALog` for another program's database, `Newer` for a log of a later version, `Sqlite` for
/// what SQLite says.
pub fn migrate(conn: &mut Connection) -> Result<(), LogError> {
    // A table that others refer to can only be rebuilt with the check off, and that can only be
    // switched outside a transaction.
    conn.pragma_update(None, "foreign_keys", false)?;
    let migrated = migrate_unchecked(conn);
    conn.pragma_update(None, "foreign_keys", true)?;
    migrated
}

fn migrate_unchecked(conn: &mut Connection) -> Result<(), LogError> {
    let transaction = conn.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    let version = checked_version(&transaction)?;
    if version == TODAY {
        return Ok(());
    }
    for step in MIGRATIONS.iter().skip(version as usize) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", TODAY)?;
    transaction.commit()?;
    Ok(())
}

/// The version of the file; 0 for an empty one.
///
/// # Errors
/// As [`migrate`].
pub fn checked_version(conn: &Connection) -> Result<u32, LogError> {
    let application: i32 = conn.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let version: u32 = conn.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let tables: i64 = conn.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    match (application, tables) {
        (APPLICATION_ID, _) if version > TODAY => Err(LogError::Newer {
            found: version,
            known: TODAY,
        }),
        (APPLICATION_ID, _) | (0, 0) => Ok(version),
        _ => Err(LogError::NotALog),
    }
}

/// Makes the tables of the first version, for tests of what a log of then comes to.
#[cfg(test)]
#[allow(clippy::unwrap_used)]
pub(super) fn begin_first_version(conn: &Connection) {
    conn.execute_batch(VERSION_1).unwrap();
    conn.pragma_update(None, "application_id", APPLICATION_ID)
        .unwrap();
    conn.pragma_update(None, "user_version", 1).unwrap();
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn memory() -> Connection {
        Connection::open_in_memory().unwrap()
    }

    #[test]
    fn the_linked_sqlite_is_recent_enough() {
        assert_sqlite_version().unwrap();
    }

    #[test]
    fn migrating_twice_changes_nothing() {
        let mut conn = memory();
        migrate(&mut conn).unwrap();
        migrate(&mut conn).unwrap();
        assert_eq!(checked_version(&conn).unwrap(), TODAY);
    }

    #[test]
    fn another_programs_database_is_refused_and_left_alone() {
        let mut conn = memory();
        conn.execute_batch("CREATE TABLE recipe (name TEXT)")
            .unwrap();
        assert!(matches!(migrate(&mut conn), Err(LogError::NotALog)));
        conn.execute("INSERT INTO recipe VALUES ('rye')", [])
            .unwrap();
    }

    #[test]
    fn a_log_of_a_later_version_is_refused() {
        let mut conn = memory();
        migrate(&mut conn).unwrap();
        conn.pragma_update(None, "user_version", 99).unwrap();
        assert!(matches!(
            migrate(&mut conn),
            Err(LogError::Newer { found: 99, .. })
        ));
    }

    #[test]
    fn a_log_of_the_first_version_keeps_its_readings() {
        let mut conn = memory();
        begin_first_version(&conn);
        conn.execute_batch(
            "INSERT INTO boot VALUES (1, 'b');
             INSERT INTO series VALUES (7, 'p', 'b', 'c', 'd', 'temperature', 'Cel', 'Ohm');
             INSERT INTO reading VALUES (3, 7, 5, 1, 5, 512, 1e4, 25, 0.1, NULL, 1, 0);
             INSERT INTO reading VALUES (4, 7, 6, 1, 6, 0, NULL, NULL, NULL, NULL, 1, 2);",
        )
        .unwrap();
        migrate(&mut conn).unwrap();
        let kept: (i64, i64, f64, i64) = conn
            .query_row(
                "SELECT count(*), max(seq), sum(value), max(series.calibration) \
                 FROM reading JOIN series ON series.id = series",
                [],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
            )
            .unwrap();
        assert_eq!(kept, (2, 4, 25.0, 0));
        let dangling: i64 = conn
            .query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |row| {
                row.get(0)
            })
            .unwrap();
        assert_eq!(dangling, 0);
    }

    /// Copied, a year's readings would not fit on the card beside themselves.
    #[test]
    fn a_log_of_the_first_version_keeps_its_readings_in_place_with_trigger_and_index() {
        let mut conn = memory();
        begin_first_version(&conn);
        conn.execute_batch(
            "INSERT INTO boot VALUES (1, 'b');
             INSERT INTO series VALUES (7, 'p', 'b', 'c', 'd', 'temperature', 'Cel', 'Ohm');",
        )
        .unwrap();
        let of_schema = |conn: &Connection, what: &str, name: &str| -> i64 {
            let sql = format!("SELECT {what} FROM sqlite_schema WHERE name = '{name}'");
            conn.query_row(&sql, [], |row| row.get(0)).unwrap()
        };
        let place = of_schema(&conn, "rootpage", "reading");
        migrate(&mut conn).unwrap();
        assert_eq!(of_schema(&conn, "rootpage", "reading"), place);
        for kept in ["reading_is_never_rewritten", "journal_alarm"] {
            assert_eq!(of_schema(&conn, "count(*)", kept), 1, "{kept}");
        }
        let insert = |seq: i64, quality: i64| {
            let sql = "INSERT INTO reading VALUES (?1, 7, 5, 1, 5, 512, 1e4, 25, 0.1, NULL, 1, ?2)";
            conn.execute(sql, [seq, quality])
        };
        insert(1, 9).unwrap();
        assert!(insert(2, 3).is_err(), "a value with a fault");
        assert!(conn.execute("UPDATE reading SET value = 26", []).is_err());
        let sound: String = conn
            .query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .unwrap();
        assert_eq!(sound, "ok");
    }

    #[test]
    fn a_reading_cannot_be_rewritten_nor_hold_a_value_with_a_fault() {
        let mut conn = memory();
        migrate(&mut conn).unwrap();
        conn.execute_batch(
            "INSERT INTO boot VALUES (1, 'b');
             INSERT INTO series VALUES (1, 'p', 'b', 'c', 'd', 'temperature', 'Cel', 'Ohm', 0);
             INSERT INTO reading VALUES (1, 1, 5, 1, 5, 512, 1e4, 25, 0.1, NULL, 1, 0);",
        )
        .unwrap();
        assert!(conn.execute("UPDATE reading SET value = 26", []).is_err());
        let fault_with_value =
            "INSERT INTO reading VALUES (2, 1, 6, 1, 6, 512, 1e4, 25, 0.1, NULL, 1, 3)";
        assert!(conn.execute(fault_with_value, []).is_err());
    }
}
