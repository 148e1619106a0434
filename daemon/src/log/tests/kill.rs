//! What a kill leaves: no number with two meanings, no cursor ahead of the readings.

use crate::alarm::State;
use crate::log::testing::{Bench, NEVER, alarm_move, all_after, number, open, reading, seqs};
use crate::log::{Batch, Log, Progress, Span};
use rusqlite::Connection;
use std::path::Path;
use std::time::Duration;

const MOVES: &str = "SELECT count(*) FROM journal WHERE kind = 'alarm'";

/// Opens what a kill left, and gives the number of the next reading.
async fn next_number(left: &Path) -> u64 {
    let log = open(left, NEVER).await;
    let mut reader = log.reader();
    let newest = reader.newest().reading;
    append(&log).await;
    let found = all_after(&mut reader, newest).await;
    found.first().unwrap().seq
}

async fn append(log: &Log) {
    let batch = Batch {
        readings: vec![reading(0, 99)],
        ..Batch::default()
    };
    log.append(batch, NEVER).await.unwrap();
    log.commit().await.unwrap();
}

#[tokio::test]
async fn what_was_committed_is_there_and_whole() {
    let bench = Bench::new().await;
    bench.readings(7).await;
    bench.log.commit().await.unwrap();
    bench.readings(5).await;
    let left = bench.killed("left.sqlite");
    let log = open(&left, NEVER).await;
    let found = all_after(&mut log.reader(), 0).await;
    assert_eq!(seqs(&found), [1, 2, 3, 4, 5, 6, 7]);
    let conn = Connection::open(&left).unwrap();
    let check: String = conn
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(check, "ok");
}

#[tokio::test]
async fn a_number_that_a_reader_saw_is_never_used_again() {
    let bench = Bench::new().await;
    for round in 0..3 {
        bench.readings(1000).await;
        let seen = bench.log.reader().newest().reading;
        let left = bench.killed(&format!("left-{round}.sqlite"));
        assert!(next_number(&left).await > seen);
        bench.log.commit().await.unwrap();
    }
}

#[tokio::test]
async fn nor_is_one_that_a_reader_saw_before_anything_was_committed() {
    let bench = Bench::new().await;
    // Whoever holds the file like this keeps the writer from committing.
    let holder = Connection::open(bench.log.path()).unwrap();
    holder.execute_batch("BEGIN IMMEDIATE").unwrap();
    let batch = Batch {
        readings: vec![reading(0, 1)],
        ..Batch::default()
    };
    let mut reader = bench.log.reader();
    bench.log.append(batch, NEVER).await.unwrap();
    assert!(reader.changed().await);
    let seen = reader.newest().reading;
    assert_eq!(seen, 1);
    let left = bench.killed("left.sqlite");
    drop(holder);
    assert!(next_number(&left).await > seen);
}

#[tokio::test]
async fn nor_is_the_number_of_a_move_that_a_reader_saw_before_the_commit() {
    let bench = Bench::new().await;
    for round in 0..3 {
        let moved = alarm_move("vat", State::Active, 0);
        bench.append_uncommitted(vec![moved.clone()]).await;
        let seen = bench.log.reader().moves_after(0, 9).await.unwrap();
        let last = seen.last().unwrap().seq;
        let left = bench.killed(&format!("left-{round}.sqlite"));
        assert_eq!(number(&Connection::open(&left).unwrap(), MOVES), round);
        let log = open(&left, NEVER).await;
        let mut reader = log.reader();
        let kept = reader.newest().moves;
        log.append(Batch::of(moved), NEVER).await.unwrap();
        let after = reader.moves_after(kept, 9).await.unwrap();
        assert!(after[0].seq > last, "{} after {last}", after[0].seq);
        bench.log.commit().await.unwrap();
    }
}

#[tokio::test]
async fn a_log_that_was_closed_goes_on_without_a_gap() {
    let bench = Bench::new().await;
    bench.readings(3).await;
    bench.log.close().await.unwrap();
    assert_eq!(next_number(bench.log.path()).await, 4);
}

/// The outlet's cursor and the last reading, in one look at the file.
fn cursor_and_last(conn: &Connection) -> (i64, i64) {
    let sql = "SELECT coalesce((SELECT max(seq) FROM cursor WHERE lane = 'live'), 0), \
        coalesce((SELECT max(seq) FROM reading), 0)";
    conn.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
}

#[tokio::test]
async fn a_stored_cursor_never_passes_the_last_committed_reading() {
    let bench = Bench::committing(Duration::from_millis(1)).await;
    let beside = bench.beside();
    for round in 0..200 {
        bench.readings(5).await;
        let progress = Progress::starting_at(bench.log.reader().newest().reading, 0);
        bench.log.keep_progress("kitchen", progress);
        let (cursor, last) = cursor_and_last(&beside);
        assert!(cursor <= last, "round {round}: {cursor} is past {last}");
    }
    bench.log.set_commit(NEVER).await;
    bench.log.commit().await.unwrap();
    let left = Connection::open(bench.killed("left.sqlite")).unwrap();
    assert_eq!(cursor_and_last(&left), (1000, 1000));
}

#[tokio::test]
async fn cursors_come_back_as_they_were_kept() {
    let span = |after, until| Span { after, until };
    let mut progress = Progress::starting_at(900, 31);
    progress.spans = [span(3, 40), span(52, 52_000), span(60_000, 70_000)].into();
    let bench = Bench::new().await;
    bench.log.keep_progress("kitchen", progress.clone());
    bench.log.keep_progress("house", Progress::default());
    bench.log.commit().await.unwrap();
    let left = bench.killed("left.sqlite");
    let mut reader = open(&left, NEVER).await.reader();
    assert_eq!(reader.progress("kitchen").await.unwrap(), Some(progress));
    assert_eq!(
        reader.progress("house").await.unwrap(),
        Some(Progress::default())
    );
    assert_eq!(reader.progress("card").await.unwrap(), None);
}

#[tokio::test]
async fn a_span_that_is_filled_is_forgotten() {
    let bench = Bench::new().await;
    let mut progress = Progress::default();
    progress.reconnected(10);
    bench.log.keep_progress("kitchen", progress.clone());
    bench.log.commit().await.unwrap();
    progress.late_acknowledged(10);
    bench.log.keep_progress("kitchen", progress.clone());
    bench.log.commit().await.unwrap();
    let stored = bench.log.reader().progress("kitchen").await.unwrap();
    assert_eq!(stored, Some(progress));
}
