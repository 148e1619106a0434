//! Readings and settings of an invented night.

use nightbench::config::{LineProtocol, Write};
use nightbench::outlet::line_protocol::LineProtocolReceiver;
use nightbench::reading::{Estimate, Outcome, Quality, Reading, Series, Stamp};
use std::sync::Arc;
use std::time::Duration;

pub const SITE: &str = "cellar";

/// A good reading of probe `mash`; its value and electrical value differ with `seq`.
pub fn reading(seq: u64, at_ms: i64) -> Reading {
    let small = f64::from(u32::try_from(seq).unwrap());
    let estimate = Estimate::new(20.0 + 0.125 * small, 0.05).unwrap();
    Reading {
        seq,
        series: Arc::new(Series {
            id: 1,
            probe: "mash".to_owned(),
            board: "bench".to_owned(),
            channel: "a0".to_owned(),
            driver: "thermistor".to_owned(),
            quantity: "temperature".to_owned(),
            unit: "Cel".to_owned(),
            electrical_unit: "Ohm".to_owned(),
            calibration: 0,
        }),
        at: Stamp {
            wall_ms: at_ms,
            boot_ns: seq,
            boot: 1,
        },
        raw: Some(512.0),
        electrical: Some(3592.5 - small),
        outcome: Outcome::Value(estimate),
        spread: None,
        samples: 1,
    }
}

/// The same, as a broken lead gives it.
pub fn fault(seq: u64, at_ms: i64) -> Reading {
    Reading {
        raw: Some(1023.0),
        electrical: None,
        outcome: Outcome::Fault(Quality::OpenCircuit),
        ..reading(seq, at_ms)
    }
}

/// Readings from `first` on, a quarter of a second apart, the last one a minute ago: databases
/// refuse what is too old or yet to come.
pub fn night(first: u64, count: u64) -> Vec<Reading> {
    let begin_ms = nightbench::clock::now().wall_ms - 60_000 - i64::try_from(count).unwrap() * 250;
    let at_ms = |seq: u64| begin_ms + i64::try_from(seq - first).unwrap() * 250;
    (first..first + count)
        .map(|seq| reading(seq, at_ms(seq)))
        .collect()
}

pub fn database(name: &str) -> Write {
    Write::V1 {
        database: name.to_owned(),
    }
}

pub fn bucket() -> Write {
    Write::V2 {
        org: "home".to_owned(),
        bucket: "night".to_owned(),
    }
}

pub fn settings(url: &str, write: Write) -> LineProtocol {
    LineProtocol {
        url: url.to_owned(),
        write,
        token: None,
        user: None,
        password: None,
        measurement: "reading".to_owned(),
        batch: 2000,
        gzip: true,
        timeout: Duration::from_secs(20),
        every: Duration::ZERO,
    }
}

pub fn receiver(settings: LineProtocol) -> LineProtocolReceiver {
    LineProtocolReceiver::new(SITE.to_owned(), settings)
}
