//! `[probe.NAME.parameters]`: what the probe's driver wants to know, as the driver declares it.

use super::item::{Item, Value};
use super::problem::{Fault, Problem};
use super::reader::Table;
use super::unit::Unit;
use crate::driver::{Driver, DriverError, Model, Parameter, ParameterKind};

/// Values for a driver's parameters from a text with the table `[parameters]`, as a probe has it: what
/// [`Driver::bind`] takes.
#[must_use]
pub fn parameters(text: &str, driver: &Driver) -> (Option<Vec<Vec<f64>>>, Vec<Problem>) {
    super::document(text, |root| {
        let values = read(root, driver);
        root.end();
        values
    })
}

/// One slice of numbers per declared parameter, in the driver's order; empty for a number without
/// default that is not given (whether it is needed is for the driver to say).
pub(super) fn read(probe: &Table<'_>, driver: &Driver) -> Value<Vec<Vec<f64>>> {
    let given = probe.item("parameters").is_some();
    let table = probe.table("parameters");
    if given && table.is_none() {
        return None;
    }
    let declared = driver.parameters();
    let values: Vec<Value<Vec<f64>>> = declared
        .iter()
        .map(|parameter| one(parameter, table.as_ref()))
        .collect();
    if let Some(table) = &table {
        table.end();
    }
    values.into_iter().collect()
}

/// The driver with these values; what does not go together is reported in the driver's own words.
pub(super) fn bind(
    (name, probe): (&str, &Table<'_>),
    driver: &Driver,
    values: Vec<Vec<f64>>,
) -> Value<Model> {
    let bound = driver.bind_for(name, values);
    bound.map_err(|error| unbound(probe, driver, &error)).ok()
}

/// A linked-in driver only fails for its parameters; a loaded one may have faults of its own.
fn unbound(probe: &Table<'_>, driver: &Driver, error: &DriverError) {
    let what = format!("driver `{}`: {error}", driver.name());
    let is_ours = matches!(error, DriverError::Parameters(_)) || driver.library().is_none();
    let right = if is_ours {
        "correct the probe's `parameters`"
    } else {
        "tell its maker"
    };
    let fault = Fault::new(what, right);
    match probe.item("parameters").filter(|_| is_ours) {
        Some(item) => item.refuse_key(fault),
        None => probe.error(fault),
    }
}

fn one(parameter: &Parameter, table: Option<&Table<'_>>) -> Value<Vec<f64>> {
    let item = table.and_then(|table| table.item(parameter.name));
    match (&parameter.kind, item) {
        (ParameterKind::Number { default, .. }, None) => Some(default.iter().copied().collect()),
        (ParameterKind::Number { unit, bounds, .. }, Some(item)) => number(&item, unit, *bounds),
        (ParameterKind::List { .. }, None) => Some(Vec::new()),
        (ParameterKind::List { unit, most }, Some(item)) => list(&item, unit, *most),
        (ParameterKind::Choice { default, .. }, None) => Some(vec![index(*default)]),
        (ParameterKind::Choice { words, .. }, Some(item)) => choice(&item, words),
    }
}

fn number(item: &Item<'_>, unit: &str, (least, most): (f64, f64)) -> Value<Vec<f64>> {
    let shown = if unit == "1" { "" } else { unit };
    item.quantity_within(&Unit::of(unit), &(least..=most), shown)
        .map(|number| vec![number])
}

fn list(item: &Item<'_>, unit: &str, most: usize) -> Value<Vec<f64>> {
    let numbers = item.quantities(&Unit::of(unit))?;
    if numbers.len() <= most {
        return Some(numbers);
    }
    item.refuse(Fault::new(
        format!("there are {} numbers", numbers.len()),
        format!("the driver takes {most} at most"),
    ))
}

fn choice(item: &Item<'_>, words: &[&str]) -> Value<Vec<f64>> {
    let word = item.word(words, "")?;
    match words.iter().position(|known| *known == word) {
        Some(at) => Some(vec![index(at)]),
        None => item.unknown_word(word, words),
    }
}

/// A word's index as the driver is given it.
fn index(at: usize) -> f64 {
    // No driver declares more words than a u32 counts; one that did would be told the last.
    f64::from(u32::try_from(at).unwrap_or(u32::MAX))
}
