//! Promise: a calibration has a certificate, as text, as JSON and as a page that asks nobody outside.

use crate::calibrate::bench::{FULL_SCALE, calibrate_by, four_points, number, ohms};
use nightbench_tests::board::Board;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{run, words};
use serde_json::{Value, json};
use std::fs;

fn calibrated() -> (Scene, Board) {
    let mut scene = Scene::new();
    let board = scene.board("bench");
    scene
        .divider("bench", "a0", FULL_SCALE)
        .thermistor("mash", ("bench", "a0"), "");
    calibrate_by(&scene, &four_points());
    (scene, board)
}

fn certificate(scene: &Scene, arguments: &[&str]) -> String {
    let config = scene.file();
    let all = [
        &["certificate", "mash", "--config", config.to_str().unwrap()],
        arguments,
    ];
    let output = run(&all.concat());
    assert!(output.status.success(), "{}", words(&output));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn the_text_has_points_fit_uncertainty_and_says_what_it_is_not() {
    let (scene, _board) = calibrated();
    let text = certificate(&scene, &[]);
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );
    for part in [
        "Calibration 1 of probe mash at cellar",
        "no accredited certificate",
        "instrument kitchen",
        "steinhart-hart",
        "Uncertainty budget",
        "k = 2",
        "Decision rule:",
    ] {
        assert!(text.contains(part), "no `{part}` in:\n{text}");
    }
}

#[test]
fn the_json_has_every_digit_of_a_curve_that_goes_through_the_points() {
    let (scene, _board) = calibrated();
    let file = scene.folder().join("mash.json");
    let out = file.to_str().unwrap();
    let nothing = certificate(
        &scene,
        &["--calibration", "1", "--format", "json", "--out", out],
    );
    assert_eq!(nothing, "");
    let whole: Value = serde_json::from_str(&fs::read_to_string(&file).unwrap()).unwrap();
    assert_eq!(whole["accredited"], json!(false));
    assert_eq!(whole["number"], json!(1));
    assert_eq!(whole["points"].as_array().unwrap().len(), 4);
    assert_eq!(whole["verifications"][0]["pass"], json!(true));
    let rows = whole["range"].as_array().unwrap();
    assert!((10..=30).contains(&rows.len()), "{} rows", rows.len());
    for row in rows {
        let (value, expanded) = (number(row, "value"), number(row, "expanded_k2"));
        // The curve that the points were taken from, by Steinhart-Hart written out in the test.
        assert!(
            (number(row, "electrical") / ohms(value) - 1.0).abs() < 1e-4,
            "{row}"
        );
        let interval = &row["interval_95"];
        let half = (interval[1].as_f64().unwrap() - interval[0].as_f64().unwrap()) / 2.0;
        assert!(half > 0.0 && half <= expanded * 1.001, "{row}");
    }
    let outside: Vec<bool> = rows
        .iter()
        .map(|row| row["extrapolated"].as_bool().unwrap())
        .collect();
    assert!(outside.iter().any(|one| !one), "{outside:?}");
}

#[test]
fn the_page_is_whole_and_asks_nobody_outside() {
    let (scene, _board) = calibrated();
    let page = certificate(&scene, &["--format", "html"]);
    assert!(page.starts_with("<!doctype html>") && page.trim_end().ends_with("</html>"));
    for outside in ["<script", "<link", "src=", "@import", "url("] {
        assert!(!page.contains(outside), "{outside}");
    }
    for tag in ["table", "svg", "p", "body"] {
        let (opened, closed) = (format!("<{tag}"), format!("</{tag}>"));
        let opened = page.matches(&format!("{opened}>")).count()
            + page.matches(&format!("{opened} ")).count();
        assert_eq!(opened, page.matches(&closed).count(), "{tag}");
        assert!(opened > 0, "{tag}");
    }
}

#[test]
fn a_probe_that_was_never_calibrated_has_none() {
    let mut scene = Scene::new();
    let _board = scene.board("bench");
    scene
        .divider("bench", "a0", FULL_SCALE)
        .thermistor("mash", ("bench", "a0"), "");
    scene.write();
    let config = scene.file();
    let output = run(&["certificate", "mash", "--config", config.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        words(&output).contains("was never calibrated"),
        "{}",
        words(&output)
    );
}
