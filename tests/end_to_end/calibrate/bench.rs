//! A probe whose truth is known by Steinhart-Hart written out here, the file of points that a person
//! would write for it, and the command that reads it.

use nightbench_tests::binary::nightbench;
use nightbench_tests::log::Log;
use nightbench_tests::scene::{RESISTOR_OHM, Scene};
use nightbench_tests::service::{run, words};
use rusqlite::Connection;
use serde_json::Value;
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};

/// The probe as it is: `steinhart_hart_3pt` of `ntc_10k_vishay_3977_rt.csv` in `ntc_expected.toml`. It
/// is configured as another one, that of `ntc_10k_b3950_rt.csv`.
const TRUE: [f64; 3] = [
    1.135_106_596_385e-3,
    2.329_328_395_883e-4,
    9.409_643_134_565e-8,
];

/// Of the board's converter.
pub const FULL_SCALE: u32 = 65_535;

/// Degrees Celsius of a resistance.
pub fn celsius([a, b, c]: [f64; 3], ohm: f64) -> f64 {
    let x = ohm.ln();
    1.0 / (a + b * x + c * x.powi(3)) - 273.15
}

/// Degrees Celsius of the probe as it is.
pub fn truth(ohm: f64) -> f64 {
    celsius(TRUE, ohm)
}

/// Change of the value with a relative change of the resistance, Cel.
pub fn relative_slope(ohm: f64) -> f64 {
    let [_, b, c] = TRUE;
    let kelvin = truth(ohm) + 273.15;
    -kelvin.powi(2) * (b + 3.0 * c * ohm.ln().powi(2))
}

/// The probe's resistance at a temperature, by halving.
pub fn ohms(degrees: f64) -> f64 {
    let (mut low, mut high) = (10.0_f64, 1e7_f64);
    for _ in 0..200 {
        let middle = (low * high).sqrt();
        if truth(middle) > degrees {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// The code of the probe in its divider.
pub fn count(ohm: f64) -> f64 {
    (f64::from(FULL_SCALE) * ohm / (ohm + RESISTOR_OHM)).round()
}

/// The resistance that a code stands for.
pub fn ohms_of(count: f64) -> f64 {
    RESISTOR_OHM * count / (f64::from(FULL_SCALE) - count)
}

/// A point by an instrument of 0.1 Cel, with the ohms that the channel gave.
pub fn instrument(degrees: f64, more: &str) -> String {
    ohmmeter(degrees, &format!("measured_on = \"channel\"\n{more}"))
}

/// The same with the ohms of an ohmmeter.
pub fn ohmmeter(degrees: f64, more: &str) -> String {
    format!(
        "[[point]]\nreference = \"instrument\"\nname = \"kitchen\"\nvalue = \"{degrees} Cel\"\n\
         tolerance = \"0.1 Cel\"\nelectrical = \"{} Ohm\"\nelectrical_uncertainty = \"0.01 %\"\n{more}\n",
        ohms(degrees)
    )
}

/// Ice, warm and hot water, and one kept out.
pub fn four_points() -> String {
    [
        instrument(0.0, ""),
        instrument(25.0, ""),
        instrument(50.0, ""),
        instrument(40.0, "role = \"check\""),
    ]
    .concat()
}

/// Writes the file of points; gives its path.
pub fn points(scene: &Scene, text: &str) -> PathBuf {
    scene.write();
    let path = scene.folder().join("points.toml");
    fs::write(&path, text).unwrap();
    path
}

/// `nightbench calibrate mash` with the scene's configuration.
pub fn command(scene: &Scene, arguments: &[&str]) -> Command {
    let mut command = Command::new(nightbench());
    command.args(["calibrate", "mash", "--config"]);
    command.arg(scene.file()).args(arguments);
    command
}

/// Runs it to its end, which must be a good one; gives stdout.
pub fn calibrate(scene: &Scene, arguments: &[&str]) -> String {
    let output = command(scene, arguments).output().unwrap();
    assert!(output.status.success(), "{}", words(&output));
    String::from_utf8(output.stdout).unwrap()
}

/// Calibrates from this text, and puts it in use.
pub fn calibrate_by(scene: &Scene, text: &str) -> String {
    let file = points(scene, text);
    calibrate(scene, &["--points", file.to_str().unwrap(), "--activate"])
}

/// The readings of `mash` as the program prints them.
pub fn readings(scene: &Scene) -> Vec<Value> {
    let config = scene.file();
    let arguments = ["readings", "mash", "--format", "json", "--config"];
    let output = run(&[&arguments[..], &[config.to_str().unwrap()]].concat());
    assert!(output.status.success(), "{}", words(&output));
    let text = String::from_utf8(output.stdout).unwrap();
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

/// A number of a reading.
pub fn number(reading: &Value, key: &str) -> f64 {
    reading[key]
        .as_f64()
        .unwrap_or_else(|| panic!("no {key}: {reading}"))
}

/// How many steps of any probe are in the log; none where there is no log.
pub fn steps(scene: &Scene) -> usize {
    let Ok(log) = Connection::open(scene.log()) else {
        return 0;
    };
    let count = "SELECT count(*) FROM calibration_step";
    let count = log.query_row(count, [], |row| row.get::<_, i64>(0));
    usize::try_from(count.unwrap_or(0)).unwrap()
}

/// A moment as a person writes it, by SQLite.
pub fn moment(log: &Log, ms: i64) -> String {
    let log = Connection::open(log.path()).unwrap();
    let text = "SELECT strftime('%Y-%m-%dT%H:%M:%fZ', ?1 / 1000.0, 'unixepoch')";
    log.query_row(text, [ms], |row| row.get(0)).unwrap()
}

/// What a command that failed says.
pub fn refused(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(1), "{}", words(output));
    assert!(output.stdout.is_empty(), "{}", words(output));
    words(output)
}
