//! Two calibrations of a probe side by side.

use super::page::{Page, decimals, number, signed};
use crate::calibrate::history::{Conversion, Difference, compare, inputs};

/// Rows of a table, both ends with them.
const ROWS: usize = 11;

/// Widths: input, three times a value and its uncertainty.
const WIDTHS: [usize; 7] = [12, 11, 9, 11, 9, 11, 9];

/// The table, over all that one of them covers.
///
/// # Errors
/// Where they have nothing to compare, for a person.
pub fn compared(probe: &str, one: &Conversion, other: &Conversion) -> Result<String, String> {
    if one.electrical_unit != other.electrical_unit || one.unit != other.unit {
        return Err(format!(
            "probe `{probe}`: {} is from {} to {}, {} from {} to {}; there is nothing to compare",
            name(one),
            one.electrical_unit,
            one.unit,
            name(other),
            other.electrical_unit,
            other.unit
        ));
    }
    let range = covered(one, other).ok_or_else(|| {
        format!("probe `{probe}`: both are the configured parameters; name a calibration")
    })?;
    let at = |conversion: &Conversion, input| conversion.at(input).ok();
    let rows = compare(
        &inputs(range, ROWS),
        |input| at(one, input),
        |input| at(other, input),
    );
    Ok(page(probe, one, other, &rows))
}

fn page(probe: &str, one: &Conversion, other: &Conversion, rows: &[Difference]) -> String {
    let mut page = Page::default();
    let (unit, electrical) = (&one.unit, &one.electrical_unit);
    page.line(&format!(
        "{probe}: {} less {}, in {unit}",
        name(other),
        name(one)
    ));
    page.line("");
    let heads = [one, other].map(|conversion| match conversion.number {
        0 => "configured".to_owned(),
        number => format!("by {number}"),
    });
    let [first, second] = heads;
    page.line(&columns([
        electrical,
        &(first + " "),
        "U",
        &(second + " "),
        "U",
        "change ",
        "U",
    ]));
    for difference in rows {
        page.line(&row(one, other, difference));
    }
    page.line("");
    for note in notes(one, other, rows) {
        page.entry(note.0, note.1);
    }
    page.text()
}

fn row(one: &Conversion, other: &Conversion, difference: &Difference) -> String {
    let (change, uncertainty) = difference.change();
    let digits = decimals(2.0 * uncertainty);
    let mark = |conversion: &Conversion, value| {
        let mark = if conversion.is_extrapolated(difference.input) {
            "*"
        } else {
            " "
        };
        number(value, digits) + mark
    };
    let expanded = |standard: f64| number(2.0 * standard, digits);
    let significant = if difference.is_significant() {
        "!"
    } else {
        " "
    };
    columns([
        &number(difference.input, decimals(difference.input.abs() / 1e4)),
        &mark(one, difference.one.value()),
        &expanded(difference.one.uncertainty()),
        &mark(other, difference.other.value()),
        &expanded(difference.other.uncertainty()),
        &(signed(change, digits) + significant),
        &number(2.0 * uncertainty, digits),
    ])
}

fn columns(cells: [&str; 7]) -> String {
    let cells = cells.iter().zip(WIDTHS);
    let cells: String = cells
        .map(|(cell, width)| format!("{cell:>width$}"))
        .collect();
    cells.trim_end().to_owned()
}

fn notes(
    one: &Conversion,
    other: &Conversion,
    rows: &[Difference],
) -> Vec<(&'static str, &'static str)> {
    let both = [one, other];
    let mut notes = vec![(
        "U",
        "expanded uncertainty (k = 2) of the curves: points and model. Both are taken as \
         independent: made with one and the same reference, the change is surer than this.",
    )];
    if rows.iter().any(Difference::is_significant) {
        notes.push(("!", "more than the uncertainties explain (|change| > U)"));
    }
    let outside = |row: &Difference| both.iter().any(|c| c.is_extrapolated(row.input));
    if rows.iter().any(outside) {
        notes.push(("*", "outside the points of that calibration"));
    }
    if both.iter().any(|conversion| conversion.number == 0) {
        notes.push((
            "configured",
            "its U is the tolerance of the probe's kind, and the channel's resistor",
        ));
    }
    notes
}

fn covered(one: &Conversion, other: &Conversion) -> Option<(f64, f64)> {
    match (one.range(), other.range()) {
        (Some(one), Some(other)) => Some((one.0.min(other.0), one.1.max(other.1))),
        (one, other) => one.or(other),
    }
}

fn name(conversion: &Conversion) -> String {
    match conversion.number {
        0 => "the configured parameters".to_owned(),
        number => format!("calibration {number}"),
    }
}
