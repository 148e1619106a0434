//! Opens the log for its one writer: lock, settings of SQLite, where numbering goes on.

use super::{LogError, rows, schema};
use rusqlite::Connection;
use rusqlite::config::DbConfig;
use std::fs::{File, TryLockError};
use std::io::{Read, Write};
use std::path::Path;
use std::time::Duration;

/// Holds a lock beside the log for as long as the writer lives: two writers would each believe that
/// they number the readings.
pub fn lock(log: &Path) -> Result<File, LogError> {
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

/// Opens the file, and refuses it untouched where it is no log of ours: closing the last connection
/// would otherwise tidy up another program's write-ahead log.
///
/// # Errors
/// What SQLite says, `NotALog`, `Newer`.
pub fn open(path: &Path) -> Result<Connection, LogError> {
    let conn = Connection::open(path)?;
    conn.busy_timeout(Duration::from_secs(5))?;
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
    schema::checked_version(&conn)?;
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, false)?;
    Ok(conn)
}

/// How SQLite writes it.
///
/// # Errors
/// What SQLite says.
pub fn prepare(conn: &Connection) -> rusqlite::Result<()> {
    conn.pragma_update(None, "journal_mode", "WAL")?;
    // FULL syncs the write-ahead log at each commit: the commit interval is then what a power cut
    // can take, not "some commits". NORMAL writes about half as much to the card.
    conn.pragma_update(None, "synchronous", "FULL")?;
    conn.pragma_update(None, "foreign_keys", true)
}

/// The numbers that the next reading and the next journal entry get.
#[derive(Clone, Copy, Debug)]
pub struct Next {
    /// Of the reading.
    pub reading: u64,
    /// Of the entry.
    pub entry: u64,
}

/// Behind all numbers that were ever given out, to what a crash took with it as well.
pub fn next_numbers(conn: &Connection) -> rusqlite::Result<Next> {
    let next = |table: &str, key: &str| {
        let sql = format!(
            "SELECT max(coalesce((SELECT max(seq) + 1 FROM {table}), 1), \
             coalesce((SELECT CAST(value AS INTEGER) FROM meta WHERE key = '{key}'), 1))"
        );
        conn.query_row(&sql, [], |row| row.get(0))
            .map(rows::from_stored)
    };
    Ok(Next {
        reading: next("reading", "next_seq")?,
        entry: next("journal", "next_entry")?,
    })
}

pub fn last_move(conn: &Connection) -> rusqlite::Result<u64> {
    let sql = "SELECT coalesce(max(seq), 0) FROM journal WHERE kind = 'alarm'";
    conn.query_row(sql, [], |row| row.get(0))
        .map(rows::from_stored)
}

pub fn boot_number(conn: &Connection, name: &str) -> rusqlite::Result<u32> {
    conn.execute("INSERT OR IGNORE INTO boot (name) VALUES (?1)", [name])?;
    conn.query_row("SELECT id FROM boot WHERE name = ?1", [name], |row| {
        row.get(0)
    })
}
