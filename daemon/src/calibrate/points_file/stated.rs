//! `uncertainty` with `coverage`, or `tolerance`: what is stated of a value.

use crate::calibrate::reference::{Refused, Stated};
use crate::config::unit::{Dimension, Unit};
use crate::config::{Fault, Item, Kind, Table};

/// Coverage factors that certificates have: 68 % to far beyond 99.7 %.
const COVERAGE: std::ops::RangeInclusive<f64> = 1.0..=4.0;

/// What is stated of a value in `unit`; one of the two must be.
pub(super) fn read(table: &Table<'_>, unit: &Unit, value: Option<f64>) -> Option<Stated> {
    if let Some(item) = table.item("tolerance") {
        table.foreign(&["uncertainty", "coverage"], "`tolerance` is given");
        return spread(&item, unit, value).map(Stated::Tolerance);
    }
    let coverage = coverage(table);
    let Some(item) = table.item("uncertainty") else {
        let right = format!(
            "add `uncertainty = \"0.1 {0}\"` (with `coverage`, else 2) or `tolerance = \"0.5 {0}\"`",
            unit.code()
        );
        table.missing(
            "uncertainty",
            Fault::new("it is not said how sure the value is", right),
        );
        return None;
    };
    let uncertainty = spread(&item, unit, value);
    Some(Stated::Expanded {
        uncertainty: uncertainty?,
        coverage: coverage?,
    })
}

/// `coverage`, by default 2.
pub(super) fn coverage(table: &Table<'_>) -> Option<f64> {
    table.or("coverage", 2.0, |item| item.number(COVERAGE))
}

/// A difference above zero in `unit`, or a share of the value: `0.1 Cel`, `1 %`.
pub(super) fn spread(item: &Item<'_>, unit: &Unit, value: Option<f64>) -> Option<f64> {
    let share = item
        .text_if_text()
        .is_some_and(|text| text.trim_end().ends_with('%'));
    let spread = if share && unit.dimension() != Some(Dimension::Fraction) {
        // Where the value cannot be read, any other stands in: the share is checked all the same.
        let share = item.quantity(&Unit::of("1"), Kind::Difference)?;
        share * value.unwrap_or(1.0).abs()
    } else {
        item.quantity(unit, Kind::Difference)?
    };
    if spread.is_finite() && spread > 0.0 {
        return Some(spread);
    }
    item.refuse(fault(&Refused::Uncertainty {
        uncertainty: spread,
    }))
}

/// What is wrong and what would be right, as a problem has them.
pub(super) fn fault(refused: &Refused) -> Fault {
    let text = refused.to_string();
    let (what, right) = text.split_once("; ").unwrap_or((&text, ""));
    Fault::new(what, right)
}
