//! The flow with events made by hand, at moments made up: one board, its probes, what they bring.

#![allow(clippy::unwrap_used)]

mod chance;
mod clock;
mod journal;
mod silence;
mod take_over;

use super::*;
use crate::alarm::{Condition, Rule, State};
use crate::calibrate::{Channel, Stated, Tolerance};
use crate::driver::find;
use crate::measure::decode::{Decoder, Format};
use crate::measure::front_end::{Electrical, FrontEnd, Side};
use crate::reading::{Outcome, Series};
use std::sync::Arc;
use std::time::Duration;

/// The board's number.
const BENCH: usize = 1;
/// When every scene starts.
const START: Moment = Moment {
    wall_ms: 1_780_000_000_000,
    boot_ns: 5_000_000_000,
};

/// So many milliseconds into the scene.
fn at(ms: u64) -> Moment {
    Moment {
        wall_ms: START.wall_ms + i64::try_from(ms).unwrap(),
        boot_ns: START.boot_ns + ms * 1_000_000,
    }
}

fn line(ms: u64, text: &str) -> Event {
    line_at(at(ms), text)
}

fn line_at(at: Moment, text: &str) -> Event {
    Event::Line {
        at,
        bytes: text.as_bytes().to_vec(),
    }
}

fn lost(ms: u64) -> Event {
    Event::Lost {
        at: at(ms),
        reason: "unplugged; looking for it".to_owned(),
    }
}

/// The value is the count itself.
fn transfer() -> Stated {
    let mut parameters = vec![Vec::new(); 8];
    parameters[2] = vec![1023.0];
    let model = find("divider").unwrap().bind(parameters).unwrap();
    Stated::nominal(model, Tolerance::Unknown, &here("bench", "a0"))
}

/// A channel whose resistor does not count.
fn here(board: &str, channel: &str) -> Channel {
    Channel {
        board: board.to_owned(),
        channel: channel.to_owned(),
        resistor: None,
        scale_uncertainty: 0.0,
    }
}

/// A divider with the probe on the low side, full scale 1023: counts near its ends are faults.
fn measuring() -> Measuring {
    Measuring {
        front_end: FrontEnd::Divider {
            probe: Side::Low,
            resistor_ohm: 10_000.0,
            full_scale: 1023.0,
        },
        input: Electrical::Ratio,
        transfer: transfer(),
        median: 1,
        every: None,
        corrections: crate::measure::corrections::Corrections::default(),
        supply: None,
    }
}

fn setup(probe: &str) -> Setup {
    let series = Series {
        id: 1,
        probe: probe.to_owned(),
        board: "bench".to_owned(),
        channel: probe.to_owned(),
        driver: "divider".to_owned(),
        quantity: "level".to_owned(),
        unit: "1".to_owned(),
        electrical_unit: "1".to_owned(),
        calibration: 0,
    };
    Setup {
        series: Arc::new(series),
        measuring: measuring(),
        alarms: Vec::new(),
        boot: 1,
        last_ms: None,
        now: START,
        due_ms: None,
    }
}

/// An alarm without delays.
fn alarm(condition: Condition) -> (Rule, State) {
    let rule = Rule {
        condition,
        on_delay_ms: 0,
        off_delay_ms: 0,
        action: "close the tap".to_owned(),
    };
    (rule, State::Normal)
}

fn high(limit: f64) -> (Rule, State) {
    alarm(Condition::High {
        limit,
        deadband: 10.0,
    })
}

/// A board that is silent after 10 s, with these probes; each reads the field of its name.
fn flow(setups: Vec<Setup>) -> Flow {
    let fields = setups.iter().map(|s| s.series.probe.clone()).collect();
    let probes = setups.into_iter().map(Probe::new).collect();
    let decoder = Decoder::new(Format::Pairs, fields);
    let silent_after = Duration::from_secs(10);
    let board = Board::new("bench".to_owned(), START, decoder, probes, silent_after);
    Flow::new([(BENCH, board)])
}

/// What all of these events bring, in one batch.
fn all(flow: &mut Flow, events: &[Event]) -> Batch {
    let mut batch = Batch::default();
    for event in events {
        batch.append(flow.event(BENCH, event));
    }
    batch
}

