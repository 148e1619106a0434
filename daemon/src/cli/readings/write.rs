//! Rows as CSV, JSON or line protocol. Times are given twice: in UTC for machines, and in the host's
//! zone with its offset, which tells the doubled hour apart when the clocks go back.

use super::{Format, Interval, Row, when};
use crate::outlet::line_protocol::encode;
use crate::reading::{Quality, Reading};
use jiff::tz::TimeZone;
use serde_json::{Map, Value, json};
use std::io::{self, Write};

/// Columns of single readings.
const SINGLE: &str = "time,local_time,probe,value,unit,uncertainty,quality,raw,electrical,\
     electrical_unit,spread,samples,seq,calibration";
/// Columns of intervals.
const INTERVAL: &str =
    "time,local_time,probe,value,unit,uncertainty,quality,lowest,highest,good,readings,calibration";

/// Column behind the others where values were recomputed: no, where one could not be.
const RECOMPUTED: &str = ",recomputed";

/// Measurement name of line protocol, as the outlets' default.
const MEASUREMENT: &str = "reading";

/// Writes rows.
#[derive(Debug)]
pub struct Writer<W> {
    out: W,
    format: Format,
    site: String,
    zone: TimeZone,
    intervals: bool,
    /// What stands before the rows where values were recomputed.
    recomputed: Option<String>,
}

impl<W: Write> Writer<W> {
    /// A writer; `site` is the tag of line protocol, left out where it is empty.
    pub fn new(out: W, format: Format, site: String, zone: TimeZone, intervals: bool) -> Self {
        Self {
            out,
            format,
            site,
            zone,
            intervals,
            recomputed: None,
        }
    }

    /// The same for values that were recomputed, which `how` says in a line.
    pub fn recomputed(self, how: Option<String>) -> Self {
        Self {
            recomputed: how,
            ..self
        }
    }

    /// What stands before the first row.
    pub fn header(&mut self) -> io::Result<()> {
        let columns = if self.intervals { INTERVAL } else { SINGLE };
        match (self.format, &self.recomputed) {
            (Format::Csv, None) => writeln!(self.out, "{columns}"),
            (Format::Csv, Some(_)) => writeln!(self.out, "{columns}{RECOMPUTED}"),
            (Format::LineProtocol, Some(how)) => writeln!(self.out, "# {how}"),
            (Format::Json | Format::LineProtocol, _) => Ok(()),
        }
    }

    /// One row.
    pub fn row(&mut self, row: &Row) -> io::Result<()> {
        match self.format {
            Format::Csv => self.csv(row),
            Format::Json => {
                let object = Value::Object(self.json(row));
                writeln!(self.out, "{object}")
            }
            Format::LineProtocol => self.line_protocol(row),
        }
    }

    /// Hands everything on.
    pub fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }

    /// No field needs quoting: names are `[A-Za-z0-9_.-]`, UCUM codes hold no comma or quote.
    fn csv(&mut self, row: &Row) -> io::Result<()> {
        let Row {
            reading, interval, ..
        } = row;
        let ms = reading.at.wall_ms;
        let estimate = reading.outcome.estimate();
        let value = number(estimate.map(|e| e.value()));
        let uncertainty = number(estimate.map(|e| e.uncertainty()));
        write!(
            self.out,
            "{},{},{},{value},{},{uncertainty},{}",
            when::rfc3339_utc(ms),
            when::rfc3339(ms, &self.zone),
            reading.series.probe,
            reading.series.unit,
            reading.outcome.quality().tag(),
        )?;
        let columns = match interval {
            Some(interval) => interval_columns(interval),
            None => single_columns(reading),
        };
        write!(self.out, ",{columns},{}", reading.series.calibration)?;
        match (&self.recomputed, row.recomputed) {
            (None, _) => writeln!(self.out),
            (Some(_), true) => writeln!(self.out, ",yes"),
            (Some(_), false) => writeln!(self.out, ",no"),
        }
    }

    fn json(&self, row: &Row) -> Map<String, Value> {
        let Row {
            reading, interval, ..
        } = row;
        let series = &reading.series;
        let estimate = reading.outcome.estimate();
        let mut object = Map::new();
        let mut put = |key: &str, value: Value| object.insert(key.to_owned(), value);
        put("time", json!(when::rfc3339_utc(reading.at.wall_ms)));
        put(
            "local_time",
            json!(when::rfc3339(reading.at.wall_ms, &self.zone)),
        );
        put("probe", json!(series.probe));
        put("value", json!(estimate.map(|e| e.value())));
        put("unit", json!(series.unit));
        put("uncertainty", json!(estimate.map(|e| e.uncertainty())));
        let quality = reading.outcome.quality();
        put("quality", json!(quality.tag()));
        if quality == Quality::Extrapolated {
            put("advice", json!(quality.advice()));
        }
        put("calibration", json!(series.calibration));
        if self.recomputed.is_some() {
            put("recomputed", json!(row.recomputed));
        }
        if let Some(interval) = interval {
            put("lowest", json!(interval.lowest));
            put("highest", json!(interval.highest));
            put("good", json!(interval.good));
            put("readings", json!(interval.readings));
            return object;
        }
        put("raw", json!(reading.raw));
        put("electrical", json!(reading.electrical));
        put("electrical_unit", json!(series.electrical_unit));
        put("spread", json!(reading.spread));
        put("samples", json!(reading.samples));
        put("seq", json!(reading.seq));
        object
    }

    fn line_protocol(&mut self, row: &Row) -> io::Result<()> {
        match encode(&row.reading, &self.site, MEASUREMENT) {
            Ok(line) => writeln!(self.out, "{line}"),
            Err(why) => {
                tracing::warn!("reading {}: left out: {why}", row.reading.seq);
                Ok(())
            }
        }
    }
}

