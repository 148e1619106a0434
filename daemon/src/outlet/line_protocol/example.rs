//! A reading and a move of an alarm for the tests of the outlets that write line protocol. The
//! scene is invented.

use crate::alarm::{Move, State};
use crate::reading::{Estimate, Outcome, Quality, Reading, Series, Stamp};
use std::sync::Arc;

/// 2026-11-25T02:24:07.000Z, where the invented night begins.
const BEGIN_MS: i64 = 1_795_573_447_000;

/// A good reading of probe `mash`, `seq` milliseconds into the night.
pub(crate) fn reading(seq: u64) -> Reading {
    let series = Series {
        id: 1,
        probe: "mash".to_owned(),
        board: "bench".to_owned(),
        channel: "a0".to_owned(),
        driver: "thermistor".to_owned(),
        quantity: "temperature".to_owned(),
        unit: "Cel".to_owned(),
        electrical_unit: "Ohm".to_owned(),
        calibration: 0,
    };
    let estimate = Estimate::new(67.91, 0.05).expect("both are finite");
    Reading {
        seq,
        series: Arc::new(series),
        at: stamp(seq),
        raw: Some(512.0),
        electrical: Some(3592.1),
        outcome: Outcome::Value(estimate),
        spread: None,
        samples: 1,
    }
}

/// The alarm `high` of probe `mash` being raised.
pub(crate) fn moved(seq: u64) -> Move {
    Move {
        seq,
        reading_seq: 123,
        probe: "mash".to_owned(),
        board: "bench".to_owned(),
        alarm: "high".to_owned(),
        from: State::Normal,
        to: State::Active,
        at: stamp(seq),
        value: Some(68.4),
        limit: Some(68.0),
        unit: "Cel".to_owned(),
        quality: Quality::Good,
        action: "turn the burner off and stir".to_owned(),
    }
}

fn stamp(seq: u64) -> Stamp {
    Stamp {
        wall_ms: BEGIN_MS + i64::try_from(seq).expect("a test counts in small numbers"),
        boot_ns: seq * 1_000_000,
        boot: 1,
    }
}
