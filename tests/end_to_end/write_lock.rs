//! A log that cannot be written: another connection holds SQLite's one write lock, as a backup program or
//! a shell left open does. Readers are not held up.

use nightbench_tests::wait::SOON;
use rusqlite::Connection;
use std::path::Path;

/// The write lock of a log, held until dropped.
#[derive(Debug)]
pub struct WriteLock {
    connection: Connection,
}

impl WriteLock {
    /// Waits for the commit under way, if any, and takes the lock.
    pub fn take(log: &Path) -> Self {
        let connection = Connection::open(log).unwrap();
        connection.busy_timeout(SOON).unwrap();
        connection.execute_batch("BEGIN IMMEDIATE").unwrap();
        Self { connection }
    }
}

impl Drop for WriteLock {
    fn drop(&mut self) {
        self.connection.execute_batch("ROLLBACK").unwrap();
    }
}
