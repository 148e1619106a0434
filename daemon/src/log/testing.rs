//! Readings for this module's tests.

use crate::reading::{Estimate, Outcome, Quality, Reading, Series, Stamp};
use std::sync::Arc;

/// A series as the log numbers its first.
pub fn series() -> Series {
    Series {
        id: 1,
        probe: "vat".to_owned(),
        board: "bench".to_owned(),
        channel: "a0".to_owned(),
        driver: "thermistor".to_owned(),
        quantity: "temperature".to_owned(),
        unit: "Cel".to_owned(),
        electrical_unit: "Ohm".to_owned(),
    }
}

/// A good reading with this number, of the board's line with this number.
pub fn reading(seq: u64, line: u64) -> Reading {
    Reading {
        seq,
        series: Arc::new(series()),
        at: Stamp {
            wall_ms: 1_780_000_000_000 + i64::try_from(seq).unwrap_or(0),
            boot_ns: line * 1_000_000,
            boot: 1,
        },
        raw: Some(512.0),
        electrical: Some(10_000.0),
        outcome: Estimate::new(25.0, 0.05)
            .map_or(Outcome::Fault(Quality::DriverFailed), Outcome::Value),
        spread: None,
        samples: 1,
    }
}
