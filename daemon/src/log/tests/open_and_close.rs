//! Whose file it is: what is refused at the door, and what is left behind.

use crate::log::testing::{Bench, NEVER, all_after, number, open, with};
use crate::log::{Log, LogError, Settings};
use rusqlite::Connection;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

fn refused(path: &Path) -> String {
    let settings = Settings {
        path: path.to_owned(),
        commit: NEVER,
    };
    Log::open(&settings).unwrap_err().to_string()
}

#[tokio::test]
async fn a_second_writer_is_refused_and_told_which_process_writes() {
    let bench = Bench::new().await;
    let process = std::process::id();
    assert_eq!(
        refused(bench.log.path()),
        format!(
            "another service (process {process}) writes to this log; stop it, or choose another \
             `path` in `[log]`"
        )
    );
    // The one that writes is not disturbed.
    bench.readings(1).await;
    bench.log.commit().await.unwrap();
}

#[test]
fn another_programs_database_is_refused_and_stays_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recipes.sqlite");
    let conn = Connection::open(&path).unwrap();
    conn.execute_batch("CREATE TABLE recipe (name TEXT)")
        .unwrap();
    assert_eq!(refused(&path), LogError::NotALog.to_string());
    assert_eq!(number(&conn, "SELECT count(*) FROM sqlite_schema"), 1);
}

#[test]
fn a_file_that_is_no_database_is_refused_and_stays_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notes.txt");
    let text = "pitched the yeast at 19 degrees\n".repeat(50);
    std::fs::write(&path, &text).unwrap();
    assert_eq!(
        refused(&path),
        "the file is no SQLite database, so no log of this program; name the log's own file"
    );
    assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
}

#[tokio::test]
async fn a_log_of_a_later_version_is_refused() {
    let bench = Bench::new().await;
    bench.log.close().await.unwrap();
    let conn = Connection::open(bench.log.path()).unwrap();
    conn.pragma_update(None, "user_version", 99).unwrap();
    let newer = LogError::Newer {
        found: 99,
        known: 2,
    };
    assert_eq!(refused(bench.log.path()), newer.to_string());
}

#[tokio::test]
async fn closing_leaves_one_file_that_can_be_opened_again_at_once() {
    let bench = Bench::new().await;
    for opening in 1..=20 {
        let log = if opening == 1 {
            bench.log.clone()
        } else {
            open(bench.log.path(), NEVER).await
        };
        log.close().await.unwrap();
        for ending in ["-wal", "-shm"] {
            let rest = with(bench.log.path(), ending);
            assert!(!rest.exists(), "opening {opening}: {}", rest.display());
        }
    }
}

#[tokio::test]
async fn a_closed_log_says_so_to_whoever_waits_or_asks() {
    let bench = Bench::new().await;
    bench.readings(2).await;
    let mut reader = bench.log.reader();
    bench.log.close().await.unwrap();
    assert!(!reader.changed().await);
    assert!(reader.newest().closed);
    assert_eq!(all_after(&mut reader, 0).await.len(), 2);
    assert!(matches!(bench.log.commit().await, Err(LogError::Ended)));
    let given_back = bench.log.append(crate::log::Batch::default(), NEVER).await;
    assert!(given_back.is_err());
}

#[test]
fn what_went_wrong_is_said_with_what_to_do() {
    let errors = [
        LogError::NotALog,
        LogError::Newer { found: 3, known: 1 },
        LogError::OldSqlite("3.46.1".to_owned()),
        LogError::InUse("4711".to_owned()),
        LogError::Ended,
    ];
    insta::assert_snapshot!(errors.map(|error| error.to_string()).join("\n"), @"
    the file is a database, but no log of this program; name the log's own file
    the log is of version 3, this program knows up to 1; update nightbench
    SQLite 3.46.1 can lose committed readings; build with the bundled one (3.51.3 or later)
    another service (process 4711) writes to this log; stop it, or choose another `path` in `[log]`
    the log's writer has ended
    ");
}

/// A child has copies of all that is open here until it has become its program.
#[tokio::test]
async fn a_closed_log_can_be_opened_at_once_whatever_programs_are_being_started() {
    let bench = Bench::new().await;
    bench.log.close().await.unwrap();
    let done = Arc::new(AtomicBool::new(false));
    let ends = Arc::clone(&done);
    let starts = std::thread::spawn(move || {
        while !ends.load(Ordering::Relaxed) {
            Command::new("true").status().unwrap();
        }
    });
    for _ in 0..100 {
        open(bench.log.path(), NEVER).await.close().await.unwrap();
    }
    done.store(true, Ordering::Relaxed);
    starts.join().unwrap();
}
