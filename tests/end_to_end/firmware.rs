//! Promise: the firmwares in `deploy/boards` send what the service reads: the voltages on the pins
//! come out as counts, degrees and lux, and neither a reset nor a cut line costs or makes up a number.

use nightbench_tests::board::Board;
use nightbench_tests::firmware::{SUPPLY_MV, SimulatedAvr, board_file, make, micropython_lines};
use nightbench_tests::log::Logged;
use nightbench_tests::scene::Scene;
use nightbench_tests::service::{Service, journalled, run, words};
use nightbench_tests::wait::{SOON, until};
use std::fs;
use std::path::Path;
use toml::{Table, Value};

/// More probes on the AVR board, whose numbers are taken as they are.
const PLAIN: [&str; 4] = ["ms", "a2", "a3", "s1"];

/// How the journal speaks of lines that are neither readings nor remarks.
const UNUSABLE: &str = "lines passed over: ";

/// Source: data sheet of the ATmega328P, "ADC Conversion Result": ADC = Vin x 1024 / Vref.
fn counts_at(millivolt: f64) -> f64 {
    millivolt * 1024.0 / SUPPLY_MV
}

/// The configuration of a board as it is shipped, but for port, log and means over lines.
fn scene_of(board: &str, port: &Path, plain: &[&str]) -> Scene {
    let mut scene = Scene::new();
    let text = fs::read_to_string(board_file(board).join("board.toml")).unwrap();
    let mut config: Table = text.parse().unwrap();
    config["log"]["path"] = "cellar.sqlite".into();
    table(&mut config, "log").insert("commit".to_owned(), "200ms".into());
    config["board"]["bench"]["port"] = port.to_str().unwrap().into();
    for (_, probe) in table(&mut config, "probe") {
        probe.as_table_mut().unwrap().remove("median");
    }
    scene.replace(&toml::to_string(&config).unwrap());
    for name in plain {
        scene.bare("bench", name).number(name, ("bench", name));
    }
    scene
}

fn table<'a>(config: &'a mut Table, name: &str) -> &'a mut Table {
    config.get_mut(name).and_then(Value::as_table_mut).unwrap()
}

/// The service on a simulated board that has been reset by the opening of its port, as a real one is.
fn on_simulated_board(avr: &mut SimulatedAvr) -> (Scene, Service) {
    let scene = scene_of("avr", avr.port(), &PLAIN);
    let service = Service::start(&scene);
    let _ = journalled(service.log(), "bench", "opened");
    avr.reset();
    (scene, service)
}

fn last(service: &Service, probe: &str) -> Logged {
    service.log().of(probe).pop().unwrap()
}

/// Waits until the last reading of a probe is within a count of what the voltage gives.
#[track_caller]
fn reads(service: &Service, probe: &str, millivolt: f64) {
    let expected = counts_at(millivolt);
    until(&format!("`{probe}` reads {expected} counts"), SOON, || {
        let readings = service.log().of(probe);
        let raw = readings.last().and_then(|it| it.raw);
        raw.is_some_and(|raw| (raw - expected).abs() <= 1.0)
    });
}

#[track_caller]
fn near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value}, {expected}");
}

/// `NAME=NUMBER` out of a line of the firmware.
fn field(line: &str, name: &str) -> f64 {
    let pairs = line.split(' ').filter_map(|pair| pair.split_once('='));
    let found = pairs.into_iter().find(|(own, _)| *own == name);
    found
        .unwrap_or_else(|| panic!("no `{name}` in `{line}`"))
        .1
        .parse()
        .unwrap()
}

