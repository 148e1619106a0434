//! Promise: a stop ends in time whatever does not answer, and leaves nothing behind but what the next
//! start takes up; what ended otherwise is told at the next start.

use crate::checks::influx_holds_the_log;
use crate::write_lock::WriteLock;
use nightbench_tests::board::Board;
use nightbench_tests::database::Database;
use nightbench_tests::log::{Entry, Log};
use nightbench_tests::scene::Scene;
use nightbench_tests::service::Service;
use nightbench_tests::wait::{SOON, until};
use rusqlite::Connection;
use std::fs;
use std::io::Read;
use std::net::{Ipv4Addr, TcpListener};
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

/// How long a stop may take: an outlet is given 5 s for its last delivery, and a busy machine some
/// more.
const DEADLINE: Duration = Duration::from_secs(12);

/// What a start says of one before it that was cut off.
const CUT_OFF: &str = "ended without stopping";

fn turns(scene: &mut Scene) -> Board {
    let board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    board
}

fn send(board: &mut Board, numbers: std::ops::Range<u32>) {
    for number in numbers {
        board.send_line(&format!("n={number}"));
    }
}

fn logged(log: &Log) -> Vec<u32> {
    let raw = log.of("turns").into_iter().filter_map(|it| it.raw);
    raw.map(|number| number as u32).collect()
}

fn starts(log: &Log) -> Vec<Entry> {
    let mut entries = log.journal();
    entries.retain(|entry| entry.kind == "start");
    entries
}

/// A server that takes connections and requests and never answers; what it was asked is told.
fn silent_server() -> (u16, mpsc::Receiver<usize>) {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
    let port = listener.local_addr().unwrap().port();
    let (tell, told) = mpsc::channel();
    thread::spawn(move || {
        for mut stream in listener.incoming().flatten() {
            let tell = tell.clone();
            thread::spawn(move || {
                let mut bytes = [0; 4096];
                while let Ok(length @ 1..) = stream.read(&mut bytes) {
                    // Nobody listens any more once the test has what it waited for.
                    let _ = tell.send(length);
                }
            });
        }
    });
    (port, told)
}

#[test]
fn a_stop_while_a_database_does_not_answer_is_in_time_and_its_readings_go_later() {
    let (port, asked) = silent_server();
    let influx = Database::influx();
    let mut scene = Scene::committing_every(10_000);
    let mut board = turns(&mut scene);
    scene.influx("house", &influx);
    let silent = format!("http://127.0.0.1:{port}");
    scene.change(&influx.url(), &silent);
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 0..50);
    asked.recv_timeout(SOON).unwrap();
    send(&mut board, 50..100);
    board.wait_until_read();

    let asked_to_stop = Instant::now();
    service.stop();
    let took = asked_to_stop.elapsed();
    assert!(took < DEADLINE, "the stop took {took:?}");
    let log = Log::at(&scene.log());
    assert_eq!(logged(&log), (0..100).collect::<Vec<_>>());

    scene.change(&silent, &influx.url());
    let service = Service::start(&scene);
    influx_holds_the_log(&influx, service.log());
    service.stop();
    let starts = starts(&log);
    assert_eq!(starts.len(), 2);
    assert!(!starts[1].text.contains(CUT_OFF), "{starts:?}");
}

#[test]
fn a_stop_while_the_log_is_locked_waits_for_it_and_loses_nothing() {
    let mut scene = Scene::new();
    let mut board = turns(&mut scene);
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 0..1);
    service.has_logged(1, "turns");
    let lock = WriteLock::take(&scene.log());
    send(&mut board, 1..100);
    board.wait_until_read();
    let said = scene.folder().join("service.err");
    let opener = thread::spawn(move || {
        until("the service says that it stops", SOON, || {
            fs::read_to_string(&said).is_ok_and(|said| said.contains("stopping: "))
        });
        drop(lock);
    });
    service.stop();
    opener.join().unwrap();
    let log = Log::at(&scene.log());
    assert_eq!(logged(&log), (0..100).collect::<Vec<_>>());
    Service::start(&scene).stop();
    assert!(!starts(&log)[1].text.contains(CUT_OFF));
}

#[test]
fn a_start_after_a_kill_tells_of_it_and_of_the_last_reading() {
    let mut scene = Scene::new();
    let mut board = turns(&mut scene);
    let service = Service::start_with(&scene, &mut [&mut board]);
    assert!(!starts(service.log())[0].text.contains(CUT_OFF));
    send(&mut board, 0..20);
    service.has_logged(20, "turns");
    service.kill();
    let log = Log::at(&scene.log());
    let last_ms = log.readings().last().unwrap().time_ms;

    Service::start(&scene).stop();
    let told = &starts(&log)[1].text;
    assert!(told.contains(CUT_OFF), "{told}");
    assert_eq!(told_ms(told), last_ms, "{told}");

    Service::start(&scene).stop();
    assert!(!starts(&log)[2].text.contains(CUT_OFF), "told once");
}

/// The time that the entry gives, read by SQLite.
fn told_ms(told: &str) -> i64 {
    let (_, rest) = told.split_once("last reading is of ").unwrap();
    let time = rest.split(',').next().unwrap();
    let milliseconds = "SELECT CAST(round(unixepoch(?1, 'subsec') * 1000) AS INTEGER)";
    let sqlite = Connection::open_in_memory().unwrap();
    sqlite
        .query_row(milliseconds, [time], |row| row.get(0))
        .unwrap()
}
