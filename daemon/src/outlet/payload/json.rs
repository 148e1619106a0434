//! JSON objects (RFC 8259): everything the log knows of a reading, under the log's own words.
//!
//! Every number reads back as the same `f64`; what is missing is `null`, never NaN. Keys always
//! stand in the same order.

use super::{Unsayable, rfc3339};
use crate::alarm::Move;
use crate::reading::Reading;
use serde::Serialize;

/// Said with every alarm, where a reader might rely on it.
const NOTICE: &str = "not a safety device";

/// One reading of one probe, on its own.
#[must_use]
pub fn reading(reading: &Reading) -> Vec<u8> {
    let object = ReadingObject {
        board: Some(&reading.series.board),
        time: Some(rfc3339(reading.at.wall_ms)),
        ..ReadingObject::within_line(reading, reading.at.wall_ms)
    };
    bytes(&object)
}

/// All readings of one line: board and time once, a reading's own time only where it was moved.
///
/// # Errors
/// [`Unsayable::EmptyLine`].
pub fn line(readings: &[Reading]) -> Result<Vec<u8>, Unsayable> {
    let first = readings.first().ok_or(Unsayable::EmptyLine)?;
    Ok(bytes(&LineObject {
        board: &first.series.board,
        time: rfc3339(first.at.wall_ms),
        readings: readings
            .iter()
            .map(|reading| ReadingObject::within_line(reading, first.at.wall_ms))
            .collect(),
    }))
}

/// Where an alarm stands after a move, and what to do.
#[must_use]
pub fn alarm(alarm: &Move) -> Vec<u8> {
    bytes(&AlarmObject {
        probe: &alarm.probe,
        alarm: &alarm.alarm,
        state: super::state(alarm.to),
        from: super::state(alarm.from),
        seq: alarm.seq,
        reading_seq: alarm.reading_seq,
        time: rfc3339(alarm.at.wall_ms),
        value: alarm.value,
        limit: alarm.limit,
        unit: &alarm.unit,
        quality: alarm.quality.tag(),
        action: &alarm.action,
        notice: NOTICE,
    })
}

#[derive(Serialize)]
struct ReadingObject<'a> {
    probe: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    board: Option<&'a str>,
    seq: u64,
    #[serde(skip_serializing_if = "Option::is_none")]
    time: Option<String>,
    value: Option<f64>,
    unit: &'a str,
    quantity: &'a str,
    uncertainty: Option<f64>,
    quality: &'static str,
    #[serde(skip_serializing_if = "str::is_empty")]
    advice: &'static str,
    /// Which of the probe's calibrations made the value; left out for the configured parameters.
    #[serde(skip_serializing_if = "Option::is_none")]
    calibration: Option<u32>,
    raw: Option<f64>,
    electrical: Option<f64>,
    electrical_unit: &'a str,
    samples: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    spread: Option<f64>,
}

#[derive(Serialize)]
struct LineObject<'a> {
    board: &'a str,
    time: String,
    readings: Vec<ReadingObject<'a>>,
}

#[derive(Serialize)]
struct AlarmObject<'a> {
    probe: &'a str,
    alarm: &'a str,
    state: &'static str,
    from: &'static str,
    seq: u64,
    reading_seq: u64,
    time: String,
    value: Option<f64>,
    limit: Option<f64>,
    unit: &'a str,
    quality: &'static str,
    action: &'a str,
    notice: &'static str,
}

impl<'a> ReadingObject<'a> {
    fn within_line(reading: &'a Reading, line_ms: i64) -> Self {
        let series = &reading.series;
        let estimate = reading.outcome.estimate();
        let quality = reading.outcome.quality();
        Self {
            probe: &series.probe,
            board: None,
            seq: reading.seq,
            time: (reading.at.wall_ms != line_ms).then(|| rfc3339(reading.at.wall_ms)),
            value: estimate.map(|estimate| estimate.value()),
            unit: &series.unit,
            quantity: &series.quantity,
            uncertainty: estimate.map(|estimate| estimate.uncertainty()),
            quality: quality.tag(),
            advice: quality.advice(),
            calibration: (series.calibration != 0).then_some(series.calibration),
            raw: reading.raw,
            electrical: reading.electrical,
            electrical_unit: &series.electrical_unit,
            samples: reading.samples,
            spread: reading.spread,
        }
    }
}

