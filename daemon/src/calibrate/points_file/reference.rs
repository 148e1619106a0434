//! `reference` and the keys that go with it: what a point was compared with.

use super::stated::{self, fault};
use crate::calibrate::point::{Compared, Shape};
use crate::calibrate::reference::{self as values, Instrument, Refused, Stated};
use crate::calibrate::reference::{StationPressure, Water};
use crate::config::unit::Unit;
use crate::config::{Fault, Item, Kind, Table};

#[derive(Clone, Copy, PartialEq, Eq)]
enum Word {
    Ice,
    Boiling,
    Instrument,
    Known,
    Resistor,
}

const WORDS: &[(&str, Word)] = &[
    ("ice", Word::Ice),
    ("boiling", Word::Boiling),
    ("instrument", Word::Instrument),
    ("known", Word::Known),
    ("resistor", Word::Resistor),
];

const WATER: &[(&str, Water)] = &[("distilled", Water::Distilled), ("tap", Water::Tap)];

/// Keys and the references that they go with.
const KEYS: &[(&str, &[Word], &str)] = &[
    (
        "water",
        &[Word::Ice, Word::Boiling],
        "it goes with ice and boiling water",
    ),
    ("pressure", &[Word::Boiling], BOILING),
    ("pressure_tolerance", &[Word::Boiling], BOILING),
    ("sea_level_pressure", &[Word::Boiling], BOILING),
    ("altitude", &[Word::Boiling], BOILING),
    ("name", &[Word::Instrument], "it goes with an instrument"),
    (
        "resolution",
        &[Word::Instrument],
        "it goes with an instrument",
    ),
    (
        "what",
        &[Word::Known, Word::Resistor],
        "it goes with a known value or resistor",
    ),
    (
        "value",
        &[Word::Instrument, Word::Known, Word::Resistor],
        FIXED,
    ),
    (
        "tolerance",
        &[Word::Instrument, Word::Known, Word::Resistor],
        FIXED,
    ),
    (
        "uncertainty",
        &[Word::Ice, Word::Instrument, Word::Known, Word::Resistor],
        FIXED,
    ),
    (
        "coverage",
        &[Word::Ice, Word::Instrument, Word::Known, Word::Resistor],
        FIXED,
    ),
];

const BOILING: &str = "it goes with boiling water";
const FIXED: &str = "it follows from the reference";

/// Limit of error of a barometer that nothing is said of, Pa (common practice: a phone's, or one of the
/// wall that was set this year).
const BAROMETER: f64 = 200.0;

/// Reads the reference of a point, for a probe with this unit.
pub(super) fn read(table: &Table<'_>, unit: &Unit) -> Option<Compared> {
    let later = "; the keys that go with it are looked at once this is mended";
    let word = table.required("reference", "\"ice\"", |item| {
        item.choice_before(WORDS, later)
    });
    let Some(word) = word else {
        KEYS.iter().for_each(|(key, ..)| table.know(&[key]));
        return None;
    };
    for (key, words, why) in KEYS {
        if !words.contains(&word) {
            table.foreign(&[key], why);
        }
    }
    match word {
        Word::Ice => in_unit(table, ice(table, unit)?, unit),
        Word::Boiling => in_unit(table, boiling(table)?, unit),
        Word::Instrument => instrument(table, unit),
        Word::Known => named_value(table, unit, "\"gallium cell\"", values::known),
        Word::Resistor => named_value(
            table,
            &Unit::of("Ohm"),
            "\"precision resistor\"",
            values::resistor,
        ),
    }
}

/// A refusal for the whole reference stands at the key `reference`.
fn in_unit(table: &Table<'_>, compared: Compared, unit: &Unit) -> Option<Compared> {
    accept(table, values::in_unit(compared, unit))
}

fn accept(table: &Table<'_>, result: Result<Compared, Refused>) -> Option<Compared> {
    let result = result.map_err(|refused| fault(&refused));
    table.item("reference")?.accept(result)
}

fn water(table: &Table<'_>) -> Option<Water> {
    table.or("water", Water::Distilled, |item| item.choice(WATER))
}

fn ice(table: &Table<'_>, unit: &Unit) -> Option<Compared> {
    let (water, coverage) = (water(table), stated::coverage(table));
    let Some(item) = table.item("uncertainty") else {
        table.foreign(&["coverage"], "it goes with `uncertainty`");
        return water.map(values::ice);
    };
    let expanded = stated::spread(&item, unit, None)?;
    let celsius = unit.difference_in(expanded, &Unit::of("Cel"))?;
    water?;
    item.accept(values::ice_within(celsius / coverage?).map_err(|refused| fault(&refused)))
}

