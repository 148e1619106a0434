//! `clock`, `clock_unit` and `clock_bits` of a board: a counter of the board's own time in its lines.

use super::format::check_field;
use super::item::Value;
use super::reader::Table;
use crate::measure::board_clock::Counter;
use crate::measure::decode::Format;
use std::ops::RangeInclusive;

/// A board's own clock. How well it dates readings: [`crate::measure::dating`]; the number is told in
/// the journal and is not kept with each reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Clock {
    /// The field of the board's line.
    pub field: String,
    /// What it counts. Default milliseconds of 32 bits.
    pub counter: Counter,
}

/// Nanoseconds of each unit.
const UNITS: &[(&str, f64)] = &[("ms", 1e6), ("us", 1e3), ("s", 1e9)];

/// A counter of fewer bits begins again before anybody could tell.
const BITS: RangeInclusive<u32> = 8..=64;

/// Reads the keys: `Some(None)` where there is no clock.
pub(super) fn read(table: &Table<'_>, format: Option<&Format>) -> Value<Option<Clock>> {
    let Some(item) = table.item("clock") else {
        let why = "it goes with `clock`, the field that holds the board's own time";
        table.foreign(&["clock_unit", "clock_bits"], why);
        return Some(None);
    };
    let field = item.filled().and_then(|field| match format {
        Some(format) => {
            item.accept(check_field(format, Some(&item), field))?;
            Some(field.to_owned())
        }
        None => Some(field.to_owned()),
    });
    let unit_ns = table.or("clock_unit", 1e6, |item| item.choice(UNITS));
    let bits = table.or("clock_bits", 32, |item| item.whole(BITS));
    let counter = Counter {
        unit_ns: unit_ns?,
        bits: bits?,
    };
    let field = field?;
    Some(Some(Clock { field, counter }))
}
