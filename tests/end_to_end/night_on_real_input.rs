//! The main job: a recorded room, turned into counts by the maker's sheet and an ideal converter, goes
//! line by line through a pseudo-terminal and comes back out of the log, the broker and both databases
//! as what was recorded.

use crate::checks::{broker_holds_the_log, influx_holds_the_log, victoria_holds_the_log};
use nightbench_tests::board::Board;
use nightbench_tests::broker::Broker;
use nightbench_tests::database::Database;
use nightbench_tests::log::Logged;
use nightbench_tests::published::{Divider, Sheet, Table};
use nightbench_tests::scene::{RESISTOR_OHM, Scene};
use nightbench_tests::service::Service;

const DIVIDER: Divider = Divider {
    resistor_ohm: RESISTOR_OHM,
    full_scale: 4095.0,
};

/// Source: `ntc_expected.toml`, three points 0, 25, 50 degC: largest misfit of the coefficients to
/// the sheet over 0 to 50 degC.
const MISFIT_K: f64 = 0.0239;

/// Straight lines of ln R over one degree miss a 1/T curve by at most h^2/8 * 2B/T^3 = 5e-5 in ln R at
/// 0 degC, about a millikelvin.
const INTERPOLATION_K: f64 = 0.001;

/// Rows of the recording: 2 February 2015, 14:19, to the next morning at about 8.
const ROWS: usize = 1060;

/// The photoresistor of the scene.
const LUX_AT_R10: f64 = 10.0;
const R10_OHM: f64 = 10_000.0;
const GAMMA: f64 = 0.7;

/// A cell's resistance ends somewhere, also in full darkness.
const DARK_OHM: f64 = 1e6;

#[test]
fn a_recorded_night_comes_back_within_the_converters_step_and_the_models_misfit() {
    let mut broker = Broker::start();
    let (influx, victoria) = (Database::influx(), Database::victoria());
    let mut scene = Scene::new();
    let mut board = scene.board("bench");
    scene
        .divider("bench", "a0", 4095)
        .divider("bench", "a1", 4095)
        .thermistor("office", ("bench", "a0"), "")
        .photoresistor("lamp", ("bench", "a1"))
        .mqtt("kitchen", broker.port())
        .influx("house", &influx)
        .victoria("metrics", &victoria);
    let everything = broker.subscribe("cellar/#");
    let service = Service::start_with(&scene, &mut [&mut board]);

    let night = Night::recorded();
    night.play(&mut board);

    service.has_logged(ROWS, "office");
    service.has_logged(ROWS, "lamp");
    night.assert_temperatures(&service.log().of("office"));
    night.assert_lights(&service.log().of("lamp"));
    broker_holds_the_log(&everything, service.log());
    influx_holds_the_log(&influx, service.log());
    victoria_holds_the_log(&victoria, service.log());
    service.stop();
    assert_eq!(broker.retained("cellar/status")[0].payload, "offline");
}

/// What was recorded, and the counts that the board of the scene sees of it.
struct Night {
    sheet: Sheet,
    degrees: Vec<f64>,
    lux: Vec<f64>,
}

impl Night {
    fn recorded() -> Self {
        let table = Table::read("occupancy_datatest.csv");
        let first = |column| table.numbers(column).into_iter().take(ROWS).collect();
        Self {
            sheet: Sheet::b3950(),
            degrees: first("temp_degC"),
            lux: first("light_lux"),
        }
    }

    fn play(&self, board: &mut Board) {
        for row in 0..ROWS {
            board.send_line(&format!(
                "a0={} a1={}",
                self.count(row),
                light_count(self.lux[row])
            ));
        }
    }

    fn count(&self, row: usize) -> f64 {
        DIVIDER.count(self.sheet.ohms(self.degrees[row]))
    }

