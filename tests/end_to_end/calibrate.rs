//! Promise: a probe is calibrated from a file of points, beside the running service or without one, and
//! its readings are right from then on, and say how right; what is done can be undone.

pub(crate) mod bench;
mod published;

use bench::{
    FULL_SCALE, calibrate, calibrate_by, celsius, command, count, four_points, instrument, moment,
    number, ohms, ohms_of, points, readings, refused, relative_slope, steps, truth,
};
use nightbench_tests::board::Board;
use nightbench_tests::log::Logged;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, words};
use serde_json::{Value, json};

/// The configured curve: `steinhart_hart_3pt` of `ntc_10k_b3950_rt.csv` in `ntc_expected.toml`.
const CONFIGURED: [f64; 3] = [
    1.282_926_065_694e-3,
    2.078_532_276_332e-4,
    2.005_478_946_611e-7,
];
/// Of water at 101.325 kPa. Source: IAPWS-95 on ITS-90 (from memory).
const BOILING: f64 = 99.974;

/// A thermistor on `a0` beside a counter on `turns`, which loses nothing.
fn bench() -> (Scene, Board) {
    let mut scene = Scene::new();
    let board = scene.board("bench");
    scene
        .divider("bench", "a0", FULL_SCALE)
        .divider("bench", "a1", FULL_SCALE)
        .bare("bench", "turns")
        .thermistor("mash", ("bench", "a0"), "verify_within = \"0.5 Cel\"\n")
        .number("counter", ("bench", "turns"));
    (scene, board)
}

/// Forty lines at a temperature, with a converter that flickers; gives the first and the last reading.
fn bath(service: &Service, board: &mut Board, degrees: f64) -> (Logged, Logged) {
    let before = service.log().count("mash");
    let code = count(ohms(degrees));
    for flicker in [-1.0, 1.0, 0.0, 2.0, -2.0, 0.0, 1.0, -1.0].repeat(5) {
        board.send_line(&format!("a0={} turns=0", code + flicker));
    }
    service.has_logged(before + 40, "mash");
    let logged = service.log().of("mash").split_off(before);
    (logged[0].clone(), logged[39].clone())
}

/// A point of the span from one reading to another.
fn span(service: &Service, keys: &str, (first, last): &(Logged, Logged)) -> String {
    let [from, to] = [first, last].map(|reading| moment(service.log(), reading.time_ms));
    format!("[[point]]\n{keys}\nfrom = \"{from}\"\nto = \"{to}\"\n")
}

/// A text without its lines' ends.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

const ICE: &str = "reference = \"ice\"";
const BOIL: &str =
    "reference = \"boiling\"\npressure = \"101.325 kPa\"\npressure_tolerance = \"50 Pa\"";
const WARM: &str =
    "reference = \"instrument\"\nname = \"kitchen\"\nvalue = \"40 Cel\"\ntolerance = \"0.1 Cel\"";