/// Ticks each second from one second of the scene up to and with another.
fn ticks(flow: &mut Flow, from: u64, to: u64) -> Batch {
    let mut batch = Batch::default();
    for second in from..=to {
        batch.append(flow.tick(at(second * 1000)));
    }
    batch
}

/// Readings as text: seconds into the scene, probe, value or fault.
fn readings(batch: &Batch) -> Vec<String> {
    let text = |reading: &crate::reading::Reading| {
        let seconds = (reading.at.boot_ns - START.boot_ns) as f64 / 1e9;
        let outcome = match reading.outcome {
            Outcome::Value(estimate) | Outcome::Extrapolated(estimate) => {
                format!("{:.0}", estimate.value())
            }
            Outcome::Fault(quality) => quality.to_string(),
        };
        format!("{seconds} {}: {outcome}", reading.series.probe)
    };
    batch.readings.iter().map(text).collect()
}

/// The journal's texts, one a line.
fn journal(batch: &Batch) -> String {
    let texts: Vec<&str> = batch.entries.iter().map(|e| e.text.as_str()).collect();
    texts.join("\n")
}

#[test]
fn a_line_brings_a_reading_of_each_probe_that_it_names() {
    let mut flow = flow(vec![setup("vat"), setup("tank")]);
    let batch = all(
        &mut flow,
        &[line(0, "vat=512 tank=300"), line(1000, "tank=301")],
    );
    assert_eq!(
        readings(&batch),
        ["0 vat: 512", "0 tank: 300", "1 tank: 301"]
    );
    assert!(!batch.at_once);
}

#[test]
fn an_event_of_a_board_that_is_not_configured_brings_nothing() {
    let mut flow = flow(vec![setup("vat")]);
    assert!(flow.event(BENCH + 1, &line(0, "vat=512")).is_empty());
}

#[test]
fn a_move_carries_the_place_of_the_reading_that_it_was_judged_on() {
    let mut vat = setup("vat");
    vat.alarms = vec![alarm(Condition::Fault)];
    let mut tank = setup("tank");
    tank.alarms = vec![high(700.0)];
    let mut flow = flow(vec![vat, tank]);
    let events = [
        line(0, "vat=512 tank=699"),
        line(1000, "vat=512 tank=700"),
        line(2000, "vat=1023 tank=691"),
        line(3000, "vat=512 tank=689"),
    ];
    let batch = all(&mut flow, &events);
    assert!(batch.at_once);
    let moves = batch.entries.iter().filter_map(|e| e.alarm.as_ref());
    let judged: Vec<_> = moves
        .map(|m| (m.probe.as_str(), m.to, m.reading_seq))
        .collect();
    // Places count from 1.
    let expected = [
        ("tank", State::Active, 4),
        ("vat", State::Active, 5),
        ("vat", State::Normal, 7),
        ("tank", State::Normal, 8),
    ];
    assert_eq!(judged, expected);
    for (probe, _, place) in expected {
        let reading = &batch.readings[usize::try_from(place).unwrap() - 1];
        assert_eq!(reading.series.probe, probe);
    }
}

#[test]
fn the_date_of_a_calibration_is_judged_on_the_readings_own_time() {
    let mut vat = setup("vat");
    vat.alarms = vec![alarm(Condition::Due)];
    vat.due_ms = Some(START.wall_ms + 1500);
    let mut flow = flow(vec![vat]);
    let events = [0, 1000, 2000, 3000].map(|ms| line(ms, "vat=512"));
    let batch = all(&mut flow, &events);
    let moves: Vec<_> = batch.entries.iter().filter(|e| e.alarm.is_some()).collect();
    assert_eq!(moves.len(), 1, "{}", journal(&batch));
    assert_eq!(moves[0].loudness, Loudness::Warning);
    assert_eq!(moves[0].at.wall_ms, START.wall_ms + 2000);
}

#[test]
fn a_mean_under_way_is_in_the_last_batch() {
    let mut vat = setup("vat");
    vat.measuring.every = Some(Duration::from_secs(10));
    let mut flow = flow(vec![vat]);
    let batch = all(&mut flow, &[line(0, "vat=500"), line(1000, "vat=510")]);
    assert!(batch.is_empty());
    assert_eq!(readings(&flow.flush()), ["1 vat: 505"]);
    assert!(flow.flush().is_empty());
}
