//! A card that refuses to be written: nothing is lost, outlets go on, and the journal tells of it.
//!
//! A trigger stands for the full card: what SQLite says of both is an error of one statement.

use crate::alarm::State;
use crate::log::Kind;
use crate::log::testing::{Bench, alarm_move, all_after, number, reading, seqs};
use rusqlite::Connection;

const REFUSE: &str = "CREATE TRIGGER full BEFORE INSERT ON reading \
    BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END";

#[tokio::test]
async fn a_move_whose_reading_was_dropped_names_no_other() {
    let bench = Bench::new().await;
    let entries = vec![alarm_move("vat", State::Active, 2)];
    bench.append(vec![reading(0, 1)], entries).await;
    let moves = bench.log.reader().moves_after(0, 9).await.unwrap();
    assert_eq!(moves[0].reading_seq, 0);
}

/// Appends a reading with a move, which asks for a commit at once.
async fn urgent(bench: &Bench, probe: &str) {
    let entries = vec![alarm_move(probe, State::Active, 1)];
    bench.append(vec![reading(0, 9)], entries).await;
}

#[tokio::test]
async fn readings_wait_in_memory_and_are_written_when_there_is_room() {
    let bench = Bench::new().await;
    bench.readings(2).await;
    bench.log.commit().await.unwrap();
    let card = Connection::open(bench.log.path()).unwrap();
    card.execute_batch(REFUSE).unwrap();
    urgent(&bench, "vat").await;
    bench.readings(3).await;
    let refused = bench.log.commit().await.unwrap_err().to_string();
    assert_eq!(
        refused,
        "database or disk is full; check the file's owner, and the disk's space and state"
    );

    let mut reader = bench.log.reader();
    assert_eq!(
        seqs(&all_after(&mut reader, 0).await),
        [1, 2, 3, 4, 5, 6],
        "outlets see what waits"
    );
    let told = reader.moves_after(0, 9).await.unwrap();
    let told: Vec<_> = told.iter().map(|m| (m.seq, m.reading_seq)).collect();
    assert_eq!(told, [(1, 3)], "an alarm does not wait for the card");

    card.execute_batch("DROP TRIGGER full").unwrap();
    urgent(&bench, "tank").await;
    let moves = reader.moves_after(0, 9).await.unwrap();
    let judged: Vec<_> = moves.iter().map(|m| m.reading_seq).collect();
    assert_eq!(judged, [3, 7]);
    let [told] = bench.journal(Kind::Log).await.try_into().unwrap();
    let (how_long, what) = told.split_once(" s; ").unwrap();
    assert!(how_long.starts_with("log: could not be written for "));
    insta::assert_snapshot!(what, @"5 readings waited in memory, 0 were dropped");
    assert_eq!(number(&card, "SELECT count(*) FROM reading"), 7);
}

/// So many waited that the writer would commit without waiting for the interval.
#[tokio::test]
async fn the_end_of_a_long_trouble_is_told_once_and_every_row_is_written_once() {
    let bench = Bench::new().await;
    let card = Connection::open(bench.log.path()).unwrap();
    card.execute_batch(REFUSE).unwrap();
    urgent(&bench, "vat").await;
    let most = u64::try_from(crate::log::CROWDED).unwrap();
    for part in 0..=10 {
        let lines = (0..most / 10).map(|line| reading(0, part * most + line));
        bench.append(lines.collect(), Vec::new()).await;
    }
    bench.log.commit().await.unwrap_err();
    card.execute_batch("DROP TRIGGER full").unwrap();
    bench.log.commit().await.unwrap();
    bench.log.commit().await.unwrap();
    let rows = i64::try_from(most / 10 * 11 + 1).unwrap();
    assert_eq!(number(&card, "SELECT count(*) FROM reading"), rows);
    assert_eq!(bench.journal(Kind::Log).await.len(), 1);
}

#[tokio::test]
async fn what_is_told_of_the_trouble_leaves_no_gap_in_the_journal() {
    let bench = Bench::new().await;
    let card = Connection::open(bench.log.path()).unwrap();
    card.execute_batch(REFUSE).unwrap();
    urgent(&bench, "vat").await;
    card.execute_batch("DROP TRIGGER full").unwrap();
    urgent(&bench, "tank").await;
    bench.log.commit().await.unwrap();
    let sql = "SELECT group_concat(seq || ' ' || kind, ', ') FROM journal";
    let kinds: String = card.query_row(sql, [], |row| row.get(0)).unwrap();
    assert_eq!(kinds, "1 alarm, 2 alarm, 3 log");
}
