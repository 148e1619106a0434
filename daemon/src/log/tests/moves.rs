//! Alarm moves: their numbers, their readings, where each alarm stands.

use crate::alarm::State;
use crate::log::Batch;
use crate::log::LogReader;
use crate::log::testing::{Bench, alarm_move, number, reading, remark};
use std::time::Duration;

#[tokio::test]
async fn a_move_names_the_reading_that_it_was_judged_on() {
    let bench = Bench::new().await;
    bench.readings(10).await;
    let mut batch = Batch {
        readings: vec![reading(0, 1), reading(0, 2)],
        entries: vec![alarm_move("vat", State::Active, 2)],
        at_once: true,
    };
    batch.append(Batch {
        readings: vec![reading(0, 3)],
        entries: vec![remark(), alarm_move("tank", State::Active, 1)],
        at_once: true,
    });
    bench.append(batch.readings, batch.entries).await;
    let moves = bench.log.reader().moves_after(0, 10).await.unwrap();
    let named: Vec<_> = moves
        .iter()
        .map(|m| (m.seq, m.probe.as_str(), m.reading_seq))
        .collect();
    assert_eq!(named, [(1, "vat", 12), (3, "tank", 13)]);
}

#[tokio::test]
async fn a_move_that_no_reading_caused_names_none_wherever_its_batch_lands() {
    let bench = Bench::new().await;
    let mut batch = Batch {
        readings: vec![reading(0, 1), reading(0, 2)],
        ..Batch::default()
    };
    batch.append(Batch {
        entries: vec![alarm_move("vat", State::Normal, 0)],
        ..Batch::default()
    });
    bench.append(batch.readings, batch.entries).await;
    let moves = bench.log.reader().moves_after(0, 10).await.unwrap();
    assert_eq!(moves[0].reading_seq, 0);
}

#[tokio::test]
async fn a_move_comes_back_as_it_was_but_for_its_number() {
    let bench = Bench::new().await;
    let entry = alarm_move("vat", State::Active, 1);
    bench.append(vec![reading(0, 1)], vec![entry.clone()]).await;
    let mut expected = entry.alarm.unwrap();
    expected.seq = 1;
    let moves = bench.log.reader().moves_after(0, 10).await.unwrap();
    assert_eq!(moves, [expected]);
}

#[tokio::test]
async fn each_alarm_stands_where_it_moved_last() {
    let bench = Bench::new().await;
    let steps = [
        ("vat", State::Active),
        ("tank", State::Active),
        ("vat", State::Normal),
        ("rinse", State::Active),
        ("tank", State::Normal),
        ("vat", State::Active),
    ];
    for (probe, to) in steps {
        let entries = vec![alarm_move(probe, to, 0), remark()];
        bench.append(Vec::new(), entries).await;
    }
    let standing = bench.log.reader().standing_moves().await.unwrap();
    let stands: Vec<_> = standing.iter().map(|m| (m.probe.as_str(), m.to)).collect();
    assert_eq!(
        stands,
        [
            ("rinse", State::Active),
            ("tank", State::Normal),
            ("vat", State::Active)
        ]
    );
}

#[tokio::test]
async fn moves_are_read_forward_in_steps() {
    let bench = Bench::new().await;
    for _ in 0..5 {
        let entries = vec![alarm_move("vat", State::Active, 0), remark()];
        bench.append(Vec::new(), entries).await;
    }
    let mut reader = bench.log.reader();
    assert_eq!(reader.newest().moves, 9);
    assert_eq!(walked(&mut reader, 0, 2).await, [1, 3, 5, 7, 9]);
}

/// The numbers of all moves after one, read forward as an outlet does.
async fn walked(reader: &mut LogReader, mut after: u64, limit: usize) -> Vec<u64> {
    let mut found = Vec::new();
    loop {
        let moves = reader.moves_after(after, limit).await.unwrap();
        assert!(moves.len() <= limit);
        let Some(last) = moves.last() else { break };
        after = last.seq;
        found.extend(moves.iter().map(|m| m.seq));
    }
    found
}

#[tokio::test]
async fn moves_are_read_forward_from_the_file_into_memory() {
    // More than memory keeps of what is committed; then some that is not committed.
    let moves = |count| vec![alarm_move("vat", State::Active, 0); count];
    let bench = Bench::new().await;
    bench.append(Vec::new(), moves(700)).await;
    bench.append_uncommitted(moves(5)).await;
    let beside = bench.beside();
    assert_eq!(number(&beside, "SELECT count(*) FROM journal"), 700);
    let all: Vec<u64> = (1..=705).collect();
    for limit in [1, 100, 699, 700, 701, 1000] {
        let mut reader = bench.log.reader();
        assert_eq!(walked(&mut reader, 0, limit).await, all, "{limit} at once");
        assert_eq!(walked(&mut reader, 698, limit).await, all[698..]);
    }
}

#[tokio::test]
async fn the_first_move_after_a_restart_is_seen_before_its_commit() {
    let bench = Bench::new().await;
    let moved = || vec![alarm_move("vat", State::Active, 0)];
    bench.append(Vec::new(), moved()).await;
    bench.append(Vec::new(), vec![remark(), remark()]).await;
    let bench = bench.reopened().await;
    bench.append_uncommitted(moved()).await;
    for (after, expected) in [(0, vec![1, 4]), (1, vec![4]), (3, vec![4]), (4, vec![])] {
        let mut reader = bench.log.reader();
        assert_eq!(reader.newest().moves, 4);
        let found = walked(&mut reader, after, 9).await;
        assert_eq!(found, expected, "after {after}");
    }
}

#[tokio::test]
async fn an_alarm_stands_where_it_moved_last_committed_or_not() {
    let bench = Bench::new().await;
    for probe in ["vat", "tank"] {
        let entries = vec![alarm_move(probe, State::Active, 0)];
        bench.append(Vec::new(), entries).await;
    }
    let entries = vec![
        alarm_move("vat", State::Normal, 0),
        alarm_move("rinse", State::Active, 0),
    ];
    bench.append_uncommitted(entries).await;
    let expected = [
        (2, "tank", State::Active),
        (3, "vat", State::Normal),
        (4, "rinse", State::Active),
    ];
    for _ in 0..2 {
        let standing = bench.log.reader().standing_moves().await.unwrap();
        let stands: Vec<_> = standing
            .iter()
            .map(|m| (m.seq, m.probe.as_str(), m.to))
            .collect();
        assert_eq!(stands, expected);
        bench.log.commit().await.unwrap();
    }
}

#[tokio::test]
async fn a_move_is_committed_at_once_with_all_that_came_before() {
    let bench = Bench::new().await;
    bench.log.commit().await.unwrap();
    bench.readings(3).await;
    let beside = bench.beside();
    let count = |table| number(&beside, &format!("SELECT count(*) FROM {table}"));
    assert_eq!((count("reading"), count("journal")), (0, 0));
    let entries = vec![alarm_move("vat", State::Active, 1)];
    bench.append(vec![reading(0, 4)], entries).await;
    assert_eq!((count("reading"), count("journal")), (4, 1));
}

#[tokio::test]
async fn what_is_not_urgent_is_committed_within_the_interval() {
    let bench = Bench::committing(Duration::from_millis(5)).await;
    bench.readings(3).await;
    let beside = bench.beside();
    let committed = async {
        while number(&beside, "SELECT count(*) FROM reading") < 3 {
            tokio::task::yield_now().await;
        }
    };
    let soon = Duration::from_secs(10);
    tokio::time::timeout(soon, committed).await.unwrap();
}
