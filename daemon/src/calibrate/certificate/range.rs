//! How sure a reading by this calibration is, over the range, and what that is made of.

use super::document::{Block, Column, Table};
use super::{Budget, Certificate, Row, figures};
use crate::calibrate::calibration::{Channel, Shape, Share};

/// The table of uncertainty over the range.
pub(super) fn blocks(certificate: &Certificate<'_>) -> Vec<Block> {
    if certificate.range.is_empty() {
        return Vec::new();
    }
    let unit = &certificate.calibration.unit;
    let rows = certificate.range.iter().map(row).collect();
    vec![
        Block::Paragraph(format!(
            "Of a reading on {}: expanded uncertainty U (k = 2), and the 95 % interval.",
            place(certificate.here)
        )),
        Block::Table(Table {
            columns: vec![
                Column::number(format!("value, {unit}")),
                Column::number(format!("probe, {}", certificate.input_unit())),
                Column::number("U (k = 2)"),
                Column::number("95 % from"),
                Column::number("to"),
                Column::words(""),
            ],
            rows,
        }),
    ]
}

/// "board `bench`, channel `a0`".
pub(super) fn place(channel: &Channel) -> String {
    format!("board `{}`, channel `{}`", channel.board, channel.channel)
}

fn row(row: &Row) -> Vec<String> {
    let (value, expanded) = figures::pair(row.value, row.expanded);
    let note = if row.extrapolated { "extrapolated" } else { "" };
    vec![
        value,
        figures::digits(row.electrical, 5),
        expanded,
        figures::to(row.interval.0, row.expanded),
        figures::to(row.interval.1, row.expanded),
        note.to_owned(),
    ]
}

/// What the uncertainty is made of, largest share first, with what would make it smaller.
pub(super) fn budgets(certificate: &Certificate<'_>) -> Vec<Block> {
    let unit = &certificate.calibration.unit;
    let each = |budget: &Budget| {
        let at = figures::digits(budget.value, 4);
        [
            Block::Paragraph(format!("At {at} {unit}:")),
            Block::Table(budget_table(budget, unit)),
        ]
    };
    certificate.budgets.iter().flat_map(each).collect()
}

fn budget_table(budget: &Budget, unit: &str) -> Table {
    let mut shares: Vec<&Share> = budget.shares.iter().collect();
    shares.sort_by(|one, other| other.uncertainty.total_cmp(&one.uncertainty));
    let total: f64 = shares.iter().map(|share| share.uncertainty.powi(2)).sum();
    let mut rows: Vec<Vec<String>> = shares.iter().map(|one| share(one, total)).collect();
    rows.push(vec![
        "combined (k = 1)".to_owned(),
        String::new(),
        figures::alone(total.sqrt()),
        "100 %".to_owned(),
        String::new(),
    ]);
    Table {
        columns: vec![
            Column::words("cause"),
            Column::words("shape"),
            Column::number(format!("u, {unit}")),
            Column::number("share"),
            Column::words("what would make it smaller"),
        ],
        rows,
    }
}

fn share(share: &Share, total: f64) -> Vec<String> {
    let shape = match share.shape {
        Shape::Normal => "normal",
        Shape::Rectangular => "rectangular",
    };
    let part = 100.0 * share.uncertainty.powi(2) / total;
    let part = if part.is_finite() { part } else { 0.0 };
    vec![
        share.name.clone(),
        shape.to_owned(),
        figures::alone(share.uncertainty),
        format!("{part:.0} %"),
        share.remedy.clone(),
    ]
}
