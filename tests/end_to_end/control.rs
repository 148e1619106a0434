//! Promise: a command talks to the running service without delaying it, and what the service said yes to
//! is still there after a kill.

use nightbench_tests::binary::nightbench;
use nightbench_tests::board::Board;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, run, words};
use nightbench_tests::wait::{SOON, until};
use rusqlite::Connection;
use serde_json::{Value, json};
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::os::unix::fs::{FileTypeExt, MetadataExt, PermissionsExt};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The longest that is allowed: no reading is committed while a test looks.
const MINUTE_MS: u64 = 60_000;

/// One end of the conversation.
struct Talk(BufReader<UnixStream>);

impl Talk {
    fn with(scene: &Scene) -> Self {
        let stream = UnixStream::connect(socket(&scene.log())).unwrap();
        stream.set_read_timeout(Some(SOON)).unwrap();
        let mut talk = Self(BufReader::new(stream));
        assert_eq!(talk.hear()["nightbench"], "control 1");
        talk
    }

    fn ask(&mut self, request: &Value) -> Value {
        let line = format!("{request}\n");
        self.0.get_mut().write_all(line.as_bytes()).unwrap();
        self.hear()
    }

    fn hear(&mut self) -> Value {
        let mut line = String::new();
        self.0.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap_or_else(|why| panic!("{why}: {line}"))
    }
}

fn socket(log: &Path) -> PathBuf {
    log.with_extension("sqlite-control")
}

/// A board with two probes that give the board's numbers.
fn two_probes(scene: &mut Scene) -> Board {
    let board = scene.board("bench");
    for name in ["turns", "drops"] {
        scene.bare("bench", name).number(name, ("bench", name));
    }
    board
}

/// Sends lines until one is heard, where the journal is not committed yet and cannot tell.
fn greeted(scene: &Scene, board: &mut Board) {
    let mut talk = Talk::with(scene);
    until("the board is heard", SOON, || {
        board.send_line("turns=0 drops=0");
        let status = talk.ask(&json!({"ask": "status"}));
        status["status"]["boards"][0]["heard_ms"].is_i64()
    });
    board.wait_until_read();
}

/// A step that changes nothing, but is kept and makes the service build its flow anew.
fn step() -> Value {
    json!({"ask": "step", "probe": "turns",
           "step": {"step": "activated", "calibration": null, "why": "as configured"}})
}

#[test]
fn readings_are_seen_as_they_are_made_long_before_the_commit() {
    let mut scene = Scene::committing_every(MINUTE_MS);
    let mut board = two_probes(&mut scene);
    let service = Service::start(&scene);
    greeted(&scene, &mut board);
    let mut talk = Talk::with(&scene);
    let watching = talk.ask(&json!({"ask": "watch", "probe": "turns"}));
    assert_eq!(watching["watching"]["driver"], "divider");
    for number in 1..=50 {
        board.send_line(&format!("turns={number} drops=7"));
    }
    let mut heard: Vec<f64> = Vec::new();
    while heard.last() != Some(&50.0) {
        heard.push(talk.hear()["reading"]["raw"].as_f64().unwrap());
    }
    // Of the greeting some may have been on their way.
    heard.retain(|number| *number > 0.0);
    assert_eq!(heard, (1..=50).map(f64::from).collect::<Vec<_>>());
    assert_eq!(service.log().count("turns"), 0, "nothing is committed yet");

    let output = run(&["status", "--log", scene.log().to_str().unwrap()]);
    let said = words(&output);
    assert!(output.status.success(), "{said}");
    assert!(
        said.contains("probe `turns` (`turns` of `bench`): 50"),
        "{said}"
    );
    assert!(
        said.lines()
            .all(|it| it.chars().count() <= 80 || it.contains('/')),
        "{said}"
    );
    service.stop();
    assert!(!socket(&scene.log()).exists());
}

