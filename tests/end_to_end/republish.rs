//! Promise: a broker or database that lost its memory gets the readings of any time once more, beside
//! the running service and without disturbing it.

use crate::checks::{assert_rising, influx_holds_the_log, sequence};
use nightbench_tests::board::Board;
use nightbench_tests::broker::{Broker, free_port};
use nightbench_tests::database::Database;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, run, words};
use std::process::Output;
use std::time::Instant;

fn republish(scene: &Scene, outlet: &str, times: [&str; 2]) -> Output {
    let config = scene.file();
    let config = config.to_str().unwrap();
    let [from, to] = times;
    run(&[
        "republish",
        outlet,
        "--from",
        from,
        "--to",
        to,
        "--config",
        config,
    ])
}

fn counted(output: &Output) -> String {
    assert!(output.status.success(), "{}", words(output));
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

fn send(board: &mut Board, count: u32) {
    for number in 0..count {
        board.send_line(&format!("n={number}"));
    }
}

fn moment(ms: i64) -> String {
    let seconds = ms.div_euclid(1000);
    let output = std::process::Command::new("date")
        .args(["-u", "-d", &format!("@{seconds}"), "+%Y-%m-%dT%H:%M:%S"])
        .output()
        .expect("`date` is on every host");
    let text = String::from_utf8_lossy(&output.stdout);
    format!("{}.{:03}Z", text.trim(), ms.rem_euclid(1000))
}

#[test]
fn a_broker_that_lost_its_memory_gets_a_span_again_while_the_service_runs() {
    let mut broker = Broker::start();
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .mqtt("kitchen", broker.port());
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 300);
    service.has_logged(300, "turns");
    let reader = broker.subscribe("cellar/#");
    let logged = service.log().readings();
    let (first, last) = (&logged[0], &logged[299]);

    let output = republish(&scene, "kitchen", ["-1h", &moment(last.time_ms)]);
    // Up to, not with, the last moment: several readings may share it.
    let before = logged.iter().filter(|it| it.time_ms < last.time_ms);
    let expected: Vec<i64> = before.map(|it| it.seq).collect();
    assert_eq!(counted(&output), expected.len().to_string());
    let late = reader.wait_for(expected.len(), "/turns/late");
    assert_eq!(sequence(&late), expected);
    assert!(late.iter().all(|it| !it.retained));

    let all = republish(&scene, "kitchen", [&moment(first.time_ms), "now"]);
    assert_eq!(counted(&all), "300");
    assert_eq!(broker.retained("cellar/+/late"), []);

    // The running service has noticed nothing: no status, no lost connection, no repeated reading.
    send(&mut board, 50);
    let live = reader.wait_for(50, "/turns/reading");
    assert_rising(&sequence(&live[live.len() - 50..]));
    let status = reader.under("/status");
    assert!(status.iter().all(|it| it.payload == "online"), "{status:?}");
    assert_eq!(status.len(), 1, "what was retained, and nothing since");
    assert!(
        service
            .log()
            .entries("kitchen", "readings are kept")
            .is_empty()
    );
    service.stop();
}

#[test]
fn it_goes_no_faster_than_the_outlets_backlog_may() {
    let mut broker = Broker::start();
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .mqtt("kitchen", broker.port())
        .add("backlog_rate = 100\n");
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 200);
    service.has_logged(200, "turns");
    let reader = broker.subscribe("cellar/+/late");
    let began = Instant::now();
    assert_eq!(
        counted(&republish(&scene, "kitchen", ["-1h", "now"])),
        "200"
    );
    assert!(began.elapsed().as_millis() >= 2000, "{:?}", began.elapsed());
    assert_eq!(sequence(&reader.wait_for(200, "/late")).len(), 200);
    service.stop();
}

#[test]
fn a_database_gets_a_span_again() {
    let mut influx = Database::influx();
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .influx("house", &influx);
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 100);
    service.has_logged(100, "turns");
    service.stop();
    influx.stop();
    let mut influx = Database::influx();
    let log = nightbench_tests::log::Log::at(&scene.log());
    let url_before = scene
        .config()
        .lines()
        .find(|it| it.starts_with("url"))
        .unwrap()
        .to_owned();
    scene.change(&url_before, &format!("url = \"{}\"", influx.url()));
    assert_eq!(counted(&republish(&scene, "house", ["-1h", "now"])), "100");
    influx_holds_the_log(&influx, &log);
    influx.stop();
}

#[test]
fn what_cannot_be_sent_is_said_with_what_to_do() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .bare("bench", "n")
        .number("turns", ("bench", "n"))
        .mqtt("kitchen", free_port())
        .add("user = \"night\"\npassword_file = \"no-such-file\"\n")
        .add("[outlet.card]\nkind = \"line-protocol-file\"\npath = \"night.lp\"\n");
    let service = Service::start_with(&scene, &mut [&mut board]);
    send(&mut board, 10);
    service.has_logged(10, "turns");
    for (outlet, times, expected) in [
        (
            "kitchn",
            ["-1h", "now"],
            "no outlet `kitchn`; there is `kitchen`, `card`",
        ),
        ("kitchen", ["now", "-1h"], "`--from` is not before `--to`"),
        ("kitchen", ["-1h", "now"], "; 0 of 10 readings were sent"),
        (
            "card",
            ["-1h", "now"],
            "is a file, which two programs must not write at once",
        ),
    ] {
        let output = republish(&scene, outlet, times);
        assert_eq!(output.status.code(), Some(1), "{}", words(&output));
        assert!(words(&output).contains(expected), "{}", words(&output));
    }
    let nothing = republish(&scene, "kitchen", ["-48h", "-24h"]);
    assert_eq!(counted(&nothing), "0");
    assert!(words(&nothing).contains("no reading between these moments"));
    service.stop();
}
