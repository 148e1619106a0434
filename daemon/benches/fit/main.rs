//! What a fit costs: ten points of a thermistor, fitted and made into a calibration; and what one
//! reading by it costs: value and uncertainty. Prints times; asserts nothing.
//!
//! `cargo bench -p nightbench --bench fit` (some seconds).

#![expect(
    clippy::disallowed_methods,
    reason = "a bench of durations within one run"
)]

use nightbench::calibrate::{
    Captured, Channel, Compared, Point, Reference, Role, Shape, Stated, Subject, make,
};
use nightbench::driver::{Electrical, Model, find};
use nightbench::measure::chain::Transfer;
use std::hint::black_box;
use std::time::{Duration, Instant};

/// Calibrations made, after some that are not counted.
const RUNS: usize = 1000;
/// Readings that are timed together.
const READINGS: u32 = 100_000;
/// Points of each.
const POINTS: u32 = 10;

fn main() {
    // `cargo test --benches` runs this too: there is nothing to test.
    if std::env::args().any(|argument| argument == "--test") {
        return;
    }
    let nominal = thermistor(&[("r0", 1e4), ("beta", 3950.0)]);
    let channel = Channel {
        board: "bench".to_owned(),
        channel: "a0".to_owned(),
        resistor: Some(10_000.0),
        scale_uncertainty: 0.0058,
    };
    let subject = Subject {
        nominal: &nominal,
        unit: "Cel",
        input: Electrical::Ohm,
        channel: &channel,
        allowed: &|_| Some(2.0),
        tolerance: nightbench::calibrate::Tolerance::Unknown,
        made_ms: 0,
        due_ms: None,
    };
    let points = points();
    let run = || {
        let start = Instant::now();
        let made = make(black_box(&points), &subject);
        assert!(black_box(made).is_ok_and(|made| made.terms.len() == 3));
        start.elapsed()
    };
    let mut times: Vec<Duration> = (0..RUNS + RUNS / 10)
        .map(|_| run())
        .skip(RUNS / 10)
        .collect();
    times.sort();
    let (middle, slow) = (times[RUNS / 2], times[RUNS * 99 / 100]);
    println!(
        "{POINTS} points, Steinhart-Hart, errors in both: median {middle:?}, 99 % within {slow:?}"
    );
    for count in [3, points.len()] {
        let made = make(&points[..count], &subject).expect("points as they should be");
        let stated = Stated::calibrated(&made, nominal.driver(), &channel).expect("its driver");
        let each = reading(&stated);
        println!("a reading by {count} points, value and uncertainty: {each:?}");
    }
}

/// Mean time of one reading.
fn reading(stated: &Stated) -> Duration {
    let start = Instant::now();
    for at in 0..READINGS {
        let ohm = 5_000.0 + f64::from(at % 1000);
        assert!(black_box(stated.answer(black_box(ohm), 10.0)).is_ok());
    }
    start.elapsed() / READINGS
}

fn thermistor(given: &[(&str, f64)]) -> Model {
    let driver = find("thermistor").expect("a shipped driver");
    let declared = driver.parameters();
    let value = |name: &str| given.iter().find(|(own, _)| *own == name);
    let values = declared
        .iter()
        .map(|one| value(one.name).map_or_else(Vec::new, |(_, number)| vec![*number]));
    driver.bind(values.collect()).expect("sound parameters")
}

/// Invented points from 0 to 90 Cel, up to 0.05 Cel off, by one reference thermometer.
fn points() -> Vec<(u64, Point)> {
    let typical = [
        ("form", 1.0),
        ("a", 1.129e-3),
        ("b", 2.341e-4),
        ("c", 8.775e-8),
    ];
    let probe = thermistor(&typical);
    let point = |at: u32| {
        let celsius = 10.0 * f64::from(at);
        let ohms = probe.invert(celsius).expect("within its range");
        let off = 0.05 * f64::from(at * 7 % 5) / 2.0 - 0.05;
        (u64::from(at), point(celsius + off, ohms))
    };
    (0..POINTS).map(point).collect()
}

fn point(celsius: f64, ohms: f64) -> Point {
    Point {
        role: Role::Fit,
        compared: Compared {
            reference: Reference::Instrument {
                name: "bath".to_owned(),
            },
            value: celsius,
            own: 0.05,
            common: 0.1,
            common_shape: Shape::Rectangular,
        },
        captured: Captured {
            from_ms: 0,
            until_ms: 60_000,
            raw: vec![],
            electrical: vec![ohms],
            mean: ohms,
            uncertainty: 1e-3 * ohms,
            effective: 50.0,
            drift: (0.0, 0.0),
            evidence: String::new(),
        },
    }
}
