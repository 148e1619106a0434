//! `electrical`, or `from` and `to`: what the probe read at a point.

use super::{ProbeRead, stated};
use crate::config::unit::Unit;
use crate::config::{Fault, Item, Kind, Table};
use crate::driver::Electrical;
use jiff::Timestamp;
use toml::de::DeValue;

/// Coverage factor of what people give as an uncertainty (JCGM 100:2008, 7.2.1).
const COVERAGE: f64 = 2.0;

/// Whether the probe's own channel measured it.
const MEASURED_ON: &[(&str, bool)] = &[("channel", true), ("elsewhere", false)];

/// Reads what the probe read; `input` is what its driver is given.
pub(super) fn read(table: &Table<'_>, input: Electrical) -> Option<ProbeRead> {
    let logged = table.item("from").is_some() || table.item("to").is_some();
    if table.item("electrical").is_some() {
        table.foreign(&["from", "to"], "`electrical` says what the probe read");
        return given(table, input);
    }
    for key in ["electrical_uncertainty", "measured_on"] {
        table.foreign(&[key], "it goes with `electrical`");
    }
    if logged {
        return span(table);
    }
    let right = format!(
        "add `electrical = \"32554 {}\"`, or `from` and `to` of a span of logged readings",
        input.unit()
    );
    table.missing(
        "electrical",
        Fault::new("it is not said what the probe read", right),
    );
    None
}

fn given(table: &Table<'_>, input: Electrical) -> Option<ProbeRead> {
    let unit = Unit::of(input.unit());
    let electrical = table.required("electrical", "", |item| positive(item, &unit));
    let example = format!("\"10 {}\"", input.unit());
    let expanded = table.required("electrical_uncertainty", &example, |item| {
        stated::spread(item, &unit, electrical)
    });
    let on_channel = table.or("measured_on", false, |item| item.choice(MEASURED_ON));
    Some(ProbeRead::Given {
        electrical: electrical?,
        uncertainty: expanded? / COVERAGE,
        on_channel: on_channel?,
    })
}

fn positive(item: &Item<'_>, unit: &Unit) -> Option<f64> {
    let number = item.quantity(unit, Kind::Value)?;
    if number > 0.0 {
        return Some(number);
    }
    item.refuse(Fault::new(
        format!("a probe does not read {number} {}", unit.code()),
        "it must be above 0",
    ))
}

fn span(table: &Table<'_>) -> Option<ProbeRead> {
    let from = table.required("from", "2026-11-24T20:00:00Z", moment);
    let until = table.required("to", "2026-11-24T20:02:00Z", |item| {
        let until = moment(item)?;
        match from {
            Some(from) if until <= from => item.refuse(Fault::new(
                "the span ends before it begins",
                "`to` must be later than `from`",
            )),
            _ => Some(until),
        }
    });
    Some(ProbeRead::Logged {
        from_ms: from?,
        until_ms: until?,
    })
}

/// A moment with its offset, with or without quotes; milliseconds since 1970.
fn moment(item: &Item<'_>) -> Option<i64> {
    let text = match item.value() {
        DeValue::Datetime(moment) => moment.to_string(),
        DeValue::String(text) => text.trim().to_owned(),
        _ => return item.mistyped("a moment", "from = 2026-11-24T20:00:00Z"),
    };
    match text.parse::<Timestamp>() {
        Ok(moment) => Some(moment.as_millisecond()),
        Err(_) => item.refuse(Fault::new(
            format!("`{text}` is no moment with its offset from UTC"),
            "write it as `2026-11-24T20:00:00Z` or `2026-11-24T21:00:00+01:00`",
        )),
    }
}