fn boiling(table: &Table<'_>) -> Option<Compared> {
    let (water, pressure) = (water(table), pressure(table));
    Some(values::boiling(&pressure?, water?))
}

/// From a barometer, from a weather service and an altitude, or from an altitude alone.
fn pressure(table: &Table<'_>) -> Option<StationPressure> {
    if let Some(item) = table.item("pressure") {
        let why = "`pressure` is that of the place itself";
        table.foreign(&["sea_level_pressure", "altitude"], why);
        let (pascal, tolerance) = (pascal(&item), barometer(table));
        let (uncertainty, shape) = (tolerance? / 3_f64.sqrt(), Shape::Rectangular);
        let pressure = StationPressure::measured(pascal?, uncertainty, shape);
        return item.accept(pressure.map_err(|refused| fault(&refused)));
    }
    if let Some(item) = table.item("sea_level_pressure") {
        let (pascal, tolerance) = (pascal(&item), barometer(table));
        let metre = table.required("altitude", "\"340 m\"", altitude);
        let pressure = StationPressure::reduced(pascal?, tolerance? / 3_f64.sqrt(), metre?);
        return item.accept(pressure.map_err(|refused| fault(&refused)));
    }
    table.foreign(&["pressure_tolerance"], "it goes with a pressure");
    if let Some(item) = table.item("altitude") {
        let pressure = StationPressure::at_altitude(altitude(&item)?);
        return item.accept(pressure.map_err(|refused| fault(&refused)));
    }
    let right = "add `pressure = \"99.2 kPa\"` as a barometer shows it on the spot, \
                 `sea_level_pressure` and `altitude`, or `altitude = \"340 m\"` alone";
    table.missing(
        "pressure",
        Fault::new("it is not said at which pressure the water boils", right),
    );
    None
}

fn pascal(item: &Item<'_>) -> Option<f64> {
    item.quantity(&Unit::of("Pa"), Kind::Value)
}

fn barometer(table: &Table<'_>) -> Option<f64> {
    table.or("pressure_tolerance", BAROMETER, |item| {
        stated::spread(item, &Unit::of("Pa"), None)
    })
}

/// Metres; the configuration knows no unit of length, so it is read here.
fn altitude(item: &Item<'_>) -> Option<f64> {
    let Some(text) = item.text_if_text() else {
        return item.number(values::atmosphere::ALTITUDES);
    };
    let number = text.trim().strip_suffix('m').unwrap_or(text).trim();
    match number.parse::<f64>() {
        Ok(metre) => item.accept(known_altitude(metre)),
        Err(_) => item.refuse(Fault::new(
            format!("`{text}` is no altitude"),
            "write metres above the sea: `\"340 m\"`",
        )),
    }
}

fn known_altitude(metre: f64) -> Result<f64, Fault> {
    let known = values::atmosphere::standard_pressure(metre);
    known.map(|_| metre).map_err(|refused| fault(&refused))
}

fn instrument(table: &Table<'_>, unit: &Unit) -> Option<Compared> {
    let name = table.required("name", "\"kitchen thermometer\"", |item| item.filled());
    let reading = value(table, unit);
    let stated = stated::read(table, unit, reading);
    let resolution = table.or("resolution", 0.0, |item| {
        stated::spread(item, unit, reading)
    });
    let instrument = Instrument {
        name: name?.trim().to_owned(),
        reading: reading?,
        stated: stated?,
        resolution: resolution?,
        reading_uncertainty: 0.0,
    };
    accept(table, values::instrument(instrument))
}

fn named_value(
    table: &Table<'_>,
    unit: &Unit,
    example: &str,
    make: impl Fn(String, f64, Stated) -> Result<Compared, Refused>,
) -> Option<Compared> {
    let what = table.required("what", example, Item::filled);
    let value = value(table, unit);
    let stated = stated::read(table, unit, value);
    accept(table, make(what?.trim().to_owned(), value?, stated?))
}

fn value(table: &Table<'_>, unit: &Unit) -> Option<f64> {
    let example = format!("\"40.1 {}\"", unit.code());
    table.required("value", &example, |item| item.quantity(unit, Kind::Value))
}
