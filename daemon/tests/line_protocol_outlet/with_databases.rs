//! Written by the outlet, read back by the databases' own queries.

use crate::database::Database;
use crate::scene::{bucket, database, fault, night, receiver, settings};
use nightbench::alarm::{Move, State};
use nightbench::config::LineProtocol;
use nightbench::outlet::{Parcel, Receiver, Trouble};
use nightbench::reading::{Quality, Reading};

const COLUMNS: &str = "SELECT value, uncertainty, quality, raw, electrical, seq FROM reading";

fn number(text: &str) -> Option<f64> {
    (!text.is_empty()).then(|| text.parse().unwrap())
}

/// Compares rows of [`COLUMNS`] with readings: name, tags, time, then the columns.
fn compare(rows: &[Vec<String>], readings: &[Reading]) {
    assert_eq!(rows.len(), readings.len());
    for (row, reading) in rows.iter().zip(readings) {
        let estimate = reading.outcome.estimate();
        assert_eq!(row[2].parse::<i64>().unwrap(), reading.at.wall_ms);
        assert_eq!(number(&row[3]), estimate.map(|e| e.value()));
        assert_eq!(number(&row[4]), estimate.map(|e| e.uncertainty()));
        assert_eq!(row[5], reading.outcome.quality().tag());
        assert_eq!(number(&row[6]), reading.raw);
        assert_eq!(number(&row[7]), reading.electrical);
        assert_eq!(row[8].parse::<u64>().unwrap(), reading.seq);
    }
}

fn values(readings: &[Reading]) -> Vec<(i64, f64)> {
    let value = |reading: &Reading| {
        let estimate = reading.outcome.estimate()?;
        Some((reading.at.wall_ms, estimate.value()))
    };
    readings.iter().filter_map(value).collect()
}

#[tokio::test]
async fn influxdb_gives_back_every_number_and_time_packed_or_not() {
    let influx = Database::influx();
    for (name, gzip) in [("packed", true), ("plain", false)] {
        influx.query("", &format!("CREATE DATABASE {name}")).await;
        let mut readings = night(1, 1000);
        readings[500] = fault(501, readings[500].at.wall_ms);
        let mut receiver = receiver(LineProtocol {
            gzip,
            ..settings(&influx.url, database(name))
        });
        receiver.connect().await.unwrap();
        for _ in 0..2 {
            // What was sent, and whose acknowledgement was lost, is sent again: one point each.
            let receipt = receiver.deliver(Parcel::Backlog(&readings)).await.unwrap();
            assert_eq!(receipt.refused, []);
        }
        compare(&influx.query(name, COLUMNS).await, &readings);
        let tags = influx.query(name, "SHOW SERIES").await;
        assert_eq!(
            tags[0].join(","),
            ",,\"reading,probe=mash,quantity=temperature,site=cellar,unit=Cel\""
        );
    }
}

#[tokio::test]
async fn victoria_metrics_gives_back_every_value_by_both_interfaces() {
    for (write, gzip) in [
        (database("night"), true),
        (bucket(), true),
        (bucket(), false),
    ] {
        let server = Database::victoria_metrics();
        let readings = night(1, 1000);
        let mut receiver = receiver(LineProtocol {
            gzip,
            ..settings(&server.url, write)
        });
        receiver.connect().await.unwrap();
        for _ in 0..2 {
            let receipt = receiver.deliver(Parcel::Live(&readings)).await.unwrap();
            assert_eq!(receipt.refused, []);
        }
        assert_eq!(server.export("reading_value").await, values(&readings));
    }
}