fn bytes(object: &impl Serialize) -> Vec<u8> {
    serde_json::to_vec(object).expect("string keys and plain values always serialise")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::tests::{beyond, broken, mash, too_hot};
    use super::*;
    use proptest::prelude::*;

    fn text(bytes: Vec<u8>) -> String {
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn a_good_reading_says_all_that_the_log_knows() {
        assert_eq!(
            text(reading(&mash(67.91))),
            r#"{"probe":"mash","board":"bench","seq":123,"time":"2026-11-25T01:50:47.123Z","value":67.91,"unit":"Cel","quantity":"temperature","uncertainty":0.05,"quality":"good","raw":512.0,"electrical":3592.1,"electrical_unit":"Ohm","samples":1}"#
        );
    }

    #[test]
    fn a_fault_has_null_for_a_value_and_says_what_to_check() {
        assert_eq!(
            text(reading(&broken())),
            r#"{"probe":"mash","board":"bench","seq":123,"time":"2026-11-25T01:50:47.123Z","value":null,"unit":"Cel","quantity":"temperature","uncertainty":null,"quality":"open_circuit","advice":"check the plug and the lead for a break","raw":1023.0,"electrical":null,"electrical_unit":"Ohm","samples":1}"#
        );
    }

    #[test]
    fn a_calibrated_reading_names_its_calibration_and_one_outside_its_range_says_so() {
        assert_eq!(
            text(reading(&beyond(104.2))),
            r#"{"probe":"mash","board":"bench","seq":123,"time":"2026-11-25T01:50:47.123Z","value":104.2,"unit":"Cel","quantity":"temperature","uncertainty":0.05,"quality":"extrapolated","advice":"add a reference point out here, or trust it only within its uncertainty","calibration":3,"raw":512.0,"electrical":3592.1,"electrical_unit":"Ohm","samples":1}"#
        );
    }

    #[test]
    fn averaged_samples_say_their_spread() {
        let averaged = Reading {
            spread: Some(1.5),
            samples: 9,
            ..mash(1.0)
        };
        assert!(text(reading(&averaged)).ends_with(r#""samples":9,"spread":1.5}"#));
    }

    #[test]
    fn a_line_names_board_and_time_once() {
        let mut moved = mash(2.0);
        moved.at.wall_ms += 1;
        let line = text(line(&[mash(1.0), moved]).unwrap());
        assert!(line.starts_with(
            r#"{"board":"bench","time":"2026-11-25T01:50:47.123Z","readings":[{"probe":"mash","seq":123,"value":1.0,"#
        ));
        assert_eq!(line.matches("\"board\"").count(), 1);
        assert_eq!(
            line.matches("\"time\"").count(),
            2,
            "the moved one says its own"
        );
    }

    #[test]
    fn an_alarm_says_what_to_do_and_what_it_is_not() {
        assert_eq!(
            text(alarm(&too_hot())),
            r#"{"probe":"mash","alarm":"high","state":"active","from":"normal","seq":7,"reading_seq":123,"time":"2026-11-25T01:50:47.123Z","value":68.4,"limit":68.0,"unit":"Cel","quality":"good","action":"turn the burner off and stir","notice":"not a safety device"}"#
        );
    }

    proptest! {
        #[test]
        fn numbers_read_back_bit_by_bit(value in proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL) {
            let text = text(reading(&mash(value)));
            let (_, rest) = text.split_once("\"value\":").unwrap();
            let (number, _) = rest.split_once(',').unwrap();
            prop_assert_eq!(number.parse::<f64>().unwrap().to_bits(), value.to_bits());
        }

        #[test]
        fn any_action_text_stays_one_json_object(action in any::<String>()) {
            let message = alarm(&Move { action: action.clone(), ..too_hot() });
            let read: serde_json::Value = serde_json::from_slice(&message).unwrap();
            prop_assert_eq!(read["action"].as_str(), Some(action.as_str()));
        }
    }
}
