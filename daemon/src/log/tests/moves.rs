//! Alarm moves: their numbers, their readings, where each alarm stands.

use crate::alarm::State;
use crate::log::testing::{Bench, alarm_move, number, reading};
use crate::log::{Batch, Entry, Kind};
use crate::reading::Moment;
use std::time::Duration;

fn remark() -> Entry {
    let at = Moment {
        wall_ms: 1_780_000_000_000,
        boot_ns: 1,
    };
    Entry::new(at, Kind::Board, "bench", "board `bench`: a remark")
}

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
    let (mut after, mut found) = (0, Vec::new());
    loop {
        let moves = reader.moves_after(after, 2).await.unwrap();
        let Some(last) = moves.last() else { break };
        after = last.seq;
        found.extend(moves.iter().map(|m| m.seq));
    }
    assert_eq!(found, [1, 3, 5, 7, 9]);
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
