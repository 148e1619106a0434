//! Promise: the past can be read by another calibration, which is kept step by step in the log and named
//! wherever its values stand.
//!
//! The steps are written as the log's documentation says (`DEVELOPERS.md`, table `calibration_step`), and
//! the numbers are checked against Steinhart-Hart written out here.

use nightbench_tests::board::Board;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, run, words};
use rusqlite::Connection;
use serde_json::{Value, json};

/// Of the configuration: `steinhart_hart_3pt` of `ntc_10k_b3950_rt.csv` in `ntc_expected.toml`.
const CONFIGURED: [f64; 3] = [
    1.282_926_065_694e-3,
    2.078_532_276_332e-4,
    2.005_478_946_611e-7,
];
/// Of the invented calibration: those of `ntc_10k_vishay_3977_rt.csv` in the same file.
const FITTED: [f64; 3] = [
    1.135_106_596_385e-3,
    2.329_328_395_883e-4,
    9.409_643_134_565e-8,
];
/// Standard uncertainty of its offset, Cel.
const OFFSET_UNCERTAINTY: f64 = 0.05;
/// Its points lie between these, ohm.
const RANGE: [f64; 2] = [5_000.0, 31_770.0];

/// Counts that the board sends: 14 kOhm, 10 kOhm and 2.5 kOhm with 10 kOhm above the probe.
const COUNTS: [f64; 3] = [597.0, 511.5, 204.6];

fn celsius([a, b, c]: [f64; 3], ohm: f64) -> f64 {
    let x = ohm.ln();
    1.0 / (a + b * x + c * x.powi(3)) - 273.15
}

/// Cel per ohm.
fn slope([a, b, c]: [f64; 3], ohm: f64) -> f64 {
    let kelvin = celsius([a, b, c], ohm) + 273.15;
    -kelvin.powi(2) * (b + 3.0 * c * ohm.ln().powi(2)) / ohm
}

fn calibration(coefficients: [f64; 3]) -> Value {
    let [a, b, c] = coefficients;
    json!({
        "driver": "thermistor", "unit": "Cel", "input": "ohm",
        "parameters": [["form", [1.0]], ["a", [a]], ["b", [b]], ["c", [c]]],
        "offset": 0.0, "slope": 0.0, "pivot": 0.0,
        "terms": ["offset"], "decision": "three points: Steinhart-Hart",
        "covariance": [[OFFSET_UNCERTAINTY.powi(2)]],
        "sources": [{
            "name": "ice point", "remedy": "finer ice", "shape": "normal",
            "loading": [OFFSET_UNCERTAINTY]
        }],
        "points": [], "nodes": [], "residuals": [],
        "chi_square": 0.0, "degrees_of_freedom": 0, "range": RANGE,
        "channel": {
            "board": "bench", "channel": "a0", "resistor": 10_000.0, "scale_uncertainty": 0.0058
        },
        "remarks": [], "made_ms": 1_795_571_447_123_i64, "due_ms": 1_795_571_447_124_i64
    })
}

/// Appends steps to the log, as the program keeps them.
fn append(scene: &Scene, steps: &[Value]) {
    let log = Connection::open(scene.log()).unwrap();
    let insert = "INSERT INTO calibration_step (probe, time_ms, data) VALUES ('mash', ?1, ?2)";
    for (at, step) in (1_795_571_447_123_i64..).zip(steps) {
        log.execute(insert, (at, step.to_string())).unwrap();
    }
}

/// A thermistor's night of three readings and a broken lead; the service has ended.
fn night() -> (Scene, Board) {
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .divider("bench", "a0", 1023)
        .thermistor("mash", ("bench", "a0"), "");
    let service = Service::start_with(&scene, &mut [&mut board]);
    for count in COUNTS.iter().chain(&[1023.0]) {
        board.send_line(&format!("a0={count}"));
    }
    service.has_logged(4, "mash");
    service.stop();
    (scene, board)
}

