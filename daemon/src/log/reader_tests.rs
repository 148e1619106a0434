//! Tests of the reader over a real file: the way from what is on the card to what waits in memory.

use super::testing::{reading, series};
use super::{Batch, Entry, Kind, Log, Settings};
use crate::alarm::{Move, State};
use crate::reading::{Moment, Quality};
use rusqlite::Connection;
use std::path::Path;
use std::time::Duration;

const NOW: Moment = Moment {
    wall_ms: 1_780_000_000_000,
    boot_ns: 1,
};
const PATIENCE: Duration = Duration::from_secs(5);

/// A log that commits only when it is told to.
fn open(path: &Path) -> Log {
    let settings = Settings {
        path: path.to_owned(),
        commit: Duration::from_secs(3600),
    };
    Log::open(&settings).unwrap()
}

fn moved() -> Entry {
    let mut entry = Entry::new(NOW, Kind::Alarm, "vat", "moved");
    entry.alarm = Some(Move {
        seq: 0,
        reading_seq: 0,
        probe: "vat".to_owned(),
        board: "bench".to_owned(),
        alarm: "high".to_owned(),
        from: State::Normal,
        to: State::Active,
        at: reading(0, 1).at,
        value: None,
        limit: None,
        unit: "Cel".to_owned(),
        quality: Quality::Good,
        action: String::new(),
    });
    entry
}

/// A reading and a move that wait for the next commit.
async fn append(log: &Log) {
    log.series(series()).await.unwrap();
    let batch = Batch {
        readings: vec![reading(0, 1)],
        entries: vec![moved()],
        at_once: false,
    };
    log.append(batch, PATIENCE).await.unwrap();
}

/// As a crash leaves it: numbers that were reserved and never came to the card.
async fn crashed(path: &Path) {
    let log = open(path);
    append(&log).await;
    log.close().await.unwrap();
    let file = Connection::open(path).unwrap();
    file.execute_batch("UPDATE meta SET value = '1000' WHERE key IN ('next_seq', 'next_entry')")
        .unwrap();
}

#[tokio::test]
async fn after_a_crash_what_waits_in_memory_follows_what_is_on_the_card() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.sqlite");
    crashed(&path).await;
    let log = open(&path);
    append(&log).await;
    let mut reader = log.reader();
    let until = reader.newest().reading;
    let mut seqs = Vec::new();
    for after in [0, 1, 1000] {
        let found = reader.after(after, until, 10).await.unwrap();
        seqs.push(found.iter().map(|r| r.seq).collect::<Vec<_>>());
    }
    assert_eq!(seqs, [vec![1], vec![1000], vec![]]);
    assert_eq!(reader.after(1, 999, 10).await.unwrap(), [], "the gap");
}

#[tokio::test]
async fn after_a_crash_a_move_that_waits_in_memory_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.sqlite");
    crashed(&path).await;
    let log = open(&path);
    append(&log).await;
    let mut reader = log.reader();
    let mut seqs = Vec::new();
    for after in [0, 1, 1000] {
        let found = reader.moves_after(after, 10).await.unwrap();
        seqs.push(found.iter().map(|m| m.seq).collect::<Vec<_>>());
    }
    assert_eq!(seqs, [vec![1, 1000], vec![1000], vec![]]);
}
