//! Promise: readings come out of the log in three formats, also while the service runs, and across a
//! change of the clocks without doubt about which hour is meant.

use nightbench_tests::binary::nightbench;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, run, words};
use rusqlite::Connection;
use serde_json::Value;
use std::process::Command;

const COLUMNS: &str = "time,local_time,probe,value,unit,uncertainty,quality,raw,electrical,\
                       electrical_unit,spread,samples,seq,calibration";

fn readings(scene: &Scene, arguments: &[&str]) -> String {
    let config = scene.file();
    let mut all = vec!["readings", "turns", "--config", config.to_str().unwrap()];
    all.extend(arguments);
    let output = run(&all);
    assert!(output.status.success(), "{}", words(&output));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn readings_come_in_three_formats_while_the_service_runs() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start_with(&scene, &mut [&mut board]);
    for line in ["n=1.5", "n=2", "n=oops"] {
        board.send_line(line);
    }
    service.has_logged(3, "turns");

    let csv = readings(&scene, &["--format", "csv"]);
    let rows: Vec<&str> = csv.lines().collect();
    assert_eq!(rows[0], COLUMNS);
    assert_eq!(rows.len(), 4, "{csv}");
    let cells: Vec<&str> = rows[1].split(',').collect();
    assert_eq!(
        (cells[2], cells[3], cells[6]),
        ("turns", "1.5", "good"),
        "{csv}"
    );
    assert!(cells[0].ends_with('Z'), "{csv}");
    let fault: Vec<&str> = rows[3].split(',').collect();
    assert_eq!((fault[3], fault[6]), ("", "unreadable"), "{csv}");

    let json = readings(&scene, &["--format", "json"]);
    let values: Vec<f64> = json_objects(&json)
        .iter()
        .filter_map(|it| it["value"].as_f64())
        .collect();
    assert_eq!(values, [1.5, 2.0], "{json}");

    let lines = readings(&scene, &["--format", "line-protocol"]);
    assert_eq!(lines.lines().count(), 3, "{lines}");
    assert!(
        lines.starts_with("reading,probe=turns,quantity=count,site=cellar,unit=1 value=1.5,"),
        "{lines}"
    );
    service.stop();
}

/// One array, or one object a line.
fn json_objects(text: &str) -> Vec<Value> {
    if let Ok(Value::Array(objects)) = serde_json::from_str(text) {
        return objects;
    }
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

/// Europe/Berlin, 25 October 2026: at 01:00Z the clocks went from 03:00 back to 02:00 (EU Directive
/// 2000/84/EC: last Sunday of October, 01:00 UTC). The two hours are told apart by their offsets.
#[test]
fn the_doubled_hour_of_a_clock_change_is_told_apart() {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene.bare("bench", "n").number("turns", ("bench", "n"));
    let service = Service::start_with(&scene, &mut [&mut board]);
    for number in 0..4 {
        board.send_line(&format!("n={number}"));
    }
    service.has_logged(4, "turns");
    service.stop();
    // 00:30Z and 01:30Z are both 02:30 in Berlin.
    copy_to(
        &scene,
        [
            "2026-10-24T23:30:00Z",
            "2026-10-25T00:30:00Z",
            "2026-10-25T01:30:00Z",
            "2026-10-25T02:30:00Z",
        ],
    );

    let day = [
        "--from",
        "2026-10-25T00:00:00+02:00",
        "--to",
        "2026-10-26T00:00:00+01:00",
    ];
    let all = in_berlin(&scene, &day);
    let local: Vec<&str> = all
        .lines()
        .skip(1)
        .map(|row| row.split(',').nth(1).unwrap())
        .collect();
    for (time, (clock, offset)) in local.iter().zip([
        ("01:30", "02:00"),
        ("02:30", "02:00"),
        ("02:30", "01:00"),
        ("03:30", "01:00"),
    ]) {
        assert!(time.contains(clock) && time.contains(offset), "{all}");
    }
    let first = in_berlin(
        &scene,
        &[
            "--from",
            "2026-10-25T02:00:00+02:00",
            "--to",
            "2026-10-25T02:59:00+02:00",
        ],
    );
    assert_eq!(values(&first), ["1"], "{first}");
    let second = in_berlin(
        &scene,
        &[
            "--from",
            "2026-10-25T02:00:00+01:00",
            "--to",
            "2026-10-25T02:59:00+01:00",
        ],
    );
    assert_eq!(values(&second), ["2"], "{second}");
}

fn in_berlin(scene: &Scene, arguments: &[&str]) -> String {
    let output = Command::new(nightbench())
        .args(["readings", "turns", "--format", "csv", "--log"])
        .arg(scene.log())
        .args(arguments)
        .env("TZ", "Europe/Berlin")
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", words(&output));
    String::from_utf8(output.stdout).unwrap()
}

fn values(csv: &str) -> Vec<&str> {
    csv.lines()
        .skip(1)
        .map(|row| row.split(',').nth(3).unwrap())
        .collect()
}

/// Adds a copy of each reading at another time, as if it had been taken then: SQLite's own date functions,
/// no clock of ours.
fn copy_to(scene: &Scene, times: [&str; 4]) {
    const COPY: &str = "INSERT INTO reading (seq, series, time_ms, boot, boot_ns, raw, electrical, \
         value, uncertainty, spread, samples, quality) \
         SELECT seq + 1000, series, 1000 * CAST(strftime('%s', ?1) AS INTEGER), boot, boot_ns, \
         raw, electrical, value, uncertainty, spread, samples, quality FROM reading WHERE raw = ?2";
    let log = Connection::open(scene.log()).unwrap();
    // The log itself refuses to be rewritten.
    log.execute_batch("DROP TRIGGER reading_is_never_rewritten")
        .unwrap();
    for (number, time) in times.into_iter().enumerate() {
        let rows = log.execute(COPY, (time, number as f64)).unwrap();
        assert_eq!(rows, 1);
    }
}
