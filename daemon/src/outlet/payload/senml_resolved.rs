//! Test only: resolves SenML packs as RFC 8428, 4.6 says, and checks the resolver on the standard's
//! own examples before ours are read with it.

use super::tests::{NIGHT_MS, broken, mash};
use super::{Payload, line, reading};
use crate::reading::Reading;
use proptest::prelude::*;
use serde_json::{Map, Value, json};
use std::sync::Arc;

type Record = Map<String, Value>;

/// Every record with its base fields worked in, in the order of the pack.
fn resolve(pack: &str) -> Vec<Record> {
    let records: Vec<Record> = serde_json::from_str(pack).unwrap();
    let mut base = Record::new();
    let resolved = records.into_iter().map(|record| {
        base.extend(
            record
                .clone()
                .into_iter()
                .filter(|(key, _)| key.starts_with('b')),
        );
        worked_in(&base, &record)
    });
    resolved
        .filter(|record| record.keys().any(|key| key.starts_with('v') || key == "s"))
        .collect()
}

fn worked_in(base: &Record, record: &Record) -> Record {
    let text = |from: &Record, key| {
        from.get(key)
            .and_then(Value::as_str)
            .unwrap_or("")
            .to_owned()
    };
    let number = |from: &Record, key| from.get(key).and_then(Value::as_f64).unwrap_or(0.0);
    let mut out: Record = record
        .iter()
        .filter(|(key, _)| !key.starts_with('b'))
        .map(|(k, v)| (k.clone(), v.clone()))
        .collect();
    out.insert("n".into(), json!(text(base, "bn") + &text(record, "n")));
    out.insert("t".into(), json!(number(base, "bt") + number(record, "t")));
    if let (Some(unit), None) = (base.get("bu"), record.get("u")) {
        out.insert("u".into(), unit.clone());
    }
    if let (Some(value), Some(_)) = (record.get("v"), base.get("bv")) {
        out.insert(
            "v".into(),
            json!(value.as_f64().unwrap() + number(base, "bv")),
        );
    }
    if let Some(version) = base.get("bver").filter(|version| **version != json!(10)) {
        out.insert("bver".into(), version.clone());
    }
    out
}

fn assert_same(found: &[Record], expected: &[Record], name: &str) {
    assert_eq!(found.len(), expected.len(), "{name}");
    for (found, expected) in found.iter().zip(expected) {
        assert_eq!(
            found.len(),
            expected.len(),
            "{name}: {found:?} {expected:?}"
        );
        for (key, value) in expected {
            match (value.as_f64(), found[key].as_f64()) {
                (Some(value), Some(other)) => {
                    assert!((value - other).abs() < 1e-6, "{name}: {key}")
                }
                _ => assert_eq!(&found[key], value, "{name}: {key}"),
            }
        }
    }
}

/// Source: the file's first lines (RFC 8428, 5.1.1 to 5.1.7).
#[test]
fn the_resolver_gives_the_standards_own_resolved_examples() {
    let file: toml::Table = include_str!("../../../tests/published/senml_rfc8428.toml")
        .parse()
        .unwrap();
    let examples = file["example"].as_array().unwrap();
    assert_eq!(examples.len(), 11);
    for example in examples {
        let field = |key: &str| example[key].as_str().unwrap();
        let expected: Vec<Record> = serde_json::from_str(field("resolved")).unwrap();
        assert_same(&resolve(field("pack")), &expected, field("name"));
    }
}

fn probe(name: &str, value: f64, moved_ms: i64) -> Reading {
    let mut reading = mash(value);
    Arc::make_mut(&mut reading.series).probe = name.into();
    reading.at.wall_ms += moved_ms;
    reading
}

fn resolved_line(readings: &[Reading]) -> Vec<Record> {
    resolve(std::str::from_utf8(&line(Payload::Senml, "cellar", readings).unwrap()).unwrap())
}

proptest! {
    #[test]
    fn our_lines_resolve_to_the_readings(
        scene in proptest::collection::vec(("[a-z0-9_.-]{1,12}", -300.0..300.0_f64, 0..3000_i64), 1..20)
    ) {
        let readings: Vec<_> =
            scene.iter().map(|(name, value, moved)| probe(name, *value, *moved)).collect();
        let records = resolved_line(&readings);
        prop_assert_eq!(records.len(), readings.len());
        for (record, reading) in records.iter().zip(&readings) {
            let seconds = reading.at.wall_ms as f64 / 1000.0;
            prop_assert_eq!(record["n"].as_str().unwrap(), format!("cellar:{}:temperature", reading.series.probe));
            prop_assert_eq!(&record["u"], "Cel");
            prop_assert!((record["t"].as_f64().unwrap() - seconds).abs() < 1e-6);
            prop_assert!((record["v"].as_f64().unwrap() - reading.outcome.estimate().unwrap().value()).abs() < 1e-9);
        }
    }
}

#[test]
fn one_reading_resolves_to_the_same_record_as_in_a_line() {
    for reading_ in [mash(67.91), broken()] {
        let alone = reading(Payload::Senml, "cellar", &reading_).unwrap();
        let alone = resolve(std::str::from_utf8(&alone).unwrap());
        assert_same(&alone, &resolved_line(&[reading_]), "alone and in a line");
        assert!((alone[0]["t"].as_f64().unwrap() - NIGHT_MS as f64 / 1000.0).abs() < 1e-6);
    }
}
