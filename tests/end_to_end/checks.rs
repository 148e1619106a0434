//! Checks that several promises share: that what a receiver holds is what the log holds.

use nightbench_tests::broker::{Message, Subscriber};
use nightbench_tests::database::{Database, Sample};
use nightbench_tests::log::{Log, Logged};
use nightbench_tests::wait::{SOON, until};
use serde_json::{Map, Value};
use std::collections::{BTreeMap, BTreeSet};

/// Names of the stored quality codes as messages and databases spell them.
pub const QUALITIES: [&str; 9] = [
    "good",
    "open_circuit",
    "short_circuit",
    "saturated",
    "out_of_range",
    "unreadable",
    "stale",
    "board_silent",
    "driver_failed",
];

/// Sequence numbers of messages, in the order in which they came.
pub fn sequence(messages: &[Message]) -> Vec<i64> {
    messages
        .iter()
        .map(|message| message.json()["seq"].as_i64().unwrap())
        .collect()
}

/// Messages of readings, live and late.
pub fn readings_at(subscriber: &Subscriber) -> Vec<Message> {
    let mut messages = subscriber.messages();
    messages.retain(|it| it.topic.ends_with("/reading") || it.topic.ends_with("/late"));
    messages
}

/// Asserts that the numbers rise without a repeat.
#[track_caller]
pub fn assert_rising(numbers: &[i64]) {
    let falling = numbers.windows(2).find(|pair| pair[0] >= pair[1]);
    assert_eq!(falling, None, "out of order");
}

/// Waits until the subscriber has every logged reading, then compares each with the log.
#[track_caller]
pub fn broker_holds_the_log(subscriber: &Subscriber, log: &Log) {
    let readings = log.readings();
    let wanted: BTreeSet<i64> = readings.iter().map(|reading| reading.seq).collect();
    until("every logged reading reaches the broker", SOON, || {
        let came: BTreeSet<i64> = sequence(&readings_at(subscriber)).into_iter().collect();
        wanted.is_subset(&came)
    });
    let by_seq: BTreeMap<i64, &Logged> = readings.iter().map(|it| (it.seq, it)).collect();
    for message in readings_at(subscriber) {
        let body = message.json();
        let seq = body["seq"].as_i64().unwrap();
        let logged = by_seq
            .get(&seq)
            .unwrap_or_else(|| panic!("{seq} is not in the log"));
        assert_message(&message, &body, logged);
    }
}

#[track_caller]
fn assert_message(message: &Message, body: &Value, logged: &Logged) {
    let topic = format!("cellar/{}/", logged.probe);
    assert!(
        message.topic.starts_with(&topic),
        "{} {body}",
        message.topic
    );
    assert_eq!(body["probe"], logged.probe.as_str());
    assert_eq!(body["board"], logged.board.as_str());
    assert_eq!(body["unit"], logged.unit.as_str());
    assert_eq!(body["value"].as_f64(), logged.value, "{body}");
    assert_eq!(body["uncertainty"].as_f64(), logged.uncertainty, "{body}");
    assert_eq!(body["raw"].as_f64(), logged.raw, "{body}");
    assert_eq!(body["electrical"].as_f64(), logged.electrical, "{body}");
    assert_eq!(body["quality"], quality(logged), "{body}");
}

/// Waits until the first kind of database has as many rows as the log, then compares each.
#[track_caller]
pub fn influx_holds_the_log(database: &Database, log: &Log) {
    let readings = log.readings();
    let rows = || database.query("SELECT * FROM reading");
    until("every logged reading reaches the database", SOON, || {
        rows().len() >= readings.len()
    });
    let rows = rows();
    assert_eq!(rows.len(), readings.len());
    let by_seq: BTreeMap<i64, &Map<String, Value>> = rows
        .iter()
        .map(|row| (row["seq"].as_i64().unwrap(), row))
        .collect();
    for logged in &readings {
        assert_row(by_seq[&logged.seq], logged);
    }
}

#[track_caller]
fn assert_row(row: &Map<String, Value>, logged: &Logged) {
    assert_eq!(row["time"].as_i64(), Some(logged.time_ms), "{row:?}");
    assert_eq!(row["probe"], logged.probe.as_str(), "{row:?}");
    assert_eq!(row["unit"], logged.unit.as_str(), "{row:?}");
    assert_eq!(row["site"], "cellar", "{row:?}");
    assert_eq!(row["quality"], quality(logged), "{row:?}");
    assert_eq!(number(row, "value"), logged.value, "{row:?}");
    assert_eq!(number(row, "uncertainty"), logged.uncertainty, "{row:?}");
    assert_eq!(number(row, "raw"), logged.raw, "{row:?}");
    assert_eq!(number(row, "electrical"), logged.electrical, "{row:?}");
}

/// Waits until the second kind of database has every sequence number, then compares every value.
/// It stores decimals of some 15 digits and no text.
#[track_caller]
pub fn victoria_holds_the_log(database: &Database, log: &Log) {
    let readings = log.readings();
    until("every logged reading reaches the database", SOON, || {
        database.samples("reading_seq").len() >= readings.len()
    });
    let seqs = by_probe_and_time(database.samples("reading_seq"));
    let values = by_probe_and_time(database.samples("reading_value"));
    assert_eq!(seqs.len(), readings.len());
    for logged in &readings {
        let key = (logged.probe.clone(), logged.time_ms);
        assert_eq!(seqs[&key] as i64, logged.seq);
        match (values.get(&key), logged.value) {
            (Some(stored), Some(value)) => {
                assert!(
                    (stored - value).abs() <= 1e-12 * value.abs(),
                    "{stored} {value}"
                );
            }
            (stored, value) => assert_eq!(stored, value.as_ref(), "{logged:?}"),
        }
    }
}

fn by_probe_and_time(samples: Vec<Sample>) -> BTreeMap<(String, i64), f64> {
    samples
        .into_iter()
        .map(|it| ((it.probe, it.time_ms), it.value))
        .collect()
}

fn number(row: &Map<String, Value>, column: &str) -> Option<f64> {
    row.get(column).and_then(Value::as_f64)
}

fn quality(logged: &Logged) -> &'static str {
    QUALITIES[usize::try_from(logged.quality).unwrap()]
}
