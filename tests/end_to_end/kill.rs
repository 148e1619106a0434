//! Promise: a kill at any moment costs at most one commit interval of readings, never the log, and
//! never gives a sequence number two meanings.

use crate::checks::readings_at;
use nightbench_tests::board::{Board, Sent};
use nightbench_tests::broker::{Broker, Subscriber};
use nightbench_tests::log::{Log, Logged};
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;
use nightbench_tests::talk::while_talking;
use nightbench_tests::wait::{SOON, until};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;
use std::thread;
use std::time::{Duration, Instant};

const KILLS: u32 = 20;
const COMMIT_MS: u64 = 400;

/// A busy machine's file system may take this long for a commit.
const SLACK: Duration = Duration::from_millis(800);

/// The board's pace.
const PACE: Duration = Duration::from_millis(4);

#[test]
fn twenty_kills_in_mid_flow_cost_one_commit_interval_each_and_nothing_else() {
    let mut broker = Broker::start();
    let mut scene = Scene::committing_every(COMMIT_MS);
    let board = Mutex::new(scene.board("bench"));
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .mqtt("kitchen", broker.port());
    let everything = broker.subscribe("cellar/#");
    let say = |board: &mut Board, number| {
        board.send_line_or_drop_it(&format!("n={number}"));
    };
    while_talking(&board, PACE, say, || {
        for kill in 0..KILLS {
            let born = Log::at(&scene.log()).highest().0;
            let service = Service::start(&scene);
            let killed = kill_in_mid_flow(service, born, kill);
            let log = Log::at(&scene.log());
            assert_eq!(log.integrity(), "ok");
            assert_at_most_one_interval_is_missing(&log, born, killed, &board);
        }
    });
    let service = Service::start(&scene);
    until("every logged reading reaches the broker", SOON, || {
        let came: BTreeSet<i64> = meanings(&everything).keys().copied().collect();
        service
            .log()
            .readings()
            .iter()
            .all(|reading| came.contains(&reading.seq))
    });
    assert_one_meaning_each(service.log(), &everything);
    service.stop();
}

/// Lets the service log for a little more than is allowed to be lost, a different time each kill.
fn kill_in_mid_flow(service: Service, born: i64, kill: u32) -> Instant {
    until("the board is heard", SOON, || {
        service.log().highest().0 > born
    });
    thread::sleep(SLACK + Duration::from_millis(COMMIT_MS + u64::from(kill * 37 % 400)));
    let killed = Instant::now();
    service.kill();
    killed
}

/// From the first logged line of this run on, every line must be there that was sent more than a
/// commit interval before the kill.
fn assert_at_most_one_interval_is_missing(
    log: &Log,
    born: i64,
    killed: Instant,
    board: &Mutex<Board>,
) {
    let mut readings = log.of("turns");
    readings.retain(|reading| reading.seq > born && reading.raw.is_some());
    let logged: BTreeSet<u64> = readings.iter().map(number).collect();
    let first = *logged.first().expect("this run has logged");
    let safe = killed
        .checked_sub(Duration::from_millis(COMMIT_MS) + SLACK)
        .unwrap();
    let board = board.lock().unwrap();
    let due = board
        .sent()
        .iter()
        .filter(|sent| sent.at <= safe)
        .map(sent_number);
    let missing: Vec<u64> = due
        .filter(|number| *number >= first && !logged.contains(number))
        .collect();
    assert!(
        missing.is_empty(),
        "lost although sent long before the kill: {missing:?}"
    );
}

fn number(reading: &Logged) -> u64 {
    reading.raw.unwrap() as u64
}

fn sent_number(sent: &Sent) -> u64 {
    sent.line.trim_start_matches("n=").parse().unwrap()
}

/// What the broker was told under each sequence number.
fn meanings(everything: &Subscriber) -> BTreeMap<i64, BTreeSet<String>> {
    let mut meanings = BTreeMap::<i64, BTreeSet<String>>::new();
    for message in readings_at(everything) {
        let body = message.json();
        let meaning = format!("{} {} {}", body["time"], body["raw"], body["quality"]);
        meanings
            .entry(body["seq"].as_i64().unwrap())
            .or_default()
            .insert(meaning);
    }
    meanings
}

fn assert_one_meaning_each(log: &Log, everything: &Subscriber) {
    let meanings = meanings(everything);
    let ambiguous = meanings.iter().find(|(_, meaning)| meaning.len() > 1);
    assert_eq!(ambiguous, None, "a sequence number was used twice");
    for reading in log.readings().iter().filter(|it| it.raw.is_some()) {
        let told = meanings[&reading.seq].first().unwrap();
        let raw = format!(" {:?} ", reading.raw.unwrap());
        assert!(
            told.contains(&raw),
            "{told} at the broker, {reading:?} in the log"
        );
    }
}