#[test]
fn each_shipped_board_configuration_is_accepted() {
    for board in ["avr", "micropython"] {
        let file = board_file(board).join("board.toml");
        let output = run(&["check", file.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(0), "{}", words(&output));
    }
}

#[test]
fn voltages_on_the_pins_are_the_counts_in_the_log_and_the_right_values() {
    let folder = tempfile::tempdir().unwrap();
    let mut avr = SimulatedAvr::powered_up(folder.path(), "");
    for (channel, millivolt) in [2500.0, 1234.0, 4000.0, 37.0].into_iter().enumerate() {
        avr.input(channel, millivolt);
    }
    let (_scene, service) = on_simulated_board(&mut avr);
    service.has_logged(5, "a3");
    for (probe, millivolt) in [
        ("air", 2500.0),
        ("light", 1234.0),
        ("a2", 4000.0),
        ("a3", 37.0),
    ] {
        reads(&service, probe, millivolt);
    }
    assert_values(&service);

    avr.input(0, 1250.0);
    avr.input(3, 4990.0);
    reads(&service, "air", 1250.0);
    reads(&service, "a3", 4990.0);
    assert_nothing_was_lost(&avr, &service);
    service.stop();
}

/// At half the supply the thermistor is as large as its resistor, 10 kOhm, which is 25 Cel by its
/// parameters. The cell is (5 V / 1.234 V - 1) x 10 kOhm.
fn assert_values(service: &Service) {
    let air = last(service, "air");
    assert_eq!((air.quality, air.unit.as_str()), (0, "Cel"));
    near(air.electrical.unwrap(), 10_000.0, 40.0);
    near(air.value.unwrap(), 25.0, 0.1);
    let light = last(service, "light");
    let ohm = 10_000.0 * (SUPPLY_MV / 1234.0 - 1.0);
    let lux = 10.0 * (10_000.0 / ohm).powf(1.0 / 0.7);
    assert_eq!((light.quality, light.unit.as_str()), (0, "lx"));
    near(light.electrical.unwrap() / ohm, 1.0, 0.01);
    near(light.value.unwrap() / lux, 1.0, 0.02);
    for spread in ["air-spread", "s1"] {
        near(last(service, spread).value.unwrap(), 0.0, 0.1);
    }
}

/// Every line since the reset is logged once, a second after the one before by the board's own clock;
/// remarks are not spoken of.
fn assert_nothing_was_lost(avr: &SimulatedAvr, service: &Service) {
    let text = avr.transcript();
    let (_, since) = text.split_once(" # reset: reset-pin\n").unwrap();
    assert!(
        since.starts_with("# board nightbench-avr 1 name=bench "),
        "{since}"
    );
    let lines = since.split_inclusive('\n').filter(|it| it.ends_with('\n'));
    let sent: Vec<f64> = lines
        .skip(1)
        .map(|line| field(line.trim_end(), "ms"))
        .collect();
    until("every line since the reset is logged", SOON, || {
        logged_since_reset(service).len() >= sent.len()
    });
    let logged = logged_since_reset(service);
    assert_eq!(logged[..sent.len()], sent);
    for pair in logged.windows(2) {
        near(pair[1] - pair[0], 1000.0, 1.0);
    }
    assert!(service.log().entries("bench", UNUSABLE).is_empty());
}

/// The board's milliseconds, from where they fell last: lines from before the reset may be logged too.
fn logged_since_reset(service: &Service) -> Vec<f64> {
    let readings = service.log().of("ms");
    let logged: Vec<f64> = readings.iter().filter_map(|it| it.raw).collect();
    let fell = logged.windows(2).rposition(|pair| pair[1] < pair[0]);
    logged[fell.map_or(0, |at| at + 1)..].to_vec()
}

#[test]
fn hum_and_flicker_leave_the_mean_alone_and_show_in_the_spread() {
    let folder = tempfile::tempdir().unwrap();
    let mut avr = SimulatedAvr::powered_up(folder.path(), "");
    let hertz = [50.0, 60.0, 100.0, 120.0];
    for (channel, hertz) in hertz.into_iter().enumerate() {
        avr.rippling_input(channel, 2500.0, 200.0, hertz);
    }
    let line = avr.sends(3, "ms=").swap_remove(2);
    for (channel, hertz) in hertz.into_iter().enumerate() {
        near(field(&line, &format!("a{channel}")), counts_at(2500.0), 1.0);
        // A sine's standard deviation is its amplitude over the root of 2.
        let share = field(&line, &format!("s{channel}")) / (counts_at(200.0) / 2.0_f64.sqrt());
        assert!((0.97..1.03).contains(&share), "{hertz} Hz: {line}");
    }
}

/// Half of the counts 0 and half 1023: what the board's sums of 32 bits must still hold, at the fewest
/// and the most samples that it can be built for.
#[test]
fn the_widest_spread_fits_into_the_boards_whole_numbers() {
    for samples in [4, 64] {
        let folder = tempfile::tempdir().unwrap();
        let defines = format!("-DSAMPLES={samples}");
        let mut avr = SimulatedAvr::powered_up(folder.path(), &defines);
        // One sample up and the next one down, far beyond both ends of the range.
        avr.rippling_input(0, 2500.0, 1e6, 250.0);
        avr.input(1, 5000.0);
        let line = avr.sends(2, "ms=").swap_remove(1);
        near(field(&line, "a0"), 511.5, 0.01);
        let spread = 511.5 * (f64::from(samples) / f64::from(samples - 1)).sqrt();
        near(field(&line, "s0"), spread, 0.01);
        assert_eq!((field(&line, "a1"), field(&line, "s1")), (1023.0, 0.0));
    }
}

#[test]
fn the_serial_rate_is_within_what_a_receiver_takes() {
    let folder = tempfile::tempdir().unwrap();
    let avr = SimulatedAvr::powered_up(folder.path(), "");
    let text = fs::read_to_string(board_file("avr").join("board.toml")).unwrap();
    let config: Table = text.parse().unwrap();
    let configured = config["board"]["bench"]["baud"].as_integer().unwrap() as f64;
    // Source: data sheet of the ATmega328P, "Asynchronous Operational Range": 1.5 % for 8 data
    // bits at double speed (from memory).
    near(avr.baud() / configured, 1.0, 0.015);
}

#[test]
fn a_line_cut_by_a_reset_is_no_reading() {
    let folder = tempfile::tempdir().unwrap();
    let mut avr = SimulatedAvr::powered_up(folder.path(), "");
    avr.input(0, 2500.0);
    let (_scene, service) = on_simulated_board(&mut avr);
    service.has_logged(2, "air");
    // `ms=3000 a0=51`: two bytes into the number, wherever the count of bytes begins.
    let before = service.log().count("air");
    for bytes in [13, 40, 77] {
        let resets = avr.sends(1, " # reset: ").len();
        avr.reset_after(bytes);
        until("the board has been reset", SOON, || {
            avr.transcript().matches("# reset: ").count() > resets
        });
        let _ = avr.sends(resets, "# board ");
    }
    service.has_logged(before + 3, "air");
    for reading in service.log().of("air") {
        assert_eq!(
            (reading.quality, reading.raw),
            (0, Some(512.0)),
            "{reading:?}"
        );
    }
    let _ = journalled(service.log(), "bench", UNUSABLE);
    service.stop();
}

#[test]
fn a_stalled_firmware_is_started_anew_by_its_watchdog_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let mut avr = SimulatedAvr::powered_up(folder.path(), "");
    let lines = avr.sends(2, "ms=").len();
    avr.stall();
    let _ = avr.sends(1, " # reset: watchdog");
    let _ = avr.sends(2, "# board nightbench-avr 1 ");
    let _ = avr.sends(lines + 2, "ms=");
}