#[test]
fn beside_the_running_service_the_next_readings_are_right_and_no_other_reading_is_lost() {
    let (scene, mut board) = bench();
    let service = Service::start_with(&scene, &mut [&mut board]);
    let text = [
        span(&service, ICE, &bath(&service, &mut board, 0.0)),
        span(&service, BOIL, &bath(&service, &mut board, BOILING)),
        span(&service, WARM, &bath(&service, &mut board, 40.0)),
    ];
    let file = points(&scene, &text.concat());
    let mut calibrating = command(&scene, &["--points", file.to_str().unwrap(), "--activate"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let mut turns = 0;
    while calibrating.try_wait().unwrap().is_none() {
        turns += 1;
        board.send_line(&format!("a0={} turns={turns}", count(ohms(60.0))));
    }
    let output = calibrating.wait_with_output().unwrap();
    let said = words(&output);
    assert!(output.status.success(), "{said}");
    assert!(
        one_line(&said).contains("from the next reading of the running service on"),
        "{said}"
    );
    assert!(
        said.lines()
            .all(|line| line.chars().count() <= 80 || line.starts_with("20")),
        "{said}"
    );
    for degrees in [60.0, 5.0, -15.0] {
        turns += 1;
        board.send_line(&format!("a0={} turns={turns}", count(ohms(degrees))));
    }
    service.has_logged(120 + turns, "counter");
    service.stop();

    let counter = nightbench_tests::log::Log::at(&scene.log()).of("counter");
    let counted: Vec<f64> = counter[120..].iter().filter_map(|one| one.raw).collect();
    let sent: Vec<f64> = (1..=u32::try_from(turns).unwrap()).map(f64::from).collect();
    assert_eq!(counted, sent);
    let readings = readings(&scene);
    let [.., warm, cold, frost] = &readings[..] else {
        panic!("three readings at the end");
    };
    let before = readings[100].clone();
    assert_eq!(
        (&before["calibration"], &warm["calibration"]),
        (&json!(0), &json!(1))
    );
    for (reading, degrees) in [(warm, 60.0), (cold, 5.0)] {
        assert!(
            (number(reading, "value") - degrees).abs() < 0.05,
            "{reading}"
        );
        assert_eq!(reading["quality"], "good");
        let error = (number(reading, "value") - degrees).abs();
        assert!(error < 2.0 * number(reading, "uncertainty"), "{reading}");
    }
    let is_old = |one: &&Value| one["calibration"] == json!(0) && one["raw"] == warm["raw"];
    let old = readings.iter().find(is_old);
    let old = old.expect("the board went on while the command was at work");
    assert!(
        number(warm, "uncertainty") < 0.5 * number(old, "uncertainty"),
        "{old} {warm}"
    );
    assert!(number(cold, "uncertainty") < number(&before, "uncertainty"));
    assert_eq!(frost["quality"], "extrapolated");
    assert!(
        (number(frost, "value") + 15.0).abs() < 2.0 * number(frost, "uncertainty"),
        "{frost}"
    );
}

#[test]
fn without_a_service_the_next_start_uses_it_and_the_configured_parameters_come_back() {
    let (scene, mut board) = bench();
    let said = calibrate_by(&scene, &four_points());
    assert!(said.contains("point 4: pass"), "{said}");
    assert!(
        one_line(&said).contains("from the next start of the service on"),
        "{said}"
    );
    let service = Service::start_with(&scene, &mut [&mut board]);
    board.send_line(&format!("a0={} turns=0", count(ohms(30.0))));
    service.has_logged(1, "mash");
    calibrate(&scene, &["--use", "configured", "--why", "another sleeve"]);
    board.send_line(&format!("a0={} turns=0", count(ohms(30.0))));
    service.has_logged(2, "mash");
    assert_eq!(service.log().entries("mash", "another sleeve").len(), 1);
    service.stop();

    let [by_one, configured] = &readings(&scene)[..] else {
        panic!("two readings");
    };
    let ohm = ohms_of(count(ohms(30.0)));
    assert_eq!(
        (&by_one["calibration"], &configured["calibration"]),
        (&json!(1), &json!(0))
    );
    assert!(
        (number(by_one, "value") - truth(ohm)).abs() < 1e-3,
        "{by_one}"
    );
    assert!((number(configured, "value") - celsius(CONFIGURED, ohm)).abs() < 1e-6);
    let again = calibrate(&scene, &["--use", "1"]);
    assert!(
        again.contains("calibration 1 of probe `mash` is in use"),
        "{again}"
    );
}

#[test]
fn a_probe_that_was_moved_counts_the_resistors_of_both_channels() {
    let (mut scene, mut board) = bench();
    calibrate_by(&scene, &four_points());
    let line = format!("a0={0} a1={0} turns=0", count(ohms(30.0)));
    for moved in [false, true] {
        if moved {
            scene.change(
                "[probe.mash]\nboard = \"bench\"\nchannel = \"a0\"",
                "[probe.mash]\nboard = \"bench\"\nchannel = \"a1\"",
            );
        }
        let service = Service::start_with(&scene, &mut [&mut board]);
        board.send_line(&line);
        service.has_logged(1 + usize::from(moved), "mash");
        service.stop();
    }
    let [here, moved] = &readings(&scene)[..] else {
        panic!("two readings");
    };
    assert_eq!(number(here, "value"), number(moved, "value"));
    assert_eq!(moved["calibration"], json!(1));
    // Two resistors of 1 %, rectangular (JCGM 100:2008, 4.3.7).
    let resistors = (2.0_f64 / 3.0).sqrt() * 0.01 * relative_slope(ohms(30.0));
    let grown = number(moved, "uncertainty").powi(2) - number(here, "uncertainty").powi(2);
    assert!(
        (grown.sqrt() - resistors.abs()).abs() < 1e-3,
        "{} {resistors}",
        grown.sqrt()
    );
}

#[test]
fn a_command_that_is_run_again_keeps_nothing_twice() {
    let (scene, _board) = bench();
    calibrate_by(&scene, &four_points());
    // Four points, a calibration, a verification, an activation.
    assert_eq!(steps(&scene), 7);
    let file = points(&scene, &four_points());
    let again = calibrate(&scene, &["--points", file.to_str().unwrap()]);
    assert!(again.contains("is in use already"), "{again}");
    assert_eq!(steps(&scene), 7);

    let withdrawn = calibrate(&scene, &["--withdraw", "2", "--why", "read wrongly"]);
    let withdrawn = one_line(&withdrawn);
    assert!(
        withdrawn.contains("calibration 1 was fitted to it"),
        "{withdrawn}"
    );
    let fewer = calibrate(&scene, &["--points", file.to_str().unwrap()]);
    assert!(fewer.starts_with("Calibration 2"), "{fewer}");
}

#[test]
fn points_that_are_kept_out_verify_the_calibration_in_use_later() {
    let (scene, _board) = bench();
    let check = instrument(30.0, "role = \"check\"");
    let file = points(&scene, &check);
    let too_early = calibrate(&scene, &["--points", file.to_str().unwrap()]);
    assert!(
        one_line(&too_early).contains("they verify no calibration"),
        "{too_early}"
    );
    calibrate_by(&scene, &four_points());
    let file = points(&scene, &check);
    let later = one_line(&calibrate(&scene, &["--points", file.to_str().unwrap()]));
    assert!(later.contains("point 1: pass: error"), "{later}");
    // The point, four points, a calibration, a verification, an activation, a verification.
    assert_eq!(steps(&scene), 9);
}

#[test]
fn a_faulty_file_keeps_nothing_and_tells_every_fault_with_its_place() {
    let (scene, mut board) = bench();
    let service = Service::start_with(&scene, &mut [&mut board]);
    // Two kelvin in forty readings.
    for tenth in 0..40 {
        board.send_line(&format!(
            "a0={} turns=0",
            count(ohms(20.0 + f64::from(tenth) / 20.0))
        ));
    }
    service.has_logged(40, "mash");
    let drifting = service.log().of("mash");
    let drifting = span(&service, ICE, &(drifting[0].clone(), drifting[39].clone()));
    let text = format!(
        "{}{drifting}[[point]]\nreference = \"iced\"\n[[point]]\nreference = \"ice\"\n\
         from = \"2020-01-01T00:00:00Z\"\nto = \"2020-01-01T00:01:00Z\"\n",
        instrument(25.0, "")
    );
    let file = points(&scene, &text);
    let output = command(&scene, &["--points", file.to_str().unwrap()])
        .output()
        .unwrap();
    let said = refused(&output);
    for part in [
        "points.toml:11:8: ",
        "it drifted over",
        "points.toml:14:13: point 3: unknown `reference`: `iced`",
        "points.toml:17:8: ",
        "no reading of probe `mash` from 2020-01-01",
    ] {
        assert!(said.contains(part), "no `{part}` in:\n{said}");
    }
    assert_eq!(steps(&scene), 0);
    service.stop();
}

#[test]
fn a_point_that_cannot_be_true_is_questioned_and_keeps_the_calibration_out_of_use() {
    let (scene, _board) = bench();
    // Still water under floating ice.
    let warm = format!(
        "[[point]]\n{ICE}\nelectrical = \"{} Ohm\"\nelectrical_uncertainty = \"10 Ohm\"\n",
        ohms(4.0)
    );
    let file = points(&scene, &warm);
    let output = command(&scene, &["--points", file.to_str().unwrap(), "--activate"]).output();
    let output = output.unwrap();
    let said = one_line(&words(&output));
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("still water under floating ice"), "{said}");
    assert!(
        said.contains("kept and not in use, because a point is questioned"),
        "{said}"
    );
    let status = calibrate(&scene, &["--status"]);
    assert!(
        status.contains("in use: the configured parameters"),
        "{status}"
    );
}

#[test]
fn a_service_that_has_another_file_is_not_written_through() {
    let (mut scene, mut board) = bench();
    let service = Service::start_with(&scene, &mut [&mut board]);
    scene.change(
        "[probe.mash]\nboard = \"bench\"\nchannel = \"a0\"",
        "[probe.mash]\nboard = \"bench\"\nchannel = \"a1\"",
    );
    let file = points(&scene, &four_points());
    let output = command(&scene, &["--points", file.to_str().unwrap()])
        .output()
        .unwrap();
    let said = refused(&output);
    assert!(
        said.contains("its channel is `a0` in the service, `a1` in the file"),
        "{said}"
    );
    assert_eq!(steps(&scene), 0);
    service.stop();
}

#[test]
fn without_an_option_it_says_what_can_be_done() {
    let (scene, _board) = bench();
    scene.write();
    let output = command(&scene, &[]).output().unwrap();
    assert_eq!(output.status.code(), Some(2), "{}", words(&output));
    assert!(
        words(&output).contains("--points FILE"),
        "{}",
        words(&output)
    );
}