#[tokio::test]
async fn moves_of_alarms_arrive_in_a_measurement_of_their_own() {
    let influx = Database::influx();
    influx.query("", "CREATE DATABASE night").await;
    let at = night(1, 1)[0].at;
    let moved = Move {
        seq: 7,
        reading_seq: 1,
        probe: "mash".to_owned(),
        board: "bench".to_owned(),
        alarm: "high".to_owned(),
        from: State::Normal,
        to: State::Active,
        at,
        value: Some(68.4),
        limit: Some(68.0),
        unit: "Cel".to_owned(),
        quality: Quality::Good,
        action: "stir".to_owned(),
    };
    let mut receiver = receiver(settings(&influx.url, database("night")));
    receiver.deliver(Parcel::Moves(&[moved])).await.unwrap();
    let query = "SELECT alarm, probe, state, value, \"limit\", seq FROM alarm";
    let rows = influx.query("night", query).await;
    let expected = format!("alarm,,{},high,mash,active,68.4,68,7", at.wall_ms);
    assert_eq!(rows[0].join(","), expected);
}

#[tokio::test]
async fn influxdb_refuses_the_reading_of_another_type_and_stores_the_rest() {
    let influx = Database::influx();
    influx.query("", "CREATE DATABASE night").await;
    // Somebody wrote an integer where we write floats: only readings with that field conflict.
    influx
        .write("night", "reading,probe=old electrical=1i")
        .await;
    let mut readings: Vec<_> = night(1, 100);
    for reading in &mut readings {
        *reading = fault(reading.seq, reading.at.wall_ms);
    }
    readings[41].electrical = Some(3592.1);
    let mut receiver = receiver(settings(&influx.url, database("night")));
    let receipt = receiver.deliver(Parcel::Live(&readings)).await.unwrap();
    assert_eq!(receipt.refused.len(), 1);
    assert_eq!(receipt.refused[0].seq, 42);
    let why = &receipt.refused[0].why;
    assert!(
        why.contains("field type conflict") && why.contains("seq=42i"),
        "{why}"
    );
    // No part of the conflicting point is stored.
    readings.remove(41);
    let query = format!("{COLUMNS} WHERE probe = 'mash'");
    compare(&influx.query("night", &query).await, &readings);
}

#[tokio::test]
async fn a_database_that_refuses_everything_keeps_the_night_waiting() {
    let influx = Database::influx();
    influx.query("", "CREATE DATABASE night").await;
    influx.write("night", "reading,probe=old value=1i").await;
    let mut receiver = receiver(settings(&influx.url, database("night")));
    let trouble = receiver
        .deliver(Parcel::Live(&night(1, 2000)))
        .await
        .unwrap_err();
    assert!(matches!(&trouble, Trouble::Person { what } if what.contains("field type conflict")));
}

#[tokio::test]
async fn points_older_than_the_retention_are_refused_and_newer_ones_stored() {
    let influx = Database::influx();
    influx
        .query("", "CREATE DATABASE short WITH DURATION 1h")
        .await;
    let mut readings = night(1, 500);
    for reading in &mut readings[..300] {
        reading.at.wall_ms -= 48 * 3_600_000;
    }
    let mut receiver = receiver(settings(&influx.url, database("short")));
    let receipt = receiver.deliver(Parcel::Backlog(&readings)).await.unwrap();
    let refused = receipt.refused.iter().map(|refusal| refusal.seq);
    assert!(refused.eq(1..=300), "{} refused", receipt.refused.len());
    assert!(receipt.refused[0].why.contains("beyond retention policy"));
    compare(&influx.query("short", COLUMNS).await, &readings[300..]);
}

#[tokio::test]
async fn a_database_that_does_not_exist_is_a_matter_for_a_person() {
    let influx = Database::influx();
    let mut receiver = receiver(settings(&influx.url, database("nihgt")));
    receiver.connect().await.unwrap();
    let trouble = receiver
        .deliver(Parcel::Live(&night(1, 3)))
        .await
        .unwrap_err();
    assert_eq!(
        trouble,
        Trouble::Person {
            what: format!(
                "{}: answered 404 (database not found: \"nihgt\"); it does not have database \
                 `nihgt`, or not this interface; create it, or correct its name or the path in \
                 `url`",
                influx.url
            )
        }
    );
}
