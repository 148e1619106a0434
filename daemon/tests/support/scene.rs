//! Readings, alarm moves and settings for outlet tests. The scene is invented.

use nightbench::alarm::{Move, State};
use nightbench::config::{Mqtt, MqttVersion, Payload, Template};
use nightbench::outlet::mqtt::MqttReceiver;
use nightbench::reading::{Estimate, Outcome, Quality, Reading, Series, Stamp};
use std::sync::Arc;
use std::time::Duration;

/// 2026-11-25T01:50:47.000Z
pub const NIGHT_MS: i64 = 1_795_571_447_000;

/// Settings for a broker on this host, small values spelt out plainly.
pub fn settings(port: u16) -> Mqtt {
    Mqtt {
        version: MqttVersion::V3,
        host: "127.0.0.1".into(),
        port,
        tls: None,
        client_id: "nightbench-cellar-kitchen".into(),
        user: None,
        password: None,
        qos: 1,
        topic: Template("{site}/{probe}/reading".into()),
        backlog_topic: Template("{site}/{probe}/late".into()),
        alarm_topic: Template("{site}/{probe}/alarm/{alarm}".into()),
        status_topic: Template("{site}/status".into()),
        payload: Payload::Plain,
        per_line: false,
        window: 100,
        keep_alive: Duration::from_secs(15),
        expiry: None,
    }
}

pub fn receiver(settings: Mqtt) -> MqttReceiver {
    MqttReceiver::new("cellar".into(), settings)
}

/// The `seq`-th reading of the probe `mash`, one a second; its value is its sequence number.
pub fn reading(seq: u64) -> Reading {
    Reading {
        seq,
        series: Arc::new(Series {
            id: 1,
            probe: "mash".into(),
            board: "bench".into(),
            channel: "a0".into(),
            driver: "thermistor".into(),
            quantity: "temperature".into(),
            unit: "Cel".into(),
            electrical_unit: "Ohm".into(),
            calibration: 0,
        }),
        at: Stamp {
            wall_ms: NIGHT_MS + 1000 * i64::try_from(seq).unwrap(),
            boot_ns: 1_000_000_000 * seq,
            boot: 1,
        },
        raw: Some(512.0),
        electrical: Some(3592.1),
        outcome: Outcome::Value(Estimate::new(seq as f64, 0.05).unwrap()),
        spread: None,
        samples: 1,
    }
}

pub fn readings(seqs: std::ops::RangeInclusive<u64>) -> Vec<Reading> {
    seqs.map(reading).collect()
}

/// The same board's other probe, on the same line.
pub fn beside(reading: &Reading, probe: &str, seq: u64) -> Reading {
    let mut other = Reading {
        seq,
        ..reading.clone()
    };
    Arc::make_mut(&mut other.series).probe = probe.into();
    other
}

pub fn raised(seq: u64, action: &str) -> Move {
    Move {
        seq,
        reading_seq: 1,
        probe: "mash".into(),
        board: "bench".into(),
        alarm: format!("high-{seq}"),
        from: State::Normal,
        to: State::Active,
        at: reading(1).at,
        value: Some(68.4),
        limit: Some(68.0),
        unit: "Cel".into(),
        quality: Quality::Good,
        action: action.into(),
    }
}

/// What the readings look like as plain payloads.
pub fn numbers(seqs: std::ops::RangeInclusive<u64>) -> Vec<String> {
    seqs.map(|seq| seq.to_string()).collect()
}
