//! The keys that make a divider absolute: a converter with a reference of its own, and the supply that
//! then has to be known.

use super::item::{Item, Value};
use super::problem::Fault;
use super::quantity::Kind;
use super::reader::Table;
use super::unit::Unit;
use crate::measure::front_end::{FrontEnd, Supply};

/// The keys beside `reference`.
pub(super) const SUPPLY: &[&str] = &["supply", "supply_uncertainty", "supply_channel"];

/// A converter's own reference with the divider's supply.
pub(super) struct Reference {
    /// Volts at full scale.
    pub(super) volt: f64,
    /// What feeds the divider.
    pub(super) supply: Supply,
    /// The channel that measures it.
    pub(super) channel: Option<String>,
}

/// Reads the keys: `Some(None)` where the divider hangs on the converter's reference.
pub(super) fn read(table: &Table<'_>) -> Value<Option<Reference>> {
    let is_there = |key: &&'static str| table.item(key).is_some();
    // Not lazily: each key counts as known from here on.
    let any = SUPPLY.iter().filter(|key| is_there(key)).count() > 0;
    if !is_there(&"reference") && !any {
        return Some(None);
    }
    let volts = Unit::of("V");
    let volt = table.required("reference", "\"1.1 V\"", |item| {
        item.positive_quantity(&volts)
    });
    let supply = table.optional("supply", |item| item.positive_quantity(&volts));
    let channel = table.optional("supply_channel", |item| item.filled().map(str::to_owned));
    let uncertainty = table.or("supply_uncertainty", 0.0, |item| spread(item, &volts));
    let (supply, channel, uncertainty_volt) = (supply?, channel?, uncertainty?);
    let supply = match (supply, &channel) {
        (Some(volt), None) => known(table, volt, uncertainty_volt)?,
        (None, Some(_)) => Supply::Measured { uncertainty_volt },
        (Some(_), Some(_)) => return both(table),
        (None, None) => return neither(table),
    };
    let volt = volt?;
    Some(Some(Reference {
        volt,
        supply,
        channel,
    }))
}

/// A supply channel must be another one of the board, with a front end that gives volts.
pub(super) fn check_channel(item: &Item<'_>, others: &[(&str, Option<&FrontEnd>)]) -> Value<()> {
    let name = item.text()?;
    match others.iter().find(|(other, _)| *other == name) {
        Some((_, Some(FrontEnd::Voltage { .. }) | None)) => Some(()),
        Some((_, Some(_))) => {
            let what = format!("the channel `{name}` gives no volts");
            let right = format!("give `{name}` a `front_end = \"voltage\"`, or name another one");
            item.refuse(Fault::new(what, right))
        }
        None if others.is_empty() => {
            let what = "the board has no other channel";
            item.refuse(Fault::new(what, "add one with `front_end = \"voltage\"`"))
        }
        None => {
            let names: Vec<&str> = others.iter().map(|(other, _)| *other).collect();
            item.unknown_word(name, &names)
        }
    }
}

fn spread(item: &Item<'_>, volts: &Unit) -> Value<f64> {
    let uncertainty = item.quantity(volts, Kind::Difference)?;
    if uncertainty >= 0.0 {
        return Some(uncertainty);
    }
    let what = format!("`{}` is {uncertainty} V", item.key());
    item.refuse(Fault::new(what, "it is a standard uncertainty, 0 or more"))
}

fn known(table: &Table<'_>, volt: f64, uncertainty_volt: f64) -> Value<Supply> {
    if uncertainty_volt < volt {
        return Some(Supply::Known {
            volt,
            uncertainty_volt,
        });
    }
    let what = format!("a supply of {volt} V that is uncertain by {uncertainty_volt} V is unknown");
    table
        .item("supply_uncertainty")?
        .refuse(Fault::new(what, "write one standard uncertainty, in volts"))
}

fn both<T>(table: &Table<'_>) -> Value<T> {
    let what = "there is a `supply_channel` beside `supply`";
    let right = "keep `supply` where the voltage is stated, `supply_channel` where it is measured";
    table
        .item("supply_channel")?
        .refuse_key(Fault::new(what, right));
    None
}

fn neither<T>(table: &Table<'_>) -> Value<T> {
    let what = "the converter has a `reference` of its own, but the divider's supply is not given";
    let right = "add a line such as `supply = \"3.3 V\"`, or a `supply_channel` that measures it; \
                 remove `reference` where the divider hangs on it";
    table.error(Fault::new(what, right));
    None
}
