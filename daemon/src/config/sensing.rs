//! The part of `[probe.NAME]` that goes with its driver: input, quantity, unit, parameters.

use super::drivers::Drivers;
use super::item::{Item, Value};
use super::parameters;
use super::problem::Fault;
use super::reader::Table;
use super::unit::{Unit, meant};
use super::words;
use crate::driver::{Driver, Model};
use crate::measure::front_end::{Electrical, FrontEnd};

/// Longest UCUM code that is taken, bytes.
const LONGEST_UNIT: usize = 32;

/// What the driver's part of a probe's table says.
pub(super) struct Sensing {
    /// The driver.
    pub(super) driver: Driver,
    /// Its parameters, one list each.
    pub(super) parameters: Value<Vec<Vec<f64>>>,
    /// The driver with them.
    pub(super) model: Value<Model>,
    /// What it is given.
    pub(super) input: Value<Electrical>,
    /// What is measured.
    pub(super) quantity: Value<String>,
    /// UCUM code of its unit.
    pub(super) unit: Value<String>,
}

/// Reads `driver` and what goes with it, for the probe of this name. `front_end` is that of the
/// channel, where it is known.
pub(super) fn read(
    (probe, table): (&str, &Table<'_>),
    front_end: Option<&FrontEnd>,
    drivers: &Drivers,
) -> Option<Sensing> {
    let find = |item: &Item<'_>| find_driver(item, drivers);
    let Some(driver) = table.required("driver", "\"thermistor\"", find) else {
        table.know(&["input", "output", "quantity", "unit", "parameters"]);
        return None;
    };
    let meant = table.or("output", driver, |item| output(item, &driver));
    let Some(driver) = meant else {
        table.know(&["input", "quantity", "unit", "parameters"]);
        return None;
    };
    let input = input(table, &driver, front_end);
    let quantity = left_open(table, "quantity", driver.quantity(), &driver, |item| {
        item.name()
    });
    let unit = left_open(table, "unit", driver.unit(), &driver, unit);
    let parameters = parameters::read(table, &driver);
    let model = parameters
        .as_ref()
        .and_then(|values| parameters::bind((probe, table), &driver, values.clone()));
    Some(Sensing {
        driver,
        parameters,
        model,
        input,
        quantity,
        unit,
    })
}

fn find_driver(item: &Item<'_>, drivers: &Drivers) -> Value<Driver> {
    let name = item.word(&drivers.names(), LATER)?;
    drivers.find(item, name, LATER)
}

/// The driver, meaning one of its outputs.
fn output(item: &Item<'_>, driver: &Driver) -> Value<Driver> {
    let names: Vec<&str> = driver.outputs().iter().map(|one| one.name).collect();
    if names.is_empty() {
        let what = format!("the driver `{}` gives one value only", driver.name());
        return item.refuse(Fault::new(what, "leave `output` out"));
    }
    let name = item.word(&names, "")?;
    driver
        .with_output(name)
        .or_else(|| item.unknown_word(name, &names))
}

/// What a wrong driver hides.
const LATER: &str = "; its `parameters` are looked at once the driver is known";

const INPUTS: &[(&str, Electrical)] = &[
    ("ohm", Electrical::Ohm),
    ("volt", Electrical::Volt),
    ("ratio", Electrical::Ratio),
    ("number", Electrical::Number),
];

fn word(input: Electrical) -> &'static str {
    INPUTS
        .iter()
        .find(|(_, electrical)| *electrical == input)
        .map_or("", |(word, _)| word)
}

/// What the driver is given: as configured, or the first of its inputs that the front end gives.
fn input(table: &Table<'_>, driver: &Driver, front_end: Option<&FrontEnd>) -> Value<Electrical> {
    let takes = driver.inputs();
    let gives = front_end.map_or(takes, FrontEnd::gives);
    if let Some(item) = table.item("input") {
        let input = item.choice(INPUTS)?;
        return item.accept(check_input(driver, input, takes, gives));
    }
    let first = takes.iter().find(|input| gives.contains(input)).copied();
    if first.is_none() {
        table.error(no_input(driver, takes, gives));
    }
    first
}

fn check_input(
    driver: &Driver,
    input: Electrical,
    takes: &[Electrical],
    gives: &[Electrical],
) -> Result<Electrical, Fault> {
    let word = word(input);
    if !takes.contains(&input) {
        let what = format!("the driver `{}` takes no `{word}`", driver.name());
        return Err(Fault::new(what, format!("it takes {}", input_list(takes))));
    }
    if !gives.contains(&input) {
        let what = format!("the channel's front end gives no `{word}`");
        return Err(Fault::new(what, format!("it gives {}", input_list(gives))));
    }
    Ok(input)
}

fn no_input(driver: &Driver, takes: &[Electrical], gives: &[Electrical]) -> Fault {
    Fault::new(
        format!(
            "the driver `{}` takes {}, the channel's front end gives {}",
            driver.name(),
            input_list(takes),
            input_list(gives)
        ),
        "choose another driver, or correct `front_end`",
    )
}

fn input_list(inputs: &[Electrical]) -> String {
    let names: Vec<&str> = inputs.iter().map(|input| word(*input)).collect();
    words::list(&names)
}

/// A key that is only there where the driver leaves the matter open.
fn left_open(
    table: &Table<'_>,
    key: &'static str,
    fixed: Option<&str>,
    driver: &Driver,
    read: impl for<'t> FnOnce(&Item<'t>) -> Value<String>,
) -> Value<String> {
    let Some(fixed) = fixed else {
        let example = if key == "unit" {
            "\"Cel\""
        } else {
            "\"temperature\""
        };
        return table.required(key, example, read);
    };
    let why = format!("the driver `{}` always gives `{fixed}`", driver.name());
    table.foreign(&[key], &why);
    Some(fixed.to_owned())
}

/// A UCUM code, or one of the spellings that the table of units knows.
fn unit(item: &Item<'_>) -> Value<String> {
    let code = item.filled()?;
    if let Some(known) = Unit::known(code) {
        return Some(known.code().to_owned());
    }
    if let Some(meant) = meant(code) {
        let what = format!("`{code}` is not the UCUM code that you mean");
        return item.refuse(Fault::new(what, format!("write `\"{meant}\"`")));
    }
    let allowed = |c: char| c.is_ascii_graphic() && !matches!(c, '"' | '\\' | ',' | '=' | '`');
    if code.len() <= LONGEST_UNIT && code.chars().all(allowed) {
        return Some(code.to_owned());
    }
    item.refuse(Fault::new(
        format!("`{code}` is no UCUM code"),
        "a code has no spaces and at most 32 characters: `Cel`, `lx`, `%`, `mol/L`",
    ))
}
