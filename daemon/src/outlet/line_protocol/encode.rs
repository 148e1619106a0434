//! A reading, or a move of an alarm, as one line of line protocol with times in milliseconds.
//!
//! Tags name the series and are sorted; the type of each field is fixed for ever; a number that is
//! absent is left out. How a line is escaped, and what cannot be written, is [`super::point`]'s.

use super::point::{Field, Point, Unwritable};
use crate::alarm::{Move, State};
use crate::reading::{Quality, Reading};

/// The measurement that moves of alarms go to.
pub const ALARM_MEASUREMENT: &str = "alarm";

/// Servers count nanoseconds in a signed 64-bit integer, less its two ends.
/// Source: the published line protocol pages, `min_ns` and `max_ns` in
/// `tests/published/line_protocol.toml`.
const FURTHEST_MS: i64 = 9_223_372_036_854;

/// One reading as a line without a line break:
/// `reading,probe=mash,quantity=temperature,site=cellar,unit=Cel value=67.91,…,seq=123i 1795…`.
///
/// A calibrated one has `calibration=3i`: a field, so that a series goes on when its calibration
/// is succeeded. One outside the calibrated range has its advice as well.
///
/// # Errors
/// Where a name, the time or the sequence number has no form in line protocol.
pub fn encode(reading: &Reading, site: &str, measurement: &str) -> Result<String, Unwritable> {
    let series = &reading.series;
    let estimate = reading.outcome.estimate();
    let mut fields = Vec::with_capacity(8);
    push(&mut fields, "value", estimate.map(|e| e.value()));
    push(
        &mut fields,
        "uncertainty",
        estimate.map(|e| e.uncertainty()),
    );
    let quality = reading.outcome.quality();
    fields.push(("quality", Field::Text(quality.tag())));
    if quality == Quality::Extrapolated {
        fields.push(("advice", Field::Text(quality.advice())));
    }
    push(&mut fields, "raw", reading.raw);
    push(&mut fields, "electrical", reading.electrical);
    if series.calibration != 0 {
        fields.push(("calibration", integer(series.calibration.into())?));
    }
    fields.push(("seq", integer(reading.seq)?));
    Point {
        measurement,
        tags: vec![
            ("probe", &series.probe),
            ("quantity", &series.quantity),
            ("site", site),
            ("unit", &series.unit),
        ],
        fields,
        time: time(reading.at.wall_ms)?,
    }
    .line()
}

/// One move of an alarm as a line without a line break:
/// `alarm,alarm=high,probe=mash,site=cellar state="active",value=68.4,limit=68,seq=7i 1795573…`.
///
/// # Errors
/// Where a name, the time or the sequence number has no form in line protocol.
pub fn encode_move(moved: &Move, site: &str) -> Result<String, Unwritable> {
    let mut fields = Vec::with_capacity(4);
    fields.push(("state", Field::Text(state_word(moved.to))));
    push(&mut fields, "value", moved.value);
    push(&mut fields, "limit", moved.limit);
    fields.push(("seq", integer(moved.seq)?));
    Point {
        measurement: ALARM_MEASUREMENT,
        tags: vec![
            ("alarm", &moved.alarm),
            ("probe", &moved.probe),
            ("site", site),
        ],
        fields,
        time: time(moved.at.wall_ms)?,
    }
    .line()
}

fn push(fields: &mut Vec<(&str, Field<'_>)>, key: &'static str, number: Option<f64>) {
    fields.extend(number.map(|number| (key, Field::Float(number))));
}

fn integer(seq: u64) -> Result<Field<'static>, Unwritable> {
    i64::try_from(seq)
        .map(Field::Integer)
        .map_err(|_| Unwritable::Integer(seq))
}

fn time(wall_ms: i64) -> Result<i64, Unwritable> {
    if (-FURTHEST_MS..=FURTHEST_MS).contains(&wall_ms) {
        Ok(wall_ms)
    } else {
        Err(Unwritable::Time(wall_ms))
    }
}

fn state_word(state: State) -> &'static str {
    match state {
        State::Normal => "normal",
        State::Active => "active",
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::outlet::line_protocol::example::{moved, reading};
    use crate::reading::{Outcome, Series};
    use std::sync::Arc;

    #[test]
    fn a_good_reading_is_one_line_with_sorted_tags_and_milliseconds() {
        assert_eq!(
            encode(&reading(123), "cellar", "reading").unwrap(),
            "reading,probe=mash,quantity=temperature,site=cellar,unit=Cel \
             value=67.91,uncertainty=0.05,quality=\"good\",raw=512,electrical=3592.1,seq=123i \
             1795573447123"
        );
    }

    #[test]
    fn a_calibrated_reading_names_its_calibration_and_one_outside_its_range_says_so() {
        let mut beyond = reading(125);
        beyond.series = Arc::new(Series {
            calibration: 3,
            ..(*beyond.series).clone()
        });
        beyond.outcome = Outcome::Extrapolated(beyond.outcome.estimate().unwrap());
        assert_eq!(
            encode(&beyond, "cellar", "reading").unwrap(),
            "reading,probe=mash,quantity=temperature,site=cellar,unit=Cel \
             value=67.91,uncertainty=0.05,quality=\"extrapolated\",advice=\"add a reference point \
             out here, or trust it only within its uncertainty\",raw=512,electrical=3592.1,\
             calibration=3i,seq=125i 1795573447125"
        );
    }

    #[test]
    fn a_fault_has_its_quality_and_no_number() {
        let mut fault = reading(124);
        fault.outcome = Outcome::Fault(Quality::OpenCircuit);
        fault.raw = None;
        fault.electrical = Some(f64::INFINITY);
        assert_eq!(
            encode(&fault, "cellar", "reading").unwrap(),
            "reading,probe=mash,quantity=temperature,site=cellar,unit=Cel \
             quality=\"open_circuit\",seq=124i 1795573447124"
        );
    }

    #[test]
    fn a_move_of_an_alarm_is_one_line_and_absent_numbers_are_left_out() {
        let mut moved = moved(7);
        assert_eq!(
            encode_move(&moved, "cellar").unwrap(),
            "alarm,alarm=high,probe=mash,site=cellar \
             state=\"active\",value=68.4,limit=68,seq=7i 1795573447007"
        );
        moved.value = None;
        moved.limit = None;
        moved.to = State::Normal;
        assert_eq!(
            encode_move(&moved, "cellar").unwrap(),
            "alarm,alarm=high,probe=mash,site=cellar state=\"normal\",seq=7i 1795573447007"
        );
    }

    #[test]
    fn what_has_no_form_in_64_bits_is_refused() {
        let mut late = reading(1);
        late.at.wall_ms = FURTHEST_MS + 1;
        assert_eq!(
            encode(&late, "cellar", "reading"),
            Err(Unwritable::Time(FURTHEST_MS + 1))
        );
        let mut many = reading(1);
        many.seq = u64::MAX;
        assert_eq!(
            encode(&many, "cellar", "reading"),
            Err(Unwritable::Integer(u64::MAX))
        );
    }

    #[test]
    fn the_furthest_time_in_milliseconds_fits_the_published_nanoseconds() {
        // Source: tests/published/line_protocol.toml, [timestamp] max_ns.
        let max_ns: i64 = 9_223_372_036_854_775_806;
        assert_eq!(FURTHEST_MS, max_ns / 1_000_000);
    }
}
