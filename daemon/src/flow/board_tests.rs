//! A board in the flow with a clock of its own and a measured supply; the scenes are invented.

#![allow(clippy::unwrap_used)]

use super::{Board, Measuring, Probe, Setup};
use crate::calibrate::{Channel, Stated, Tolerance};
use crate::driver;
use crate::log::Batch;
use crate::measure::board_clock::Counter;
use crate::measure::corrections::Corrections;
use crate::measure::decode::{Decoder, Format};
use crate::measure::front_end::{Electrical, FrontEnd};
use crate::reading::{Moment, Series};
use crate::source::Event;
use std::sync::Arc;
use std::time::Duration;

const SECOND: u64 = 1_000_000_000;

/// Milliseconds that begin again after 65.5 s.
const SHORT_COUNTER: Counter = Counter {
    unit_ns: 1e6,
    bits: 16,
};

fn at(boot_ns: u64) -> Moment {
    Moment {
        wall_ms: 1_780_000_000_000 + i64::try_from(boot_ns / 1_000_000).unwrap(),
        boot_ns,
    }
}

/// The probe `n`, whose value is the board's number.
fn probe() -> Probe {
    let driver = driver::find("divider").unwrap();
    let defaults = driver
        .parameters()
        .into_iter()
        .map(|parameter| match parameter.kind {
            driver::ParameterKind::List { .. } => Vec::new(),
            _ => vec![f64::NAN],
        });
    let channel = Channel {
        board: "bench".into(),
        channel: "n".into(),
        resistor: None,
        scale_uncertainty: 0.0,
    };
    let series = Series {
        id: 1,
        probe: "turns".into(),
        board: "bench".into(),
        channel: "n".into(),
        driver: "divider".into(),
        quantity: "count".into(),
        unit: "1".into(),
        electrical_unit: "1".into(),
        calibration: 0,
    };
    Probe::new(Setup {
        series: Arc::new(series),
        measuring: Measuring {
            front_end: FrontEnd::None,
            corrections: Corrections::default(),
            supply: None,
            input: Electrical::Number,
            transfer: Stated::nominal(
                driver.bind(defaults.collect()).unwrap(),
                Tolerance::Unknown,
                &channel,
            ),
            median: 1,
            every: None,
        },
        alarms: Vec::new(),
        boot: 1,
        last_ms: None,
        now: at(0),
        due_ms: None,
    })
}

fn board() -> Board {
    let fields = vec!["n".to_owned(), "ms".to_owned()];
    let decoder = Decoder::new(Format::Pairs, fields);
    let silent_after = Duration::from_secs(10);
    Board::new(
        "bench".to_owned(),
        at(0),
        decoder,
        vec![probe()],
        silent_after,
    )
    .with_clock(Counter {
        unit_ns: 1e6,
        bits: 32,
    })
}

fn line(board: &mut Board, arrival_ns: u64, text: &str, batch: &mut Batch) {
    let event = Event::Line {
        at: at(arrival_ns),
        bytes: text.as_bytes().to_vec(),
    };
    board.event(&event, batch);
    board.tick(at(arrival_ns), batch);
}

fn texts(batch: &Batch) -> Vec<&str> {
    batch
        .entries
        .iter()
        .map(|entry| entry.text.as_str())
        .collect()
}

#[test]
fn readings_are_dated_by_the_boards_clock_and_the_journal_says_how_well() {
    let (mut board, mut batch) = (board(), Batch::default());
    for second in 1..=90_u64 {
        // Up to 15 ms late, in a pattern that begins anew each 16 lines.
        let late_ns = second % 16 * 1_000_000;
        let text = format!("ms={} n={second}", second * 1000);
        line(&mut board, second * SECOND + late_ns, &text, &mut batch);
    }
    for reading in &batch.readings[20..] {
        let off = reading.at.boot_ns % SECOND;
        assert!(off.min(SECOND - off) < 3_000_000, "{off}");
        assert!((reading.at.wall_ms % 1000 + 500) % 1000 - 500 < 4);
    }
    insta::assert_snapshot!(texts(&batch).join("\n"), @"board `bench`: lines arrive 6.4 ms, at most 16 ms, after the board's clock says; it keeps the host's pace; standard uncertainty of the time 1.8 ms (by own clock), beside what every line is late by (its length on the wire, the samples before it)");
}

#[test]
fn a_board_that_lost_power_in_a_silence_is_dated_by_arrival_until_its_clock_is_known_again() {
    let (mut board, mut batch) = (board().with_clock(SHORT_COUNTER), Batch::default());
    for second in 1..=60_u64 {
        let text = format!("ms={} n=1", second * 1000);
        line(&mut board, second * SECOND, &text, &mut batch);
    }
    board.tick(at(90 * SECOND), &mut batch);
    let before = batch.readings.len();
    for second in 660..700_u64 {
        let text = format!("ms={} n=2", (second - 660) * 1000 + 500);
        line(&mut board, second * SECOND, &text, &mut batch);
    }
    let dated = batch.readings[before..].iter().map(|it| it.at.boot_ns);
    let arrivals = (660..700).map(|second| second * SECOND);
    assert_eq!(dated.collect::<Vec<_>>(), arrivals.collect::<Vec<_>>());
}

#[test]
fn a_line_with_the_time_alone_names_nothing() {
    let (mut board, mut batch) = (board(), Batch::default());
    line(&mut board, SECOND, "ms=1000 n=1", &mut batch);
    line(&mut board, 2 * SECOND, "ms=2000", &mut batch);
    assert_eq!(batch.readings.len(), 1);
    board.tick(at(11 * SECOND), &mut batch);
    let silent = texts(&batch)
        .iter()
        .any(|text| text.contains("no usable line"));
    assert!(silent, "{:?}", texts(&batch));
}

#[test]
fn a_holding_adapter_moves_arrivals_back_and_is_told() {
    let (mut board, mut batch) = (board(), Batch::default());
    board.event(
        &Event::Held {
            at: at(SECOND),
            driver: "ftdi_sio".to_owned(),
            hold: Duration::from_millis(16),
        },
        &mut batch,
    );
    line(&mut board, 2 * SECOND, "n=1", &mut batch);
    assert_eq!(batch.readings[0].at.boot_ns, 2 * SECOND - 8_000_000);
    assert!(texts(&batch)[0].starts_with("board `bench`: its adapter (`ftdi_sio`)"));
}

#[test]
fn nothing_is_dated_before_a_fault_that_was_logged_already() {
    let (mut board, mut batch) = (board(), Batch::default());
    for second in 1..=30_u64 {
        let text = format!("ms={} n=1", second * 1000);
        line(&mut board, second * SECOND, &text, &mut batch);
    }
    board.tick(at(45 * SECOND), &mut batch);
    line(&mut board, 45 * SECOND + 1, "ms=44900 n=2", &mut batch);
    let stamps: Vec<u64> = batch.readings.iter().map(|it| it.at.boot_ns).collect();
    assert!(stamps.is_sorted_by(|a, b| a < b), "{stamps:?}");
    assert_eq!(stamps.last(), Some(&(45 * SECOND + 1)));
}