#[test]
fn the_millisecond_counter_wraps_and_the_lines_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let start = u32::MAX - 2500;
    let avr = SimulatedAvr::powered_up(folder.path(), &format!("-DMS_AT_START={start}UL"));
    let lines = avr.sends(5, "ms=");
    let ms: Vec<u32> = lines.iter().map(|line| field(line, "ms") as u32).collect();
    assert!(ms[0] > start && ms[4] < 10_000, "{ms:?}");
    for pair in ms.windows(2) {
        near(f64::from(pair[1].wrapping_sub(pair[0])), 1000.0, 1.0);
    }
}

#[test]
fn settings_that_cannot_work_do_not_build() {
    let folder = tempfile::tempdir().unwrap();
    for (defines, why) in [
        ("-DBAUD=115200", "Baud rate"),
        ("-DSAMPLES=65", "SAMPLES must be"),
        ("-DLINE_MS=120", "LINE_MS is too short"),
        ("-DLINE_MS=3000", "too long for the watchdog"),
    ] {
        let made = make(folder.path(), defines);
        assert!(!made.status.success(), "{defines} builds");
        assert!(words(&made).contains(why), "{defines}: {}", words(&made));
    }
}

#[test]
fn the_micropython_lines_are_read_as_they_are_meant() {
    let counts = [2048, 350, 3900];
    let lines = micropython_lines(&board_file("micropython").join("main.py"), 7, &counts);
    assert!(
        lines[1].starts_with("# board nightbench-micropython 1 "),
        "{lines:?}"
    );
    let folder = tempfile::tempdir().unwrap();
    let mut board = Board::plugged_in("bench", folder.path());
    let plain = ["ms", "s0", "a1", "a2"];
    let scene = scene_of("micropython", board.port(), &plain);
    let service = Service::start_with(&scene, &mut [&mut board]);
    for line in &lines {
        board.send_line(line);
    }
    service.has_logged(5, "a2");
    let raw = |probe: &str| -> Vec<f64> {
        service
            .log()
            .of(probe)
            .iter()
            .filter_map(|it| it.raw)
            .collect()
    };
    assert_eq!(raw("ms"), [1000.0, 2000.0, 3000.0, 4000.0, 5000.0]);
    for (probe, count) in ["air", "a1", "a2"].into_iter().zip(counts) {
        assert_eq!(raw(probe), [f64::from(count); 5]);
    }
    // Half of the counts one above, half one below: the root of n / (n - 1), n = 50.
    assert_eq!(raw("s0"), [1.01; 5]);
    near(last(&service, "air").value.unwrap(), 25.0, 1e-9);
    assert!(service.log().entries("bench", UNUSABLE).is_empty());
    service.stop();
}