    fn assert_temperatures(&self, logged: &[Logged]) {
        assert_eq!(logged.len(), ROWS);
        for (row, reading) in logged.iter().enumerate() {
            let count = self.count(row);
            assert_eq!(reading.raw, Some(count), "row {row}");
            assert_eq!(
                (reading.quality, reading.unit.as_str()),
                (0, "Cel"),
                "row {row}"
            );
            let half_step = DIVIDER.half_step(&self.sheet, count);
            let bound = half_step + MISFIT_K + INTERPOLATION_K;
            let error = reading.value.unwrap() - self.degrees[row];
            assert!(
                error.abs() <= bound,
                "row {row}: {error} K, allowed {bound} K"
            );
            assert_uncertainty(reading, half_step);
        }
    }

    fn assert_lights(&self, logged: &[Logged]) {
        assert_eq!(logged.len(), ROWS);
        for (row, reading) in logged.iter().enumerate() {
            let count = light_count(self.lux[row]);
            assert_eq!(reading.raw, Some(count), "row {row}");
            if self.lux[row] == 0.0 {
                assert!(
                    reading.value.is_none_or(|lux| lux < 1.0),
                    "row {row}: {reading:?}"
                );
                continue;
            }
            let (brighter, darker) = (lux_at(count - 0.5), lux_at(count + 0.5));
            let value = reading.value.unwrap();
            assert!(
                value >= darker && value <= brighter,
                "row {row}: {value} lx"
            );
            assert!(
                self.lux[row] >= darker && self.lux[row] <= brighter,
                "row {row}"
            );
        }
    }
}

/// A converter's step alone gives a standard uncertainty of half a step over the root of 3 (JCGM
/// 100:2008, 4.3.7); noise and the resistor may add to it, but not make it absurd.
fn assert_uncertainty(reading: &Logged, half_step: f64) {
    let uncertainty = reading.uncertainty.unwrap();
    let step_alone = half_step / 3.0_f64.sqrt();
    assert!(
        uncertainty >= 0.9 * step_alone,
        "{uncertainty} below the step's {step_alone}"
    );
    assert!(uncertainty < 2.0, "{uncertainty} K");
}

/// Definition of gamma: log-log slope between 10 and 100 lx (makers' data sheets, common practice).
fn light_count(lux: f64) -> f64 {
    DIVIDER.count((R10_OHM * (lux / LUX_AT_R10).powf(-GAMMA)).min(DARK_OHM))
}

fn lux_at(count: f64) -> f64 {
    LUX_AT_R10 * (DIVIDER.ohms(count) / R10_OHM).powf(-1.0 / GAMMA)
}

/// The year of an office in degrees Fahrenheit, hourly, from a file: as fast as it goes.
#[test]
fn a_recorded_year_is_replayed_from_a_file_without_losing_a_line() {
    let mut scene = Scene::new();
    let fahrenheit = Table::read("ambient_temperature_system_failure.csv").numbers("value");
    let degrees: Vec<f64> = fahrenheit.iter().map(|f| (f - 32.0) / 1.8).collect();
    let sheet = Sheet::b3950();
    let counts: Vec<f64> = degrees
        .iter()
        .map(|&t| DIVIDER.count(sheet.ohms(t)))
        .collect();
    let lines: String = counts.iter().map(|count| format!("a0={count}\n")).collect();
    std::fs::write(scene.folder().join("year.txt"), lines).unwrap();
    scene
        .add(
            "[board.bench]\nsource = \"replay\"\nfile = \"year.txt\"\nformat = \"pairs\"\n\
             every = \"1s\"\nspeed = \"unlimited\"\n",
        )
        .divider("bench", "a0", 4095)
        .thermistor("office", ("bench", "a0"), "");
    let service = Service::start(&scene);
    service.has_logged(counts.len(), "office");
    service.stop();
    let logged = nightbench_tests::log::Log::at(&scene.log()).of("office");
    let good: Vec<&Logged> = logged
        .iter()
        .filter(|reading| reading.quality == 0)
        .collect();
    assert_eq!(good.len(), counts.len());
    for ((reading, count), degrees) in good.iter().zip(&counts).zip(&degrees) {
        assert_eq!(reading.raw, Some(*count));
        let bound = DIVIDER.half_step(&sheet, *count) + MISFIT_K + INTERPOLATION_K;
        let error = reading.value.unwrap() - degrees;
        assert!(
            error.abs() <= bound,
            "{error} K at {degrees} degC, allowed {bound} K"
        );
    }
}