#[test]
fn a_step_is_there_after_a_kill_and_the_next_service_takes_the_sockets_place() {
    let mut scene = Scene::committing_every(MINUTE_MS);
    let _board = two_probes(&mut scene);
    let service = Service::start(&scene);
    let done = Talk::with(&scene).ask(&step());
    let number = done["done"]["number"].as_i64().unwrap();
    service.kill();
    let left = fs::symlink_metadata(socket(&scene.log())).unwrap();
    assert!(left.file_type().is_socket());
    assert_eq!(left.permissions().mode() & 0o777, 0o660);

    let alone = run(&["status", "--log", scene.log().to_str().unwrap()]);
    assert_eq!(alone.status.code(), Some(1));
    let said = words(&alone);
    assert!(
        said.contains("no service runs") && said.contains("no reading"),
        "{said}"
    );

    let service = Service::start(&scene);
    let conn = Connection::open(scene.log()).unwrap();
    let kept: (i64, String) = conn
        .query_row("SELECT seq, data FROM calibration_step", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .unwrap();
    assert_eq!(kept.0, number);
    assert!(kept.1.contains("as configured"));
    assert_eq!(service.log().entries("turns", "as configured").len(), 1);
    Talk::with(&scene).ask(&json!({"ask": "status"}));
    service.stop();
}

#[test]
fn a_second_service_on_the_log_leaves_the_first_ones_socket_alone() {
    let mut scene = Scene::new();
    let _board = two_probes(&mut scene);
    let service = Service::start(&scene);
    let before = fs::symlink_metadata(socket(&scene.log())).unwrap().ino();
    let second = run(&["serve", "--config", scene.file().to_str().unwrap()]);
    assert_eq!(second.status.code(), Some(1), "{}", words(&second));
    assert_eq!(
        fs::symlink_metadata(socket(&scene.log())).unwrap().ino(),
        before
    );
    let status = Talk::with(&scene).ask(&json!({"ask": "status"}));
    assert_eq!(status["status"]["probes"][0]["probe"], "turns");
    service.stop();
}

#[test]
fn steps_in_mid_flow_and_a_client_that_never_reads_cost_no_reading() {
    let mut scene = Scene::new();
    let mut board = two_probes(&mut scene);
    let service = Service::start_with(&scene, &mut [&mut board]);
    let mut stuck = Talk::with(&scene);
    stuck.ask(&json!({"ask": "watch", "probe": "drops"}));
    let mut talk = Talk::with(&scene);
    for number in 0..600 {
        board.send_line(&format!("turns={number} drops={number}"));
        if number % 100 == 50 {
            assert!(talk.ask(&step())["done"]["number"].is_i64());
        }
    }
    service.has_logged(600, "turns");
    service.stop();
    let log = nightbench_tests::log::Log::at(&scene.log());
    for probe in ["turns", "drops"] {
        let numbers: Vec<f64> = log.of(probe).iter().filter_map(|it| it.raw).collect();
        assert_eq!(
            numbers,
            (0..600).map(f64::from).collect::<Vec<_>>(),
            "{probe}"
        );
    }
}

#[test]
fn a_stranger_is_told_whose_the_service_is() {
    if !rustix::process::geteuid().is_root() {
        // Nobody else can be asked for: what the words are is tested beside them.
        return;
    }
    let mut scene = Scene::new();
    let _board = two_probes(&mut scene);
    let service = Service::start(&scene);
    let program = scene.folder().join("nightbench");
    fs::copy(nightbench(), &program).unwrap();
    for (path, mode) in [(program.as_path(), 0o755), (scene.folder(), 0o755)] {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    }
    let output = Command::new("setpriv")
        .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
        .arg(&program)
        .args(["status", "--log"])
        .arg(scene.log())
        .output()
        .unwrap();
    let said = words(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(
        said.contains("group `root`") && said.contains("sudo -u root"),
        "{said}"
    );
    service.stop();
}