fn readings(scene: &Scene, arguments: &[&str]) -> Vec<Value> {
    let text = stdout(
        scene,
        "readings",
        &[arguments, &["--format", "json"]].concat(),
    );
    let lines = text.lines();
    lines
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn stdout(scene: &Scene, verb: &str, arguments: &[&str]) -> String {
    let config = scene.file();
    let mut all = vec![verb, "mash", "--config", config.to_str().unwrap()];
    all.extend(arguments);
    let output = run(&all);
    assert!(output.status.success(), "{}", words(&output));
    String::from_utf8(output.stdout).unwrap()
}

fn close(got: &Value, expected: f64) {
    let got = got.as_f64().unwrap();
    assert!(
        (got - expected).abs() < 1e-7 * expected.abs().max(1.0),
        "{got} is not {expected}"
    );
}

#[test]
fn past_readings_are_given_by_a_calibration_from_what_the_log_holds() {
    let (scene, _) = night();
    append(
        &scene,
        &[json!({"step": "made", "calibration": calibration(FITTED)})],
    );
    let logged = readings(&scene, &[]);
    let again = readings(&scene, &["--calibration", "1"]);
    assert_eq!((logged.len(), again.len()), (4, 4));
    for (old, new) in logged.iter().zip(&again).take(COUNTS.len()) {
        let ohm = old["electrical"].as_f64().unwrap();
        close(&old["value"], celsius(CONFIGURED, ohm));
        close(&new["value"], celsius(FITTED, ohm));
        // Of a probe that was never calibrated, its kind may be 5 % off and the resistor 1 %.
        let half = (0.05_f64.powi(2) + 0.01_f64.powi(2)) * ohm.powi(2) / 3.0;
        let total = old["uncertainty"].as_f64().unwrap() / slope(CONFIGURED, ohm);
        let own = (total.powi(2) - half).sqrt();
        close(
            &new["uncertainty"],
            (own * slope(FITTED, ohm)).hypot(OFFSET_UNCERTAINTY),
        );
        assert_eq!(
            (&old["calibration"], &new["calibration"]),
            (&json!(0), &json!(1))
        );
        assert_eq!(new["recomputed"], json!(true));
        assert_eq!((&new["seq"], &new["raw"]), (&old["seq"], &old["raw"]));
    }
    let qualities: Vec<_> = again.iter().map(|new| &new["quality"]).collect();
    // 2.5 kOhm lies outside the points; an open circuit stays one.
    assert_eq!(qualities, ["good", "good", "extrapolated", "open_circuit"]);
    assert_eq!(again[3]["value"], Value::Null);
    // The log is as it was.
    assert_eq!(readings(&scene, &[]), logged);
}

#[test]
fn readings_are_named_by_the_calibration_in_use_when_they_were_made() {
    let (scene, mut board) = night();
    append(
        &scene,
        &[
            json!({"step": "made", "calibration": calibration(CONFIGURED)}),
            json!({"step": "activated", "calibration": 1, "why": ""}),
        ],
    );
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line("a0=511.5");
    service.has_logged(5, "mash");
    service.stop();
    let last = readings(&scene, &[]).pop().unwrap();
    assert_eq!(last["calibration"], json!(1));
    let log = Connection::open(scene.log()).unwrap();
    let named = "SELECT probe || ' ' || calibration FROM series ORDER BY id";
    let mut statement = log.prepare(named).unwrap();
    let named: Vec<String> = statement
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    assert_eq!(named, ["mash 0", "mash 1"]);
}

#[test]
fn the_chain_is_told_and_exported_as_it_was_kept() {
    let (scene, _) = night();
    let steps = [
        json!({"step": "made", "calibration": calibration(CONFIGURED)}),
        json!({"step": "made", "calibration": calibration(FITTED)}),
        json!({"step": "activated", "calibration": 2, "why": "a better reference"}),
    ];
    append(&scene, &steps);
    let told = stdout(&scene, "calibrations", &[]);
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "2 calibrations; in use: calibration 2 since",
        "(a better reference)",
        "three points: Steinhart-Hart",
        "against calibration 1:",
        "calibrate it again",
    ] {
        assert!(told.contains(part), "no `{part}` in:\n{told}");
    }
    let exported = stdout(&scene, "calibrations", &["--format", "json"]);
    let exported: Vec<Value> = exported
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(exported.len(), 3);
    assert_eq!(exported[1]["number"], json!(2));
    assert_eq!(exported[1]["probe"], json!("mash"));
    assert_eq!(exported[1]["calibration"], steps[1]["calibration"]);
    let compared = stdout(&scene, "calibrations", &["--compare", "configured", "2"]);
    assert!(
        compared.starts_with("mash: calibration 2 less the configured parameters, in Cel"),
        "{compared}"
    );
}

#[test]
fn a_calibration_that_is_not_there_is_refused_with_those_that_are() {
    let (scene, _) = night();
    append(
        &scene,
        &[json!({"step": "made", "calibration": calibration(FITTED)})],
    );
    let config = scene.file();
    let config = config.to_str().unwrap();
    let output = run(&["readings", "mash", "--config", config, "--calibration", "2"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        words(&output).contains("no calibration 2 of probe `mash`"),
        "{}",
        words(&output)
    );
    assert!(output.stdout.is_empty());
}
