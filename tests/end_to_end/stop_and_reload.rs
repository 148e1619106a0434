//! Promise: a stop keeps everything that was read, a reload replaces the whole configuration or nothing
//! of it, and ready means ready.

use nightbench_tests::binary::nightbench;
use nightbench_tests::board::Board;
use nightbench_tests::broker::Broker;
use nightbench_tests::log::Log;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled};
use nightbench_tests::wait::{SOON, eventually, until};
use std::os::unix::net::UnixDatagram;
use std::process::Command;
use std::time::Duration;

const LIMIT: &str = "limit = \"60 Cel\"";

/// A board with one thermistor whose alarm is set to 60 degrees Celsius. 10 bits: 512 is 25 degC, 200 about 60.
fn kettle(scene: &mut Scene) -> Board {
    let board = scene.board("bench");
    scene
        .divider("bench", "a0", 1023)
        .thermistor("kettle", ("bench", "a0"), "")
        .add(&format!(
            "[probe.kettle.alarm.high]\n{LIMIT}\ndeadband = \"1 Cel\"\n\
             on_delay = \"0s\"\noff_delay = \"0s\"\naction = \"take it off\"\n"
        ));
    board
}

#[test]
fn everything_that_the_board_had_sent_is_in_the_log_after_a_stop() {
    // So long that only the stop itself can have committed.
    let mut scene = Scene::committing_every(10_000);
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start(&scene);
    board.send_bytes(b"\n# board bench\n");
    let mut heard = 0;
    until("the board is open", SOON, || {
        heard += 1;
        board.send_line(&format!("n={heard}"));
        service.said().contains("opened") || Log::at(&scene.log()).count("turns") > 0
    });
    for number in 1000..1500 {
        board.send_line(&format!("n={number}"));
    }
    board.wait_until_read();
    service.stop();
    let logged = Log::at(&scene.log()).of("turns");
    let numbers: Vec<f64> = logged
        .iter()
        .filter_map(|it| it.raw)
        .filter(|n| *n >= 1000.0)
        .collect();
    assert_eq!(numbers, (1000..1500).map(f64::from).collect::<Vec<_>>());
}

#[test]
fn a_reload_of_a_broken_file_is_refused_and_the_old_one_goes_on() {
    let mut scene = Scene::new();
    let mut board = kettle(&mut scene);
    let service = Service::start_with(&scene, &mut [&mut board]);
    scene.change(LIMIT, "limt = \"60 Cel\"");
    service.reload();
    service.says("limt");
    let entry = journalled(service.log(), "", "limt");
    assert!(entry.contains("limit"), "names the similar key: {entry}");
    board.send_line("a0=512");
    service.has_logged(1, "kettle");
    assert_eq!(service.log().entries("bench", "opened").len(), 1);
    service.stop();
}

#[test]
fn a_reload_of_a_limit_holds_at_once_and_leaves_the_board_open() {
    let broker = Broker::start();
    let mut scene = Scene::new();
    let mut board = kettle(&mut scene);
    scene.mqtt("kitchen", broker.port());
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("a0=512");
    service.has_logged(1, "kettle");
    scene.change(LIMIT, "limit = \"20 Cel\"");
    service.reload();
    until("the new limit holds", SOON, || {
        board.send_line("a0=512");
        let retained = broker.retained("cellar/kettle/alarm/high");
        retained
            .first()
            .is_some_and(|it| it.json()["state"] == "active" && it.json()["limit"] == 20.0)
    });
    assert_eq!(service.log().entries("bench", "opened").len(), 1);
    assert_eq!(service.log().entries("bench", "lost"), []);
    let sent = board.sent().len();
    service.has_logged(sent, "kettle");
    service.stop();
}

#[test]
fn the_service_manager_hears_ready_the_watchdog_and_stopping() {
    let mut scene = Scene::new();
    let _board = kettle(&mut scene);
    let socket = scene.folder().join("notify");
    let manager = UnixDatagram::bind(&socket).unwrap();
    manager.set_read_timeout(Some(SOON)).unwrap();
    // The manager names the process that it watches: known only to the process itself.
    let mut command = Command::new("sh");
    command
        .args(["-c", "WATCHDOG_PID=$$ exec \"$0\" \"$@\""])
        .arg(nightbench())
        .env("NOTIFY_SOCKET", &socket)
        .env("WATCHDOG_USEC", "400000");
    let service = Service::start_by(&scene, &mut command);
    wait_for(&manager, "READY=1");
    for _ in 0..3 {
        wait_for(&manager, "WATCHDOG=1");
    }
    service.stop();
    wait_for(&manager, "STOPPING=1");
}

#[test]
fn the_watchdog_is_fed_within_its_time_while_a_board_is_silent() {
    let mut scene = Scene::new();
    let _board = kettle(&mut scene);
    let socket = scene.folder().join("notify");
    let manager = UnixDatagram::bind(&socket).unwrap();
    let mut command = Command::new(nightbench());
    command
        .env("NOTIFY_SOCKET", &socket)
        .env("WATCHDOG_USEC", "2000000");
    let service = Service::start_by(&scene, &mut command);
    manager.set_read_timeout(Some(SOON)).unwrap();
    wait_for(&manager, "WATCHDOG=1");
    manager
        .set_read_timeout(Some(Duration::from_secs(2)))
        .unwrap();
    for _ in 0..3 {
        wait_for(&manager, "WATCHDOG=1");
    }
    service.stop();
}

#[track_caller]
fn wait_for(manager: &UnixDatagram, state: &str) {
    let mut bytes = [0; 4096];
    eventually(&format!("the service manager hears {state}"), SOON, || {
        let length = manager
            .recv(&mut bytes)
            .unwrap_or_else(|why| panic!("{state}: {why}"));
        let message = String::from_utf8_lossy(&bytes[..length]).into_owned();
        message.lines().any(|line| line == state).then_some(())
    });
}