fn single_columns(reading: &Reading) -> String {
    format!(
        "{},{},{},{},{},{}",
        number(reading.raw),
        number(reading.electrical),
        reading.series.electrical_unit,
        number(reading.spread),
        reading.samples,
        reading.seq
    )
}

fn interval_columns(interval: &Interval) -> String {
    let (lowest, highest) = (number(interval.lowest), number(interval.highest));
    format!("{lowest},{highest},{},{}", interval.good, interval.readings)
}

/// All digits that give back the same number; nothing where there is none.
fn number(value: Option<f64>) -> String {
    value.map_or(String::new(), |value| value.to_string())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::log::testing::reading;
    use crate::reading::{Outcome, Series};
    use std::sync::Arc;

    fn written(format: Format, reading: Reading) -> String {
        rows(format, &[reading], None)
    }

    fn writer(format: Format, intervals: bool) -> Writer<Vec<u8>> {
        let zone = TimeZone::get("Europe/Berlin").unwrap();
        Writer::new(Vec::new(), format, "cellar".to_owned(), zone, intervals)
    }

    /// With an interval as `--every` gives it, else as they are.
    fn rows(format: Format, readings: &[Reading], interval: Option<Interval>) -> String {
        let mut writer = writer(format, interval.is_some());
        writer.header().unwrap();
        for reading in readings {
            let reading = reading.clone();
            let row = Row {
                reading,
                interval,
                recomputed: false,
            };
            writer.row(&row).unwrap();
        }
        String::from_utf8(writer.out).unwrap()
    }

    #[test]
    fn csv_of_intervals_has_lowest_highest_and_how_many_in_the_place_of_raw_and_number() {
        let good = Interval {
            lowest: Some(24.5),
            highest: Some(25.75),
            readings: 60,
            good: 50,
        };
        insta::assert_snapshot!(rows(Format::Csv, &[reading(7, 1)], Some(good)), @r"
        time,local_time,probe,value,unit,uncertainty,quality,lowest,highest,good,readings,calibration
        2026-05-28T20:26:40.007Z,2026-05-28T22:26:40.007+02:00,vat,25,Cel,0.05,good,24.5,25.75,50,60,0
        ");
        let mut silent = reading(8, 2);
        silent.outcome = Outcome::Fault(Quality::BoardSilent);
        let nothing = Interval {
            lowest: None,
            highest: None,
            readings: 1,
            good: 0,
        };
        insta::assert_snapshot!(rows(Format::Csv, &[silent], Some(nothing)), @r"
        time,local_time,probe,value,unit,uncertainty,quality,lowest,highest,good,readings,calibration
        2026-05-28T20:26:40.008Z,2026-05-28T22:26:40.008+02:00,vat,,Cel,,board_silent,,,0,1,0
        ");
    }

    #[test]
    fn csv_gives_both_times_and_leaves_empty_what_is_not_there() {
        let mut open = reading(7, 1);
        open.outcome = Outcome::Fault(Quality::OpenCircuit);
        open.electrical = None;
        insta::assert_snapshot!(written(Format::Csv, open), @r"
        time,local_time,probe,value,unit,uncertainty,quality,raw,electrical,electrical_unit,spread,samples,seq,calibration
        2026-05-28T20:26:40.007Z,2026-05-28T22:26:40.007+02:00,vat,,Cel,,open_circuit,512,,Ohm,,1,7,0
        ");
    }

    #[test]
    fn json_is_one_object_a_line() {
        insta::assert_snapshot!(written(Format::Json, reading(7, 1)), @r#"{"calibration":0,"electrical":10000.0,"electrical_unit":"Ohm","local_time":"2026-05-28T22:26:40.007+02:00","probe":"vat","quality":"good","raw":512.0,"samples":1,"seq":7,"spread":null,"time":"2026-05-28T20:26:40.007Z","uncertainty":0.05,"unit":"Cel","value":25.0}"#);
    }

    /// Outside of what the probe's third calibration covers.
    fn beyond() -> Reading {
        let mut beyond = reading(9, 3);
        beyond.outcome = Outcome::Extrapolated(beyond.outcome.estimate().unwrap());
        beyond.series = Arc::new(Series {
            calibration: 3,
            ..(*beyond.series).clone()
        });
        beyond
    }

    #[test]
    fn a_value_outside_the_calibrated_range_says_so_in_every_format() {
        let [csv, json, lines] = [Format::Csv, Format::Json, Format::LineProtocol]
            .map(|format| written(format, beyond()));
        insta::assert_snapshot!(csv, @r"
        time,local_time,probe,value,unit,uncertainty,quality,raw,electrical,electrical_unit,spread,samples,seq,calibration
        2026-05-28T20:26:40.009Z,2026-05-28T22:26:40.009+02:00,vat,25,Cel,0.05,extrapolated,512,10000,Ohm,,1,9,3
        ");
        insta::assert_snapshot!(json, @r#"{"advice":"add a reference point out here, or trust it only within its uncertainty","calibration":3,"electrical":10000.0,"electrical_unit":"Ohm","local_time":"2026-05-28T22:26:40.009+02:00","probe":"vat","quality":"extrapolated","raw":512.0,"samples":1,"seq":9,"spread":null,"time":"2026-05-28T20:26:40.009Z","uncertainty":0.05,"unit":"Cel","value":25.0}"#);
        insta::assert_snapshot!(lines, @r#"reading,probe=vat,quantity=temperature,site=cellar,unit=Cel value=25,uncertainty=0.05,quality="extrapolated",advice="add a reference point out here, or trust it only within its uncertainty",raw=512,electrical=10000,calibration=3i,seq=9i 1780000000009"#);
    }

    #[test]
    fn a_recomputed_listing_says_so_in_every_format() {
        let [csv, json, lines] = [Format::Csv, Format::Json, Format::LineProtocol].map(|format| {
            let how = Some("values by calibration 3 of probe `vat`".to_owned());
            let mut writer = writer(format, false).recomputed(how);
            writer.header().unwrap();
            for (reading, recomputed) in [(beyond(), true), (reading(8, 2), false)] {
                let row = Row {
                    reading,
                    interval: None,
                    recomputed,
                };
                writer.row(&row).unwrap();
            }
            String::from_utf8(writer.out).unwrap()
        });
        insta::assert_snapshot!(csv, @r"
        time,local_time,probe,value,unit,uncertainty,quality,raw,electrical,electrical_unit,spread,samples,seq,calibration,recomputed
        2026-05-28T20:26:40.009Z,2026-05-28T22:26:40.009+02:00,vat,25,Cel,0.05,extrapolated,512,10000,Ohm,,1,9,3,yes
        2026-05-28T20:26:40.008Z,2026-05-28T22:26:40.008+02:00,vat,25,Cel,0.05,good,512,10000,Ohm,,1,8,0,no
        ");
        insta::assert_snapshot!(json, @r#"
        {"advice":"add a reference point out here, or trust it only within its uncertainty","calibration":3,"electrical":10000.0,"electrical_unit":"Ohm","local_time":"2026-05-28T22:26:40.009+02:00","probe":"vat","quality":"extrapolated","raw":512.0,"recomputed":true,"samples":1,"seq":9,"spread":null,"time":"2026-05-28T20:26:40.009Z","uncertainty":0.05,"unit":"Cel","value":25.0}
        {"calibration":0,"electrical":10000.0,"electrical_unit":"Ohm","local_time":"2026-05-28T22:26:40.008+02:00","probe":"vat","quality":"good","raw":512.0,"recomputed":false,"samples":1,"seq":8,"spread":null,"time":"2026-05-28T20:26:40.008Z","uncertainty":0.05,"unit":"Cel","value":25.0}
        "#);
        insta::assert_snapshot!(lines, @r#"
        # values by calibration 3 of probe `vat`
        reading,probe=vat,quantity=temperature,site=cellar,unit=Cel value=25,uncertainty=0.05,quality="extrapolated",advice="add a reference point out here, or trust it only within its uncertainty",raw=512,electrical=10000,calibration=3i,seq=9i 1780000000009
        reading,probe=vat,quantity=temperature,site=cellar,unit=Cel value=25,uncertainty=0.05,quality="good",raw=512,electrical=10000,seq=8i 1780000000008
        "#);
    }

    #[test]
    fn line_protocol_is_what_the_outlets_send() {
        let line = written(Format::LineProtocol, reading(7, 1));
        assert_eq!(
            line.trim_end(),
            encode(&reading(7, 1), "cellar", MEASUREMENT).unwrap()
        );
    }
}
